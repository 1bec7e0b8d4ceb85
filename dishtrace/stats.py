"""Estimates and their standard errors from independent blocks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Estimate:
    """A value with its standard error.

    Parameters
    ----------
    value : float
        The estimate.
    se : float or None
        Its standard error in the same unit; None when it is unknown (fewer than two blocks, or an empty bin).
    """

    value: float
    se: float | None

    def to_dict(self) -> dict[str, float | None]:
        """As ``{"value": ..., "se": ...}``; NaN and infinite errors become None, since JSON has no NaN."""
        value = float(self.value)
        is_known = self.se is not None and np.isfinite(self.se)
        return {"value": value if np.isfinite(value) else None, "se": float(self.se) if is_known else None}

    def scaled(self, factor: float) -> Estimate:
        """The estimate times an exact factor."""
        return Estimate(self.value * factor, None if self.se is None else abs(factor) * self.se)


def total(rows: np.ndarray) -> Estimate:
    """Sum over blocks of one quantity, with the standard error of that sum.

    Parameters
    ----------
    rows : (b,) float64
        What each of b independent, equally large blocks contributes to the sum.

    Returns
    -------
    Estimate
        Sum, and sqrt(b) times the standard deviation over blocks (b - 1 in the denominator); no error for b < 2.
    """
    n_blocks = len(rows)
    if n_blocks < 2:
        return Estimate(float(np.sum(rows)), None)
    return Estimate(float(np.sum(rows)), float(np.sqrt(n_blocks) * np.std(rows, ddof=1)))


def totals(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sums over blocks and their standard errors, many quantities at once.

    Parameters
    ----------
    rows : (b, ...) float64
        Contribution of each block.

    Returns
    -------
    sums, errors : (...) float64
        Errors are NaN where no block has anything (unknown, not zero) and for b < 2.
    """
    n_blocks = rows.shape[0]
    sums = rows.sum(axis=0)
    if n_blocks < 2:
        return sums, np.full(sums.shape, np.nan)
    errors = np.sqrt(n_blocks) * rows.std(axis=0, ddof=1)
    return sums, np.where(sums == 0.0, np.nan, errors)


def jackknife(
    statistic: Callable[[np.ndarray], np.ndarray], rows: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """A smooth function of block sums with its delete-one-block jackknife error.

    Parameters
    ----------
    statistic : callable
        Maps sums (k, ...) over blocks to values (k, m); the first axis counts cases and is handled at once.
    rows : (b, ...) float64
        Contribution of each of b independent blocks to the sums.

    Returns
    -------
    values, errors : (m,) float64
        Value from all blocks, and sqrt((b - 1)/b * sum((theta_i - mean)^2)); NaN errors for b < 2.

    References
    ----------
    .. [1] B. Efron, R. Tibshirani, *An Introduction to the Bootstrap*, Chapman & Hall, 1993, eq. 11.5 (from memory).
    """
    n_blocks = rows.shape[0]
    sums = rows.sum(axis=0)
    values = statistic(sums[np.newaxis])[0]
    if n_blocks < 2:
        return values, np.full(np.shape(values), np.nan)
    left_out = statistic(sums[np.newaxis] - rows)
    spread = left_out - left_out.mean(axis=0)
    return values, np.sqrt((n_blocks - 1) / n_blocks * np.sum(spread**2, axis=0))
