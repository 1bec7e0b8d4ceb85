"""What light does where it arrives: on parts, on facets, or out of the scene; each arrival is booked once."""

from __future__ import annotations

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.going import (
    DRAWS,
    END,
    FACET_LEFT,
    FACET_MET,
    FROM_SUN,
    LANE,
    PART_DRAW,
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
    is_finite,
    moved,
    note_place,
    off_surface,
    ray_number,
)
from dishtrace.trace.kernels.lanes import fetch
from dishtrace.trace.kernels.mirror import facet_normal, reflectance_at, reflected
from dishtrace.trace.kernels.sampling import lambert, normal_quantile, uniform_four, unit
from dishtrace.trace.kernels.surface import sheet_optics
from dishtrace.trace.kernels.triangles import FAR
from dishtrace.trace.optics import (
    ABSORBED,
    BLOCKED,
    DIRECT_ABSORBED,
    DIRECT_ESCAPED,
    DIRECT_INCIDENT,
    DIRECT_LOST,
    DIRECT_MIRROR,
    ESCAPED,
    FIRST,
    FIRST_NONE,
    FIRST_RECEIVER,
    INCIDENT,
    LOST,
    MIRROR_ABSORBED,
    MISSED,
    PART_DIRECT_ABSORBED,
    PART_DIRECT_INCIDENT,
    RECEIVER_ABSORBED,
)

# Below this share of what the ray brought, a surface takes all of it or none, by chance: energy stays exact per ray.
ALL_OR_NONE = 0.01


@device
def mirror_again(mirror, facet, nx, ny, nz, dx, dy, dz, u0, u1, u2, u3):
    """Later hit on a facet's front: (reflectance, new direction, whether it leaves the surface)."""
    rho = reflectance_at(mirror, facet, -(dx * nx + dy * ny + dz * nz))
    slope = mirror.slope[facet]
    sa = sb = ba = bb = 0.0
    if slope > 0.0:
        sa, sb = slope * normal_quantile(u0), slope * normal_quantile(u1)
    if mirror.spread > 0.0:
        ba, bb = mirror.spread * normal_quantile(u2), mirror.spread * normal_quantile(u3)
    dx, dy, dz = reflected(nx, ny, nz, dx, dy, dz, sa, sb, ba, bb)
    return rho, dx, dy, dz, dx * nx + dy * ny + dz * nz > 0.0


@device
def meet_surface(parts, part, side, cosine, weight, full_weight, u):
    """What a part takes and what goes on: (absorbed, left, kind), kind 0 nothing, 1 specular, 2 diffuse, 3 straight on.

    u in (0, 1) decides the kind, and by the same number all or nothing for faint light.
    """
    if parts.cover[part, 0] > 0.0:
        back, through = sheet_optics(parts.cover[part, 0], parts.cover[part, 1] * parts.cover[part, 2], cosine)
        going = back + through
        first_kind, other_kind, first_share = 3, 1, through / going
    else:
        going = 1.0 - parts.surface[part, side, 0]
        first_kind, other_kind, first_share = 1, 2, parts.surface[part, side, 1]
    absorbed = weight * (1.0 - going)
    left = weight - absorbed
    if weight <= ALL_OR_NONE * full_weight:
        if u >= going:
            return weight, 0.0, 0
        absorbed, left, u = 0.0, weight, u / going
    if left <= 0.0:
        return absorbed, 0.0, 0
    return absorbed, left, first_kind if u < first_share else other_kind


@device
def book_hit(tally, parts, scramble, row, tri, part, side, weight, absorbed, is_direct, is_first):
    """Book one arrival on a part."""
    figures = tally.parts
    tally.absorbed[row, tri, side] += absorbed
    if is_direct:
        figures[scramble, part, side, PART_DIRECT_INCIDENT] += weight
        figures[scramble, part, side, PART_DIRECT_ABSORBED] += absorbed
        tally.budget[scramble, DIRECT_ABSORBED] += absorbed
        if is_first:
            tally.budget[scramble, DIRECT_INCIDENT] += weight
        return
    role = parts.role[part]
    figures[scramble, part, side, INCIDENT] += weight
    figures[scramble, part, side, ABSORBED] += absorbed
    tally.incident[row, tri, side] += weight
    tally.budget[scramble, RECEIVER_ABSORBED + role] += absorbed
    if is_first:
        figures[scramble, part, side, FIRST] += weight
        tally.budget[scramble, FIRST_RECEIVER + role] += weight


@device
def book_end(tally, scramble, weight, is_direct, is_touched):
    """Book light that leaves the scene."""
    if is_direct:
        tally.budget[scramble, DIRECT_ESCAPED] += weight
    elif is_touched:
        tally.budget[scramble, ESCAPED] += weight
    else:
        tally.budget[scramble, MISSED] += weight
        tally.budget[scramble, FIRST_NONE] += weight


@device
def book_lost(tally, scramble, ray, weight, is_direct):
    """Book light whose way is not known."""
    tally.budget[scramble, DIRECT_LOST if is_direct else LOST] += weight
    tally.n_lost[scramble] += 1
    if tally.first_lost[scramble] < 0:
        tally.first_lost[scramble] = ray


@device
def meet_facet(mirror, points, budget, g, m, is_direct, scramble, first, i):
    """Lane i, moved to where it meets a facet: booked and turned; returns whether it goes on."""
    facet, weight = m[FACET_MET + i], g[POWER_NOW + i]
    dx, dy, dz = g[VX + i], g[VY + i], g[VZ + i]
    nx, ny, nz = facet_normal(mirror, facet, g[PX + i], g[PY + i], g[PZ + i])
    if m[FROM_SUN + i] or dx * nx + dy * ny + dz * nz >= 0.0:
        budget[scramble, DIRECT_MIRROR if is_direct else BLOCKED] += weight
        return False
    ray = ray_number(points.numbering, m, scramble, first, i)
    u0, u1, u2, u3 = uniform_four(ray, m[DRAWS + i], points.later_stream, points.seed_low, points.seed_high)
    m[DRAWS + i] += 1
    rho, dx, dy, dz, is_going = mirror_again(mirror, facet, nx, ny, nz, dx, dy, dz, u0, u1, u2, u3)
    kept = weight * rho if is_going else 0.0
    budget[scramble, DIRECT_MIRROR if is_direct else MIRROR_ABSORBED] += weight - kept
    g[VX + i], g[VY + i], g[VZ + i], g[POWER_NOW + i] = dx, dy, dz, kept
    m[FACET_LEFT + i], m[TRIANGLE_LEFT + i] = facet, -1
    return kept > 0.0


@device
def numbers_for_part(points, m, words, first_word, scramble, first, i):
    """Three numbers in (0, 1) for what a part does: from the ray's point at its first part, drawn later."""
    if not m[TOUCHED + i]:
        j = m[LANE + i]
        return unit(words[first_word, j]), unit(words[first_word + 1, j]), unit(words[first_word + 2, j])
    ray = ray_number(points.numbering, m, scramble, first, i)
    u0, u1, u2, _ = uniform_four(ray, m[PART_DRAW + i], points.later_stream, points.seed_low, points.seed_high)
    return u0, u1, u2


@device
def meet_part(parts, points, tally, size, g, m, is_direct, scramble, row, first, i, words, first_word):
    """Lane i, moved to where it meets a part: booked and sent on; returns whether it goes on."""
    tri, weight = m[TRIANGLE_MET + i], g[POWER_NOW + i]
    dx, dy, dz = g[VX + i], g[VY + i], g[VZ + i]
    nx, ny, nz = parts.normal[tri, 0], parts.normal[tri, 1], parts.normal[tri, 2]
    cosine = dx * nx + dy * ny + dz * nz
    part, side = parts.part[tri], 0 if cosine < 0.0 else 1
    u0, u1, u2 = numbers_for_part(points, m, words, first_word, scramble, first, i)
    absorbed, left, kind = meet_surface(parts, part, side, abs(cosine), weight, g[POWER_FIRST + i], u0)
    book_hit(tally, parts, scramble, row, tri, part, side, weight, absorbed, is_direct, not m[TOUCHED + i])
    if kind == 0:
        return False
    sign = 1.0 if side == 0 else -1.0
    g[PX + i], g[PY + i], g[PZ + i] = off_surface(size, g[PX + i], g[PY + i], g[PZ + i], nx, ny, nz, sign)
    if kind == 1:
        dx, dy, dz = dx - 2.0 * cosine * nx, dy - 2.0 * cosine * ny, dz - 2.0 * cosine * nz
    elif kind == 2:
        dx, dy, dz = lambert(sign * nx, sign * ny, sign * nz, u1, u2)
    g[VX + i], g[VY + i], g[VZ + i], g[POWER_NOW + i] = dx, dy, dz, left
    m[FACET_LEFT + i], m[TRIANGLE_LEFT + i], m[TOUCHED + i] = -1, tri, 1
    if kind != 3:
        m[FROM_SUN + i] = 0
    m[PART_DRAW + i] = m[DRAWS + i]
    m[DRAWS + i] += 1
    return True


@device
def fetch_met(parts, incident, m, n):
    """Ask for what is known and booked of the triangles that the first n lanes meet."""
    nothing = np.int64(0)
    for i in range(n):
        tri = m[TRIANGLE_MET + i]
        if tri >= 0:
            fetch(incident, tri, nothing)
            fetch(parts.normal, tri, nothing)
            fetch(parts.part, tri, nothing)


@device
def meet(world, is_direct, scramble, row, first, n, words, first_word):
    """Book what the first n lanes meet; returns how many go on, packed at the front.

    first: place in the order of the batch's first point; words: of its points, first_word the first of three for the
    first part.
    """
    g, m, tally, points, size = world.going, world.marks, world.tally, world.points, world.mirror.sketch_length
    is_watched = world.path.shape[0] > 0
    n_going = 0
    fetch_met(world.parts, tally.incident[row], m, n)
    for i in range(n):
        weight, t = g[POWER_NOW + i], g[END + i]
        if weight <= 0.0:
            continue
        if t >= FAR:
            book_end(tally, scramble, weight, is_direct, m[TOUCHED + i])
            t = size
        x, y, z = g[PX + i] + t * g[VX + i], g[PY + i] + t * g[VY + i], g[PZ + i] + t * g[VZ + i]
        if is_watched:
            note_place(world.path, world.n_path, x, y, z)
        if g[END + i] >= FAR:
            continue
        if not is_finite(x, y, z):
            book_lost(tally, scramble, ray_number(points.numbering, m, scramble, first, i), weight, is_direct)
            continue
        g[PX + i], g[PY + i], g[PZ + i] = x, y, z
        if m[TRIANGLE_MET + i] >= 0:
            is_going = meet_part(
                world.parts, points, tally, size, g, m, is_direct, scramble, row, first, i, words, first_word
            )
        else:
            is_going = meet_facet(world.mirror, points, tally.budget, g, m, is_direct, scramble, first, i)
        if is_going:
            moved(g, m, i, n_going)
            n_going += 1
    return n_going
