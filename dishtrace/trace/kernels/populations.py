"""Start the rays of the two populations: light that meets the mirror, and light that meets parts directly."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import (
    BATCH,
    DX,
    DY,
    DZ,
    KEPT,
    NX,
    NY,
    NZ,
    POWER,
    SX,
    SY,
    SZ,
    X,
    Y,
    Z,
    batch_rays,
)
from dishtrace.trace.kernels.mirror import is_over_outline, reflectance_at
from dishtrace.trace.kernels.sampling import (
    cos_sin_turns,
    first_point,
    next_point,
    perpendicular,
    picked,
    sun_tan2,
    unit,
)
from dishtrace.trace.kernels.screens import record_batch
from dishtrace.trace.kernels.triangles import FAR, is_front, next_facet, transmitted_share
from dishtrace.trace.kernels.walk import note_place, off_surface, walk
from dishtrace.trace.optics import LEAVING, MIRROR_ABSORBED, OUTLINE, OVERHANG, OVERLAP, SHADED
from dishtrace.trace.points import N_SCRAMBLES


@device
def sun_direction(sun, u, v):
    """Vector towards a point of the sun, of length 1 / cos(theta), and cos(theta), theta the angle from its centre."""
    cx, cy, cz = sun.center[0], sun.center[1], sun.center[2]
    e1x, e1y, e1z, e2x, e2y, e2z = perpendicular(cx, cy, cz)
    tan2 = sun_tan2(sun.table, u)
    tan = math.sqrt(tan2)
    cos, sin = cos_sin_turns(v)
    a, b = tan * cos, tan * sin
    return cx + a * e1x + b * e2x, cy + a * e1y + b * e2y, cz + a * e1z + b * e2z, 1.0 / math.sqrt(1.0 + tan2)


@device
def share_arriving(world, x, y, z, sx, sy, sz, leaving, is_cover_clear):
    """Share of the sunlight towards (x, y, z) that no part stops on the way in."""
    share = 1.0
    for k in range(world.roots.shape[0]):
        root = world.roots[k]
        share *= transmitted_share(
            world.triangles, root, world.parts, x, y, z, sx, sy, sz, leaving, world.stack, is_cover_clear
        )
        if share <= 0.0:
            return 0.0
    return share


@device
def start_on_part(world, p):
    """Where a direct ray meets a part: (triangle, x, y, z, unit normal, unit vector to the sun, power)."""
    parts = world.parts
    tri, _ = picked(parts.direct_cdf, unit(p[0]))
    su = math.sqrt(unit(p[1]))
    b, c = su * (1.0 - unit(p[2])), su * unit(p[2])
    x = parts.corners[tri, 0] + b * parts.corners[tri, 3] + c * parts.corners[tri, 6]
    y = parts.corners[tri, 1] + b * parts.corners[tri, 4] + c * parts.corners[tri, 7]
    z = parts.corners[tri, 2] + b * parts.corners[tri, 5] + c * parts.corners[tri, 8]
    # The jitter of the dish axis does not move the sun for parts that stand still; for parts on the dish it is
    # a few mrad of incidence, far below notice: the direct light comes from the sun's fixed place.
    sx, sy, sz, cosine = sun_direction(world.sun, unit(p[3]), unit(p[4]))
    nx, ny, nz = parts.normal[tri, 0], parts.normal[tri, 1], parts.normal[tri, 2]
    facing = sx * nx + sy * ny + sz * nz
    weight = parts.direct_power[tri] * abs(facing)
    x, y, z = off_surface(world.mirror, x, y, z, nx, ny, nz, math.copysign(1.0, facing))
    return tri, x, y, z, nx, ny, nz, sx * cosine, sy * cosine, sz * cosine, weight


@device
def book_arrival(world, scramble, x, y, weight, share, rho):
    """Book a mirror ray up to its first reflection; returns the power that goes on."""
    budget = world.tally.budget
    budget[scramble, OUTLINE] += weight
    if not is_over_outline(world.mirror, x, y):
        budget[scramble, OVERHANG] += weight
    arriving = weight * share
    kept = arriving * rho
    budget[scramble, SHADED] += weight - arriving
    budget[scramble, MIRROR_ABSORBED] += arriving - kept
    budget[scramble, LEAVING] += kept
    return kept


@device
def made_ray(world, j):
    """Where ray j of the batch meets a facet: (facet, x, y, z, unit normal, unit vector to the sun, power)."""
    b = world.batch
    return (
        world.start_facets[j],
        b[X + j],
        b[Y + j],
        b[Z + j],
        b[NX + j],
        b[NY + j],
        b[NZ + j],
        b[SX + j],
        b[SY + j],
        b[SZ + j],
        b[POWER + j],
    )


@device
def trace_ray(world, is_direct, scramble, row, ray, j, p):
    """Ray j of the batch from the mirror; or a direct ray, from its point p (8,) of 32-bit words.

    Both in one function, so that the compiler sees the trees and the walk once.
    """
    mirror, b, words = world.mirror, world.batch, world.words
    facet = tri = -1
    if is_direct:
        tri, x, y, z, nx, ny, nz, sx, sy, sz, weight = start_on_part(world, p)
    else:
        facet, x, y, z, nx, ny, nz, sx, sy, sz, weight = made_ray(world, j)
        b[KEPT + j] = 0.0
    if weight <= 0.0:
        return
    note_place(world, x + mirror.sketch_length * sx, y + mirror.sketch_length * sy, z + mirror.sketch_length * sz)
    note_place(world, x, y, z)
    t, before = next_facet(mirror, world.facets, x, y, z, sx, sy, sz, FAR, facet, world.stack)
    if not is_direct and before >= 0 and is_front(mirror, before, x + t * sx, y + t * sy, z + t * sz, -sx, -sy, -sz):
        # Another facet in front takes this light, and counts it.
        world.tally.budget[scramble, OVERLAP] += weight
        return
    share = 0.0 if before >= 0 else share_arriving(world, x, y, z, sx, sy, sz, tri, not is_direct)
    if is_direct:
        kept = weight if share > 0.0 else 0.0
        dx, dy, dz = -sx, -sy, -sz
        u0, u1, u2 = unit(p[5]), unit(p[6]), unit(p[7])
    else:
        dx, dy, dz = b[DX + j], b[DY + j], b[DZ + j]
        rho = reflectance_at(mirror, facet, sx * nx + sy * ny + sz * nz)
        rho = rho if dx * nx + dy * ny + dz * nz > 0.0 else 0.0
        kept = book_arrival(world, scramble, x, y, weight, share, rho)
        b[KEPT + j] = kept
        u0, u1, u2 = unit(words[10, j]), unit(words[11, j]), unit(words[12, j])
    if kept > 0.0:
        walk(world, scramble, row, ray, is_direct, j, x, y, z, dx, dy, dz, kept, facet, tri, u0, u1, u2)


@device
def trace_rays(world, is_direct, scramble, row, start, count, state):
    """Rays `start .. start + count - 1` of one scramble of a population; state (8,) uint32 is scratch."""
    if is_direct:
        first_point(world.points.columns, world.points.shifts, scramble, start, state)
    first = start - start % BATCH
    while first < start + count:
        if not is_direct:
            batch_rays(world, scramble, first, world.words, world.start_facets, world.batch)
        low, high = max(start - first, 0), min(start + count - first, BATCH)
        for j in range(low, high):
            if is_direct and first + j > start:
                next_point(world.points.columns, scramble, first + j, state)
            trace_ray(world, is_direct, scramble, row, (first + j) * N_SCRAMBLES + scramble, j, state)
        if not is_direct:
            record_batch(world.screens, world.tally, scramble, world.batch, low, high)
        first += BATCH
