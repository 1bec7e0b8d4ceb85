"""Bounding-volume tree over triangles, split by the surface-area heuristic.

A node holds the boxes of its two children, in single precision and widened, so that no ray that meets a triangle misses
its box; the triangle test itself stays in double precision and the answer is that of a search through all triangles.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dishtrace.trace.compiling import device

N_BINS = 16
LEAF_SIZE = 8
STACK_SIZE = 96
# Below this depth ranges are halved, so that no arrangement of triangles can outgrow a traversal's stack.
DEEPEST_SPLIT = 48
# Cost of stepping into a node against that of testing one triangle; measured on the standard case, not critical.
STEP_COST = 1.0
# Boxes are widened by so much of the largest coordinate: rounding to single precision (6e-8) acts on the box, on the
# ray's start and on their difference. The triangle test stays in double precision, so no answer changes.
MARGIN = 5e-7


class Tree(NamedTuple):
    """Nodes of a tree over the triangles or facets first .. first + n - 1 of the tree's own order.

    boxes : (m, 16) float32, lower and upper corner of either child's box, widened [m]; links : (m, 16) int32 in the
    same memory, so that a node is one cache line of 64 bytes: columns 12 and 13 are the children (node number, or first
    triangle of a leaf), 14 and 15 how many triangles they hold (0 for an inner node, -1 for no child).
    """

    boxes: np.ndarray
    links: np.ndarray


def build_tree(low: np.ndarray, high: np.ndarray, *, first: int, reach: float = 0.0) -> tuple[Tree, np.ndarray]:
    """Tree over boxes that hold triangles or facets, and the order in which it wants them.

    Parameters
    ----------
    low, high : (n, 3) float64
        Lowest and highest corner of each one's box. [m]
    first : int
        Number of the first one of this tree in the common list. [–]
    reach : float
        Largest coordinate from which rays will start, when that is beyond the boxes. [m]

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
    scratch = (np.empty((N_BINS, 6)), np.empty(N_BINS, dtype=np.int64), np.empty(N_BINS), np.empty(6))
    stacks = tuple(np.empty(STACK_SIZE, dtype=np.int64) for _ in range(4))
    used = _build(low, high, order, boxes, child, count, *scratch, *stacks) if n else 1
    if n == 0:
        boxes[:, :, :3], boxes[:, :, 3:] = np.inf, -np.inf
    boxes, child, count = boxes[:used], child[:used].copy(), count[:used].copy()
    child[count > 0] += first
    return _packed(boxes, child, count, reach=reach), order


def _packed(boxes: np.ndarray, child: np.ndarray, count: np.ndarray, *, reach: float) -> Tree:
    """Nodes in memory lines of their own, boxes in single precision widened by what its rounding can shift a ray."""
    block = np.zeros(16 * (len(boxes) + 1), dtype=np.float32)
    start = (-block.ctypes.data % 64) // 4
    nodes = block[start : start + 16 * len(boxes)].reshape(len(boxes), 16)
    finite = boxes[np.isfinite(boxes)]
    margin = MARGIN * max(reach, float(np.abs(finite).max()) if finite.size else 0.0)
    nodes[:, 0:3], nodes[:, 6:9] = boxes[:, 0, :3] - margin, boxes[:, 1, :3] - margin
    nodes[:, 3:6], nodes[:, 9:12] = boxes[:, 0, 3:] + margin, boxes[:, 1, 3:] + margin
    links = nodes.view(np.int32)
    links[:, 12:14], links[:, 14:16] = child, count
    return Tree(nodes, links)


@device
def _half_area(x0, y0, z0, x1, y1, z1):
    """Half the surface of a box [m2]; zero for an empty one."""
    dx, dy, dz = x1 - x0, y1 - y0, z1 - z0
    return dx * dy + dy * dz + dz * dx if dx >= 0.0 else 0.0


@device
def _best_split(low, high, order, start, end, axis, lowest, width, bin_box, bin_count, right_area):
    """Cheapest of the N_BINS - 1 planes across one axis: (cost, bin); cost is infinite when all centres coincide."""
    if width <= 0.0:
        return np.inf, 0
    for b in range(N_BINS):
        bin_count[b] = 0
        for k in range(3):
            bin_box[b, k] = np.inf
            bin_box[b, k + 3] = -np.inf
    scale = N_BINS / width
    for i in range(start, end):
        t = order[i]
        b = min(int((0.5 * (low[t, axis] + high[t, axis]) - lowest) * scale), N_BINS - 1)
        bin_count[b] += 1
        for k in range(3):
            bin_box[b, k] = min(bin_box[b, k], low[t, k])
            bin_box[b, k + 3] = max(bin_box[b, k + 3], high[t, k])
    x0 = y0 = z0 = np.inf
    x1 = y1 = z1 = -np.inf
    n_right = 0
    for b in range(N_BINS - 1, 0, -1):
        x0, y0, z0 = min(x0, bin_box[b, 0]), min(y0, bin_box[b, 1]), min(z0, bin_box[b, 2])
        x1, y1, z1 = max(x1, bin_box[b, 3]), max(y1, bin_box[b, 4]), max(z1, bin_box[b, 5])
        n_right += bin_count[b]
        right_area[b] = _half_area(x0, y0, z0, x1, y1, z1) * n_right
    x0 = y0 = z0 = np.inf
    x1 = y1 = z1 = -np.inf
    n_left = 0
    best_cost, best_bin = np.inf, 0
    for b in range(N_BINS - 1):
        x0, y0, z0 = min(x0, bin_box[b, 0]), min(y0, bin_box[b, 1]), min(z0, bin_box[b, 2])
        x1, y1, z1 = max(x1, bin_box[b, 3]), max(y1, bin_box[b, 4]), max(z1, bin_box[b, 5])
        n_left += bin_count[b]
        if 0 < n_left < end - start:
            cost = _half_area(x0, y0, z0, x1, y1, z1) * n_left + right_area[b + 1]
            if cost < best_cost:
                best_cost, best_bin = cost, b
    return best_cost, best_bin


@device
def _bounds(low, high, order, start, end, out):
    """Box of a range of triangles into out (6,), and the range of their centres: six numbers."""
    cx0 = cy0 = cz0 = np.inf
    cx1 = cy1 = cz1 = -np.inf
    for k in range(3):
        out[k] = np.inf
        out[k + 3] = -np.inf
    for i in range(start, end):
        t = order[i]
        for k in range(3):
            out[k] = min(out[k], low[t, k])
            out[k + 3] = max(out[k + 3], high[t, k])
        cx, cy, cz = (
            0.5 * (low[t, 0] + high[t, 0]),
            0.5 * (low[t, 1] + high[t, 1]),
            0.5 * (low[t, 2] + high[t, 2]),
        )
        cx0, cy0, cz0 = min(cx0, cx), min(cy0, cy), min(cz0, cz)
        cx1, cy1, cz1 = max(cx1, cx), max(cy1, cy), max(cz1, cz)
    return cx0, cy0, cz0, cx1, cy1, cz1


@device
def _partition(low, high, order, start, end, axis, lowest, width, split):
    """Move the triangles of bins up to split to the front; returns where the others begin."""
    scale = N_BINS / width
    i, j = start, end - 1
    while i <= j:
        t = order[i]
        b = min(int((0.5 * (low[t, axis] + high[t, axis]) - lowest) * scale), N_BINS - 1)
        if b <= split:
            i += 1
        else:
            order[i], order[j] = order[j], t
            j -= 1
    return i


@device
def _divide(low, high, order, start, end, level, box, bin_box, bin_count, right_area):
    """Where to cut a range of triangles (which is reordered): first of the right half, or -1 to keep it as a leaf."""
    n = end - start
    cx0, cy0, cz0, cx1, cy1, cz1 = _bounds(low, high, order, start, end, box)
    if n == 1:
        return -1
    area = _half_area(box[0], box[1], box[2], box[3], box[4], box[5])
    best_cost, best_bin = _best_split(low, high, order, start, end, 0, cx0, cx1 - cx0, bin_box, bin_count, right_area)
    axis, lowest, width = 0, cx0, cx1 - cx0
    cost, b = _best_split(low, high, order, start, end, 1, cy0, cy1 - cy0, bin_box, bin_count, right_area)
    if cost < best_cost:
        best_cost, best_bin, axis, lowest, width = cost, b, 1, cy0, cy1 - cy0
    cost, b = _best_split(low, high, order, start, end, 2, cz0, cz1 - cz0, bin_box, bin_count, right_area)
    if cost < best_cost:
        best_cost, best_bin, axis, lowest, width = cost, b, 2, cz0, cz1 - cz0
    if n <= LEAF_SIZE and not best_cost + STEP_COST * area < n * area:
        return -1
    if level >= DEEPEST_SPLIT or not best_cost < np.inf:
        return start + n // 2
    return _partition(low, high, order, start, end, axis, lowest, width, best_bin)


@device
def _build(low, high, order, boxes, child, count, bin_box, bin_count, right_area, box, starts, ends, parents, levels):
    """Fill boxes, child and count, reorder order; the rest is scratch. Returns the number of nodes used."""
    starts[0], ends[0], parents[0], levels[0] = 0, order.shape[0], -1, 0
    depth, used = 1, 0
    while depth > 0:
        depth -= 1
        start, end, parent, level = starts[depth], ends[depth], parents[depth], levels[depth]
        middle = _divide(low, high, order, start, end, level, box, bin_box, bin_count, right_area)
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
