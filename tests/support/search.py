"""Compiled loops over many rays, so that a million of them can be tried against every triangle."""

import numpy as np

from dishtrace.trace.compiling import device, kernel
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.flock import closest_hits
from dishtrace.trace.kernels.going import (
    ASKING,
    END,
    POWER_NOW,
    PX,
    PY,
    PZ,
    TRIANGLE_LEFT,
    TRIANGLE_MET,
    VX,
    VY,
    VZ,
)
from dishtrace.trace.kernels.triangles import FAR, closest_hit, triangle_hit
from dishtrace.trace.kernels.turned import meet_body


@kernel
def hits_by_tree(tree, root, mirror, origin, direction, skip, stack, t, number):
    """Nearest hit of each ray through the tree."""
    for k in range(origin.shape[0]):
        o, d = origin[k], direction[k]
        t[k], number[k] = closest_hit(
            tree, root, False, mirror, o[0], o[1], o[2], d[0], d[1], d[2], FAR, skip[k], stack
        )


@device
def set_out(origin, direction, skip, first, count, g, m):
    """A batch of rays as light under way, all with power and asking what they meet."""
    for j in range(count):
        o, d = origin[first + j], direction[first + j]
        g[PX + j], g[PY + j], g[PZ + j], g[VX + j], g[VY + j], g[VZ + j] = o[0], o[1], o[2], d[0], d[1], d[2]
        g[POWER_NOW + j], g[ASKING + j], g[END + j] = 1.0, 1.0, FAR
        m[TRIANGLE_LEFT + j], m[TRIANGLE_MET + j] = skip[first + j], -1


@kernel
def hits_together(tree, root, origin, direction, skip, g, m, flock, t, number):
    """The same for rays that go through the tree together, batch by batch; g, m: columns of light under way."""
    first, n = 0, origin.shape[0]
    while first < n:
        count = min(BATCH, n - first)
        set_out(origin, direction, skip, first, count, g, m)
        closest_hits(tree, root, g, m, count, flock)
        for j in range(count):
            t[first + j], number[first + j] = g[END + j], m[TRIANGLE_MET + j]
        first += BATCH


@kernel
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


@kernel
def hits_on_body(bodies, f, tree, parts, origin, direction, skip, g, m, flock, t, number, is_asking):
    """Nearest hit of each ray on a body, in closed form where that is plain, and whether the tree was asked."""
    first, n = 0, origin.shape[0]
    while first < n:
        count = min(BATCH, n - first)
        set_out(origin, direction, skip, first, count, g, m)
        meet_body(bodies, f, parts, g, m, np.int64(count))
        for j in range(count):
            is_asking[first + j] = g[ASKING + j] > 0.0
        closest_hits(tree, 0, g, m, count, flock)
        for j in range(count):
            t[first + j], number[first + j] = g[END + j], m[TRIANGLE_MET + j]
        first += BATCH
