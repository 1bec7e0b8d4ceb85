"""Rays against bodies turned about an axis, in closed form: the hull tells who misses, a place tells the triangle.

The body's faces are flat: what is met is one of its triangles, found by its place and then tested as the tree would. A
body without dents has one place where light comes in, so a triangle met from outside, well within its edges, is the
first. Whatever is less plain, near an edge, grazing or from inside, is left to the tree.
"""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.going import (
    ASKING,
    CROSS_A,
    CROSS_B,
    CROSSING,
    END,
    GUESSED,
    POWER_NOW,
    PX,
    PY,
    PZ,
    RADIUS,
    RING_CELL,
    SPOT_CELL,
    TRIAL,
    TRIANGLE_LEFT,
    TRIANGLE_MET,
    VX,
    VY,
    VZ,
)
from dishtrace.trace.turned import (
    A0,
    A1,
    ALPHA,
    BETA,
    FAN,
    FIRST,
    FIRST_NUMBER,
    FROM,
    GAMMA,
    HALVING,
    HIGH,
    IS_FLAT,
    KIND,
    LOW,
    MIDDLES,
    NEXT,
    NR,
    NUMBER_OF,
    NZ,
    OFF,
    PART,
    PER,
    PREVIOUS,
    REACH,
    START,
    TAN,
    TURN,
    UA,
    UZ,
    WIDENS,
    Z0,
)

# How a ray stands to a hull: it misses, or is not plain; else it comes in by the wall, the lower or the upper end.
MISSING, UNSURE, WALL, LOWER_END, UPPER_END = -1.0, -0.5, 0.0, 1.0, 2.0
# Columns of what is known of each lane: how it stands, way to the hull [m], place there in the body's axes [m], and
# its angle about the axis [turns]. A screen uses them for its own later.
HOW, WAY, AT_X, AT_Y, AT_Z, ANGLE = RADIUS, SPOT_CELL, CROSS_A, CROSS_B, CROSSING, RING_CELL
# Then the triangle that it should meet, where, and whether it plainly does; and triangles on trial, so many at once.
GUESS, GUESS_AT, IS_MET = GUESSED, WAY, ASKING
TRIED = 32
# Within such a share of an edge a neighbour may be met as well: what rounding makes of a way of 10 m to triangles of
# a twentieth of a millimetre that are seen at the cosine below.
NEAR_EDGE = 1e-6
# Light that grazes by less than this cosine is left to the tree.
GRAZING = 1e-3
# Looks at the place of a meeting, each setting right what the last one found.
ATTEMPTS = 3
# Below this share of the direction across the axis, a ray is along it.
ALONG = 1e-6
# arctan(q) / 2 pi for 0 <= q <= 1, odd powers from the first up, to 5e-8: least squares at Chebyshev's points.
_ARCTAN = (
    0.1591542465286788,
    -0.05302406402846231,
    0.031507732204718794,
    -0.02100193069115519,
    0.012573214029545945,
    -0.0052688643284100785,
    0.0010596997053376814,
)


@device
def turns_of(x, y):
    """Angle of (x, y) from the x axis, in turns from 0 to 1, to 5e-8."""
    ax, ay = abs(x), abs(y)
    low, high = (ay if ay < ax else ax), (ax if ay < ax else ay)
    q = low / (high + 1e-300)
    p = q * q
    t = q * (
        _ARCTAN[0]
        + p * (_ARCTAN[1] + p * (_ARCTAN[2] + p * (_ARCTAN[3] + p * (_ARCTAN[4] + p * (_ARCTAN[5] + p * _ARCTAN[6])))))
    )
    t = 0.25 - t if ay > ax else t
    t = 0.5 - t if x < 0.0 else t
    return 1.0 - t if y < 0.0 else t


@device
def hull_entries(bodies, f, g, n):
    """Where the first n lanes come into the hull of body f: the columns HOW to ANGLE."""
    e = hull = bodies.hulls[f]
    e0, e1, e2, e3, e4, e5, e6, e7, e8 = e[0], e[1], e[2], e[3], e[4], e[5], e[6], e[7], e[8]
    cx, cy, cz = e[9], e[10], e[11]
    low, high, alpha, beta, gamma = hull[LOW], hull[HIGH], hull[ALPHA], hull[BETA], hull[GAMMA]
    reach, widens = hull[REACH], hull[WIDENS]
    for j in range(n):
        px, py, pz = g[PX + j] - cx, g[PY + j] - cy, g[PZ + j] - cz
        vx, vy, vz = g[VX + j], g[VY + j], g[VZ + j]
        # From the place nearest to the body's middle on, so that far starts cost no digits.
        start = -(px * vx + py * vy + pz * vz)
        px, py, pz = px + start * vx, py + start * vy, pz + start * vz
        ox, oy, oz = px * e0 + py * e1 + pz * e2, px * e3 + py * e4 + pz * e5, px * e6 + py * e7 + pz * e8
        dx, dy, dz = vx * e0 + vy * e1 + vz * e2, vx * e3 + vy * e4 + vz * e5, vx * e6 + vy * e7 + vz * e8
        inverse = 1.0 / dz if abs(dz) > 1e-30 else 1e30
        t0, t1 = (low - oz) * inverse, (high - oz) * inverse
        slab_near, slab_far = (t0 if t0 < t1 else t1), (t1 if t0 < t1 else t0)
        a = dx * dx + dy * dy - gamma * dz * dz
        b = ox * dx + oy * dy - (0.5 * beta + gamma * oz) * dz
        c = ox * ox + oy * oy - (alpha + (beta + gamma * oz) * oz)
        square = b * b - a * c
        root = math.sqrt(square if square > 0.0 else 0.0)
        per = 1.0 / a
        t0, t1 = (-b - root) * per, (-b + root) * per
        # Steeper than a cone: inside it on, or up to, one of both places.
        is_steep, is_widening = a < 0.0, dz * widens > 0.0
        wall_near = (t0 if is_widening else -1e300) if is_steep else t0
        wall_far = (1e300 if is_widening else t1) if is_steep else t1
        wall_near = -1e300 if is_steep & (square <= 0.0) else wall_near
        wall_far = 1e300 if is_steep & (square <= 0.0) else wall_far
        is_end = slab_near > wall_near
        near, far = (slab_near if is_end else wall_near), (slab_far if slab_far < wall_far else wall_far)
        is_missing = (near > far) | (far + start < -reach) | ((a > 0.0) & (square < 0.0))
        is_plain = (near + start > reach) & (near <= far)
        how = (LOWER_END if dz > 0.0 else UPPER_END) if is_end else WALL
        how = how if is_plain else UNSURE
        how = MISSING if is_missing else how
        g[HOW + j] = UNSURE if abs(a) < ALONG else how
        g[WAY + j] = near + start
        x, y = ox + near * dx, oy + near * dy
        g[AT_X + j], g[AT_Y + j], g[AT_Z + j] = x, y, oz + near * dz
        g[ANGLE + j] = turns_of(x, y)


@device
def clipped(k, n):
    """A number of 0 .. n - 1 near k."""
    k = k if k < n else n - 1
    return k if k > 0 else np.int64(0)


@device
def band_near(bodies, f, how, x, y, z):
    """Band of a body near a place on its wall (how 0), its lower or its upper end; any where it has no such surface."""
    hull, at = bodies.hulls[f], 4 * how
    along = z if how == 0 else math.sqrt(x * x + y * y)
    cell = clipped(np.int64((along - hull[at + FROM]) * hull[at + PER]), np.int64(hull[at + NUMBER_OF]))
    return bodies.cells[np.int64(hull[at + START]) + cell]


@device
def guess_triangles(bodies, f, g, n):
    """The triangle that each of the first n lanes should meet where it comes into the hull: into the column GUESS.

    Its number in the kernels' list; any triangle for lanes that are not plain.
    """
    number, first = bodies.number, np.int64(bodies.hulls[f, FIRST_NUMBER])
    for j in range(n):
        x, y, z = g[AT_X + j], g[AT_Y + j], g[AT_Z + j]
        how = np.int64(g[HOW + j])
        band = bodies.bands[band_near(bodies, f, how if how > 0 else np.int64(0), x, y, z)]
        k = clipped(np.int64(g[ANGLE + j] * band[TURN]), np.int64(band[TURN]))
        at = np.int64(band[MIDDLES]) + k
        mx, my = bodies.middles[at, 0], bodies.middles[at, 1]
        across, out = y * mx - x * my, x * mx + y * my
        along = (out - band[A0]) * band[UA] + (z - band[Z0]) * band[UZ]
        g[GUESS + j] = number[first + triangle_in_band(band, k, across, along)]


@device
def put_on_trial(corners, g, j, i):
    """Lay the triangle that lane j should meet at place i of those on trial."""
    tri = np.int64(g[GUESS + j])
    for k in range(9):
        g[TRIAL + TRIED * k + i] = corners[tri, k]


@device
def try_guess(g, j, i, is_flat):
    """Where lane j meets the triangle at place i of those on trial, and whether from outside, well within its edges.

    Into the columns GUESS_AT and IS_MET. The arithmetic is that of triangle_hit, to the last bit.
    """
    dx, dy, dz = g[VX + j], g[VY + j], g[VZ + j]
    e1x, e1y, e1z = g[TRIAL + 3 * TRIED + i], g[TRIAL + 4 * TRIED + i], g[TRIAL + 5 * TRIED + i]
    e2x, e2y, e2z = g[TRIAL + 6 * TRIED + i], g[TRIAL + 7 * TRIED + i], g[TRIAL + 8 * TRIED + i]
    px, py, pz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
    determinant = e1x * px + e1y * py + e1z * pz
    inverse = 1.0 / determinant
    sx, sy, sz = g[PX + j] - g[TRIAL + i], g[PY + j] - g[TRIAL + TRIED + i], g[PZ + j] - g[TRIAL + 2 * TRIED + i]
    u = (sx * px + sy * py + sz * pz) * inverse
    qx, qy, qz = sy * e1z - sz * e1y, sz * e1x - sx * e1z, sx * e1y - sy * e1x
    v = (dx * qx + dy * qy + dz * qz) * inverse
    t = (e2x * qx + e2y * qy + e2z * qz) * inverse
    nx, ny, nz = e1y * e2z - e1z * e2y, e1z * e2x - e1x * e2z, e1x * e2y - e1y * e2x
    least = GRAZING * GRAZING * (nx * nx + ny * ny + nz * nz)
    is_plain = (determinant * determinant > least) & ((determinant > 0.0) | is_flat) & (t > 0.0)
    g[GUESS_AT + j] = t
    g[IS_MET + j] = 1.0 if is_plain & (u >= NEAR_EDGE) & (v >= NEAR_EDGE) & (u + v <= 1.0 - NEAR_EDGE) else 0.0


@device
def try_guesses(corners, g, n, is_flat):
    """Where each of the first n lanes meets its GUESS, and whether plainly."""
    start = 0
    while start < n:
        count = min(TRIED, n - start)
        for i in range(count):
            put_on_trial(corners, g, start + i, i)
        for i in range(count):
            try_guess(g, start + i, i, is_flat)
        start += TRIED


@device
def triangle_in_band(band, k, across, along):
    """Triangle of sector k of a band at a place in it: the order of rings.band."""
    near, far, kind = band[TAN] * band[A0], band[TAN] * band[A1], band[KIND]
    in_pair = np.int64(0) if across > along * (near + far) - near else np.int64(1)
    in_three = np.int64(0) if across < 0.0 else np.int64(2)
    in_three = np.int64(1) if abs(across) <= far * along else in_three
    place = 2 * k + in_pair
    place = 3 * k + in_three if kind == HALVING else place
    return np.int64(band[FIRST]) + (k if kind == FAN else place)


@device
def is_leaving(bodies, f, parts, tri, dx, dy, dz):
    """Whether light that starts on a triangle along d leaves body f outward, so that it cannot meet it again.

    Not light that goes straight through a cover: it starts a hair before the triangle.
    """
    if tri < 0 or parts.part[tri] != bodies.hulls[f, PART] or parts.cover[parts.part[tri], 0] > 0.0:
        return False
    cosine = dx * parts.normal[tri, 0] + dy * parts.normal[tri, 1] + dz * parts.normal[tri, 2]
    return cosine > GRAZING or (bodies.hulls[f, IS_FLAT] > 0.0 and cosine < -GRAZING)


@device
def better_guess(bodies, f, g, j):
    """The triangle for a lane whose first guess fails: its place is moved along the ray to the plane of its sector.

    Sector and band are set right by the place there; -1 where that does not end.
    """
    x, y, z, vx, vy, vz = g[AT_X + j], g[AT_Y + j], g[AT_Z + j], g[VX + j], g[VY + j], g[VZ + j]
    e = bodies.hulls[f]
    dx, dy = vx * e[0] + vy * e[1] + vz * e[2], vx * e[3] + vy * e[4] + vz * e[5]
    dz = vx * e[6] + vy * e[7] + vz * e[8]
    i, aside = band_near(bodies, f, np.int64(g[HOW + j]), x, y, z), np.int64(0)
    for _ in range(ATTEMPTS):
        band = bodies.bands[i]
        sectors = np.int64(band[TURN])
        k = (np.int64(g[ANGLE + j] * band[TURN]) + sectors + aside) % sectors
        at = np.int64(band[MIDDLES]) + k
        mx, my = bodies.middles[at, 0], bodies.middles[at, 1]
        t = band[OFF] - band[NR] * (x * mx + y * my) - band[NZ] * z
        t /= band[NR] * (dx * mx + dy * my) + band[NZ] * dz
        x, y, z = x + t * dx, y + t * dy, z + t * dz
        across, out = y * mx - x * my, x * mx + y * my
        along = (out - band[A0]) * band[UA] + (z - band[Z0]) * band[UZ]
        if along < 0.0 or along > 1.0:
            i = np.int64(band[PREVIOUS] if along < 0.0 else band[NEXT])
            if i < 0:
                return np.int64(-1)
        elif abs(across) > band[TAN] * out:
            aside += 1 if across > 0.0 else -1
        else:
            return np.int64(bodies.number[np.int64(e[FIRST_NUMBER]) + triangle_in_band(band, k, across, along)])
    return np.int64(-1)


@device
def meet_body(bodies, f, parts, g, m, n):
    """closest_hits for body f where that is plain; a lane is ASKING where it is not."""
    is_flat = bodies.hulls[f, IS_FLAT] > 0.0
    hull_entries(bodies, f, g, n)
    guess_triangles(bodies, f, g, n)
    try_guesses(parts.corners, g, n, is_flat)
    for j in range(n):
        how, left = g[HOW + j], m[TRIANGLE_LEFT + j]
        if how == MISSING or g[POWER_NOW + j] <= 0.0:
            g[ASKING + j] = 0.0
            continue
        if is_leaving(bodies, f, parts, left, g[VX + j], g[VY + j], g[VZ + j]):
            g[ASKING + j] = 0.0
            continue
        if how >= WALL and not g[IS_MET + j] > 0.0:
            better = better_guess(bodies, f, g, j)
            if better >= 0:
                g[GUESS + j] = better
                put_on_trial(parts.corners, g, j, np.int64(0))
                try_guess(g, j, np.int64(0), is_flat)
        t, tri = g[GUESS_AT + j], np.int64(g[GUESS + j])
        is_told = how >= WALL and g[IS_MET + j] > 0.0 and tri != left
        g[ASKING + j] = 0.0 if is_told else 1.0
        if is_told and t < g[END + j]:
            g[END + j], m[TRIANGLE_MET + j] = t, tri
