"""Plain measures of triangle sets: areas, normals, volume, and whether they close."""

from __future__ import annotations

import numpy as np

MERGE_TOLERANCE = 1e-8
"""Corners nearer than this share of the set's size count as one [–]."""


def area_vectors(triangles: np.ndarray) -> np.ndarray:
    """Half the cross product of two sides: area times front normal, (n, 3) [m2]."""
    return 0.5 * np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])


def areas_of(triangles: np.ndarray) -> np.ndarray:
    """Areas, (n,) [m2]."""
    return np.linalg.norm(area_vectors(triangles), axis=1)


def volume(triangles: np.ndarray) -> float:
    """Signed volume of a closed set, positive when the fronts face outward.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Closed set, fronts counter-clockwise. [m]

    Returns
    -------
    float
        By the divergence theorem about the middle of the set; without meaning for an open set. [m3]
    """
    middle = 0.5 * (triangles.min(axis=(0, 1)) + triangles.max(axis=(0, 1)))
    a, b, c = np.moveaxis(triangles - middle, 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)


def corner_numbers(triangles: np.ndarray) -> np.ndarray:
    """Number the corners so that equal places have equal numbers.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Corners. [m]

    Returns
    -------
    (n, 3) int64
        Corners that agree to `MERGE_TOLERANCE` of the set's size share a number. [–]

    Notes
    -----
    Along each axis sorted coordinates are cut where they jump by more than the tolerance, so that, unlike
    with rounding, two nearly equal coordinates never fall on different sides of a border.
    """
    points = triangles.reshape(-1, 3)
    tolerance = MERGE_TOLERANCE * max(float(np.ptp(points, axis=0).max()), np.finfo(float).tiny)
    labels = np.empty(points.shape, dtype=np.int64)
    for axis in range(3):
        order = np.argsort(points[:, axis], kind="stable")
        jumps = np.diff(points[order, axis]) > tolerance
        labels[order, axis] = np.concatenate([[0], np.cumsum(jumps)])
    numbers = labels[:, 0]
    for axis in (1, 2):
        # two axes at a time keep within 64 bits and sort far faster than rows
        together = numbers * (labels[:, axis].max(initial=0) + 1) + labels[:, axis]
        numbers = np.unique(together, return_inverse=True)[1]
    return numbers.reshape(-1, 3).astype(np.int64)


def edge_faults(corners: np.ndarray) -> tuple[int, int]:
    """Edges that keep a set from being closed, and edges where neighbours face opposite ways.

    Parameters
    ----------
    corners : (n, 3) int64
        Corner numbers from `corner_numbers`. [–]

    Returns
    -------
    n_open : int
        Edges that belong to an odd number of triangles: a border or a stray sheet. [–]
    n_turned : int
        Other edges that are not run through equally often both ways: neighbours that face opposite ways. [–]
    """
    start, end = corners.ravel(), np.roll(corners, -1, axis=1).ravel()
    real = start != end
    start, end = start[real], end[real]
    size = int(corners.max()) + 1 if corners.size else 1
    key = np.minimum(start, end) * size + np.maximum(start, end)
    _, which = np.unique(key, return_inverse=True)
    uses = np.bincount(which)
    balance = np.bincount(which, weights=np.where(start < end, 1.0, -1.0))
    is_open = uses % 2 == 1
    return int(np.count_nonzero(is_open)), int(np.count_nonzero(~is_open & (balance != 0.0)))


def is_closed(triangles: np.ndarray) -> bool:
    """Whether every edge is run through equally often both ways."""
    return len(triangles) > 0 and edge_faults(corner_numbers(triangles)) == (0, 0)
