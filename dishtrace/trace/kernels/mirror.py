"""The paraboloid z = (x^2 + y^2) / (4 f): where rays meet it, and what it reflects."""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.sampling import tilted


@device
def is_in_outline(kind, params, vertices, x, y):
    """Whether a point in plan lies on the mirror: inside the outline and outside the hole."""
    if kind == 0:
        r2 = (x - params[0]) ** 2 + (y - params[1]) ** 2
        return params[3] * params[3] <= r2 <= params[2] * params[2]
    if kind == 1:
        return abs(x - params[0]) <= params[4] and abs(y - params[1]) <= params[5]
    is_inside = False
    j = vertices.shape[0] - 1
    for i in range(vertices.shape[0]):
        y0, y1 = vertices[i, 1], vertices[j, 1]
        if (y0 > y) != (y1 > y) and x < vertices[i, 0] + (y - y0) * (vertices[j, 0] - vertices[i, 0]) / (
            y1 - y0
        ):
            is_inside = not is_inside
        j = i
    return is_inside


@device
def mirror_hit(mirror, ox, oy, oz, dx, dy, dz, is_on_mirror):
    """Distance to the next hit on the mirror, front or back; infinite when there is none [in lengths of d].

    Uses q = -(b + sign(b) sqrt(D)) / 2, t = c / q, q / a; a ray that leaves the mirror has c = 0 exactly.
    """
    if dz >= 0.0 and oz > mirror.z_max:
        return np.inf
    f4 = 4.0 * mirror.focal
    a = (dx * dx + dy * dy) / f4
    b = 2.0 * (ox * dx + oy * dy) / f4 - dz
    if is_on_mirror:
        # The further root is -b / a: reject without dividing when it lies above the rim.
        if a == 0.0 or b * a >= 0.0 or (dz > 0.0 and -b * dz > a * (mirror.z_max - oz)):
            return np.inf
        t = -b / a
        if is_in_outline(mirror.kind, mirror.params, mirror.vertices, ox + t * dx, oy + t * dy):
            return t
        return np.inf
    c = (ox * ox + oy * oy) / f4 - oz
    discriminant = b * b - 4.0 * a * c
    if discriminant < 0.0:
        return np.inf
    q = -0.5 * (b + math.copysign(math.sqrt(discriminant), b))
    t0 = c / q if q != 0.0 else np.inf
    t1 = q / a if a != 0.0 else np.inf
    if t0 > t1:
        t0, t1 = t1, t0
    if t0 > 0.0 and is_in_outline(mirror.kind, mirror.params, mirror.vertices, ox + t0 * dx, oy + t0 * dy):
        return t0
    if 0.0 < t1 < np.inf and is_in_outline(
        mirror.kind, mirror.params, mirror.vertices, ox + t1 * dx, oy + t1 * dy
    ):
        return t1
    return np.inf


@device
def reflectance_at(table, cosine):
    """Reflectance at an incidence angle, from values at equal steps of its cosine from 0 to 1."""
    n = table.shape[0] - 1
    if n == 0:
        return table[0]
    position = min(max(cosine, 0.0), 1.0) * n
    i = min(int(position), n - 1)
    return table[i] + (position - i) * (table[i + 1] - table[i])


@device
def mirror_normal(focal, x, y):
    """Unit normal towards the reflecting side."""
    px, py = -x / (2.0 * focal), -y / (2.0 * focal)
    s = 1.0 / math.sqrt(1.0 + px * px + py * py)
    return px * s, py * s, s


@device
def reflected(nx, ny, nz, dx, dy, dz, slope_a, slope_b, spread_a, spread_b):
    """Unit direction after reflection of the unit direction d.

    slope_a, slope_b: deviations of the normal; spread_a, spread_b: of the reflected ray [tangents].
    """
    mx, my, mz = nx, ny, nz
    if slope_a != 0.0 or slope_b != 0.0:
        mx, my, mz = tilted(nx, ny, nz, slope_a, slope_b)
    k = 2.0 * (dx * mx + dy * my + dz * mz)
    rx, ry, rz = dx - k * mx, dy - k * my, dz - k * mz
    if spread_a != 0.0 or spread_b != 0.0:
        return tilted(rx, ry, rz, spread_a, spread_b)
    return rx, ry, rz
