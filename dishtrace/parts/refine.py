"""Split large triangles of a mesh file so that flux is told on small patches; the shape does not change."""

from __future__ import annotations

import numpy as np

from dishtrace.parts.triangles import areas_of, corner_numbers

LARGEST_BIN_M2 = 1e-4
"""Area above which a triangle is split where the budget allows it: the patch of the peak flux [m2]."""
MOST_BINS = 6000
"""A part larger than this many such patches gets patches of this share of its area [–]."""
MOST_TRIANGLES = 20000
"""No split starts that would lead to more triangles than this [–]."""


def refine(triangles: np.ndarray) -> np.ndarray:
    """Triangles of the same surface, none larger than 1 cm2 or 1/6000 of the whole.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Without degenerate ones. [m]

    Returns
    -------
    (m, 3, 3) float64
        Fronts as before. Splitting ends early where it would lead to more than `MOST_TRIANGLES`. Edges that
        two triangles share are split in both at the same point, so a closed set stays closed; without large
        triangles the set comes back as it was. [m]

    Notes
    -----
    The longest edge of each large triangle is halved, and with it the same edge of its neighbours, until none
    is large.

    References
    ----------
    .. [1] M. C. Rivara, "Algorithms for refining triangular grids", Int. J. Numerical Methods in Engineering
           20 (1984)
       745-756 (from memory).
    """
    largest = max(LARGEST_BIN_M2, float(areas_of(triangles).sum()) / MOST_BINS)
    while True:
        is_large = areas_of(triangles) > largest
        if not is_large.any():
            return triangles
        marks = marked_edges(triangles, is_large)
        if len(triangles) + np.count_nonzero(marks) > MOST_TRIANGLES:
            return triangles
        triangles = split(triangles, marks)


def marked_edges(triangles: np.ndarray, is_large: np.ndarray) -> np.ndarray:
    """Edges to halve: the longest of each large triangle, in every triangle that has it, (n, 3) bool.

    Edge k runs from corner k to corner k + 1.
    """
    start = corner_numbers(triangles)
    end = np.roll(start, -1, axis=1)
    key = np.minimum(start, end) * (start.max() + 1) + np.maximum(start, end)
    lengths = np.linalg.norm(np.roll(triangles, -1, axis=1) - triangles, axis=2)
    longest = np.argmax(lengths, axis=1)
    chosen = np.take_along_axis(key, longest[:, np.newaxis], axis=1)[is_large, 0]
    return np.isin(key, chosen)


def split(triangles: np.ndarray, marks: np.ndarray) -> np.ndarray:
    """Triangles with the marked edges halved: one becomes two, three or four.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Corners. [m]
    marks : (n, 3) bool
        Edges to halve, alike in all triangles that share them.
    """
    counts = marks.sum(axis=1)
    pieces = [triangles[counts == 0]]
    a, b, c, ab, _, _ = _turned(triangles[counts == 1], np.argmax(marks[counts == 1], axis=1))
    pieces += [np.stack(corners, axis=1) for corners in ((a, ab, c), (ab, b, c))]
    a, b, c, ab, bc, _ = _turned(triangles[counts == 2], (np.argmin(marks[counts == 2], axis=1) + 1) % 3)
    pieces += [np.stack(corners, axis=1) for corners in ((ab, b, bc), (a, ab, bc), (a, bc, c))]
    a, b, c, ab, bc, ca = _turned(triangles[counts == 3], np.zeros(np.count_nonzero(counts == 3), dtype=int))
    pieces += [np.stack(corners, axis=1) for corners in ((a, ab, ca), (ab, b, bc), (bc, c, ca), (ab, bc, ca))]
    return np.concatenate(pieces)


def _turned(triangles: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, ...]:
    """Corners a, b, c with edge number `first` from a to b, and the middles of ab, bc, ca; each (n, 3)."""
    order = (first[:, np.newaxis] + np.arange(3)) % 3
    a, b, c = np.moveaxis(np.take_along_axis(triangles, order[:, :, np.newaxis], axis=1), 1, 0)
    return a, b, c, 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
