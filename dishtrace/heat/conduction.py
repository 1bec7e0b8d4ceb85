"""The temperature field of a wall: steady by Newton's method on a sparse system, and in time by an implicit method."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from dishtrace.errors import RunError

if TYPE_CHECKING:
    from scipy.sparse.linalg import SuperLU

    from dishtrace.heat.shell import Plate

MOST_ITERATIONS = 60
CLOSED = 1e-9
"""Where Newton's method stops: the largest imbalance of the whole, of the heat that comes. [–]"""

GAMMA = 1.0 - np.sqrt(0.5)


class Sink(Protocol):
    """Heat that leaves a wall: to air and sky, or into a filling."""

    def heat(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown, (2 n,). [W]"""

    def slope(self, values: np.ndarray) -> np.ndarray:
        """How it changes with that unknown, (2 n,). [W/K]"""


@dataclass(frozen=True, eq=False)
class Problem:
    """A wall, the light on it, and what takes its heat.

    Parameters
    ----------
    plate : Plate
    load : (2 n,) float64
        Light absorbed at each unknown. [W]
    sinks : dict of Sink
        By name.
    """

    plate: Plate
    load: np.ndarray
    sinks: dict[str, Sink]

    def given_off(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown to all sinks, (2 n,). [W]"""
        return sum((sink.heat(values) for sink in self.sinks.values()), np.zeros_like(values))

    def gain(self, values: np.ndarray) -> np.ndarray:
        """Heat that each unknown gains, (2 n,). [W]"""
        return self.load - self.given_off(values) - self.plate.flow(values)

    def factor(self, values: np.ndarray, *, more: np.ndarray | float = 0.0) -> SuperLU:
        """Sparse factors of the slope of -gain, with `more` added to its diagonal [W/K]."""
        from scipy.sparse import diags
        from scipy.sparse.linalg import splu

        diagonal = sum((sink.slope(values) for sink in self.sinks.values()), np.zeros_like(values)) + more
        matrix = (self.plate.flow_slope(values) + diags(diagonal)).tocsc()
        return splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


def steady(problem: Problem, start: np.ndarray) -> np.ndarray:
    """Temperatures at which nothing changes any more.

    Parameters
    ----------
    problem : Problem
    start : (2 n,) float64
        First guess. [K]

    Returns
    -------
    (2 n,) float64
        [K]

    Raises
    ------
    RunError
        If Newton's method does not settle.
    """
    return _newton(problem, start, rest=lambda values: problem.gain(values), more=lambda values: 0.0)


def step(problem: Problem, values: np.ndarray, *, seconds: float) -> tuple[np.ndarray, np.ndarray]:
    """Temperatures one step later, and the heat that leaves to all sinks meanwhile.

    Two implicit stages of second order that damp what is stiff; the heat stored is exactly what comes less what leaves.

    Parameters
    ----------
    problem : Problem
    values : (2 n,) float64
        [K]
    seconds : float
        [s]

    Returns
    -------
    values : (2 n,) float64
        [K]
    left : (2 n,) float64
        Heat that left each unknown to sinks. [J]

    References
    ----------
    .. [1] R. Alexander, "Diagonally implicit Runge-Kutta methods for stiff O.D.E.'s", SIAM J. Numerical Analysis 14
           (1977) 1006-1021: two stages, gamma = 1 - 1/sqrt(2) (from memory).
    """
    stored, part = problem.plate.stored(values), GAMMA * seconds
    stage = _stage(problem, values, stored, part)
    between = stored + (1.0 - GAMMA) * seconds * problem.gain(stage)
    after = _stage(problem, stage, between, part)
    left = seconds * ((1.0 - GAMMA) * problem.given_off(stage) + GAMMA * problem.given_off(after))
    return after, left


def march(
    problem: Problem, start: np.ndarray, *, seconds: float, steps: int, growth: float = 1.15
) -> Iterator[tuple[float, np.ndarray, np.ndarray]]:
    """Temperatures over time, by steps that grow: (time [s], values (2 n,) [K], heat left in the step (2 n,) [J])."""
    lengths = growth ** np.arange(steps)
    times = seconds * np.cumsum(lengths) / lengths.sum()
    values, before = start, 0.0
    for time in times:
        values, left = step(problem, values, seconds=float(time - before))
        before = time
        yield float(time), values, left


def _stage(problem: Problem, start: np.ndarray, stored: np.ndarray, seconds: float) -> np.ndarray:
    """Temperatures whose stored heat is `stored` plus what they gain in that time."""
    return _newton(
        problem,
        start,
        rest=lambda values: problem.gain(values) - (problem.plate.stored(values) - stored) / seconds,
        more=lambda values: problem.plate.capacity(values) / seconds,
    )


def _newton(
    problem: Problem, start: np.ndarray, *, rest: Callable[[np.ndarray], np.ndarray], more: Callable
) -> np.ndarray:
    """Root of `rest`, whose slope is minus that of the problem's losses less `more` on the diagonal.

    The factors are kept as long as a step lowers the rest tenfold.
    """
    values, left = start, rest(start)
    scale = max(float(np.abs(problem.load).sum()), float(np.abs(problem.given_off(start)).sum()), 1e-9)
    factors = None
    for _ in range(MOST_ITERATIONS):
        size = float(np.abs(left).sum())
        if size <= CLOSED * scale:
            return values
        if factors is None:
            factors = problem.factor(values, more=more(values))
        change = factors.solve(left)
        change = np.clip(change, -0.5 * values, 1.5 * values)
        values = values + change
        left = rest(values)
        if float(np.abs(left).sum()) > 0.1 * size:
            factors = None
    raise RunError(f"the wall's temperatures did not settle: {size / scale:.1e} of the heat is not accounted for")
