"""The search: a few scattered trials, then a library optimiser from the best of them, all on the same random points."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from dishtrace.study.sweep.design import sampled

FIRST_RADIUS, LAST_RADIUS = 0.15, 0.004
"""Size of the optimiser's first and last steps, in shares of each range. [–]"""


class OutOfTrialsError(Exception):
    """All trials that were allowed are used up."""


def search(
    trial: Callable[[np.ndarray], tuple[float, np.ndarray]],
    start: np.ndarray | None,
    *,
    n_keys: int,
    n_trials: int,
    seed: int,
) -> None:
    """Look for the best place in the unit cube; `trial` keeps what it finds.

    A first part of the trials is scattered over the cube by Sobol's sequence. From the best of them, by the aim and
    by how far limits are broken, the library's COBYQA goes on: it builds quadratic models from trials alone, keeps
    bounds and limits, and needs no slopes; that all trials share their random points makes what it sees smooth.

    Parameters
    ----------
    trial : callable
        Takes a place, (d,) in the unit cube; gives what is to be made small, about 1 in size, and for each limit the
        room that is left, at least 0 where it holds, in the same way. Raises `OutOfTrialsError` to end the search.
    start : (d,) float64 or None
        Where the scene is now; the first trial.
    n_keys, n_trials, seed : int
        Keys d, trials in all, seed of the scattered ones. [–]

    References
    ----------
    .. [1] T. M. Ragonneau, "Model-Based Derivative-Free Optimization Methods and Software", PhD thesis, Hong Kong
           Polytechnic University, 2022 (COBYQA; title from memory).
    """
    places = [] if start is None else [start]
    places += list(sampled(n_keys, scattered(n_keys, n_trials), method="sobol", seed=seed))
    found: list[tuple[float, np.ndarray]] = []
    try:
        for place in places:
            found.append(trial(place))
        best = min(range(len(found)), key=lambda k: merit(*found[k]))
        _optimised(trial, places[best], found[best], n_trials=n_trials)
    except OutOfTrialsError:
        return


def scattered(n_keys: int, n_trials: int) -> int:
    """How many of the trials are scattered. [–]"""
    return max(min(4 * n_keys, n_trials // 3), 1)


def merit(cost: float, rooms: Sequence[float]) -> float:
    """Cost with a weight on limits that are broken, small is good."""
    return cost + 10.0 * float(np.maximum(-np.asarray(rooms), 0.0).sum())


def _optimised(
    trial: Callable[[np.ndarray], tuple[float, np.ndarray]],
    start: np.ndarray,
    found: tuple[float, np.ndarray],
    *,
    n_trials: int,
) -> None:
    """Go on with the library's optimiser from a trial and what was found there."""
    from scipy.optimize import Bounds, NonlinearConstraint, minimize

    memory = {start.tobytes(): found}

    def known(place: np.ndarray) -> tuple[float, np.ndarray]:
        place = np.clip(place, 0.0, 1.0)
        key = place.tobytes()
        if key not in memory:
            memory[key] = trial(place)
        return memory[key]

    limits = [NonlinearConstraint(lambda place: known(place)[1], 0.0, np.inf)] if len(found[1]) else []
    minimize(
        lambda place: known(place)[0],
        start,
        method="COBYQA",
        bounds=Bounds(np.zeros(len(start)), np.ones(len(start))),
        constraints=limits,
        options={
            "initial_tr_radius": FIRST_RADIUS,
            "final_tr_radius": LAST_RADIUS,
            "maxfev": n_trials,
            "scale": False,
        },
    )
