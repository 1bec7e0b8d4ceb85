"""The two populations: light that meets the mirror, and light that meets parts directly; a batch of rays at a time.

A batch goes through the same steps, whichever population it is of: rays are made, looked at on the way in, booked where
they arrive, and followed stretch by stretch until none is left.
"""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device, kernel
from dishtrace.trace.kernels.balls import count_passed, passes
from dishtrace.trace.kernels.batch import (
    BATCH,
    DX,
    DY,
    DZ,
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
    batch_meets_skin,
    batch_points,
    batch_rays,
)
from dishtrace.trace.kernels.flock import closest_hits
from dishtrace.trace.kernels.going import (
    ASKING,
    CLEAR_END,
    DRAWS,
    END,
    FACET_LEFT,
    FACET_MET,
    FROM_SUN,
    LANE,
    MAY_MEET,
    POWER_FIRST,
    POWER_NOW,
    PX,
    PY,
    PZ,
    TOUCHED,
    TRIANGLE_LEFT,
    TRIANGLE_MET,
    VX,
    VY,
    VZ,
    note_place,
    off_surface,
    ray_number,
)
from dishtrace.trace.kernels.meeting import book_lost, meet
from dishtrace.trace.kernels.mirror import is_over_outline, reflectance_at
from dishtrace.trace.kernels.sampling import cos_sin_turns, perpendicular, picked, point_index, sun_tan2, unit
from dishtrace.trace.kernels.screens import record_batch, record_later
from dishtrace.trace.kernels.triangles import FAR, is_front, next_facet, transmitted_share
from dishtrace.trace.kernels.turned import is_leaving, meet_body
from dishtrace.trace.optics import (
    BODY,
    IS_CLEAR,
    LEAVING,
    MIRROR_ABSORBED,
    OUTLINE,
    OVERHANG,
    OVERLAP,
    ROOT,
    SHADED,
)
from dishtrace.trace.points import ORDER_BITS

# A ray that has not ended after so many hits is lost: only near-lossless closed boxes get there.
MOST_HITS = 10000
# Words of a point that serve the first part met: the first of three, for mirror rays and for direct ones.
PART_WORD_MIRROR, PART_WORD_DIRECT = 10, 5


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
def direct_rays(points, parts, sun, size, scramble, first, low, high, words, starts, b):
    """Where rays low .. high - 1 of a batch meet parts: triangles into starts, places and the rest into columns."""
    batch_points(points, scramble, first, words)
    for j in range(low, high):
        tri, _ = picked(parts.direct_cdf, unit(words[0, j]))
        root = math.sqrt(unit(words[1, j]))
        u, v = root * (1.0 - unit(words[2, j])), root * unit(words[2, j])
        x = parts.corners[tri, 0] + u * parts.corners[tri, 3] + v * parts.corners[tri, 6]
        y = parts.corners[tri, 1] + u * parts.corners[tri, 4] + v * parts.corners[tri, 7]
        z = parts.corners[tri, 2] + u * parts.corners[tri, 5] + v * parts.corners[tri, 8]
        # The jitter of the dish axis does not move the sun for parts that stand still; for parts on the dish it is
        # a few mrad of incidence, far below notice: the direct light comes from the sun's fixed place.
        sx, sy, sz, cosine = sun_direction(sun, unit(words[3, j]), unit(words[4, j]))
        nx, ny, nz = parts.normal[tri, 0], parts.normal[tri, 1], parts.normal[tri, 2]
        facing = sx * nx + sy * ny + sz * nz
        starts[j] = tri
        b[POWER + j] = parts.direct_power[tri] * abs(facing)
        b[X + j], b[Y + j], b[Z + j] = off_surface(size, x, y, z, nx, ny, nz, math.copysign(1.0, facing))
        b[NX + j], b[NY + j], b[NZ + j] = nx, ny, nz
        b[SX + j], b[SY + j], b[SZ + j] = sx * cosine, sy * cosine, sz * cosine
        b[DX + j], b[DY + j], b[DZ + j] = -b[SX + j], -b[SY + j], -b[SZ + j]


@device
def share_arriving(triangles, roots, bodies, parts, x, y, z, sx, sy, sz, leaving, stack, is_cover_clear):
    """Share of the sunlight towards (x, y, z) that no part stops on the way in."""
    share = 1.0
    for k in range(roots.shape[0]):
        if roots[k, BODY] >= 0 and is_leaving(bodies, roots[k, BODY], parts, leaving, sx, sy, sz):
            continue
        share *= transmitted_share(
            triangles, roots[k, ROOT], parts, x, y, z, sx, sy, sz, leaving, stack, is_cover_clear
        )
        if share <= 0.0:
            return 0.0
    return share


@device
def is_of_skin(mirror, is_direct):
    """Whether all rays of a batch leave one and the same facet."""
    return mirror.kind.shape[0] == 1 and not is_direct


@device
def look_at_way_in(world, is_direct, scramble, low, high, starts, b):
    """Share of each ray's sunlight that arrives: into END; power in the outline into POWER_NOW, zero for lanes unused.

    Light of the mirror that another facet in front takes is counted there, and gone here.
    """
    g, mirror = world.going, world.mirror
    is_watched = world.path.shape[0] > 0
    for j in range(BATCH):
        g[POWER_NOW + j], g[MAY_MEET + j] = 0.0, 1.0
    if is_of_skin(mirror, is_direct):
        batch_meets_skin(mirror, b, np.int64(X), np.int64(SX), g, MAY_MEET)
    count_passed(world.balls, b, np.int64(X), np.int64(SX), BATCH, g, ASKING)
    for j in range(low, high):
        power = b[POWER + j]
        if power <= 0.0:
            continue
        x, y, z, sx, sy, sz = b[X + j], b[Y + j], b[Z + j], b[SX + j], b[SY + j], b[SZ + j]
        if is_watched:
            far = mirror.sketch_length
            note_place(world.path, world.n_path, x + far * sx, y + far * sy, z + far * sz)
            note_place(world.path, world.n_path, x, y, z)
        facet, tri = -1 if is_direct else starts[j], starts[j] if is_direct else -1
        t, before = FAR, -1
        if g[MAY_MEET + j] > 0.0:
            t, before = next_facet(mirror, world.facets, x, y, z, sx, sy, sz, FAR, facet, world.stack)
        if before >= 0:
            if not is_direct and is_front(mirror, before, x + t * sx, y + t * sy, z + t * sz, -sx, -sy, -sz):
                world.tally.budget[scramble, OVERLAP] += power
                continue
            g[END + j] = 0.0
        elif g[ASKING + j] == 0.0:
            g[END + j] = 1.0
        else:
            g[END + j] = share_arriving(
                world.triangles,
                world.roots,
                world.bodies,
                world.parts,
                x,
                y,
                z,
                sx,
                sy,
                sz,
                tri,
                world.stack,
                not is_direct,
            )
        g[POWER_NOW + j] = power


@device
def book_arrivals(mirror, budget, g, scramble, starts, b):
    """Book mirror rays up to their first reflection, and leave in POWER_NOW what goes on."""
    if not mirror.has_no_overhang:
        for j in range(BATCH):
            if g[POWER_NOW + j] > 0.0 and not is_over_outline(mirror, b[X + j], b[Y + j]):
                budget[scramble, OVERHANG] += g[POWER_NOW + j]
    outline = shaded = lost = leaving = 0.0
    for j in range(BATCH):
        power = g[POWER_NOW + j]
        if power > 0.0:
            nx, ny, nz = b[NX + j], b[NY + j], b[NZ + j]
            rho = reflectance_at(mirror, starts[j], b[SX + j] * nx + b[SY + j] * ny + b[SZ + j] * nz)
            rho = rho if b[DX + j] * nx + b[DY + j] * ny + b[DZ + j] * nz > 0.0 else 0.0
            arriving = power * g[END + j]
            kept = arriving * rho
            outline += power
            shaded += power - arriving
            lost += arriving - kept
            leaving += kept
            g[POWER_NOW + j] = kept
    budget[scramble, OUTLINE] += outline
    budget[scramble, SHADED] += shaded
    budget[scramble, MIRROR_ABSORBED] += lost
    budget[scramble, LEAVING] += leaving


@device
def set_out(g, m, is_direct, starts, b):
    """The lanes as the rays leave the mirror, or as direct light arrives on its part."""
    for j in range(BATCH):
        g[PX + j], g[PY + j], g[PZ + j] = b[X + j], b[Y + j], b[Z + j]
    for j in range(BATCH):
        g[VX + j], g[VY + j], g[VZ + j] = b[DX + j], b[DY + j], b[DZ + j]
    for j in range(BATCH):
        g[POWER_FIRST + j] = g[POWER_NOW + j]
        m[LANE + j] = j
        m[DRAWS + j] = m[TOUCHED + j] = 0
        m[TRIANGLE_LEFT + j] = -1
    for j in range(BATCH):
        m[FROM_SUN + j] = 1 if is_direct else 0
        m[FACET_LEFT + j] = -1 if is_direct else starts[j]
        m[TRIANGLE_MET + j] = starts[j] if is_direct else -1
    if is_direct:
        for j in range(BATCH):
            g[POWER_NOW + j] = g[POWER_NOW + j] if g[END + j] > 0.0 else 0.0
            g[END + j] = 0.0


@device
def record_legs(legs, numbering, g, scramble, first):
    """Keep the first stretch of the first rays of a scramble."""
    # Points are sorted within blocks of 2^ORDER_BITS at most.
    if (first >> ORDER_BITS) << ORDER_BITS >= legs.shape[1]:
        return
    for i in range(BATCH):
        k = point_index(numbering, scramble, first + i)
        if g[POWER_NOW + i] > 0.0 and k < legs.shape[1]:
            leg = legs[scramble, k]
            leg[0], leg[1], leg[2] = g[PX + i], g[PY + i], g[PZ + i]
            leg[3], leg[4], leg[5] = g[VX + i], g[VY + i], g[VZ + i]
            leg[6], leg[7], leg[8] = g[POWER_NOW + i], g[END + i], g[CLEAR_END + i]


@device
def ask_near(ball, g, n):
    """ASKING for those of the first n lanes that have power and pass through a ball."""
    for j in range(n):
        is_near = passes(ball, g[PX + j], g[PY + j], g[PZ + j], g[VX + j], g[VY + j], g[VZ + j])
        g[ASKING + j] = 1.0 if is_near & (g[POWER_NOW + j] > 0.0) else 0.0


@device
def find_meetings(world, n):
    """What each of the first n lanes meets next: the columns END, CLEAR_END, FACET_MET and TRIANGLE_MET.

    A lane without power ends where it stands; one that MAY_MEET rules out for does not meet the mirror.
    """
    g, m, mirror = world.going, world.marks, world.mirror
    for i in range(n):
        t, facet = FAR if g[POWER_NOW + i] > 0.0 else 0.0, -1
        if t > 0.0 and g[MAY_MEET + i] > 0.0:
            t, facet = next_facet(
                mirror,
                world.facets,
                g[PX + i],
                g[PY + i],
                g[PZ + i],
                g[VX + i],
                g[VY + i],
                g[VZ + i],
                FAR,
                m[FACET_LEFT + i],
                world.stack,
            )
        g[END + i] = g[CLEAR_END + i] = t
        m[TRIANGLE_MET + i], m[FACET_MET + i] = -1, facet
    for k in range(world.roots.shape[0]):
        if world.roots[k, BODY] >= 0:
            meet_body(world.bodies, world.roots[k, BODY], world.parts, g, m, n)
        else:
            ask_near(world.balls[k], g, n)
        closest_hits(world.triangles, world.roots[k, ROOT], g, m, n, world.flock)
        if world.roots[k, IS_CLEAR] == 0:
            for i in range(n):
                g[CLEAR_END + i] = g[END + i]


@device
def follow(world, is_direct, scramble, row, first, words):
    """Follow the lanes of a batch, stretch by stretch, until the last watt of each is booked."""
    g, m, tally, numbering = world.going, world.marks, world.tally, world.points.numbering
    n = np.int64(BATCH)
    first_word = PART_WORD_DIRECT if is_direct else PART_WORD_MIRROR
    for hits in range(MOST_HITS):
        if hits > 0 or not is_direct:
            find_meetings(world, n)
        if hits == 0:
            for i in range(BATCH):
                g[MAY_MEET + i] = 1.0
        if not is_direct:
            if hits == 0:
                record_legs(tally.legs, numbering, g, scramble, first)
                record_batch(world.screens, tally, scramble, g)
            else:
                record_later(world.screens, tally, scramble, g, m, n)
        n = meet(world, is_direct, scramble, row, first, n, words, first_word)
        if n == 0:
            return
    for i in range(n):
        book_lost(tally, scramble, ray_number(numbering, m, scramble, first, i), g[POWER_NOW + i], is_direct)


@kernel
def trace_rays(world, is_direct, is_made, scramble, row, start, count):
    """The rays at places `start .. start + count - 1` of the order of one scramble of a population.

    is_made: mirror rays of these very numbers are still in the slots of the batch, from a world with the same mirror.
    """
    first = start - start % BATCH
    slot = 0
    while first < start + count:
        b, words, starts = world.batch[slot], world.words[slot], world.starts[slot]
        low, high = max(start - first, 0), min(start + count - first, BATCH)
        if is_direct:
            direct_rays(
                world.points,
                world.parts,
                world.sun,
                world.mirror.sketch_length,
                scramble,
                first,
                low,
                high,
                words,
                starts,
                b,
            )
        elif not is_made:
            batch_rays(world.points, world.mirror, world.sun, scramble, first, words, starts, world.marks, b)
        look_at_way_in(world, is_direct, scramble, low, high, starts, b)
        if not is_direct:
            book_arrivals(world.mirror, world.tally.budget, world.going, scramble, starts, b)
        set_out(world.going, world.marks, is_direct, starts, b)
        if is_of_skin(world.mirror, is_direct):
            batch_meets_skin(world.mirror, world.going, np.int64(PX), np.int64(VX), world.going, MAY_MEET)
        follow(world, is_direct, scramble, row, first, words)
        first += BATCH
        slot = (slot + 1) % world.batch.shape[0]
