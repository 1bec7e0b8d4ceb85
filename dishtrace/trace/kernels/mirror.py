"""The mirror: facets that are pieces of quadrics, each with an outline in its own plane.

In a facet's frame (u, v, w), with w along its normal at its middle, the surface is p M p = w; flat tiles, bent strips,
spherical tiles, petals and the whole paraboloid are all of this form. One continuous skin is a mirror of one facet.
"""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.sampling import cos_sin_turns, tilted

# Number of the only facet of a mirror that is one skin: of the kind that arrays hold, so that what takes a facet's
# number is compiled once.
SKIN = np.int64(0)


@device
def is_in_polygon(vertices, start, end, x, y):
    """Whether a point lies inside the polygon of vertices start .. end - 1, by even-odd counting."""
    is_inside = False
    j = end - 1
    for k in range(start, end):
        y0, y1 = vertices[k, 1], vertices[j, 1]
        if (y0 > y) != (y1 > y) and x < vertices[k, 0] + (y - y0) * (vertices[j, 0] - vertices[k, 0]) / (y1 - y0):
            is_inside = not is_inside
        j = k
    return is_inside


@device
def is_in_outline(mirror, i, u, v):
    """Whether a point of facet i's plane lies inside its outline and outside its hole."""
    params = mirror.params
    if mirror.kind[i] == 0:
        r2 = (u - params[i, 0]) ** 2 + (v - params[i, 1]) ** 2
        return params[i, 3] * params[i, 3] <= r2 <= params[i, 2] * params[i, 2]
    if mirror.kind[i] == 1:
        return abs(u - params[i, 0]) <= params[i, 4] and abs(v - params[i, 1]) <= params[i, 5]
    if mirror.kind[i] == 3:
        return ((u - params[i, 0]) / params[i, 4]) ** 2 + ((v - params[i, 1]) / params[i, 5]) ** 2 <= 1.0
    return is_in_polygon(mirror.vertices, mirror.first_vertex[i], mirror.first_vertex[i + 1], u, v)


@device
def outline_point(mirror, i, a, b):
    """Area-preserving map of (a, b) in the unit square to facet i's outline without its hole: u, v [m]."""
    params = mirror.params
    if mirror.kind[i] == 0:
        r0, r1 = params[i, 3], params[i, 2]
        r = math.sqrt(r0 * r0 + a * (r1 * r1 - r0 * r0))
        cos, sin = cos_sin_turns(b)
        return params[i, 0] + r * cos, params[i, 1] + r * sin
    if mirror.kind[i] == 1:
        return params[i, 0] + (2.0 * a - 1.0) * params[i, 4], params[i, 1] + (2.0 * b - 1.0) * params[i, 5]
    if mirror.kind[i] == 3:
        r = math.sqrt(a)
        cos, sin = cos_sin_turns(b)
        return params[i, 0] + r * params[i, 4] * cos, params[i, 1] + r * params[i, 5] * sin
    cdf, triangles = mirror.cdf, mirror.triangles
    t = mirror.first_triangle[i]
    below = 0.0
    while cdf[t] <= a and t + 1 < mirror.first_triangle[i + 1]:
        below = cdf[t]
        t += 1
    s = math.sqrt(min(max((a - below) / (cdf[t] - below), 0.0), 1.0))
    w0, w1, w2 = 1.0 - s, s * (1.0 - b), s * b
    return (
        w0 * triangles[t, 0, 0] + w1 * triangles[t, 1, 0] + w2 * triangles[t, 2, 0],
        w0 * triangles[t, 0, 1] + w1 * triangles[t, 1, 1] + w2 * triangles[t, 2, 1],
    )


@device
def is_over_outline(mirror, x, y):
    """Whether a place in plan (dish frame) lies inside the dish's outline, the hole counted in."""
    if mirror.has_no_overhang:
        return True
    kind, params, vertices = mirror.dish_kind, mirror.dish_params, mirror.dish_vertices
    if kind == 0:
        return (x - params[0]) ** 2 + (y - params[1]) ** 2 <= params[2] * params[2]
    if kind == 1:
        return abs(x - params[0]) <= params[4] and abs(y - params[1]) <= params[5]
    if kind == 3:
        return ((x - params[0]) / params[4]) ** 2 + ((y - params[1]) / params[5]) ** 2 <= 1.0
    return is_in_polygon(vertices, 0, vertices.shape[0], x, y)


@device
def form(mirror, i, u, v, w):
    """The vector M p of facet i at a point of its frame."""
    m = mirror.quadric
    return (
        m[i, 0] * u + m[i, 3] * v + m[i, 4] * w,
        m[i, 3] * u + m[i, 1] * v + m[i, 5] * w,
        m[i, 4] * u + m[i, 5] * v + m[i, 2] * w,
    )


@device
def to_facet(mirror, i, x, y, z):
    """Components of a vector of the dish frame along the axes of facet i."""
    axes = mirror.axes
    return (
        x * axes[i, 0] + y * axes[i, 1] + z * axes[i, 2],
        x * axes[i, 3] + y * axes[i, 4] + z * axes[i, 5],
        x * axes[i, 6] + y * axes[i, 7] + z * axes[i, 8],
    )


@device
def from_facet(mirror, i, u, v, w):
    """The inverse of to_facet."""
    axes = mirror.axes
    return (
        u * axes[i, 0] + v * axes[i, 3] + w * axes[i, 6],
        u * axes[i, 1] + v * axes[i, 4] + w * axes[i, 7],
        u * axes[i, 2] + v * axes[i, 5] + w * axes[i, 8],
    )


@device
def facet_shape(mirror, i):
    """Numbers of facet i as a tuple: quadric (6), axes (9), origin (3)."""
    m, e, o = mirror.quadric, mirror.axes, mirror.origin
    return (
        (m[i, 0], m[i, 1], m[i, 2], m[i, 3], m[i, 4], m[i, 5]),
        (e[i, 0], e[i, 1], e[i, 2], e[i, 3], e[i, 4], e[i, 5], e[i, 6], e[i, 7], e[i, 8]),
        (o[i, 0], o[i, 1], o[i, 2]),
    )


@device
def facet_place(shape, u, v):
    """Place on a facet above (u, v), and its normal scaled to 1 along w: six numbers, dish frame; of facet_shape."""
    m, e, o = shape
    q = m[0] * u * u + m[1] * v * v + 2.0 * m[3] * u * v
    b = 1.0 - 2.0 * (m[4] * u + m[5] * v)
    d = b * b - 4.0 * m[2] * q
    w = 2.0 * q / (b + math.sqrt(d if d > 0.0 else 0.0))
    scale = -2.0 / (1.0 - 2.0 * (m[4] * u + m[5] * v + m[2] * w))
    nu, nv = (m[0] * u + m[3] * v + m[4] * w) * scale, (m[3] * u + m[1] * v + m[5] * w) * scale
    return (
        u * e[0] + v * e[3] + w * e[6] + o[0],
        u * e[1] + v * e[4] + w * e[7] + o[1],
        u * e[2] + v * e[5] + w * e[8] + o[2],
        nu * e[0] + nv * e[3] + e[6],
        nu * e[1] + nv * e[4] + e[7],
        nu * e[2] + nv * e[5] + e[8],
    )


@device
def facet_normal(mirror, i, x, y, z):
    """Unit normal of facet i at a place on it, towards the reflecting side."""
    u, v, w = to_facet(mirror, i, x - mirror.origin[i, 0], y - mirror.origin[i, 1], z - mirror.origin[i, 2])
    fu, fv, fw = form(mirror, i, u, v, w)
    nu, nv, nw = -2.0 * fu, -2.0 * fv, 1.0 - 2.0 * fw
    s = 1.0 / math.sqrt(nu * nu + nv * nv + nw * nw)
    return from_facet(mirror, i, nu * s, nv * s, nw * s)


@device
def _is_on_sheet(mirror, i, u, v, w):
    """Whether a point of the quadric belongs to the facet: the near sheet, inside the outline."""
    _, _, fw = form(mirror, i, u, v, w)
    return 1.0 - 2.0 * fw > 0.0 and is_in_outline(mirror, i, u, v)


@device
def facet_hit(mirror, i, ox, oy, oz, dx, dy, dz, is_leaving):
    """Distance to facet i, front or back, infinite when missed [in lengths of d].

    Uses q = -(b + sign(b) sqrt(D)) / 2, t = c / q, q / a; a ray that leaves the facet has c = 0 exactly.
    """
    du, dv, dw = to_facet(mirror, i, dx, dy, dz)
    u, v, w = to_facet(mirror, i, ox - mirror.origin[i, 0], oy - mirror.origin[i, 1], oz - mirror.origin[i, 2])
    fu, fv, fw = form(mirror, i, du, dv, dw)
    a = du * fu + dv * fv + dw * fw
    b = 2.0 * (u * fu + v * fv + w * fw) - dw
    if is_leaving:
        t = -b / a if a * b < 0.0 else np.inf
        if t < np.inf and _is_on_sheet(mirror, i, u + t * du, v + t * dv, w + t * dw):
            return t
        return np.inf
    fu, fv, fw = form(mirror, i, u, v, w)
    c = u * fu + v * fv + w * fw - w
    discriminant = b * b - 4.0 * a * c
    if discriminant < 0.0:
        return np.inf
    q = -0.5 * (b + math.copysign(math.sqrt(discriminant), b))
    t0 = c / q if q != 0.0 else np.inf
    t1 = q / a if a != 0.0 else np.inf
    if t0 > t1:
        t0, t1 = t1, t0
    if t0 > 0.0 and _is_on_sheet(mirror, i, u + t0 * du, v + t0 * dv, w + t0 * dw):
        return t0
    if 0.0 < t1 < np.inf and _is_on_sheet(mirror, i, u + t1 * du, v + t1 * dv, w + t1 * dw):
        return t1
    return np.inf


@device
def outline_box(mirror, i):
    """Middle and half widths of a box around facet i's outline, in its plane: (u, v, half u, half v) [m]."""
    params, hair = mirror.params, 1.0 + 1e-9
    if mirror.kind[i] == 0:
        return params[i, 0], params[i, 1], params[i, 2] * hair, params[i, 2] * hair
    if mirror.kind[i] == 1 or mirror.kind[i] == 3:
        return params[i, 0], params[i, 1], params[i, 4] * hair, params[i, 5] * hair
    u0 = v0 = np.inf
    u1 = v1 = -np.inf
    for k in range(mirror.first_vertex[i], mirror.first_vertex[i + 1]):
        u, v = mirror.vertices[k, 0], mirror.vertices[k, 1]
        u0, u1, v0, v1 = min(u0, u), max(u1, u), min(v0, v), max(v1, v)
    return 0.5 * (u0 + u1), 0.5 * (v0 + v1), 0.5 * (u1 - u0) * hair + 1e-12, 0.5 * (v1 - v0) * hair + 1e-12


@device
def reflectance_at(mirror, i, cosine):
    """Reflectance of facet i, from values at equal steps of the incidence angle's cosine from 0 to 1."""
    table = mirror.reflectance
    n = table.shape[0] - 1
    if n == 0:
        return table[0] * mirror.brightness[i]
    position = min(max(cosine, 0.0), 1.0) * n
    k = min(int(position), n - 1)
    return (table[k] + (position - k) * (table[k + 1] - table[k])) * mirror.brightness[i]


@device
def reflected(nx, ny, nz, dx, dy, dz, slope_a, slope_b, spread_a, spread_b):
    """Unit direction after reflection of the unit direction d.

    slope_a, slope_b: deviations of the normal; spread_a, spread_b: of the reflected ray [tangents].
    """
    mx, my, mz = tilted(nx, ny, nz, slope_a, slope_b)
    k = 2.0 * (dx * mx + dy * my + dz * mz)
    return tilted(dx - k * mx, dy - k * my, dz - k * mz, spread_a, spread_b)
