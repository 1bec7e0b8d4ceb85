"""Sums over a small neighbourhood of every pixel of a map."""

from __future__ import annotations

import numpy as np


def smoothed(maps: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Each pixel's neighbours summed with weights, nothing beyond the edges: convolution by the fast transform.

    Parameters
    ----------
    maps : (..., n, m) float64
        Any unit.
    weights : (k, k) float64
        k odd, the middle one for the pixel itself. [–]

    Returns
    -------
    (..., n, m) float64
        Unit of `maps`; to 1e-15 of its largest sum.
    """
    reach = len(weights) // 2
    n, m = maps.shape[-2:]
    shape = (n + 2 * reach, m + 2 * reach)
    spread = np.fft.irfft2(np.fft.rfft2(maps, shape) * np.fft.rfft2(weights, shape), shape)
    return spread[..., reach : reach + n, reach : reach + m]
