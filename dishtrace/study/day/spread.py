"""Which of many steps to trace, and how the light of the others follows from them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

KERNELS = ("linear", "thin_plate_spline")
ALIKE = 2e-5
"""Places nearer than this give the same light: a hundredth of a small slope error. [rad]"""
N_FIRST = 6
"""Steps that are traced for being far from each other, before steps are chosen by what was found. [–]"""
N_CALM = 4
"""So many chosen steps one after the other must be foretold well. [–]"""
N_CHECKS = 8
"""Steps traced to see how well others are foretold. [–]"""
WELL = 2e-3
"""Foretold well: within this share of the largest light found. [–]"""
MOST_CANDIDATES = 3000


@dataclass
class Chosen:
    """Steps that were traced.

    Parameters
    ----------
    steps : list of int
        In the order of tracing; the last `n_checks` were traced to check the others.
    n_checks : int
    is_stopped : bool
        Whether the user stopped the tracing.
    """

    steps: list[int] = field(default_factory=list)
    n_checks: int = 0
    is_stopped: bool = False

    @property
    def nodes(self) -> list[int]:
        """Steps that are no checks."""
        return self.steps[: len(self.steps) - self.n_checks]


def weights(places: np.ndarray, at: np.ndarray, *, kernel: str = "linear") -> np.ndarray:
    """How much each known place counts at others.

    Parameters
    ----------
    places : (k, d) float64
        Known ones, no two alike.
    at : (n, d) float64
    kernel : str
        "linear" (on a line: straight pieces) or "thin_plate_spline" (smooth).

    Returns
    -------
    (n, k) float64
        Rows sum to 1. [–]

    References
    ----------
    .. [1] G. E. Fasshauer, *Meshfree Approximation Methods with MATLAB*, World Scientific, 2007 (from memory);
       computed by ``scipy.interpolate.RBFInterpolator``.
    """
    from scipy.interpolate import RBFInterpolator

    if len(places) == 1:
        return np.ones((len(at), 1))
    scale = max(float(np.ptp(places, axis=0).max()), 1e-300)
    degree = 0 if kernel == "linear" else 1
    known = places / scale
    found = RBFInterpolator(known, np.eye(len(places)), kernel=kernel, degree=degree)(at / scale)
    return found / found.sum(axis=1, keepdims=True)


def best_kernel(places: np.ndarray, values: np.ndarray) -> str:
    """The kernel that foretells each place best from all others.

    Parameters
    ----------
    places : (k, d) float64
    values : (k, q) float64
        Of figures of one unit.
    """
    centred = places - places.mean(axis=0)
    size = np.linalg.svd(centred, compute_uv=False)
    if len(places) < 8 or len(size) < 2 or size[1] < 1e-3 * size[0]:
        return "linear"
    return min(KERNELS, key=lambda kernel: _left_out_error(places, values, kernel))


def _left_out_error(places: np.ndarray, values: np.ndarray, kernel: str) -> float:
    squares = []
    for k in range(len(places)):
        others = np.arange(len(places)) != k
        try:
            foretold = weights(places[others], places[k : k + 1], kernel=kernel) @ values[others]
        except np.linalg.LinAlgError:
            return np.inf
        squares.append(float(np.sum((foretold[0] - values[k]) ** 2)))
    return float(np.mean(squares))


def distinct(places: np.ndarray) -> np.ndarray:
    """For each place the first one that it looks like, (n,) int64."""
    from scipy.spatial import cKDTree

    owner = np.full(len(places), -1)
    tree = cKDTree(places)
    for k in range(len(places)):
        if owner[k] < 0:
            alike = [j for j in tree.query_ball_point(places[k], ALIKE) if owner[j] < 0]
            owner[alike] = k
    return owner


def choose(
    places: np.ndarray, importance: np.ndarray, *, most: int, look: Callable[[int], np.ndarray | None]
) -> Chosen:
    """Trace steps until the others are foretold well, or as many as are allowed.

    Parameters
    ----------
    places : (n, d) float64
        Where the steps lie; equal places give equal light. [rad]
    importance : (n,) float64
        >= 0: light times time.
    most : int
        Steps that may be traced, checks among them.
    look : callable
        Traces a step and gives the figures that matter, (q,), in one unit; None when the user stopped it.

    Returns
    -------
    Chosen
        The brightest step and the one nearest to the axis first, then steps far from all others, then those that are
        most uncertain. With as many steps allowed as there are places, all are traced.
    """
    owner = distinct(places)
    alone = np.unique(owner)
    chosen, figures = Chosen(), []
    firsts = [int(owner[np.argmax(importance)]), int(owner[np.argmin(np.linalg.norm(places, axis=1))])]

    def take(step: int) -> bool:
        found = look(step)
        if found is None:
            chosen.is_stopped = True
            return False
        chosen.steps.append(step)
        figures.append(found)
        return True

    if len(alone) <= most:
        for step in dict.fromkeys([*firsts, *alone.tolist()]):
            if not take(step):
                break
        return chosen
    candidates = _thinned(alone, importance, MOST_CANDIDATES)
    for step in dict.fromkeys(firsts):
        if not take(step):
            return chosen
    while len(chosen.steps) < N_FIRST:
        if not take(int(candidates[np.argmax(_distance(places, candidates, chosen.steps))])):
            return chosen
    calm = 0
    while len(chosen.steps) < most - N_CHECKS and calm < N_CALM:
        step = _most_uncertain(places, candidates, importance, chosen.steps, np.array(figures))
        known = np.array(figures)
        foretold = weights(places[chosen.steps], places[step : step + 1]) @ known
        if not take(step):
            return chosen
        error = float(np.abs(foretold[0] - figures[-1]).max())
        calm = calm + 1 if error <= WELL * float(np.abs(known).max()) else 0
    for step in _even_checks(candidates, importance, chosen.steps, count=min(N_CHECKS, most - len(chosen.steps))):
        if not take(step):
            break
        chosen.n_checks += 1
    return chosen


def _thinned(steps: np.ndarray, importance: np.ndarray, most: int) -> np.ndarray:
    """At most so many steps, even in their order, none without light unless all are."""
    bright = steps[importance[steps] > 0.0]
    kept = bright if len(bright) else steps
    return kept[np.unique(np.linspace(0, len(kept) - 1, min(most, len(kept))).astype(int))]


def _distance(places: np.ndarray, steps: np.ndarray, known: list[int]) -> np.ndarray:
    """Distance of steps from the nearest known one, (n,)."""
    from scipy.spatial import cKDTree

    return cKDTree(places[known]).query(places[steps])[0]


def _most_uncertain(
    places: np.ndarray, candidates: np.ndarray, importance: np.ndarray, known: list[int], figures: np.ndarray
) -> int:
    """The step far from known ones, where these differ most, weighed by how bright it is."""
    from scipy.spatial import cKDTree

    count = min(4, len(known))
    far, which = cKDTree(places[known]).query(places[candidates], k=count)
    far, which = far.reshape(len(candidates), -1), which.reshape(len(candidates), -1)
    differ = np.ptp(figures[which], axis=1).max(axis=1)
    share = differ / max(float(np.abs(figures).max()), 1e-300) + 0.02
    bright = np.sqrt(np.maximum(importance[candidates], 0.0) / max(float(importance.max()), 1e-300))
    score = np.where(far[:, 0] > ALIKE, far[:, 0] * share * (0.1 + bright), -1.0)
    return int(candidates[np.argmax(score)])


def _even_checks(candidates: np.ndarray, importance: np.ndarray, known: list[int], *, count: int) -> list[int]:
    """Steps at even shares of the light, none of them known."""
    free = np.setdiff1d(candidates, known)
    if not len(free) or count < 1:
        return []
    light = np.cumsum(np.maximum(importance[free], 1e-12))
    wanted = (np.arange(count) + 0.5) / count * light[-1]
    return list(dict.fromkeys(int(free[k]) for k in np.searchsorted(light, wanted)))
