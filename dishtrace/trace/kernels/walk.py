"""Follow one ray from where it starts to where its last watt is booked."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import CLEAR_END, END
from dishtrace.trace.kernels.mirror import facet_normal, reflectance_at, reflected
from dishtrace.trace.kernels.sampling import lambert, normal_quantile, uniform_four
from dishtrace.trace.kernels.screens import record_screens
from dishtrace.trace.kernels.surface import sheet_optics
from dishtrace.trace.kernels.triangles import FAR, closest_hit, next_facet
from dishtrace.trace.optics import (
    ABSORBED,
    BLOCKED,
    CLEAR_ROOT,
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
from dishtrace.trace.points import N_SCRAMBLES

# A ray that has not ended after so many hits is lost: only near-lossless closed boxes get there.
MOST_HITS = 10000
# Below this share of what the ray brought, a surface takes all of it or none, by chance: energy stays exact per ray.
ALL_OR_NONE = 0.01
# How far off a surface light starts again, as a share of the dish's size and of its place's coordinates.
HAIR = 1e-12


@device
def off_surface(mirror, x, y, z, nx, ny, nz, sign):
    """A place on a surface moved a hair off it, to the side its light came from (sign 1: the normal's side) [m].

    The hair is some thousand times the rounding error of the place, so that a second surface lying in the same plane is
    behind the light that is thrown back, and ahead of the light that goes straight on.
    """
    hair = sign * HAIR * (mirror.sketch_length + abs(x) + abs(y) + abs(z))
    return x + hair * nx, y + hair * ny, z + hair * nz


@device
def note_place(world, x, y, z):
    """Append a place to the path of a ray that is being watched."""
    n = world.n_path[0]
    if n < world.path.shape[0]:
        world.path[n, 0], world.path[n, 1], world.path[n, 2] = x, y, z
        world.n_path[0] = n + 1


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
def next_meeting(world, ox, oy, oz, dx, dy, dz, facet, leaving):
    """What a ray meets next: (t, triangle or -1, facet or -1, t had receivers and covers not been there).

    facet and leaving: the facet or triangle that the ray starts on, or -1.
    """
    stack, mirror = world.stack, world.mirror
    t_facet, next_one = next_facet(mirror, world.facets, ox, oy, oz, dx, dy, dz, FAR, facet, stack)
    t, tri, t_solid = t_facet, -1, t_facet
    for k in range(world.roots.shape[0]):
        root = world.roots[k]
        t, found = closest_hit(world.triangles, root, False, mirror, ox, oy, oz, dx, dy, dz, t, leaving, stack)
        tri = found if found >= 0 else tri
        t_solid = t_solid if root == CLEAR_ROOT else t
    return t, tri, next_one, t_solid


@device
def record_leg(tally, scramble, index, ox, oy, oz, dx, dy, dz, weight, t, t_clear):
    """Keep the first stretch of one of the first rays of a scramble."""
    leg = tally.legs[scramble, index]
    leg[0], leg[1], leg[2], leg[3], leg[4], leg[5] = ox, oy, oz, dx, dy, dz
    leg[6], leg[7], leg[8] = weight, t, t_clear


@device
def walk(world, scramble, row, ray, is_direct, lane, ox, oy, oz, dx, dy, dz, weight, facet, tri, u0, u1, u2):
    """Follow a ray: from a facet (tri = -1), or from its first place on a part (tri >= 0, d towards the part).

    u0, u1, u2 serve the first hit on a part; later hits draw from the counter-based generator. lane: number in the
    batch, where the end of the first stretch is left for the screens.
    """
    mirror, parts, tally, points = world.mirror, world.parts, world.tally, world.points
    full_weight = weight
    is_touched, leaving, draw = False, -1, 0
    # Sunlight that reaches the mirror through covers alone is mirror light, and is followed there.
    is_from_sun = is_direct
    for hits in range(MOST_HITS):
        if tri < 0:
            t, tri, next_one, t_clear = next_meeting(world, ox, oy, oz, dx, dy, dz, facet, leaving)
            if not (is_direct or is_touched):
                if hits == 0:
                    world.batch[END + lane], world.batch[CLEAR_END + lane] = t, t_clear
                else:
                    record_screens(world.screens, tally, scramble, ox, oy, oz, dx, dy, dz, weight, t, t_clear)
                if hits == 0 and ray // N_SCRAMBLES < tally.legs.shape[1]:
                    record_leg(tally, scramble, ray // N_SCRAMBLES, ox, oy, oz, dx, dy, dz, weight, t, t_clear)
            if t >= FAR:
                far = mirror.sketch_length
                note_place(world, ox + far * dx, oy + far * dy, oz + far * dz)
                book_end(tally, scramble, weight, is_direct, is_touched)
                return
            ox, oy, oz = ox + t * dx, oy + t * dy, oz + t * dz
            note_place(world, ox, oy, oz)
            if not (math.isfinite(ox) and math.isfinite(oy) and math.isfinite(oz)):
                break
            if tri < 0:
                facet, leaving = next_one, -1
                nx, ny, nz = facet_normal(mirror, facet, ox, oy, oz)
                if is_from_sun or dx * nx + dy * ny + dz * nz >= 0.0:
                    tally.budget[scramble, DIRECT_MIRROR if is_direct else BLOCKED] += weight
                    return
                v0, v1, v2, v3 = uniform_four(ray, draw, points.later_stream, points.seed_low, points.seed_high)
                draw += 1
                rho, dx, dy, dz, is_going = mirror_again(mirror, facet, nx, ny, nz, dx, dy, dz, v0, v1, v2, v3)
                kept = weight * rho if is_going else 0.0
                tally.budget[scramble, DIRECT_MIRROR if is_direct else MIRROR_ABSORBED] += weight - kept
                weight = kept
                if weight <= 0.0:
                    return
                continue
        nx, ny, nz = parts.normal[tri, 0], parts.normal[tri, 1], parts.normal[tri, 2]
        cosine = dx * nx + dy * ny + dz * nz
        part, side = parts.part[tri], 0 if cosine < 0.0 else 1
        absorbed, left, kind = meet_surface(parts, part, side, abs(cosine), weight, full_weight, u0)
        book_hit(tally, parts, scramble, row, tri, part, side, weight, absorbed, is_direct, not is_touched)
        if kind == 0:
            return
        is_from_sun = is_from_sun and kind == 3
        ox, oy, oz = off_surface(mirror, ox, oy, oz, nx, ny, nz, 1.0 if side == 0 else -1.0)
        if kind == 1:
            dx, dy, dz = dx - 2.0 * cosine * nx, dy - 2.0 * cosine * ny, dz - 2.0 * cosine * nz
        elif kind == 2:
            sign = 1.0 if side == 0 else -1.0
            dx, dy, dz = lambert(sign * nx, sign * ny, sign * nz, u1, u2)
        weight, is_touched, facet, leaving, tri = left, True, -1, tri, -1
        u0, u1, u2, v3 = uniform_four(ray, draw, points.later_stream, points.seed_low, points.seed_high)
        draw += 1
    tally.budget[scramble, DIRECT_LOST if is_direct else LOST] += weight
    tally.n_lost[scramble] += 1
    if tally.first_lost[scramble] < 0:
        tally.first_lost[scramble] = ray
