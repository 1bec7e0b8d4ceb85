"""What a part that is turned about an axis tells of its triangles: the rings between which they lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

N_BAND_COLUMNS = 6
"""Columns of a table of bands."""


@dataclass(frozen=True, eq=False)
class Turned:
    """A body of rings about an axis, without dents, where it stands.

    Parameters
    ----------
    bands : (b, 6) float64
        See `band_table`. [–, m]
    rotation : (3, 3) float64
        Takes vectors of the body's axes to the dish frame; the body is turned about its third axis. [–]
    origin : (3,) float64
        Origin of the body's axes, in the dish frame. [m]
    """

    bands: np.ndarray
    rotation: np.ndarray
    origin: np.ndarray


def band_table(rings: list[np.ndarray]) -> np.ndarray:
    """The bands of triangles that `rings.bands` makes of rings whose first points lie on +x.

    Parameters
    ----------
    rings : list of (n, 3) float64
        Rings about the z axis; a single point lies on it. [m]

    Returns
    -------
    (k - 1, 6) float64
        Points of the ring with more points and of the other [–]; radius and height of the first, then of the second
        [m].
    """
    rows = []
    for one, other in zip(rings[:-1], rings[1:], strict=True):
        outer, inner = (one, other) if len(one) >= len(other) else (other, one)
        places = [(float(np.hypot(*ring[0, :2])), float(ring[0, 2])) for ring in (outer, inner)]
        rows.append((len(outer), len(inner), *places[0], *places[1]))
    return np.array(rows, dtype=float).reshape(-1, N_BAND_COLUMNS)


def triangles_in(bands: np.ndarray) -> np.ndarray:
    """Triangles of each band, (b,) int64: one or two for each step of its outer ring, or three for two [–]."""
    outer, inner = bands[:, 0], bands[:, 1]
    per_step = np.where(inner == 1.0, 1.0, np.where(inner == outer, 2.0, 1.5))
    return np.rint(per_step * outer).astype(np.int64)


def raised_bands(bands: np.ndarray, height: float) -> np.ndarray:
    """The same bands, moved along the axis. [m]"""
    return bands + np.array([0.0, 0.0, 0.0, height, 0.0, height])


def scaled_bands(bands: np.ndarray, factor: float) -> np.ndarray:
    """The same bands, lengths times a factor. [–]"""
    return bands * np.array([1.0, 1.0, factor, factor, factor, factor])
