"""Which key moves a figure most: effects of each by itself, and Sobol indices for points arranged for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dishtrace.scene.quantity import plain_number
from dishtrace.stats import Estimate, from_left_out

CONFIDENCE = 0.95
N_RESAMPLES = 400


@dataclass(frozen=True)
class Effect:
    """What one key does to a figure by itself.

    Parameters
    ----------
    key : str
    reach : Estimate
        Highest less lowest of the fitted effect over the points, in the unit of the figure; the error is that of the
        tracing.
    share : float or None
        Of the figure's variance over the points, its covariance with the effect; all together they add up to what the
        curves explain. None where the figure does not vary. [–]
    is_rising : bool or None
        Whether the figure is higher at the high end; None for texts.
    """

    key: str
    reach: Estimate
    share: float | None
    is_rising: bool | None

    def to_dict(self) -> dict[str, Any]:
        """As in sweep.json."""
        return {"key": self.key, "reach": self.reach.to_dict(), "share": self.share, "is_rising": self.is_rising}


@dataclass(frozen=True)
class Index:
    """Sobol indices of one key, with intervals of 95 % from resampled rows.

    Parameters
    ----------
    key : str
    first, first_low, first_high : float
        Share of the variance from this key by itself. [–]
    total, total_low, total_high : float
        The same with all that it does together with other keys. [–]
    """

    key: str
    first: float
    first_low: float
    first_high: float
    total: float
    total_low: float
    total_high: float

    def to_dict(self) -> dict[str, Any]:
        """As in sweep.json."""
        return dict(vars(self))


def effects(points: Sequence[Mapping[str, Any]], figures: Sequence[Estimate]) -> tuple[Effect, ...]:
    """Effect of each key by itself: a least-squares sum of one curve a key, strongest first.

    A number has a parabola (a straight line from two values), a text a level a value. What keys do only together is
    left out; see `sobol_indices` for that.

    Parameters
    ----------
    points : sequence of mapping
        Values by key.
    figures : sequence of Estimate
        One a point; in pairs by blocks where they know their left-out values.

    Returns
    -------
    tuple of Effect
        Empty where there are too few points for the curves.
    """
    keys = list(points[0]) if points else []
    blocks = {key: _curve([point[key] for point in points]) for key in keys}
    columns = np.concatenate([np.ones((len(points), 1)), *blocks.values()], axis=1) if keys else np.zeros((0, 0))
    if len(points) < max(columns.shape[1], 2) or np.linalg.matrix_rank(columns) < columns.shape[1]:
        return ()
    solve = np.linalg.pinv(columns)
    values = np.array([figure.value for figure in figures])
    left_out = _left_out(figures)
    variance, found, first = float(values.var()), [], 1
    for key, block in blocks.items():
        rows = block @ solve[first : first + block.shape[1]]
        first += block.shape[1]
        effect = rows @ values
        reach = float(np.ptp(effect))
        high, low = int(np.argmax(effect)), int(np.argmin(effect))
        told = Estimate(reach, None)
        if left_out is not None:
            told = from_left_out(reach, (rows[high] - rows[low]) @ left_out)
        share = float(np.mean(effect * (values - values.mean())) / variance) if variance > 0.0 else None
        found.append(Effect(key, told, share, _is_rising([point[key] for point in points], effect)))
    return tuple(sorted(found, key=lambda one: -one.reach.value))


def _curve(column: Sequence[Any]) -> np.ndarray:
    """Columns of the curve of one key: Legendre polynomials over its range, or one a text but the first, (n, k)."""
    if any(plain_number(value) is None for value in column):
        levels = list(dict.fromkeys(column))
        return np.array([[float(value == level) for level in levels[1:]] for value in column])
    numbers = np.array(column, dtype=np.float64)
    low, high = numbers.min(), numbers.max()
    if low == high:
        return np.zeros((len(numbers), 0))
    place = 2.0 * (numbers - low) / (high - low) - 1.0
    columns = [place] if len(np.unique(numbers)) < 3 else [place, 1.5 * place**2 - 0.5]
    return np.stack(columns, axis=1)


def _is_rising(column: Sequence[Any], effect: np.ndarray) -> bool | None:
    if any(plain_number(value) is None for value in column):
        return None
    numbers = np.array(column, dtype=np.float64)
    return bool(effect[int(numbers.argmax())] > effect[int(numbers.argmin())])


def _left_out(figures: Sequence[Estimate]) -> np.ndarray | None:
    """Left-out values of all figures, (n, b); None where one of them has none."""
    rows = [figure.left_out for figure in figures]
    if any(row is None or len(row) != len(rows[0]) for row in rows):
        return None
    return np.array(rows)


def sobol_indices(keys: Sequence[str], values: np.ndarray, *, n_base: int, seed: int) -> tuple[Index, ...]:
    """First-order and total Sobol indices of each key, by the library, largest total first.

    Parameters
    ----------
    keys : sequence of str
        d keys.
    values : ((d + 2) n,) float64
        The figure at the points of `dishtrace.study.sweep.design.saltelli`.
    n_base : int
        Rows n of each sample, a power of two. [–]
    seed : int
        Of the resampling. [–]

    Returns
    -------
    tuple of Index
        Empty where the figure does not vary.

    References
    ----------
    .. [1] A. Saltelli et al., "Variance based sensitivity analysis of model output", Computer Physics Communications
           181 (2010) 259-270 (title from memory).
    """
    from scipy import stats

    spread = float(values.std())
    if not spread > 1e-12 * abs(float(values.mean())):
        return ()
    scaled = (values - values.mean()) / spread
    a, b = scaled[:n_base], scaled[n_base : 2 * n_base]
    mixed = scaled[2 * n_base :].reshape(len(keys), 1, n_base)
    told = stats.sobol_indices(func={"f_A": a[np.newaxis], "f_B": b[np.newaxis], "f_AB": mixed}, n=n_base, rng=seed)
    first, total = np.ravel(told.first_order), np.ravel(told.total_order)
    limits = told.bootstrap(confidence_level=CONFIDENCE, n_resamples=N_RESAMPLES)
    ends = [
        np.ravel(side)
        for which in (limits.first_order, limits.total_order)
        for side in (which.confidence_interval.low, which.confidence_interval.high)
    ]
    found = [
        Index(
            key,
            *(float(number) for number in (first[k], ends[0][k], ends[1][k], total[k], ends[2][k], ends[3][k])),
        )
        for k, key in enumerate(keys)
    ]
    return tuple(sorted(found, key=lambda one: -one.total))
