"""Light on a part that spins, averaged around its axis."""

from __future__ import annotations

import numpy as np


def averaged_around(
    flux: np.ndarray, error: np.ndarray, *, triangles: np.ndarray, areas: np.ndarray, axis: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Flux on triangles, averaged over all triangles at the same height and distance from the axis.

    That is what a part gets that turns much faster than it warms.

    Parameters
    ----------
    flux, error : (m,) float64
        And its standard error; NaN errors, where nothing arrived, count as none. [W/m2]
    triangles : (m, 3, 3) float64
        [m]
    areas : (m,) float64
        [m2]
    axis : (3,) float64
        Unit vector; it goes through the middle of the triangles' bounding box across it. [–]

    Returns
    -------
    flux, error : (m,) float64
        Power is kept. Errors of different triangles count as independent. [W/m2]
    """
    middles = triangles.mean(axis=1)
    center = np.average(middles, axis=0, weights=areas)
    along = (middles - center) @ axis
    radius = np.linalg.norm(middles - center - along[:, np.newaxis] * axis, axis=1)
    size = float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    keys = np.round(np.stack([along, radius], axis=1) / (1e-6 * size)).astype(np.int64)
    _, ring = np.unique(np.floor_divide(keys + 500, 1000), axis=0, return_inverse=True)
    ring = ring.ravel()
    whole = np.bincount(ring, weights=areas)
    power = np.bincount(ring, weights=areas * flux)
    square = np.bincount(ring, weights=(areas * np.nan_to_num(error)) ** 2)
    return (power / whole)[ring], (np.sqrt(square) / whole)[ring]
