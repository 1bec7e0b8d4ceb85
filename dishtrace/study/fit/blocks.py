"""Blocks of a square grid: the units whose sums tell how noisy a photograph is."""

from __future__ import annotations

import numpy as np

BLOCKS = 16
"""Blocks of the grid along each side. [–]"""
WIDENED = 2.25
"""Sum of the squared weights of `with_neighbours`: so much fewer degrees of freedom has a variance that counts them."""


def numbered(n: int) -> np.ndarray:
    """Number of the block of every bin of a grid of n by n, (n, n)."""
    rows = np.arange(n) * BLOCKS // n
    return rows[:, np.newaxis] * BLOCKS + rows[np.newaxis, :]


def sums(values: np.ndarray) -> np.ndarray:
    """Sum over each block of a grid (n, n), (BLOCKS * BLOCKS,)."""
    return np.bincount(numbered(len(values)).ravel(), weights=values.ravel(), minlength=BLOCKS * BLOCKS)


def with_neighbours(values: np.ndarray) -> np.ndarray:
    """Each block's sum plus half of its neighbours' and a quarter of those across a corner, (BLOCKS, BLOCKS, ...)."""
    from scipy import ndimage

    line = np.array([0.5, 1.0, 0.5])
    return ndimage.convolve1d(ndimage.convolve1d(values, line, axis=0, mode="constant"), line, axis=1, mode="constant")


def variance(weighted_noise: np.ndarray) -> float:
    """Variance of the sum of weighted noise over a grid (n, n); correlation between neighbouring blocks counts."""
    each = sums(weighted_noise).reshape(BLOCKS, BLOCKS)
    return max(float((each * with_neighbours(each)).sum()), 0.0)
