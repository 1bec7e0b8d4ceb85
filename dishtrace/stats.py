"""Estimates and their standard errors from independent blocks."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

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
    left_out : (b,) float64, optional
        The estimate with each block left out; estimates from the same random points can be told apart by these.
    """

    value: float
    se: float | None
    left_out: np.ndarray | None = field(default=None, repr=False, compare=False)

    def to_dict(self) -> dict[str, float | None]:
        """As ``{"value": ..., "se": ...}``; NaN and infinite errors become None, since JSON has no NaN."""
        value = float(self.value)
        is_known = self.se is not None and np.isfinite(self.se)
        return {"value": value if np.isfinite(value) else None, "se": float(self.se) if is_known else None}

    def columns(self, key: str) -> dict[str, float | None]:
        """The same as two columns of a table, ``key`` and ``key_se``."""
        told = self.to_dict()
        return {key: told["value"], f"{key}_se": told["se"]}

    def interval(self, share: float = 0.95, *, blocks: int = 32) -> tuple[float, float] | None:
        """Interval that holds the truth in a given share of runs, for a quantity that cannot be negative.

        The error of a sum of arrivals goes with the root of the sum, so the ends are the values mu whose own error, se
        sqrt(mu / value), reaches the value: (value - mu)^2 = t^2 se^2 mu / value, t of Student with blocks - 1 degrees
        of freedom. Where the error is small this is value -+ t se; where few rays arrived it is lopsided.

        Parameters
        ----------
        share : float
            0 < share < 1. [–]
        blocks : int
            Independent blocks that the error comes from: 32 scrambles, or fewer for the triangles of large meshes. [–]

        Returns
        -------
        (float, float) or None
            None where the error is unknown.

        References
        ----------
        .. [1] E. B. Wilson, "Probable inference, the law of succession, and statistical inference", J. Amer. Stat.
           Assoc. 22 (1927) 209-212: the same for a share of counts (from memory).
        """
        from scipy.special import stdtrit

        if self.se is None or not np.isfinite(self.se) or self.value <= 0.0:
            return None
        half = 0.5 * float(stdtrit(blocks - 1, 0.5 * (1.0 - share))) ** 2 * self.se**2 / self.value
        reach = float(np.sqrt(half * (half + 2.0 * self.value)))
        return self.value + half - reach, self.value + half + reach

    def scaled(self, factor: float) -> Estimate:
        """The estimate times an exact factor."""
        left_out = None if self.left_out is None else self.left_out * factor
        return Estimate(self.value * factor, None if self.se is None else abs(factor) * self.se, left_out)

    def minus(self, other: Estimate) -> Estimate:
        """Difference from another estimate, with its own standard error.

        From the same random points the errors are paired block by block, and most of the noise cancels; without that
        knowledge they add as independent ones.
        """
        value = self.value - other.value
        if self.left_out is not None and other.left_out is not None and len(self.left_out) == len(other.left_out):
            return from_left_out(value, self.left_out - other.left_out)
        if self.se is None or other.se is None:
            return Estimate(value, None)
        return Estimate(value, float(np.hypot(self.se, other.se)))


@dataclass(frozen=True, eq=False)
class Estimates:
    """Values with their standard errors.

    Parameters
    ----------
    value : (n,) float64
    se : (n,) float64
        Standard errors in the same unit; NaN where unknown.
    """

    value: np.ndarray
    se: np.ndarray

    def __len__(self) -> int:
        return len(self.value)

    def __getitem__(self, i: int) -> Estimate:
        return Estimate(float(self.value[i]), float(self.se[i]) if np.isfinite(self.se[i]) else None)


def from_left_out(value: float, left_out: np.ndarray) -> Estimate:
    """Estimate with the jackknife error of its values with each block left out, sqrt((b - 1) / b * sum(d^2)).

    Parameters
    ----------
    value : float
        From all blocks.
    left_out : (b,) float64
        With each block left out.
    """
    n_blocks = len(left_out)
    spread = left_out - left_out.mean()
    error = float(np.sqrt((n_blocks - 1) / n_blocks * np.sum(spread**2))) if n_blocks > 1 else np.nan
    return Estimate(value, error if np.isfinite(error) else None, left_out)


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
    left_out = (np.sum(rows) - rows) * (n_blocks / (n_blocks - 1))
    return Estimate(float(np.sum(rows)), float(np.sqrt(n_blocks) * np.std(rows, ddof=1)), left_out)


def counted(rows: np.ndarray, grain: float) -> Estimate:
    """`total` of what comes in grains, where an error below that of rounding to whole grains is not believed.

    All blocks may hold the same number of even points though their true share is none: then they tell no error.

    Parameters
    ----------
    rows : (b,) float64
        As for `total`.
    grain : float
        What one grain adds to the sum.

    Returns
    -------
    Estimate
        With an error of sqrt(b / 12) grains at least (rounding is even between whole numbers); 0 stays as it is, since
        nothing may reach what got no grain.
    """
    found = total(rows)
    least = grain * math.sqrt(len(rows) / 12.0)
    if found.value == 0.0 or found.se is None or found.se >= least:
        return found
    return replace(found, se=least)


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


def jackknife(statistic: Callable[[np.ndarray], np.ndarray], rows: np.ndarray) -> list[Estimate]:
    """Smooth functions of block sums with their delete-one-block jackknife errors.

    Parameters
    ----------
    statistic : callable
        Maps sums (k, ...) over blocks to values (k, m); the first axis counts cases and is handled at once. It must not
        depend on the scale of the sums for dimensionless values, since a left-out block lowers them all.
    rows : (b, ...) float64
        Contribution of each of b independent blocks to the sums.

    Returns
    -------
    list of m Estimate
        Values from all blocks, and sqrt((b - 1)/b * sum((theta_i - mean)^2)); unknown errors for b < 2.

    References
    ----------
    .. [1] B. Efron, R. Tibshirani, *An Introduction to the Bootstrap*, Chapman & Hall, 1993, eq. 11.5 (from memory).
    """
    sums = rows.sum(axis=0)
    values = statistic(sums[np.newaxis])[0]
    if len(rows) < 2:
        return [Estimate(float(value), None) for value in values]
    left_out = statistic(sums[np.newaxis] - rows)
    return [from_left_out(float(value), column) for value, column in zip(values, left_out.T, strict=True)]
