"""Rays aimed at triangles: into them, at corners, at edges, anywhere, and in their planes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

INTO, AT_CORNER, AT_EDGE, ANYWHERE, IN_PLANE = range(5)


def aimed(
    chosen: np.ndarray,
    origin: np.ndarray,
    kind: np.ndarray,
    generator: np.random.Generator,
    *,
    off_edge: Callable[[int], np.ndarray | float],
) -> tuple[np.ndarray, np.ndarray]:
    """Targets and directions, not of unit length, from origins to triangles (n, 3, 3), each (n, 3).

    `off_edge` gives how far off an edge rays at edges are aimed, as weights of the corner across. Rays of other kinds
    are aimed into the triangle; those in its plane get another origin, in place.
    """
    n = len(kind)
    weights = generator.dirichlet(np.ones(3), size=n)
    weights[kind == AT_CORNER] = np.eye(3)[generator.integers(3, size=np.count_nonzero(kind == AT_CORNER))]
    weights[kind == AT_EDGE, 0] = off_edge(np.count_nonzero(kind == AT_EDGE))
    weights /= weights.sum(axis=1, keepdims=True)
    target = np.einsum("nk,nki->ni", weights, chosen)
    direction = target - origin
    direction[kind == ANYWHERE] = generator.normal(size=(np.count_nonzero(kind == ANYWHERE), 3))
    in_plane = kind == IN_PLANE
    origin[in_plane] = chosen[in_plane, 0] + 3.0 * (chosen[in_plane, 1] - chosen[in_plane, 2])
    direction[in_plane] = target[in_plane] - origin[in_plane]
    return target, direction
