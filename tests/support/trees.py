"""What a bounding-volume tree holds, told in plain arrays."""

import numpy as np

from dishtrace.trace.tree import CHILD, TAG, WIDTH


def children(tree, node):
    """(box (6,), node or -1 - leaf, number in the leaf) of each child of a node."""
    found = []
    for k in range(WIDTH):
        tag = int(tree.links[node, TAG + k])
        if tag:
            assert tag & 255 == 1 << k
            box = tree.boxes[node, [WIDTH * a + k for a in range(6)]].astype(float)
            found.append((box, int(tree.links[node, CHILD + k]), tag >> 8))
    return found


def nodes(tree, root=0):
    """Numbers of all nodes from a root down."""
    found, stack = [], [root]
    while stack:
        node = stack.pop()
        found.append(node)
        stack += [child for _, child, _ in children(tree, node) if child >= 0]
    return found


def leaves(tree, root=0):
    """(first, number, box (6,)) of every leaf from a root down."""
    return [
        (int(tree.leaf_first[-1 - child]), count, box)
        for node in nodes(tree, root)
        for box, child, count in children(tree, node)
        if child < 0
    ]


def depth(tree, node=0):
    """Nodes from a node to the deepest below it."""
    return 1 + max((depth(tree, child) for _, child, _ in children(tree, node) if child >= 0), default=0)


def corners_of(triangles):
    """First corner and two edges (n, 9) of triangles (n, 3, 3)."""
    first, second, third = np.moveaxis(triangles, 1, 0)
    return np.ascontiguousarray(np.concatenate([first, second - first, third - first], axis=1))
