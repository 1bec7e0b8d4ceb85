"""Start the rays of the two populations: light that meets the mirror, and light that meets parts directly."""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.mirror import mirror_hit, mirror_normal, reflectance_at, reflected
from dishtrace.trace.kernels.sampling import (
    first_point,
    next_point,
    normal_quantile,
    outline_point,
    perpendicular,
    sun_tan2,
    unit,
)
from dishtrace.trace.kernels.triangles import FAR, transmitted_share
from dishtrace.trace.kernels.walk import note_place, walk
from dishtrace.trace.optics import LEAVING, MIRROR_ABSORBED, OUTLINE, SHADED
from dishtrace.trace.points import N_SCRAMBLES


@device
def sun_direction(sun, jitter, u2, u3, u8, u9):
    """Vector towards a point of the sun, of length 1 / cos(theta), and cos(theta), theta the angle from its centre."""
    cx, cy, cz = sun.center[0], sun.center[1], sun.center[2]
    e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(cx, cy, cz)
    if jitter > 0.0:
        a, b = jitter * normal_quantile(u8), jitter * normal_quantile(u9)
        s = 1.0 / math.sqrt(1.0 + a * a + b * b)
        cx, cy, cz = (cx + a * e1x + b * e2x) * s, (cy + a * e1y + b * e2y) * s, (cz + a * e1z + b * e2z) * s
        e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(cx, cy, cz)
    tan2 = sun_tan2(sun.table, u2)
    tan, phi = math.sqrt(tan2), 2.0 * math.pi * u3
    a, b = tan * math.cos(phi), tan * math.sin(phi)
    return cx + a * e1x + b * e2x, cy + a * e1y + b * e2y, cz + a * e1z + b * e2z, 1.0 / math.sqrt(1.0 + tan2)


@device
def trace_mirror_ray(
    mirror, sun, parts, tree_clear, tree_solid, screens, tally, points, scratch, scramble, row, ray, p
):
    """One ray of the mirror population from its point p (13,) of 32-bit words."""
    x, y = outline_point(mirror.kind, mirror.params, mirror.triangles, mirror.cdf, unit(p[0]), unit(p[1]))
    z = (x * x + y * y) / (4.0 * mirror.focal)
    sx, sy, sz, cosine = sun_direction(sun, mirror.jitter, unit(p[2]), unit(p[3]), unit(p[8]), unit(p[9]))
    weight = mirror.power * (sz - (x * sx + y * sy) / (2.0 * mirror.focal))
    if weight <= 0.0:
        return
    tally.budget[scramble, OUTLINE] += weight
    sx, sy, sz = sx * cosine, sy * cosine, sz * cosine
    if scratch[2].shape[0] > 0:
        note_place(
            scratch[2],
            scratch[3],
            x + 2.5 * mirror.focal * sx,
            y + 2.5 * mirror.focal * sy,
            z + 2.5 * mirror.focal * sz,
        )
        note_place(scratch[2], scratch[3], x, y, z)
    share = 1.0 if mirror_hit(mirror, x, y, z, sx, sy, sz, True) >= FAR else 0.0
    if share > 0.0:
        share = transmitted_share(tree_clear, parts, x, y, z, sx, sy, sz, -1, scratch[0], True)
    if share > 0.0:
        share *= transmitted_share(tree_solid, parts, x, y, z, sx, sy, sz, -1, scratch[0], True)
    arriving = weight * share
    tally.budget[scramble, SHADED] += weight - arriving
    if arriving <= 0.0:
        return
    nx, ny, nz = mirror_normal(mirror.focal, x, y)
    kept = arriving * reflectance_at(mirror.reflectance, sx * nx + sy * ny + sz * nz)
    sa = sb = ba = bb = 0.0
    if mirror.slope > 0.0:
        sa, sb = mirror.slope * normal_quantile(unit(p[4])), mirror.slope * normal_quantile(unit(p[5]))
    if mirror.spread > 0.0:
        ba, bb = mirror.spread * normal_quantile(unit(p[6])), mirror.spread * normal_quantile(unit(p[7]))
    dx, dy, dz = reflected(nx, ny, nz, -sx, -sy, -sz, sa, sb, ba, bb)
    if dx * nx + dy * ny + dz * nz <= 0.0:
        kept = 0.0
    tally.budget[scramble, MIRROR_ABSORBED] += arriving - kept
    tally.budget[scramble, LEAVING] += kept
    if kept > 0.0:
        walk(
            mirror,
            parts,
            tree_clear,
            tree_solid,
            screens,
            tally,
            points,
            scratch,
            scramble,
            row,
            ray,
            False,
            x,
            y,
            z,
            dx,
            dy,
            dz,
            kept,
            -1,
            unit(p[10]),
            unit(p[11]),
            unit(p[12]),
        )


@device
def trace_direct_ray(
    mirror, sun, parts, tree_clear, tree_solid, screens, tally, points, scratch, scramble, row, ray, p
):
    """One ray of the direct population from its point p (8,) of 32-bit words."""
    u = unit(p[0])
    tri = min(np.searchsorted(parts.direct_cdf, u, side="right"), parts.direct_cdf.shape[0] - 1)
    su = math.sqrt(unit(p[1]))
    b, c = su * (1.0 - unit(p[2])), su * unit(p[2])
    corner = parts.corners[tri]
    x, y, z = (
        corner[0] + b * corner[3] + c * corner[6],
        corner[1] + b * corner[4] + c * corner[7],
        corner[2] + b * corner[5] + c * corner[8],
    )
    # The jitter of the dish axis does not move the sun for parts that stand still; for parts on the dish it is
    # a few mrad of incidence, far below notice: the direct light comes from the sun's fixed place.
    sx, sy, sz, cosine = sun_direction(sun, 0.0, unit(p[3]), unit(p[4]), 0.5, 0.5)
    nx, ny, nz = parts.normal[tri, 0], parts.normal[tri, 1], parts.normal[tri, 2]
    weight = parts.direct_power[tri] * abs(sx * nx + sy * ny + sz * nz)
    sx, sy, sz = sx * cosine, sy * cosine, sz * cosine
    if weight <= 0.0 or mirror_hit(mirror, x, y, z, sx, sy, sz, False) < FAR:
        return
    if transmitted_share(tree_clear, parts, x, y, z, sx, sy, sz, tri, scratch[0], False) == 0.0:
        return
    if transmitted_share(tree_solid, parts, x, y, z, sx, sy, sz, tri, scratch[0], False) == 0.0:
        return
    walk(
        mirror,
        parts,
        tree_clear,
        tree_solid,
        screens,
        tally,
        points,
        scratch,
        scramble,
        row,
        ray,
        True,
        x,
        y,
        z,
        -sx,
        -sy,
        -sz,
        weight,
        tri,
        unit(p[5]),
        unit(p[6]),
        unit(p[7]),
    )


@device
def trace_mirror_rays(
    mirror,
    sun,
    parts,
    tree_clear,
    tree_solid,
    screens,
    tally,
    points,
    scratch,
    scramble,
    row,
    start,
    count,
    state,
):
    """Mirror rays `start .. start + count - 1` of one scramble; state (13,) uint32 is scratch."""
    first_point(points.columns, points.shifts, scramble, start, state)
    for index in range(start, start + count):
        if index > start:
            next_point(points.columns, scramble, index, state)
        trace_mirror_ray(
            mirror,
            sun,
            parts,
            tree_clear,
            tree_solid,
            screens,
            tally,
            points,
            scratch,
            scramble,
            row,
            index * N_SCRAMBLES + scramble,
            state,
        )


@device
def trace_direct_rays(
    mirror,
    sun,
    parts,
    tree_clear,
    tree_solid,
    screens,
    tally,
    points,
    scratch,
    scramble,
    row,
    start,
    count,
    state,
):
    """Direct rays `start .. start + count - 1` of one scramble; state (8,) uint32 is scratch."""
    first_point(points.columns, points.shifts, scramble, start, state)
    for index in range(start, start + count):
        if index > start:
            next_point(points.columns, scramble, index, state)
        trace_direct_ray(
            mirror,
            sun,
            parts,
            tree_clear,
            tree_solid,
            screens,
            tally,
            points,
            scratch,
            scramble,
            row,
            index * N_SCRAMBLES + scramble,
            state,
        )
