"""The loop of ray queries that tells what rays meet first."""

from __future__ import annotations

from dishtrace.trace.compiling import kernel
from dishtrace.trace.kernels.triangles import FAR, closest_hit


@kernel
def first_meetings(tree, mirror, origins, directions, leaving, hits, stack):
    """Number of the triangle that each ray meets first, or -1, into hits (n,); rays leave triangle leaving (n,)."""
    for ray in range(origins.shape[0]):
        _, hits[ray] = closest_hit(
            tree,
            0,
            False,
            mirror,
            origins[ray, 0],
            origins[ray, 1],
            origins[ray, 2],
            directions[ray, 0],
            directions[ray, 1],
            directions[ray, 2],
            FAR,
            leaving[ray],
            stack,
        )
