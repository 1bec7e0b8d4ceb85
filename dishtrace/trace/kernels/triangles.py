"""Rays against triangles and facets, through the bounding-volume trees."""

from __future__ import annotations

import math

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.lanes import EDGE, NOTHING, ROUNDED_UP, enter_node, nearest_in_pack, next_child
from dishtrace.trace.kernels.mirror import SKIN, facet_hit, facet_normal
from dishtrace.trace.kernels.surface import sheet_optics
from dishtrace.trace.tree import CHILD, STACK_NODE, TAG, WIDTH

# Stands for "no hit": a distance beyond every scene, yet finite.
FAR = 1e300
# The same in single precision.
FURTHEST = np.float32(1e37)
# A key is the low half of what a node is asked for, and the number of the child its lowest three bits.
KEY, NUMBER, HIGH_HALF = 0x7FFFFFFF, 7, 32


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
def lesser(a, b):
    """The smaller of two numbers, as the processor does it for several at once."""
    return a if a < b else b


@device
def triangles_met(tree, leaf, ox, oy, oz, dx, dy, dz, t_max):
    """Bits 2^k of the triangles of a leaf that a ray meets before t_max: triangle_hit, eight at once."""
    pack = tree.packs[leaf]
    met = 0
    for k in range(WIDTH):
        e1x, e1y, e1z, e2x, e2y, e2z = pack[3, k], pack[4, k], pack[5, k], pack[6, k], pack[7, k], pack[8, k]
        px, py, pz = dy * e2z - dz * e2y, dz * e2x - dx * e2z, dx * e2y - dy * e2x
        inverse = 1.0 / (e1x * px + e1y * py + e1z * pz)
        sx, sy, sz = ox - pack[0, k], oy - pack[1, k], oz - pack[2, k]
        u = (sx * px + sy * py + sz * pz) * inverse
        qx, qy, qz = sy * e1z - sz * e1y, sz * e1x - sx * e1z, sx * e1y - sy * e1x
        v = (dx * qx + dy * qy + dz * qz) * inverse
        t = (e2x * qx + e2y * qy + e2z * qz) * inverse
        is_met = (u >= EDGE) & (v >= EDGE) & (u + v <= 1.0 - EDGE) & (t > 0.0) & (t < t_max)
        met |= (1 << k) if is_met else 0
    return met


@device
def single_limit(t):
    """A distance in single precision, rounded up."""
    return np.float32(min(t, 1e36) * ROUNDED_UP)


@device
def closest_in_leaf(tree, is_facet, mirror, leaf, count, ox, oy, oz, dx, dy, dz, t_max, leaving):
    """Nearest triangle or facet of a leaf before t_max: (t, number), or (t_max, -1)."""
    first, best = tree.leaf_first[leaf], -1
    if is_facet:
        for i in range(first, first + count):
            t = facet_hit(mirror, i, ox, oy, oz, dx, dy, dz, i == leaving)
            if t < t_max:
                t_max, best = t, i
        return t_max, best
    return closest_in_pack(tree, leaf, ox, oy, oz, dx, dy, dz, t_max, leaving)


@device
def closest_in_pack(tree, leaf, ox, oy, oz, dx, dy, dz, t_max, leaving):
    """Nearest triangle of a leaf before t_max: (t, number), or (t_max, -1)."""
    first = np.int64(tree.leaf_first[leaf])
    t, k = nearest_in_pack(tree.packs, np.int64(leaf), ox, oy, oz, dx, dy, dz, t_max, leaving - first)
    return (t, first + k) if k >= 0 else (t_max, -1)


@device
def closest_hit(tree, root, is_facet, mirror, ox, oy, oz, dx, dy, dz, t_max, leaving, stack):
    """Nearest triangle or facet before t_max (at most FAR): (t, number), or (t_max, -1).

    root: node to begin at; is_facet, a constant at every call, says which the tree holds; leaving: the triangle or
    facet that the ray starts on, or -1. stack (tree.new_stack()) is scratch: nodes with the children still to be
    looked into.
    """
    ix, iy, iz = inverse_of(dx), inverse_of(dy), inverse_of(dz)
    px, py, pz = np.float32(ox), np.float32(oy), np.float32(oz)
    limit, links = single_limit(t_max), tree.links
    best, node, depth = -1, root, 0
    found = enter_node(tree.boxes, node, px, py, pz, ix, iy, iz, limit, stack, depth)
    while True:
        if found & KEY != NOTHING:
            stack[depth, STACK_NODE] = node
            depth += found >> HIGH_HALF
            child = links[node, CHILD + (found & NUMBER)]
            if child >= 0:
                node = child
                found = enter_node(tree.boxes, node, px, py, pz, ix, iy, iz, limit, stack, depth)
                continue
            count = links[node, TAG + (found & NUMBER)] >> 8
            t, i = closest_in_leaf(tree, is_facet, mirror, -1 - child, count, ox, oy, oz, dx, dy, dz, t_max, leaving)
            if i >= 0:
                t_max, best, limit = t, i, single_limit(t)
        if depth == 0:
            return t_max, best
        depth -= 1
        node = stack[depth, STACK_NODE]
        found = next_child(stack, depth, limit)


@device
def transmitted_share(tree, root, parts, ox, oy, oz, dx, dy, dz, skip, stack, is_cover_clear):
    """Share of the light along a ray that no part of a tree stops; glass covers let some through if is_cover_clear.

    d must be a unit vector when the tree holds covers; stack (tree.new_stack()) is scratch.
    """
    ix, iy, iz = inverse_of(dx), inverse_of(dy), inverse_of(dz)
    px, py, pz = np.float32(ox), np.float32(oy), np.float32(oz)
    share, node, depth = 1.0, root, 0
    found = enter_node(tree.boxes, node, px, py, pz, ix, iy, iz, FURTHEST, stack, depth)
    while True:
        if found & KEY != NOTHING:
            stack[depth, STACK_NODE] = node
            depth += found >> HIGH_HALF
            child = tree.links[node, CHILD + (found & NUMBER)]
            if child >= 0:
                node = child
                found = enter_node(tree.boxes, node, px, py, pz, ix, iy, iz, FURTHEST, stack, depth)
                continue
            share *= transmitted_by_leaf(tree, parts, -1 - child, ox, oy, oz, dx, dy, dz, skip, is_cover_clear)
            if share <= 0.0:
                return 0.0
        if depth == 0:
            return share
        depth -= 1
        node = stack[depth, STACK_NODE]
        found = next_child(stack, depth, FURTHEST)


@device
def transmitted_by_leaf(tree, parts, leaf, ox, oy, oz, dx, dy, dz, skip, is_cover_clear):
    """Share of the light along a ray that the triangles of one leaf let through."""
    i, share = tree.leaf_first[leaf], 1.0
    met = triangles_met(tree, leaf, ox, oy, oz, dx, dy, dz, FAR)
    while met != 0:
        if met & 1 and i != skip:
            part = parts.part[i]
            if not is_cover_clear or parts.cover[part, 0] == 0.0:
                return 0.0
            cosine = abs(dx * parts.normal[i, 0] + dy * parts.normal[i, 1] + dz * parts.normal[i, 2])
            _, transmitted = sheet_optics(parts.cover[part, 0], parts.cover[part, 1] * parts.cover[part, 2], cosine)
            share *= transmitted
        met >>= 1
        i += 1
    return share


@device
def next_facet(mirror, tree, ox, oy, oz, dx, dy, dz, t_max, leaving, stack):
    """Nearest facet before t_max, front or back: (t, facet), or (t_max, -1)."""
    if dz >= 0.0 and oz > mirror.z_max:
        return t_max, -1
    if mirror.kind.shape[0] == 1:
        t = facet_hit(mirror, SKIN, ox, oy, oz, dx, dy, dz, leaving == 0)
        return (t, 0) if t < t_max else (t_max, -1)
    return closest_hit(tree, 0, True, mirror, ox, oy, oz, dx, dy, dz, t_max, leaving, stack)


@device
def is_front(mirror, i, x, y, z, dx, dy, dz):
    """Whether light going along d meets facet i at (x, y, z) on its reflecting side."""
    nx, ny, nz = facet_normal(mirror, i, x, y, z)
    return dx * nx + dy * ny + dz * nz < 0.0
