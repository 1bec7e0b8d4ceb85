"""Bounding-volume tree over triangles or facets, split by the surface-area heuristic.

A node holds the boxes of up to eight children, in single precision and widened, so that no ray that meets a triangle
misses its box, and side by side, so that the processor tests all eight at once. So do the leaves with their triangles,
in double precision: the answer is that of a search through all triangles.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dishtrace.trace.compiling import device, kernel

WIDTH = 8
N_BINS = 16
STACK_SIZE = 96
# Below this depth ranges are halved, so that no arrangement of triangles can outgrow a traversal's stack.
DEEPEST_SPLIT = 48
# Cost of stepping into a node against that of testing one facet; eight triangles are tested at once, so they always
# share a leaf. Measured on the standard case and on 20,000 facets, not critical.
STEP_COST = 1.0
# Boxes are widened by so much of the largest coordinate: rounding to single precision (6e-8) acts on the box, on the
# ray's start and on their difference. The triangle test stays in double precision, so no answer changes.
MARGIN = 5e-7
# Columns of a node: six times eight bounds, eight children, eight tags.
N_COLUMNS = 64
CHILD, TAG = 48, 56
# Columns of a traversal's stack: the keys of eight children (kernels/lanes.py), and whose they are.
STACK_NODE, N_STACK_COLUMNS = 8, 16
# Rays that go through a tree together (kernels/flock.py): enough to keep the processor busy, few enough for its nearest
# cache.
FLOCK = 32


class Flock(NamedTuple):
    """Scratch for rays that go through a tree together.

    single (7, 32) float32, whole (5, 33) int64; stacks (32, 96, 16) int32, a stack for each.
    """

    single: np.ndarray
    whole: np.ndarray
    stacks: np.ndarray


class Tree(NamedTuple):
    """Nodes and leaves of a tree over the triangles or facets first .. first + n - 1 of the tree's own order.

    boxes : (m, 64) float32: column 8 a + k is bound a (lower x, y, z, upper x, y, z) of child k, widened [m], NaN for
    no child; links : (m, 64) int32 in the same memory: column 48 + k is child k, a node's number, or -1 - l for leaf l;
    column 56 + k its tag, 2^k + 256 * (number in the leaf), 0 for no child. leaf_first : (l,) int32, first number in a
    leaf. packs : (l, 9, 8) float64: first corner and two edges of the triangles of a leaf, NaN beyond them [m];
    (0, 9, 8) for facets.
    """

    boxes: np.ndarray
    links: np.ndarray
    leaf_first: np.ndarray
    packs: np.ndarray


def new_stack() -> np.ndarray:
    """Scratch for one traversal at a time, (96, 16) int32."""
    return np.zeros((STACK_SIZE, N_STACK_COLUMNS), dtype=np.int32)


def new_flock() -> Flock:
    """Scratch for one flock at a time."""
    return Flock(
        single=np.zeros((7, FLOCK), dtype=np.float32),
        whole=np.zeros((5, FLOCK + 1), dtype=np.int64),
        stacks=np.zeros((FLOCK, STACK_SIZE, N_STACK_COLUMNS), dtype=np.int32),
    )


def build_tree(
    low: np.ndarray, high: np.ndarray, *, first: int, reach: float = 0.0, corners: np.ndarray | None = None
) -> tuple[Tree, np.ndarray]:
    """Tree over boxes that hold triangles or facets, and the order in which it wants them.

    Parameters
    ----------
    low, high : (n, 3) float64
        Lowest and highest corner of each one's box. [m]
    first : int
        Number of the first one of this tree in the common list. [–]
    reach : float
        Largest coordinate from which rays will start, when that is beyond the boxes. [m]
    corners : (n, 9) float64, optional
        First corner and two edges of triangles; left out, the boxes hold facets. [m]

    Returns
    -------
    tree : Tree
    order : (n,) int64
        Position i of the tree's order holds number order[i].
    """
    n = len(low)
    order = np.arange(n, dtype=np.int64)
    n_nodes = max(n, 1)
    boxes = np.empty((n_nodes, 2, 6), dtype=np.float64)
    child = np.zeros((n_nodes, 2), dtype=np.int32)
    count = np.full((n_nodes, 2), -1, dtype=np.int32)
    scratch = (
        np.empty(6),
        np.empty(6),
        np.empty(3),
        np.empty((3, N_BINS, 6)),
        np.empty((3, N_BINS), dtype=np.int64),
        np.empty(N_BINS),
    )
    stacks = tuple(np.empty(STACK_SIZE, dtype=np.int64) for _ in range(4))
    is_packed = corners is not None
    # Built on copies in the order of the tree, so that every pass runs through memory in one direction.
    placed = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    used = _build(*placed, order, is_packed, boxes, child, count, scratch, stacks) if n else 1
    picks = np.full((used, WIDTH, 2), -1, dtype=np.int32)
    wide = np.zeros((used, WIDTH), dtype=np.int32)
    leaves = np.zeros((2 * used, 2), dtype=np.int32)
    sizes = np.zeros(2, dtype=np.int64)
    _widen(boxes, child, count, picks, wide, leaves, sizes, np.empty((STACK_SIZE, 2), dtype=np.int64))
    picks, wide, leaves = picks[: sizes[0]], wide[: sizes[0]], leaves[: sizes[1]]
    packs = np.full((len(leaves) if is_packed else 0, 9, WIDTH), np.nan)
    if is_packed:
        _pack(corners, order, leaves, packs)
    nodes, links = _laid_out(boxes, count, picks, wide, reach=reach)
    return Tree(nodes, links, np.ascontiguousarray(leaves[:, 0] + np.int32(first)), packs), order


def joined(*trees: Tree) -> tuple[Tree, np.ndarray]:
    """Trees in the same arrays, and the root of each, (k,) int64.

    Parameters
    ----------
    trees : Tree
        All over triangles, numbered apart.
    """
    roots = np.cumsum([0] + [len(tree.links) for tree in trees])
    leaves = np.cumsum([0] + [len(tree.leaf_first) for tree in trees])
    block, start = _aligned(int(roots[-1]))
    nodes = block[start : start + N_COLUMNS * int(roots[-1])].reshape(-1, N_COLUMNS)
    links = nodes.view(np.int32)
    for tree, root, leaf in zip(trees, roots[:-1], leaves[:-1], strict=True):
        placed = links[root : root + len(tree.links)]
        placed[:] = tree.links
        child, tag = placed[:, CHILD:TAG], placed[:, TAG:]
        child[(tag != 0) & (child >= 0)] += root
        child[child < 0] -= leaf
    first = np.concatenate([tree.leaf_first for tree in trees])
    return Tree(nodes, links, first, np.concatenate([tree.packs for tree in trees])), roots[:-1]


def _aligned(n_nodes: int) -> tuple[np.ndarray, int]:
    """Zeros for so many nodes, and where among them a line of memory begins."""
    block = np.zeros(N_COLUMNS * (n_nodes + 1), dtype=np.float32)
    return block, (-block.ctypes.data % 64) // 4


def _laid_out(
    boxes: np.ndarray, count: np.ndarray, picks: np.ndarray, wide: np.ndarray, *, reach: float
) -> tuple[np.ndarray, np.ndarray]:
    """Nodes in memory lines of their own, boxes in single precision widened by what its rounding can shift a ray."""
    m = len(picks)
    block, start = _aligned(m)
    nodes = block[start : start + N_COLUMNS * m].reshape(m, N_COLUMNS)
    links = nodes.view(np.int32)
    nodes[:, :CHILD] = np.nan
    node, slot = np.nonzero(picks[:, :, 0] >= 0)
    if len(node) == 0:
        return nodes, links
    held = boxes[picks[node, slot, 0], picks[node, slot, 1]]
    margin = MARGIN * max(reach, float(np.abs(held).max()))
    for axis in range(3):
        nodes[node, WIDTH * axis + slot] = held[:, axis] - margin
        nodes[node, WIDTH * (axis + 3) + slot] = held[:, axis + 3] + margin
    links[node, CHILD + slot] = wide[node, slot]
    links[node, TAG + slot] = (1 << slot) + 256 * count[picks[node, slot, 0], picks[node, slot, 1]]
    return nodes, links


@kernel
def _pack(corners, order, leaves, packs):
    """Copy the triangles of each leaf side by side."""
    for leaf in range(leaves.shape[0]):
        for k in range(leaves[leaf, 1]):
            for j in range(9):
                packs[leaf, j, k] = corners[order[leaves[leaf, 0] + k], j]


@kernel
def _widen(boxes, child, count, picks, wide, leaves, sizes, todo):
    """Gather up to eight grandchildren of each node of two, the largest opened first.

    picks (m, 8, 2): node and slot of two that each child comes from; wide (m, 8): its node, or -1 - leaf; leaves
    (l, 2): first and number; sizes (2,): nodes and leaves used; todo is scratch.
    """
    todo[0, 0], todo[0, 1] = 0, -1
    depth, n_nodes, n_leaves = 1, 0, 0
    while depth > 0:
        depth -= 1
        source, link = todo[depth, 0], todo[depth, 1]
        here = n_nodes
        n_nodes += 1
        if link >= 0:
            wide[link // WIDTH, link % WIDTH] = here
        n = 0
        for slot in range(2):
            if count[source, slot] >= 0:
                picks[here, n, 0], picks[here, n, 1] = source, slot
                n += 1
        while n < WIDTH:
            largest, at = -1.0, -1
            for k in range(n):
                node, slot = picks[here, k, 0], picks[here, k, 1]
                b = boxes[node, slot]
                area = _half_area(b[0], b[1], b[2], b[3], b[4], b[5])
                if count[node, slot] == 0 and area > largest:
                    largest, at = area, k
            if at < 0:
                break
            opened = child[picks[here, at, 0], picks[here, at, 1]]
            picks[here, at, 0], picks[here, at, 1] = opened, 0
            picks[here, n, 0], picks[here, n, 1] = opened, 1
            n += 1
        for k in range(n):
            node, slot = picks[here, k, 0], picks[here, k, 1]
            if count[node, slot] > 0:
                leaves[n_leaves, 0], leaves[n_leaves, 1] = child[node, slot], count[node, slot]
                wide[here, k] = -1 - n_leaves
                n_leaves += 1
            else:
                todo[depth, 0], todo[depth, 1] = child[node, slot], here * WIDTH + k
                depth += 1
    sizes[0], sizes[1] = n_nodes, n_leaves


@device
def _half_area(x0, y0, z0, x1, y1, z1):
    """Half the surface of a box [m2]; zero for an empty one."""
    dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
    return dx * dy + dy * dz + dz * dx if dx >= 0.0 else 0.0


@device
def _fill_bins(low, high, start, end, lowest, scale, bin_box, bin_count):
    """Boxes (3, N_BINS, 6) and numbers (3, N_BINS) of a range, binned by their centres along each axis."""
    for axis in range(3):
        for b in range(N_BINS):
            bin_count[axis, b] = 0
            for k in range(3):
                bin_box[axis, b, k], bin_box[axis, b, k + 3] = np.inf, -np.inf
    for i in range(start, end):
        x0, y0, z0, x1, y1, z1 = low[i, 0], low[i, 1], low[i, 2], high[i, 0], high[i, 1], high[i, 2]
        for axis in range(3):
            b = bin_of(low, high, i, axis, lowest, scale)
            bin_count[axis, b] += 1
            box = bin_box[axis, b]
            box[0], box[1], box[2] = min(box[0], x0), min(box[1], y0), min(box[2], z0)
            box[3], box[4], box[5] = max(box[3], x1), max(box[4], y1), max(box[5], z1)


@device
def bin_of(low, high, i, axis, lowest, scale):
    """Bin of box i along an axis."""
    return min(int((0.5 * (low[i, axis] + high[i, axis]) - lowest[axis]) * scale[axis]), N_BINS - 1)


@device
def _best_plane(n, boxes, counts, right_area):
    """Cheapest of the N_BINS - 1 planes across one axis: (cost, bin); cost is infinite when all are on one side."""
    x0 = y0 = z0 = np.inf
    x1 = y1 = z1 = -np.inf
    n_right = 0
    for b in range(N_BINS - 1, 0, -1):
        x0, y0, z0 = min(x0, boxes[b, 0]), min(y0, boxes[b, 1]), min(z0, boxes[b, 2])
        x1, y1, z1 = max(x1, boxes[b, 3]), max(y1, boxes[b, 4]), max(z1, boxes[b, 5])
        n_right += counts[b]
        right_area[b] = _half_area(x0, y0, z0, x1, y1, z1) * n_right
    x0 = y0 = z0 = np.inf
    x1 = y1 = z1 = -np.inf
    n_left = 0
    best_cost, best_bin = np.inf, 0
    for b in range(N_BINS - 1):
        x0, y0, z0 = min(x0, boxes[b, 0]), min(y0, boxes[b, 1]), min(z0, boxes[b, 2])
        x1, y1, z1 = max(x1, boxes[b, 3]), max(y1, boxes[b, 4]), max(z1, boxes[b, 5])
        n_left += counts[b]
        if 0 < n_left < n:
            cost = _half_area(x0, y0, z0, x1, y1, z1) * n_left + right_area[b + 1]
            if cost < best_cost:
                best_cost, best_bin = cost, b
    return best_cost, best_bin


@device
def _bounds(low, high, start, end, out, centre):
    """Box of a range into out (6,), and that of its centres into centre (6,)."""
    for k in range(3):
        out[k] = centre[k] = np.inf
        out[k + 3] = centre[k + 3] = -np.inf
    for i in range(start, end):
        for k in range(3):
            a, b = low[i, k], high[i, k]
            c = 0.5 * (a + b)
            out[k], out[k + 3] = min(out[k], a), max(out[k + 3], b)
            centre[k], centre[k + 3] = min(centre[k], c), max(centre[k + 3], c)


@device
def _partition(low, high, order, start, end, axis, lowest, scale, split):
    """Move what lies in bins up to split to the front; returns where the others begin."""
    i, j = start, end - 1
    while i <= j:
        if bin_of(low, high, i, axis, lowest, scale) <= split:
            i += 1
            continue
        order[i], order[j] = order[j], order[i]
        for k in range(3):
            low[i, k], low[j, k] = low[j, k], low[i, k]
            high[i, k], high[j, k] = high[j, k], high[i, k]
        j -= 1
    return i


@device
def _divide(low, high, order, start, end, level, is_packed, box, centre, scale, bin_box, bin_count, right_area):
    """Where to cut a range (which is reordered): first of the right half, or -1 to keep it as a leaf."""
    n = end - start
    _bounds(low, high, start, end, box, centre)
    if n == 1 or (is_packed and n <= WIDTH):
        return -1
    for axis in range(3):
        width = centre[axis + 3] - centre[axis]
        scale[axis] = N_BINS / width if width > 0.0 else 0.0
    _fill_bins(low, high, start, end, centre, scale, bin_box, bin_count)
    best_cost, best_bin, best_axis = np.inf, 0, 0
    for axis in range(3):
        cost, b = _best_plane(n, bin_box[axis], bin_count[axis], right_area)
        if cost < best_cost:
            best_cost, best_bin, best_axis = cost, b, axis
    area = _half_area(box[0], box[1], box[2], box[3], box[4], box[5])
    if n <= WIDTH and not best_cost + STEP_COST * area < n * area:
        return -1
    if level >= DEEPEST_SPLIT or not best_cost < np.inf:
        return start + n // 2
    return _partition(low, high, order, start, end, best_axis, centre, scale, best_bin)


@kernel
def _build(low, high, order, is_packed, boxes, child, count, scratch, stacks):
    """Fill boxes, child and count, reorder low, high and order; returns the number of nodes used."""
    box, centre, scale, bin_box, bin_count, right_area = scratch
    starts, ends, parents, levels = stacks
    starts[0], ends[0], parents[0], levels[0] = 0, order.shape[0], -1, 0
    depth, used = 1, 0
    while depth > 0:
        depth -= 1
        start, end, parent, level = starts[depth], ends[depth], parents[depth], levels[depth]
        middle = _divide(
            low, high, order, start, end, level, is_packed, box, centre, scale, bin_box, bin_count, right_area
        )
        node, slot = parent // 2, parent % 2
        if parent >= 0:
            for k in range(6):
                boxes[node, slot, k] = box[k]
        if middle < 0 and parent >= 0:
            child[node, slot] = start
            count[node, slot] = end - start
            continue
        if parent >= 0:
            child[node, slot] = used
            count[node, slot] = 0
        if middle < 0:
            for k in range(6):
                boxes[0, 0, k] = box[k]
                boxes[0, 1, k] = np.inf if k < 3 else -np.inf
            child[0, 0], count[0, 0] = start, end - start
            return 1
        # The larger half first onto the stack, so that the stack stays shallow whatever the triangles look like.
        if middle - start > end - middle:
            starts[depth], ends[depth], parents[depth] = start, middle, 2 * used
            starts[depth + 1], ends[depth + 1], parents[depth + 1] = middle, end, 2 * used + 1
        else:
            starts[depth], ends[depth], parents[depth] = middle, end, 2 * used + 1
            starts[depth + 1], ends[depth + 1], parents[depth + 1] = start, middle, 2 * used
        levels[depth], levels[depth + 1] = level + 1, level + 1
        depth += 2
        used += 1
    return used
