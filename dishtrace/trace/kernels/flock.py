"""Many rays through one tree together: each takes one step, then all take the next.

One ray through a tree is a chain of steps that wait for each other. Steps of different rays do not, so the processor
works on several while it waits for one; and rays are sorted by what they do next, so that it need not guess.
"""

from __future__ import annotations

import numpy as np

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.going import ASKING, END, PX, PY, PZ, TRIANGLE_LEFT, TRIANGLE_MET, VX, VY, VZ
from dishtrace.trace.kernels.lanes import NOTHING, enter_node, fetch, next_child
from dishtrace.trace.kernels.triangles import HIGH_HALF, KEY, NUMBER, closest_in_pack, inverse_of, single_limit
from dishtrace.trace.tree import CHILD, FLOCK, N_COLUMNS, STACK_NODE, WIDTH

# Rows of the flock's numbers in single precision: start, inverse direction, and how far to look.
OX, OY, OZ, IX, IY, IZ, LIMIT = range(7)
# Rows of its whole numbers: node or leaf at hand, depth of the stack, and the lists of those that enter a node, test a
# leaf, or go on with what is left.
AT, DEPTH, ENTERING, TESTING, LEFT_OVER = range(5)

# A tree of more leaves is not in a cache near the processor: what a ray looks at next is asked for while others take
# their step.
LEAVES_AT_HAND = 4096
LINE = 64


@device
def closest_hits(tree, root, g, m, n, flock):
    """Shorten END and set TRIANGLE_MET where one of the first n lanes that is ASKING meets a tree's triangle before."""
    start = np.int64(0)
    while start < n:
        flock_hits(tree, root, g, m, start, min(FLOCK, n - start), flock)
        start += FLOCK


@device
def flock_hits(tree, root, g, m, start, count, flock):
    """closest_hits for lanes start .. start + count - 1, at most FLOCK."""
    single, whole, stacks = flock.single, flock.whole, flock.stacks
    n_entering = n_testing = n_left = 0
    for i in range(count):
        whole[ENTERING, n_entering] = i
        n_entering += 1 if g[ASKING + start + i] > 0.0 else 0
    for a in range(n_entering):
        i = whole[ENTERING, a]
        j = start + i
        single[OX, i], single[OY, i], single[OZ, i] = g[PX + j], g[PY + j], g[PZ + j]
        single[IX, i], single[IY, i], single[IZ, i] = (
            inverse_of(g[VX + j]),
            inverse_of(g[VY + j]),
            inverse_of(g[VZ + j]),
        )
        single[LIMIT, i] = single_limit(g[END + j])
        whole[AT, i], whole[DEPTH, i] = root, 0
    while n_entering + n_testing + n_left > 0:
        n_now, n_entering = n_entering, 0
        for a in range(n_now):
            i = whole[ENTERING, a]
            node, depth = whole[AT, i], whole[DEPTH, i]
            found = enter_node(
                tree.boxes,
                node,
                single[OX, i],
                single[OY, i],
                single[OZ, i],
                single[IX, i],
                single[IY, i],
                single[IZ, i],
                single[LIMIT, i],
                stacks[i],
                depth,
            )
            stacks[i, depth, STACK_NODE] = node
            n_entering, n_testing, n_left = sort_in(tree, whole, i, node, depth, found, n_entering, n_testing, n_left)
        for a in range(n_testing):
            i = whole[TESTING, a]
            test_leaf(tree, g, m, start + i, -1 - whole[AT, i], single, i)
            whole[LEFT_OVER, n_left] = i
            n_left += 1 if whole[DEPTH, i] > 0 else 0
        n_testing = 0
        n_now, n_left = n_left, 0
        for a in range(n_now):
            i = whole[LEFT_OVER, a]
            depth = whole[DEPTH, i] - 1
            node = np.int64(stacks[i, depth, STACK_NODE])
            found = next_child(stacks[i], depth, single[LIMIT, i])
            n_entering, n_testing, n_left = sort_in(tree, whole, i, node, depth, found, n_entering, n_testing, n_left)


@device
def sort_in(tree, whole, i, node, depth, found, n_entering, n_testing, n_left):
    """Put ray i into the list of what it does next: the lengths of the three lists."""
    child = np.int64(tree.links[node, CHILD + (found & NUMBER)])
    is_any = (found & KEY) != NOTHING
    depth += (found >> HIGH_HALF) if is_any else 0
    whole[AT, i], whole[DEPTH, i] = child, depth
    if tree.packs.shape[0] > LEAVES_AT_HAND:
        fetch_next(tree, child)
    whole[ENTERING, n_entering] = i
    whole[TESTING, n_testing] = i
    whole[LEFT_OVER, n_left] = i
    n_entering += 1 if is_any & (child >= 0) else 0
    n_testing += 1 if is_any & (child < 0) else 0
    n_left += 1 if (not is_any) & (depth > 0) else 0
    return n_entering, n_testing, n_left


@device
def fetch_next(tree, child):
    """Ask for all lines of a node, or of the triangles of a leaf."""
    if child >= 0:
        for k in range(N_COLUMNS * 4 // LINE):
            fetch(tree.boxes, child, np.int64(LINE * k))
    else:
        for k in range(9 * WIDTH * 8 // LINE):
            fetch(tree.packs, -1 - child, np.int64(LINE * k))


@device
def test_leaf(tree, g, m, j, leaf, single, i):
    """Test the triangles of a leaf for lane j, ray i of the flock."""
    t, found = closest_in_pack(
        tree,
        leaf,
        g[PX + j],
        g[PY + j],
        g[PZ + j],
        g[VX + j],
        g[VY + j],
        g[VZ + j],
        g[END + j],
        m[TRIANGLE_LEFT + j],
    )
    if found >= 0:
        g[END + j], m[TRIANGLE_MET + j], single[LIMIT, i] = t, found, single_limit(t)
