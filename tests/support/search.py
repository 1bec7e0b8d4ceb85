"""Compiled loops over many rays, so that a million of them can be tried against every triangle."""

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.triangles import FAR, closest_hit, triangle_hit


@device
def hits_by_tree(tree, root, mirror, origin, direction, skip, stack, t, number):
    """Nearest hit of each ray through the tree."""
    for k in range(origin.shape[0]):
        o, d = origin[k], direction[k]
        t[k], number[k] = closest_hit(
            tree, root, False, mirror, o[0], o[1], o[2], d[0], d[1], d[2], FAR, skip[k], stack
        )


@device
def hits_by_search(corners, origin, direction, skip, t, number):
    """Nearest hit of each ray among all triangles, the first of equals."""
    for k in range(origin.shape[0]):
        o, d = origin[k], direction[k]
        t[k], number[k] = FAR, -1
        for i in range(corners.shape[0]):
            if i != skip[k]:
                found = triangle_hit(corners, i, o[0], o[1], o[2], d[0], d[1], d[2])
                if found < t[k]:
                    t[k], number[k] = found, i
