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
    shape = (quick_length(n + 2 * reach), quick_length(m + 2 * reach))
    spread = np.fft.irfft2(np.fft.rfft2(maps, shape) * np.fft.rfft2(weights, shape), shape)
    return spread[..., reach : reach + n, reach : reach + m]


def quick_length(least: int) -> int:
    """The shortest length from one on that has no prime factor above 5: quick to transform."""
    length = least
    while not _has_small_factors(length):
        length += 1
    return length


def _has_small_factors(number: int) -> bool:
    for factor in (2, 3, 5):
        while number % factor == 0:
            number //= factor
    return number == 1
