"""Drawings of bodies on a plane: directions to look from, projected triangles, and what stands in front."""

from __future__ import annotations

import numpy as np

from dishtrace.vec import normalise, perpendicular_axes

LEAST_COSINE = 1e-9
"""Triangles turned further away from the viewer are lines. [–]"""
HAIR = 1e-6
"""What lies so little in front of a point does not hide it, of the body's size. [–]"""


def view_axes(toward_viewer: np.ndarray, up: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Directions of right and up in a drawing.

    Parameters
    ----------
    toward_viewer : (3,) float64
        Unit vector from the body to the viewer. [–]
    up : (3,) float64
        Unit vector that shall point up; when it points at the viewer, any other direction does. [–]

    Returns
    -------
    right, top : (3,) float64
        Unit vectors with right x top = toward_viewer. [–]
    """
    across = np.cross(up, toward_viewer)
    if np.linalg.norm(across) < 1e-9:
        return perpendicular_axes(toward_viewer)
    right = normalise(across)
    return right, np.cross(toward_viewer, right)


def project(points: np.ndarray, right: np.ndarray, top: np.ndarray) -> np.ndarray:
    """Points (..., 3) in a drawing with the given axes, (..., 2). [as given]"""
    return np.stack([points @ right, points @ top], axis=-1)


def lit_direction(normals: np.ndarray, areas: np.ndarray, front: np.ndarray, back: np.ndarray) -> np.ndarray:
    """Where the light comes from: normals weighted by the power on either side.

    Parameters
    ----------
    normals : (n, 3) float64
        Unit normals of the fronts. [–]
    areas : (n,) float64
        [m2]
    front, back : (n,) float64
        Flux on either side. [W/m2]

    Returns
    -------
    (3,) float64
        Unit vector from the body towards where most light comes from; -z when the light comes evenly from all around.
    """
    power = ((front - back) * areas) @ normals
    whole = float(((front + back) * areas).sum())
    if not np.linalg.norm(power) > 1e-6 * whole:
        return np.array([0.0, 0.0, -1.0])
    return normalise(power)


def three_quarter(toward: np.ndarray, up: np.ndarray) -> np.ndarray:
    """A direction to look from that shows the given side and two others.

    Parameters
    ----------
    toward : (3,) float64
        Unit vector out of the side to be seen. [–]
    up : (3,) float64
        Unit vector upwards. [–]

    Returns
    -------
    (3,) float64
        Unit vector towards the viewer, about 27 degrees aside and 17 degrees up of `toward`. [–]
    """
    right, top = view_axes(toward, up)
    return normalise(toward + 0.5 * right + 0.3 * top)


def front_most(uv: np.ndarray, depth: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Which triangle of a drawing is seen at given points.

    Parameters
    ----------
    uv : (n, 3, 2) float64
        Projected corners. [m]
    depth : (n,) float64
        Larger is nearer to the viewer. [m]
    points : (k, 2) float64
        [m]

    Returns
    -------
    (k,) int64
        Number of the nearest triangle that covers the point, -1 where there is none. [–]
    """
    found = np.full(len(points), -1, dtype=np.int64)
    low, high = uv.min(axis=1), uv.max(axis=1)
    for k, point in enumerate(points):
        near = np.flatnonzero(np.all((low <= point) & (point <= high), axis=1))
        inside = near[_covers(uv[near], point)]
        if len(inside):
            found[k] = inside[np.argmax(depth[inside])]
    return found


def is_hidden(
    point: np.ndarray, triangles: np.ndarray, normals: np.ndarray, *, right: np.ndarray, top: np.ndarray
) -> bool:
    """Whether a triangle stands between a point and the viewer.

    Parameters
    ----------
    point : (3,) float64
        May lie on triangles, also on their edges: these do not hide it. [m]
    triangles : (n, 3, 3) float64
        Corners. [m]
    normals : (n, 3) float64
        [–]
    right, top : (3,) float64
        Axes of the drawing. [–]
    """
    covering = _covers(project(triangles, right, top), project(point, right, top))
    cosines = normals[covering] @ np.cross(right, top)
    heights = np.einsum("ij,ij->i", normals[covering], triangles[covering, 0] - point)
    is_faced = np.abs(cosines) > LEAST_COSINE
    if not np.any(is_faced):
        return False
    size = np.ptp(triangles.reshape(-1, 3), axis=0).max()
    return bool(np.any(heights[is_faced] / cosines[is_faced] > HAIR * size))


def _covers(uv: np.ndarray, point: np.ndarray) -> np.ndarray:
    """Which of the projected triangles (n, 3, 2) cover a point (2,), (n,) bool."""
    a, b, c = uv[:, 0], uv[:, 1], uv[:, 2]
    signs = np.stack([_turn(a, b, point), _turn(b, c, point), _turn(c, a, point)])
    return np.all(signs >= 0.0, axis=0) | np.all(signs <= 0.0, axis=0)


def _turn(start: np.ndarray, end: np.ndarray, point: np.ndarray) -> np.ndarray:
    along, to = end - start, point - start
    return along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0]
