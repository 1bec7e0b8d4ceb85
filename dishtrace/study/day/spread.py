"""Which of many steps to trace, and how the light of the others follows from them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from dishtrace.study.day.field import Field, fitted

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
N_NEAR = 4
"""So many known steps tell how much the light differs near a place. [–]"""
LEAST_SHARE = 0.15
"""Counts as a difference where known ones are alike, so that what lies between them is not forgotten. [–]"""
REFITTED = (8, 10, 13, 16, 20, 25, 32, 40, 50, 63, 79, 100, 160, 250, 400)
"""Numbers of traced steps at which the field is fitted anew. [–]"""


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
    firsts = [int(owner[np.argmax(importance)]), int(owner[np.argmin(np.linalg.norm(places, axis=1))])]
    search = _Search(places, importance, look)
    if len(alone) <= most:
        search.take([*firsts, *alone.tolist()])
        return search.chosen
    candidates = _thinned(alone, importance, MOST_CANDIDATES)
    if (
        search.take(firsts)
        and search.take_far(candidates, until=N_FIRST)
        and search.take_uncertain(candidates, until=most - N_CHECKS)
    ):
        search.take_checks(candidates, number=min(N_CHECKS, most - len(search.chosen.steps)))
    return search.chosen


class _Search:
    """Steps chosen until now, and their figures; what takes more of them tells whether the user let it finish."""

    def __init__(self, places: np.ndarray, importance: np.ndarray, look: Callable[[int], np.ndarray | None]) -> None:
        self.places, self.importance, self.look = places, importance, look
        self.chosen = Chosen()
        self.figures: list[np.ndarray] = []

    def take(self, steps: Iterable[int]) -> bool:
        """These steps, each once."""
        for step in dict.fromkeys(steps):
            found = self.look(step)
            if found is None:
                self.chosen.is_stopped = True
                return False
            self.chosen.steps.append(step)
            self.figures.append(found)
        return True

    def take_far(self, candidates: np.ndarray, *, until: int) -> bool:
        """Steps far from all others, until there are so many in all."""
        even = self.places / np.maximum(np.ptp(self.places, axis=0), 1e-300)
        while len(self.chosen.steps) < until:
            far = _distance(even[self.chosen.steps], even[candidates])
            if not self.take([int(candidates[np.argmax(far)])]):
                return False
        return True

    def take_uncertain(self, candidates: np.ndarray, *, until: int) -> bool:
        """The most uncertain step, again and again, until several in turn were foretold well or there are so many."""
        calm, guess = 0, None
        while len(self.chosen.steps) < until and calm < N_CALM:
            known = np.array(self.figures)
            guess = _field(self.places, self.chosen.steps, known, guess)
            step = _most_uncertain(self.places, candidates, self.importance, guess, known)
            foretold = guess.weights(self.places[step : step + 1]) @ known
            if not self.take([step]):
                return False
            error = float(np.abs(foretold[0] - self.figures[-1]).max())
            calm = calm + 1 if error <= WELL * float(np.abs(known).max()) else 0
        return True

    def take_checks(self, candidates: np.ndarray, *, number: int) -> None:
        """At most so many others, which show how well those between are foretold."""
        n_before = len(self.chosen.steps)
        self.take(_even_checks(candidates, self.importance, self.chosen.steps, count=number))
        self.chosen.n_checks = len(self.chosen.steps) - n_before


def _thinned(steps: np.ndarray, importance: np.ndarray, most: int) -> np.ndarray:
    """At most so many steps, even in their order, none without light unless all are."""
    bright = steps[importance[steps] > 0.0]
    kept = bright if len(bright) else steps
    return kept[np.unique(np.linspace(0, len(kept) - 1, min(most, len(kept))).astype(int))]


def _distance(known: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Distance of places from the nearest known one, (n,)."""
    from scipy.spatial import cKDTree

    return cKDTree(known).query(places)[0]


def _field(places: np.ndarray, steps: list[int], figures: np.ndarray, before: Field | None) -> Field:
    """The field of the known steps; its lengths are sought anew whenever there are a quarter more of them."""
    known = places[steps]
    if before is None or len(steps) in REFITTED:
        return fitted(known, figures, start=before)
    return replace(before, places=known)


def _most_uncertain(
    places: np.ndarray, candidates: np.ndarray, importance: np.ndarray, guess: Field, figures: np.ndarray
) -> int:
    """The step that is foretold worst: far from known ones, where these differ most, weighed by how bright it is."""
    from scipy.spatial import cKDTree

    known, at = guess.places / guess.lengths, places[candidates] / guess.lengths
    near = cKDTree(known).query(at, k=N_NEAR)[1]
    share = np.ptp(figures[near], axis=1).max(axis=1) / max(float(np.abs(figures).max()), 1e-300)
    bright = np.sqrt(np.maximum(importance[candidates], 0.0) / max(float(importance.max()), 1e-300))
    far = _distance(guess.places, places[candidates]) > ALIKE
    score = np.where(far, guess.spread(places[candidates]) * (LEAST_SHARE + share) * (0.1 + bright), -1.0)
    return int(candidates[np.argmax(score)])


def _even_checks(candidates: np.ndarray, importance: np.ndarray, known: list[int], *, count: int) -> list[int]:
    """Steps at even shares of the light, none of them known."""
    free = np.setdiff1d(candidates, known)
    if not len(free) or count < 1:
        return []
    light = np.cumsum(np.maximum(importance[free], 1e-12))
    wanted = (np.arange(count) + 0.5) / count * light[-1]
    return list(dict.fromkeys(int(free[k]) for k in np.searchsorted(light, wanted)))
