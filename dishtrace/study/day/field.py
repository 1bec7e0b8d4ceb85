"""Light between known places by kriging: the best linear guess, and how far off it is expected to be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

SHORTEST, LONGEST = 0.03, 30.0
"""Correlation lengths are sought within these shares of the span of the places. [–]"""
LEAST_NUGGET, MOST_NUGGET = 1e-8, 1e-2
"""Share of the variance that is new at each place. [–]"""
FIRST_LENGTHS = (0.5, 0.12)
"""Where the search starts, as shares of the span of the places. [–]"""
CHUNK = 2_000_000


@dataclass(frozen=True, eq=False)
class Field:
    """Known places of a quantity that changes from place to place like a random field.

    Parameters
    ----------
    places : (k, d) float64
        Known ones, no two alike.
    lengths : (d,) float64
        Correlation lengths along the coordinates; infinite where places do not differ.
    nugget : float
        Share of the variance that is new at each known place. [–]

    Notes
    -----
    Ordinary kriging: the mean is unknown and even, the correlation that of Matérn with exponent 3/2,
    (1 + s) exp(-s), s = sqrt(3) |(x - y) / lengths|. Errors are in units of the field's own standard deviation, which
    belongs to a figure: `scales`.

    References
    ----------
    .. [1] C. E. Rasmussen, C. K. I. Williams, *Gaussian Processes for Machine Learning*, MIT Press, 2006, ch. 4 and 5
       (from memory).
    .. [2] O. Dubrule, "Cross validation of kriging in a unique neighborhood", Math. Geol. 15 (1983) 687-699 (from
       memory): each place left out, from one inverse.
    """

    places: np.ndarray
    lengths: np.ndarray
    nugget: float

    @cached_property
    def inverse(self) -> np.ndarray:
        """Of the correlations of the known places, (k, k)."""
        return np.linalg.inv(self.correlation(self.places, self.places) + self.nugget * np.eye(len(self.places)))

    @cached_property
    def of_mean(self) -> tuple[np.ndarray, float]:
        """Row sums of the inverse, (k,), and their sum."""
        sums = self.inverse.sum(axis=1)
        return sums, float(sums.sum())

    def correlation(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Correlations between places (n, d) and (m, d), (n, m)."""
        from scipy.spatial.distance import cdist

        far = np.sqrt(3.0) * cdist(one / self.lengths, other / self.lengths)
        return (1.0 + far) * np.exp(-far)

    def weights(self, at: np.ndarray) -> np.ndarray:
        """How much each known place counts at others (n, d); rows of the (n, k) sum to 1. [–]"""
        near = self.correlation(at, self.places) @ self.inverse
        sums, whole = self.of_mean
        return near + np.outer((1.0 - near.sum(axis=1)) / whole, sums)

    def spread(self, at: np.ndarray) -> np.ndarray:
        """Standard deviation of the error of the guess at places (n, d), (n,). [–]"""
        related = self.correlation(at, self.places)
        near = related @ self.inverse
        beside = 1.0 - near.sum(axis=1)
        variance = 1.0 - np.einsum("nk,nk->n", near, related) + beside**2 / self.of_mean[1]
        return np.sqrt(np.maximum(variance, 0.0))

    def sum_spread(self, at: np.ndarray, factors: np.ndarray) -> np.ndarray:
        """Standard deviations of the errors of sums over places (n, d) with factors (n, q), (q,). [–]"""
        used = np.flatnonzero(np.any(factors != 0.0, axis=1))
        at, factors = at[used], factors[used]
        own, related = np.zeros(factors.shape[1]), np.zeros((len(self.places), factors.shape[1]))
        for rows in np.array_split(np.arange(len(used)), max(1, len(used) ** 2 // CHUNK)):
            own += np.einsum("nq,nq->q", factors[rows], self.correlation(at[rows], at) @ factors)
            related += self.correlation(self.places, at[rows]) @ factors[rows]
        near = self.inverse @ related
        beside = factors.sum(axis=0) - near.sum(axis=0)
        variance = own - np.einsum("kq,kq->q", related, near) + beside**2 / self.of_mean[1]
        return np.sqrt(np.maximum(variance, 0.0))

    @cached_property
    def contrast(self) -> np.ndarray:
        """The inverse without the mean: it takes values to what is left of each when it is left out, (k, k)."""
        sums, whole = self.of_mean
        return self.inverse - np.outer(sums, sums) / whole

    def left_out(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Each known value (k, q) less the guess from all others, and the standard deviation expected, (k,). [–]"""
        own = np.diag(self.contrast)
        return (self.contrast @ values) / own[:, np.newaxis], np.sqrt(1.0 / own)

    def local_scales(self, values: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Standard deviation of the field near places (n, d), (n, q), by guessing each known value from all others.

        Known places count by their squared correlation with a place.
        """
        errors, expected = self.left_out(values)
        near = self.correlation(at, self.places) ** 2 + 1e-12
        return np.sqrt(near @ (errors / expected[:, np.newaxis]) ** 2 / near.sum(axis=1, keepdims=True))

    def misfit(self, values: np.ndarray) -> float:
        """Minus the log of how likely values (k, q) of one unit are, but for a constant (restricted likelihood)."""
        free, q = len(self.places) - 1, values.shape[1]
        try:
            root = np.linalg.cholesky(self.correlation(self.places, self.places) + self.nugget * np.eye(free + 1))
        except np.linalg.LinAlgError:
            return np.inf
        variance = float(np.einsum("iq,ij,jq->", values, self.contrast, values)) / (free * q)
        least = (1e-9 * float(np.abs(values).max()) + 1e-300) ** 2
        logs = 2.0 * float(np.log(np.diag(root)).sum()) + float(np.log(max(self.of_mean[1], 1e-300)))
        return 0.5 * q * (free * float(np.log(max(variance, least))) + logs)


def fitted(places: np.ndarray, values: np.ndarray, *, start: Field | None = None) -> Field:
    """The field whose lengths make known values most likely.

    Parameters
    ----------
    places : (k, d) float64
    values : (k, q) float64
        Of figures of one unit.
    start : Field, optional
        Fitted before, to fewer places.
    """
    from scipy.optimize import minimize

    span = np.ptp(places, axis=0)
    differ = span > 1e-9 * max(float(span.max()), 1e-300)
    first = Field(places, np.where(differ, FIRST_LENGTHS[0] * span, np.inf), 1e-5)
    if len(places) < 4 or not differ.any():
        return first

    def field(logs: np.ndarray) -> Field:
        lengths = np.full(len(span), np.inf)
        lengths[differ] = np.exp(logs[:-1])
        return Field(places, lengths, float(np.exp(logs[-1])))

    bounds = [(np.log(SHORTEST * one), np.log(LONGEST * one)) for one in span[differ]]
    bounds.append((np.log(LEAST_NUGGET), np.log(MOST_NUGGET)))
    low, high = np.array(bounds).T
    starts = [np.append(np.log(share * span[differ]), np.log(first.nugget)) for share in FIRST_LENGTHS]
    if start is not None and np.isfinite(start.lengths[differ]).all():
        starts[1:] = [np.clip(np.append(np.log(start.lengths[differ]), np.log(start.nugget)), low, high)]
    found = [
        minimize(lambda logs: min(field(logs).misfit(values), 1e12), one, bounds=bounds, method="L-BFGS-B")
        for one in starts
    ]
    return field(min(found, key=lambda one: one.fun).x)
