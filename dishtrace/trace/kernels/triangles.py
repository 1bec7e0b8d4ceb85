"""Rays against triangles and facets, through the bounding-volume trees."""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.mirror import facet_hit, facet_normal
from dishtrace.trace.kernels.surface import sheet_optics

# Shared edges: a hair of overlap (relative to the triangle) is harmless, a hair of gap loses light.
EDGE = -1e-12
# Stands for "no hit": a distance beyond every scene, yet finite, so that a missed box (infinite) is always further.
FAR = 1e300


@device
def triangle_hit(corners, i, ox, oy, oz, dx, dy, dz):
    """Distance to triangle i, infinite when missed or behind [in lengths of d] (Moller and Trumbore 1997)."""
    e1x, e1y, e1z = corners[i, 3], corners[i, 4], corners[i, 5]
    e2x, e2y, e2z = corners[i, 6], corners[i, 7], corners[i, 8]
    px, py, pz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
    determinant = e1x * px + e1y * py + e1z * pz
    if determinant == 0.0:
        return np.inf
    inverse = 1.0 / determinant
    sx, sy, sz = ox - corners[i, 0], oy - corners[i, 1], oz - corners[i, 2]
    u = (sx * px + sy * py + sz * pz) * inverse
    if not (EDGE <= u <= 1.0 - EDGE):
        return np.inf
    qx, qy, qz = sy * e1z - sz * e1y, sz * e1x - sx * e1z, sx * e1y - sy * e1x
    v = (dx * qx + dy * qy + dz * qz) * inverse
    if v < EDGE or u + v > 1.0 - EDGE:
        return np.inf
    t = (e2x * qx + e2y * qy + e2z * qz) * inverse
    return t if t > 0.0 else np.inf


@device
def inverse_of(d):
    """1 / d, with a huge number in place of infinity, so that 0 * infinity cannot arise in the box test."""
    return 1.0 / d if abs(d) > 1e-300 else math.copysign(1e300, d)


@device
def box_entry(boxes, node, slot, ox, oy, oz, ix, iy, iz, t_max):
    """Distance at which a ray enters a child's box; infinite when it misses it before t_max."""
    tx0, tx1 = (boxes[node, slot, 0] - ox) * ix, (boxes[node, slot, 3] - ox) * ix
    ty0, ty1 = (boxes[node, slot, 1] - oy) * iy, (boxes[node, slot, 4] - oy) * iy
    tz0, tz1 = (boxes[node, slot, 2] - oz) * iz, (boxes[node, slot, 5] - oz) * iz
    near = max(max(min(tx0, tx1), min(ty0, ty1)), max(min(tz0, tz1), 0.0))
    far = min(min(max(tx0, tx1), max(ty0, ty1)), min(max(tz0, tz1), t_max))
    return near if near <= far else np.inf


@device
def item_hit(is_facet, corners, mirror, i, ox, oy, oz, dx, dy, dz, leaving):
    """Distance to facet i of the mirror, or to triangle i of corners; infinite when missed."""
    if is_facet:
        return facet_hit(mirror, i, ox, oy, oz, dx, dy, dz, i == leaving)
    return np.inf if i == leaving else triangle_hit(corners, i, ox, oy, oz, dx, dy, dz)


@device
def closest_hit(tree, is_facet, corners, mirror, ox, oy, oz, dx, dy, dz, t_max, leaving, stack, distance):
    """Nearest triangle or facet before t_max (at most FAR): (t, number), or (t_max, -1).

    is_facet, a constant at every call, says which the tree holds; leaving is the triangle or facet that the ray starts
    on, or -1. stack (s,) int32 and distance (s,) float64 are scratch.
    """
    ix, iy, iz = inverse_of(dx), inverse_of(dy), inverse_of(dz)
    best = -1
    node, depth = 0, 0
    while True:
        t0 = box_entry(tree.boxes, node, 0, ox, oy, oz, ix, iy, iz, t_max)
        t1 = box_entry(tree.boxes, node, 1, ox, oy, oz, ix, iy, iz, t_max)
        for slot in range(2):
            near_slot = slot if t0 <= t1 else 1 - slot
            t = t0 if near_slot == 0 else t1
            if t <= t_max and tree.count[node, near_slot] > 0:
                first = tree.child[node, near_slot]
                for i in range(first, first + tree.count[node, near_slot]):
                    hit = item_hit(is_facet, corners, mirror, i, ox, oy, oz, dx, dy, dz, leaving)
                    if hit < t_max:
                        t_max, best = hit, i
        has0 = t0 <= t_max and tree.count[node, 0] == 0
        has1 = t1 <= t_max and tree.count[node, 1] == 0
        if has0 and has1:
            far = 1 if t0 <= t1 else 0
            stack[depth] = tree.child[node, far]
            distance[depth] = t1 if far == 1 else t0
            depth += 1
            node = tree.child[node, 1 - far]
        elif has0:
            node = tree.child[node, 0]
        elif has1:
            node = tree.child[node, 1]
        else:
            while depth > 0 and distance[depth - 1] > t_max:
                depth -= 1
            if depth == 0:
                return t_max, best
            depth -= 1
            node = stack[depth]


@device
def transmitted_share(tree, parts, ox, oy, oz, dx, dy, dz, skip, stack, is_cover_clear):
    """Share of the light along a ray that no part of a tree stops; glass covers let some through if is_cover_clear.

    d must be a unit vector when the tree holds covers; stack (s,) int32 is scratch.
    """
    ix, iy, iz = inverse_of(dx), inverse_of(dy), inverse_of(dz)
    share = 1.0
    stack[0], depth = 0, 1
    while depth > 0:
        depth -= 1
        node = stack[depth]
        for slot in range(2):
            count = tree.count[node, slot]
            if count < 0 or not box_entry(tree.boxes, node, slot, ox, oy, oz, ix, iy, iz, FAR) < FAR:
                continue
            first = tree.child[node, slot]
            if count == 0:
                stack[depth] = first
                depth += 1
                continue
            for i in range(first, first + count):
                if i == skip or not triangle_hit(parts.corners, i, ox, oy, oz, dx, dy, dz) < FAR:
                    continue
                part = parts.part[i]
                if not is_cover_clear or parts.cover[part, 0] == 0.0:
                    return 0.0
                cosine = abs(dx * parts.normal[i, 0] + dy * parts.normal[i, 1] + dz * parts.normal[i, 2])
                _, transmitted = sheet_optics(parts.cover[part, 0], parts.cover[part, 1] * parts.cover[part, 2], cosine)
                share *= transmitted
    return share


@device
def next_facet(mirror, tree, corners, ox, oy, oz, dx, dy, dz, t_max, leaving, stack, distance):
    """Nearest facet before t_max, front or back: (t, facet), or (t_max, -1)."""
    if dz >= 0.0 and oz > mirror.z_max:
        return t_max, -1
    if mirror.kind.shape[0] == 1:
        t = facet_hit(mirror, 0, ox, oy, oz, dx, dy, dz, leaving == 0)
        return (t, 0) if t < t_max else (t_max, -1)
    return closest_hit(tree, True, corners, mirror, ox, oy, oz, dx, dy, dz, t_max, leaving, stack, distance)


@device
def is_front(mirror, i, x, y, z, dx, dy, dz):
    """Whether light going along d meets facet i at (x, y, z) on its reflecting side."""
    nx, ny, nz = facet_normal(mirror, i, x, y, z)
    return dx * nx + dy * ny + dz * nz < 0.0
