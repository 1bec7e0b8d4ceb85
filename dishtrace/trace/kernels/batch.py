"""Many mirror rays made at once, step by step over columns, so that the processor works on several in one instruction.

A loop here has no branch that depends on the ray, and touches one array at distances known when it is compiled: else
the compiler falls back to one ray at a time, with the same answer.
"""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.mirror import SKIN, facet_place, facet_shape, outline_box, outline_point, reflected
from dishtrace.trace.kernels.sampling import (
    CENTRE,
    central_quantile,
    cos_sin_turns,
    normal_quantile,
    perpendicular,
    picked,
    sun_tan2,
    unit,
)
from dishtrace.trace.points import FACET_DIMENSION

# Rays made at once: their columns stay in the nearest cache.
BATCH = 256
# Columns of the scratch array, each BATCH long: place, unit normal, unit vector to the sun, power, place in the
# facet's plane, unit direction after reflection, deviations of slope and spread, and the unit vector outwards.
X, Y, Z, NX, NY, NZ, SX, SY, SZ, POWER, U, V, DX, DY, DZ = (BATCH * k for k in range(15))
SLOPE_A, SLOPE_B, SPREAD_A, SPREAD_B, OUT_X, OUT_Y = (BATCH * k for k in range(15, 21))
N_COLUMNS = 21


@device
def batch_points(points, scramble, first, words):
    """Words (d, BATCH) of the points first .. first + BATCH - 1 of a scramble, first a multiple of BATCH.

    The Gray code of first + j is that of first, changed in the bits of j alone.
    """
    gray = np.uint64(first) ^ (np.uint64(first) >> np.uint64(1))
    for d in range(points.shifts.shape[1]):
        x = points.shifts[scramble, d]
        for k in range(32):
            if (gray >> np.uint64(k)) & np.uint64(1):
                x ^= points.columns[scramble, d, k]
        words[d, 0] = x
        n = 1
        k = 0
        while n < BATCH:
            # The second half of a Gray code is the first backwards, with one bit more.
            step = points.columns[scramble, d, k]
            for j in range(n):
                words[d, n + j] = words[d, n - 1 - j] ^ step
            n *= 2
            k += 1


@device
def batch_facets(mirror, words, facets, b):
    """Which facet each ray starts on, and where in its plane: as outline_point has it."""
    if mirror.kind.shape[0] == 1 and mirror.kind[SKIN] == 0:
        u, v, r0, r1 = mirror.params[SKIN, 0], mirror.params[SKIN, 1], mirror.params[SKIN, 3], mirror.params[SKIN, 2]
        for j in range(BATCH):
            r = math.sqrt(r0 * r0 + unit(words[0, j]) * (r1 * r1 - r0 * r0))
            cos, sin = cos_sin_turns(unit(words[1, j]))
            b[U + j], b[V + j] = u + r * cos, v + r * sin
        for j in range(BATCH):
            facets[j] = 0
        return
    for j in range(BATCH):
        facet, _ = picked(mirror.pick_cdf, unit(words[FACET_DIMENSION, j]))
        facets[j] = facet
        b[U + j], b[V + j] = outline_point(mirror, facet, unit(words[0, j]), unit(words[1, j]))


@device
def batch_places(mirror, facets, b):
    """Where the rays start, with unit normal, power over cos(i) in POWER, and which way is outwards."""
    if mirror.kind.shape[0] == 1:
        shape, power = facet_shape(mirror, SKIN), mirror.power[SKIN]
        for j in range(BATCH):
            place_ray(shape, power, j, b)
        for j in range(BATCH):
            b[OUT_X + j], b[OUT_Y + j] = outwards(b[X + j], b[Y + j])
    else:
        for j in range(BATCH):
            place_ray(facet_shape(mirror, facets[j]), mirror.power[facets[j]], j, b)
        for j in range(BATCH):
            b[OUT_X + j], b[OUT_Y + j] = 1.0, 0.0


@device
def place_ray(shape, power, j, b):
    """Place, normal and power of ray j on a facet."""
    x, y, z, nx, ny, nz = facet_place(shape, b[U + j], b[V + j])
    length = math.sqrt(nx * nx + ny * ny + nz * nz)
    s = 1.0 / length
    b[X + j], b[Y + j], b[Z + j] = x, y, z
    b[NX + j], b[NY + j], b[NZ + j] = nx * s, ny * s, nz * s
    b[POWER + j] = power * length


@device
def outwards(x, y):
    """Unit vector from the dish axis to a place of a skin; what deviates is counted along it and across.

    A skin that is the same all around then treats rays of all directions from the axis alike, so that fewer dimensions
    of the points matter: errors of its light on a disc are up to two fifths smaller. Facets, each of which lies its own
    way, gain nothing (`benchmarks/errors_told.md`), and count along x and y.
    """
    r2 = x * x + y * y
    s = 1.0 / math.sqrt(r2)
    return x * s if r2 > 0.0 else 1.0, y * s if r2 > 0.0 else 0.0


@device
def counted_outwards(a, b, out_x, out_y):
    """Two numbers along and across the way outwards, along x and y."""
    return a * out_x - b * out_y, a * out_y + b * out_x


@device
def batch_sun(sun, jitter, words, b):
    """Unit vectors to a point of the sun, and the power that each ray carries."""
    cx, cy, cz = sun.center[0], sun.center[1], sun.center[2]
    e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(cx, cy, cz)
    for j in range(BATCH):
        b[SX + j] = sun_tan2(sun.table, unit(words[2, j]))
    if jitter > 0.0:
        for j in range(BATCH):
            p, q = jitter * normal_quantile(unit(words[8, j])), jitter * normal_quantile(unit(words[9, j]))
            p, q = counted_outwards(p, q, b[OUT_X + j], b[OUT_Y + j])
            s = 1.0 / math.sqrt(1.0 + p * p + q * q)
            ax, ay, az = (cx + p * e1x + q * e2x) * s, (cy + p * e1y + q * e2y) * s, (cz + p * e1z + q * e2z) * s
            f1x, f1y, f1z, f2x, f2y, f2z = perpendicular(ax, ay, az)
            length, tan = math.sqrt(1.0 + b[SX + j]), math.sqrt(b[SX + j])
            cos, sin = cos_sin_turns(unit(words[3, j]))
            p, q = counted_outwards(tan * cos, tan * sin, b[OUT_X + j], b[OUT_Y + j])
            s = 1.0 / length
            b[SX + j], b[SY + j] = (ax + p * f1x + q * f2x) * s, (ay + p * f1y + q * f2y) * s
            b[SZ + j] = (az + p * f1z + q * f2z) * s
            b[POWER + j] *= length * (b[SX + j] * b[NX + j] + b[SY + j] * b[NY + j] + b[SZ + j] * b[NZ + j])
        return
    for j in range(BATCH):
        length, tan = math.sqrt(1.0 + b[SX + j]), math.sqrt(b[SX + j])
        cos, sin = cos_sin_turns(unit(words[3, j]))
        p, q = counted_outwards(tan * cos, tan * sin, b[OUT_X + j], b[OUT_Y + j])
        s = 1.0 / length
        b[SX + j], b[SY + j] = (cx + p * e1x + q * e2x) * s, (cy + p * e1y + q * e2y) * s
        b[SZ + j] = (cz + p * e1z + q * e2z) * s
        b[POWER + j] *= length * (b[SX + j] * b[NX + j] + b[SY + j] * b[NY + j] + b[SZ + j] * b[NZ + j])


@device
def batch_normals(words, low, high, tails, b):
    """Standard normal numbers of dimensions low .. high - 1 into their columns: the middles, then the tails.

    tails (BATCH,) int64 is scratch: those in the tails, gathered so that the processor need not guess which they are.
    """
    for d in range(low, high):
        column = SLOPE_A + BATCH * (d - 4)
        for j in range(BATCH):
            b[column + j] = central_quantile(unit(words[d, j]) - 0.5)
        n_tails = 0
        for j in range(BATCH):
            tails[n_tails] = j
            n_tails += 1 if abs(unit(words[d, j]) - 0.5) > CENTRE else 0
        for k in range(n_tails):
            b[column + tails[k]] = normal_quantile(unit(words[d, tails[k]]))


@device
def batch_deviations(mirror, facets, words, tails, b):
    """Deviations of the normal and of the reflected ray: the columns SLOPE_A to SPREAD_B [tangents]."""
    has_slope = False
    for i in range(mirror.slope.shape[0]):
        has_slope = has_slope or mirror.slope[i] > 0.0
    spread = mirror.spread
    batch_normals(words, 4 if has_slope else 6, 8 if spread > 0.0 else 6, tails, b)
    for j in range(BATCH):
        slope, out_x, out_y = mirror.slope[facets[j]], b[OUT_X + j], b[OUT_Y + j]
        b[SLOPE_A + j], b[SLOPE_B + j] = counted_outwards(slope * b[SLOPE_A + j], slope * b[SLOPE_B + j], out_x, out_y)
        b[SPREAD_A + j], b[SPREAD_B + j] = counted_outwards(
            spread * b[SPREAD_A + j], spread * b[SPREAD_B + j], out_x, out_y
        )


@device
def batch_reflected(b):
    """Unit directions after the first reflection, before what the surface keeps of the light."""
    for j in range(BATCH):
        b[DX + j], b[DY + j], b[DZ + j] = reflected(
            b[NX + j],
            b[NY + j],
            b[NZ + j],
            -b[SX + j],
            -b[SY + j],
            -b[SZ + j],
            b[SLOPE_A + j],
            b[SLOPE_B + j],
            b[SPREAD_A + j],
            b[SPREAD_B + j],
        )


@device
def batch_meets_skin(mirror, columns, place, direction, out, maybe):
    """Whether light that leaves a mirror of one facet may meet it again: 1 or 0 into a column of another array.

    place, direction: the first of three columns each. The same arithmetic as facet_hit, with the outline's box in place
    of the outline: who gets 0 misses.
    """
    mu, mv, half_u, half_v = outline_box(mirror, SKIN)
    m, e, o = facet_shape(mirror, SKIN)
    for j in range(BATCH):
        x, y, z = columns[place + j] - o[0], columns[place + BATCH + j] - o[1], columns[place + 2 * BATCH + j] - o[2]
        dx, dy, dz = columns[direction + j], columns[direction + BATCH + j], columns[direction + 2 * BATCH + j]
        du, dv, dw = (
            dx * e[0] + dy * e[1] + dz * e[2],
            dx * e[3] + dy * e[4] + dz * e[5],
            dx * e[6] + dy * e[7] + dz * e[8],
        )
        u, v, w = x * e[0] + y * e[1] + z * e[2], x * e[3] + y * e[4] + z * e[5], x * e[6] + y * e[7] + z * e[8]
        fu = m[0] * du + m[3] * dv + m[4] * dw
        fv = m[3] * du + m[1] * dv + m[5] * dw
        fw = m[4] * du + m[5] * dv + m[2] * dw
        a, b = du * fu + dv * fv + dw * fw, 2.0 * (u * fu + v * fv + w * fw) - dw
        t = -b / a
        is_inside = (abs(u + t * du - mu) <= half_u) & (abs(v + t * dv - mv) <= half_v)
        out[maybe + j] = 1.0 if (a * b < 0.0) & is_inside else 0.0


@device
def batch_rays(points, mirror, sun, scramble, first, words, facets, tails, b):
    """All columns up to the direction after reflection, for the rays of a batch; tails (BATCH,) int64 is scratch."""
    batch_points(points, scramble, first, words)
    batch_facets(mirror, words, facets, b)
    batch_places(mirror, facets, b)
    batch_sun(sun, mirror.jitter, words, b)
    batch_deviations(mirror, facets, words, tails, b)
    batch_reflected(b)
