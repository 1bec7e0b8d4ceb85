"""Where in the ranges of its keys a sweep looks: a grid, or points sampled by a Latin hypercube or Sobol's sequence."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.study.sweep.keys import Varied

METHODS = ("grid", "latin", "sobol", "indices")
GRID_STEPS, SAMPLED_POINTS, INDICES_POINTS = 5, 64, 32
"""What is taken where the user does not say. [–]"""
MOST_POINTS = 100_000


@dataclass(frozen=True, eq=False)
class Design:
    """The points of a sweep.

    Parameters
    ----------
    method : str
        One of `METHODS`. "indices" is Saltelli's arrangement for Sobol indices: two samples A and B of Sobol's
        sequence, and for each key A with that key's column taken from B.
    values : tuple of dict
        Values by key, a point each.
    n_base : int or None
        Rows of A and of B. [–]
    """

    method: str
    values: tuple[dict[str, Any], ...]
    n_base: int | None = None


def design_of(varied: Sequence[Varied], *, method: str, points: int | None, seed: int) -> Design:
    """The points for keys and ranges.

    Parameters
    ----------
    varied : sequence of Varied
    method : str
        One of `METHODS`.
    points : int or None
        Points to sample; for "indices" rows of each of its two samples, rounded up to a power of two. A grid takes
        its steps from the keys.
    seed : int
        Of the sample. [–]

    Raises
    ------
    InputError
        If the method is unknown, or there are too many points, or a number of them is given where none is used.
    """
    faults = []
    if method not in METHODS:
        faults.append(Fault(COMMAND_LINE, "--method", method, f"must be one of {', '.join(METHODS)}"))
    if points is not None and method == "grid":
        remedy = "write steps into the ranges, KEY=LOW:HIGH:STEPS, or take another --method"
        faults.append(Fault(COMMAND_LINE, "--points", str(points), "is not used by a grid", remedy))
    elif points is not None and points < 1:
        faults.append(Fault(COMMAND_LINE, "--points", str(points), "must be 1 or more"))
    if faults:
        raise InputError(faults)
    if method == "grid":
        columns = [one.grid(GRID_STEPS) for one in varied]
        _refuse_too_many(math.prod(len(column) for column in columns), option="--vary")
        keys = [one.key for one in varied]
        return Design(method, tuple(dict(zip(keys, row, strict=True)) for row in itertools.product(*columns)))
    if method == "indices":
        n_base = _power_of_two(INDICES_POINTS if points is None else points)
        _refuse_too_many(n_base * (len(varied) + 2))
        return Design(method, _valued(varied, saltelli(len(varied), n_base, seed=seed)), n_base)
    n_points = SAMPLED_POINTS if points is None else points
    _refuse_too_many(n_points)
    return Design(method, _valued(varied, sampled(len(varied), n_points, method=method, seed=seed)))


def sampled(n_keys: int, n_points: int, *, method: str, seed: int) -> np.ndarray:
    """Points in the unit cube by the library's Latin hypercube or scrambled Sobol sequence, (n, d). [–]

    References
    ----------
    .. [1] M. D. McKay, R. J. Beckman, W. J. Conover, "A comparison of three methods for selecting values of input
           variables in the analysis of output from a computer code", Technometrics 21 (1979) 239-245.
    """
    from scipy.stats import qmc

    if method == "latin":
        return qmc.LatinHypercube(n_keys, rng=seed).random(n_points)
    return qmc.Sobol(n_keys, rng=seed).random_base2(_exponent(n_points))[:n_points]


def saltelli(n_keys: int, n_base: int, *, seed: int) -> np.ndarray:
    """Rows of A, of B, and of A with one column after another from B, ((d + 2) n, d). [–]

    References
    ----------
    .. [1] A. Saltelli et al., "Variance based sensitivity analysis of model output", Computer Physics Communications
           181 (2010) 259-270 (title from memory).
    """
    both = sampled(2 * n_keys, n_base, method="sobol", seed=seed)
    a, b = both[:, :n_keys], both[:, n_keys:]
    mixed = []
    for key in range(n_keys):
        one = a.copy()
        one[:, key] = b[:, key]
        mixed.append(one)
    return np.concatenate([a, b, *mixed])


def _valued(varied: Sequence[Varied], shares: np.ndarray) -> tuple[dict[str, Any], ...]:
    return tuple({one.key: one.at(float(share)) for one, share in zip(varied, row, strict=True)} for row in shares)


def _exponent(number: int) -> int:
    return max(math.ceil(math.log2(number)), 0)


def _power_of_two(number: int) -> int:
    return 2 ** _exponent(number)


def _refuse_too_many(number: int, *, option: str = "--points") -> None:
    """Refuse as many points in all as cannot be, as a fault of the option that asks for them."""
    if not 1 <= number <= MOST_POINTS:
        allowed = f"must be 1 to {MOST_POINTS} points in all"
        remedy = "fewer steps or fewer keys" if option == "--vary" else "another number, or fewer keys"
        raise InputError(Fault(COMMAND_LINE, option, str(number), allowed, remedy))
