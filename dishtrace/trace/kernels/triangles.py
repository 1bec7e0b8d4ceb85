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
# The same in single precision: beyond every scene, and beyond that, for a box that is missed.
FURTHEST = np.float32(1e37)
MISSED = np.float32(3e38)
ZERO = np.float32(0.0)
# Covers the rounding of the three operations that give a distance to a box.
ROUNDED_UP = np.float32(1.0 + 1e-6)


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
    """1 / d in single precision, a huge number in place of infinity: 0 * infinity cannot arise in the box test."""
    return np.float32(1.0 / d) if abs(d) > 1e-30 else np.float32(math.copysign(1e30, d))


@device
def box_entry(boxes, node, k, ox, oy, oz, ix, iy, iz, t_max):
    """Distance at which a ray enters the child's box at column k, all in single precision; MISSED when it does not."""
    tx0, tx1 = (boxes[node, k] - ox) * ix, (boxes[node, k + 3] - ox) * ix
    ty0, ty1 = (boxes[node, k + 1] - oy) * iy, (boxes[node, k + 4] - oy) * iy
    tz0, tz1 = (boxes[node, k + 2] - oz) * iz, (boxes[node, k + 5] - oz) * iz
    near = max(max(min(tx0, tx1), min(ty0, ty1)), max(min(tz0, tz1), ZERO))
    far = min(min(max(tx0, tx1), max(ty0, ty1)), max(tz0, tz1)) * ROUNDED_UP
    return near if near <= min(far, t_max) else MISSED


@device
def single_limit(t):
    """A distance in single precision, rounded up."""
    return np.float32(min(t, 1e36)) * ROUNDED_UP


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
    px, py, pz = np.float32(ox), np.float32(oy), np.float32(oz)
    limit = single_limit(t_max)
    boxes, links = tree.boxes, tree.links
    best = -1
    node, depth = 0, 0
    while True:
        t0 = box_entry(boxes, node, 0, px, py, pz, ix, iy, iz, limit)
        t1 = box_entry(boxes, node, 6, px, py, pz, ix, iy, iz, limit)
        near = 12 if t0 <= t1 else 13
        t_near, t_far = min(t0, t1), max(t0, t1)
        following = -1
        if t_near < MISSED:
            count = links[node, near + 2]
            if count == 0:
                following = links[node, near]
            for i in range(links[node, near], links[node, near] + count):
                hit = item_hit(is_facet, corners, mirror, i, ox, oy, oz, dx, dy, dz, leaving)
                if hit < t_max:
                    t_max, best = hit, i
                    limit = single_limit(hit)
        if t_far <= limit:
            count = links[node, 27 - near]
            if count == 0:
                other = links[node, 25 - near]
                if following < 0:
                    following = other
                else:
                    stack[depth], distance[depth] = other, t_far
                    depth += 1
            for i in range(links[node, 25 - near], links[node, 25 - near] + count):
                hit = item_hit(is_facet, corners, mirror, i, ox, oy, oz, dx, dy, dz, leaving)
                if hit < t_max:
                    t_max, best = hit, i
                    limit = single_limit(hit)
        if following < 0:
            while depth > 0 and distance[depth - 1] > limit:
                depth -= 1
            if depth == 0:
                return t_max, best
            depth -= 1
            following = stack[depth]
        node = following


@device
def transmitted_share(tree, parts, ox, oy, oz, dx, dy, dz, skip, stack, is_cover_clear):
    """Share of the light along a ray that no part of a tree stops; glass covers let some through if is_cover_clear.

    d must be a unit vector when the tree holds covers; stack (s,) int32 is scratch.
    """
    ix, iy, iz = inverse_of(dx), inverse_of(dy), inverse_of(dz)
    px, py, pz = np.float32(ox), np.float32(oy), np.float32(oz)
    share = 1.0
    stack[0], depth = 0, 1
    while depth > 0:
        depth -= 1
        node = stack[depth]
        for slot in range(2):
            count = tree.links[node, 14 + slot]
            if count < 0 or box_entry(tree.boxes, node, 6 * slot, px, py, pz, ix, iy, iz, FURTHEST) >= MISSED:
                continue
            first = tree.links[node, 12 + slot]
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
