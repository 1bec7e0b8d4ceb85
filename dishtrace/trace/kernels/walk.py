"""Follow one ray from where it starts to where its last watt is booked."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.mirror import mirror_hit, mirror_normal, reflectance_at, reflected
from dishtrace.trace.kernels.sampling import lambert, normal_quantile, uniform_four
from dishtrace.trace.kernels.screens import record_screens
from dishtrace.trace.kernels.surface import sheet_optics
from dishtrace.trace.kernels.triangles import FAR, closest_hit
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

# A ray that has not ended after so many hits is lost: only near-lossless closed boxes get there.
MOST_HITS = 10000
# Below this share of what the ray brought, a surface takes all of it or none, by chance: energy stays exact per ray.
ALL_OR_NONE = 0.01


@device
def note_place(path, n_path, x, y, z):
    """Append a place to the path of a ray that is being watched."""
    if n_path[0] < path.shape[0]:
        path[n_path[0], 0], path[n_path[0], 1], path[n_path[0], 2] = x, y, z
        n_path[0] += 1


@device
def mirror_again(mirror, ox, oy, dx, dy, dz, u0, u1, u2, u3):
    """Later hit on the mirror's front: (reflectance, new direction, whether it leaves the surface)."""
    nx, ny, nz = mirror_normal(mirror.focal, ox, oy)
    rho = reflectance_at(mirror.reflectance, -(dx * nx + dy * ny + dz * nz))
    sa = sb = ba = bb = 0.0
    if mirror.slope > 0.0:
        sa, sb = mirror.slope * normal_quantile(u0), mirror.slope * normal_quantile(u1)
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
        back, through = sheet_optics(
            parts.cover[part, 0], parts.cover[part, 1] * parts.cover[part, 2], cosine
        )
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
def walk(
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
    is_direct,
    ox,
    oy,
    oz,
    dx,
    dy,
    dz,
    weight,
    tri,
    u0,
    u1,
    u2,
):
    """Follow a ray: from the mirror (tri = -1), or from its first place on a part (tri >= 0, d towards the part).

    u0, u1, u2 serve the first hit on a part; later hits draw from the counter-based generator. tree_clear holds
    receivers and covers, tree_solid the rest.
    """
    stack, distance, path, n_path = scratch
    full_weight = weight
    is_touched, is_on_mirror, skip, draw = False, tri < 0, -1, 0
    for hits in range(MOST_HITS):
        if tri < 0:
            t_mirror = min(mirror_hit(mirror, ox, oy, oz, dx, dy, dz, is_on_mirror), FAR)
            t_solid, i_solid = closest_hit(
                tree_solid, parts.corners, ox, oy, oz, dx, dy, dz, t_mirror, skip, stack, distance
            )
            t, tri = closest_hit(
                tree_clear, parts.corners, ox, oy, oz, dx, dy, dz, t_solid, skip, stack, distance
            )
            if not (is_direct or is_touched):
                record_screens(screens, tally, scramble, ox, oy, oz, dx, dy, dz, weight, t, t_solid)
                if hits == 0 and ray // 32 < tally.legs.shape[1]:
                    leg = tally.legs[scramble, ray // 32]
                    leg[0], leg[1], leg[2], leg[3], leg[4], leg[5] = ox, oy, oz, dx, dy, dz
                    leg[6], leg[7], leg[8] = weight, t, t_solid
            if tri < 0:
                tri = i_solid
            if t >= FAR:
                note_place(
                    path,
                    n_path,
                    ox + 3.0 * mirror.focal * dx,
                    oy + 3.0 * mirror.focal * dy,
                    oz + 3.0 * mirror.focal * dz,
                )
                book_end(tally, scramble, weight, is_direct, is_touched)
                return
            ox, oy, oz = ox + t * dx, oy + t * dy, oz + t * dz
            note_place(path, n_path, ox, oy, oz)
            if not (math.isfinite(ox) and math.isfinite(oy) and math.isfinite(oz)):
                break
            if tri < 0:
                oz = (ox * ox + oy * oy) / (4.0 * mirror.focal)
                if dz - (ox * dx + oy * dy) / (2.0 * mirror.focal) >= 0.0:
                    tally.budget[scramble, DIRECT_MIRROR if is_direct else BLOCKED] += weight
                    return
                v0, v1, v2, v3 = uniform_four(
                    ray, draw, points.later_stream, points.seed_low, points.seed_high
                )
                draw += 1
                rho, dx, dy, dz, is_leaving = mirror_again(mirror, ox, oy, dx, dy, dz, v0, v1, v2, v3)
                kept = weight * rho if is_leaving else 0.0
                tally.budget[scramble, DIRECT_MIRROR if is_direct else MIRROR_ABSORBED] += weight - kept
                weight, is_on_mirror, skip = kept, True, -1
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
        if kind == 1:
            dx, dy, dz = dx - 2.0 * cosine * nx, dy - 2.0 * cosine * ny, dz - 2.0 * cosine * nz
        elif kind == 2:
            sign = 1.0 if side == 0 else -1.0
            dx, dy, dz = lambert(sign * nx, sign * ny, sign * nz, u1, u2)
        weight, is_touched, is_on_mirror, skip, tri = left, True, False, tri, -1
        u0, u1, u2, v3 = uniform_four(ray, draw, points.later_stream, points.seed_low, points.seed_high)
        draw += 1
    tally.budget[scramble, DIRECT_LOST if is_direct else LOST] += weight
    tally.n_lost[scramble] += 1
    if tally.first_lost[scramble] < 0:
        tally.first_lost[scramble] = ray
