"""What a comparison found: figures of scenes side by side, and what their differences from the first one say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dishtrace.stats import Estimate
from dishtrace.study.dishes import Scatter
from dishtrace.study.figures import BY_KEY, MEASURES

if TYPE_CHECKING:
    from dishtrace.flux.result import Result

TELLING = 2.0
"""Standard errors of a difference at which two scenes count as told apart. [–]"""
SAME = 1e-9
"""Relative difference that is only rounding. [–]"""
DIFFERENT, NOT_TOLD_APART, EQUAL, UNKNOWN = "different", "not told apart", "equal", "unknown"


@dataclass(frozen=True)
class Difference:
    """Difference of a figure from that of the first scene.

    Parameters
    ----------
    estimate : Estimate
        With its own standard error, paired block by block; in the unit of the figure.
    verdict : str
        "different" (2 standard errors or more), "not told apart" (less), "equal" (exactly, but for rounding), or
        "unknown" (its error is).
    rays_to_tell : float or None
        Rays at which a difference of this size would be 2 standard errors, taking the error to fall only as one over
        the square root of the rays; None unless the two are not told apart. [–]
    """

    estimate: Estimate
    verdict: str
    rays_to_tell: float | None


@dataclass(frozen=True)
class Dishes:
    """Several dishes that differ only by chance.

    Parameters
    ----------
    number, first_seed : int
        How many, with `dish.seed` from the first on. [–]
    rays : int
        Traced for each. [–]
    figures : dict of Scatter
        By key.
    """

    number: int
    first_seed: int
    rays: int
    figures: dict[str, Scatter]


@dataclass(frozen=True, eq=False)
class Case:
    """One scene of a comparison.

    Parameters
    ----------
    letter, name : str
        What tables and pictures call it.
    result : Result
        Of its trace.
    figures : dict of Estimate
        By key; see `dishtrace.study.figures.MEASURES`.
    dishes : Dishes or None
        Where chance sets its facets.
    """

    letter: str
    name: str
    result: Result
    figures: dict[str, Estimate]
    dishes: Dishes | None

    def difference(self, first: Case, key: str) -> Difference | None:
        """Difference of a figure from another case's; None where one of them does not have it."""
        if key not in self.figures or key not in first.figures:
            return None
        mine, theirs = self.figures[key], first.figures[key]
        return judged(mine.minus(theirs), max(abs(mine.value), abs(theirs.value)), rays=self.result.rays)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Scenes side by side.

    Parameters
    ----------
    cases : tuple of Case
        The first is what the others are compared with.
    not_traced : tuple of str
        Names of scenes that an early stop left out.
    rays, seed : int
        The same for all. [–]
    stopped : bool
        Whether the user stopped it early.
    notes : tuple of str
        What the user should know.
    """

    cases: tuple[Case, ...]
    not_traced: tuple[str, ...]
    rays: int
    seed: int
    stopped: bool
    notes: tuple[str, ...]

    @property
    def first(self) -> Case:
        """The case that the others are compared with."""
        return self.cases[0]

    @property
    def results(self) -> dict[str, Result]:
        """The results of the traces, by name."""
        return {case.name: case.result for case in self.cases}

    @property
    def version(self) -> str:
        """Of dishtrace."""
        return self.first.result.version

    def keys(self) -> list[str]:
        """Keys of the figures that any of the scenes has."""
        return [measure.key for measure in MEASURES if any(measure.key in case.figures for case in self.cases)]

    def rows(self) -> list[dict[str, Any]]:
        """Tidy rows, one a scene and figure; None where there is nothing to tell.

        Returns
        -------
        list of dict
            scene, figure, unit, value, se, difference, difference_se, verdict, rays_to_tell, dishes, dishes_mean,
            dishes_sd.
        """
        return [self._row(case, key) for case in self.cases for key in self.keys() if key in case.figures]

    def _row(self, case: Case, key: str) -> dict[str, Any]:
        value = case.figures[key].to_dict()
        difference = None if case is self.first else case.difference(self.first, key)
        told = {"value": None, "se": None} if difference is None else difference.estimate.to_dict()
        spread = case.dishes.figures.get(key) if case.dishes else None
        return {
            "scene": case.name,
            "figure": key,
            "unit": BY_KEY[key].unit,
            "value": value["value"],
            "se": value["se"],
            "difference": told["value"],
            "difference_se": told["se"],
            "verdict": difference.verdict if difference else None,
            "rays_to_tell": difference.rays_to_tell if difference else None,
            "dishes": case.dishes.number if spread else None,
            "dishes_mean": spread.mean if spread else None,
            "dishes_sd": spread.sd if spread else None,
        }

    def to_dict(self) -> dict[str, Any]:
        """As in comparison.json."""
        return {
            "dishtrace": self.version,
            "rays": self.rays,
            "seed": self.seed,
            "backend": self.first.result.backend,
            "stopped": self.stopped,
            "compared_with": self.first.name,
            "figures": {key: {"unit": BY_KEY[key].unit, "meaning": BY_KEY[key].meaning} for key in self.keys()},
            "scenes": [self._case(case) for case in self.cases],
            "not_traced": list(self.not_traced),
            "notes": list(self.notes),
        }

    def _case(self, case: Case) -> dict[str, Any]:
        differences = {} if case is self.first else {key: case.difference(self.first, key) for key in self.keys()}
        dishes = case.dishes
        return {
            "letter": case.letter,
            "name": case.name,
            "scene": case.result.scene.title,
            "dni_w_m2": float(case.result.sun.dni_w_m2),
            "figures": {key: estimate.to_dict() for key, estimate in case.figures.items()},
            "differences": {
                key: {
                    **told.estimate.to_dict(),
                    "verdict": told.verdict,
                    "rays_to_tell": told.rays_to_tell,
                }
                for key, told in differences.items()
                if told is not None
            },
            "dishes": None
            if dishes is None
            else {
                "number": dishes.number,
                "first_seed": dishes.first_seed,
                "rays": dishes.rays,
                "figures": {key: {"mean": one.mean, "sd": one.sd} for key, one in dishes.figures.items()},
            },
        }


def judged(difference: Estimate, scale: float, *, rays: int) -> Difference:
    """A difference with what it says.

    Parameters
    ----------
    difference : Estimate
        With its paired error.
    scale : float
        The larger of the two magnitudes, which rounding is measured by.
    rays : int
        Traced for each. [–]
    """
    size = abs(difference.value)
    if size <= SAME * scale and (difference.se or 0.0) <= SAME * scale:
        is_known = difference.se is not None
        return Difference(difference, EQUAL if is_known else UNKNOWN, None)
    if difference.se is None or not math.isfinite(size):
        return Difference(difference, UNKNOWN, None)
    if size >= TELLING * difference.se:
        return Difference(difference, DIFFERENT, None)
    needed = rays * (TELLING * difference.se / size) ** 2 if size > 0.0 else math.inf
    return Difference(difference, NOT_TOLD_APART, needed if math.isfinite(needed) else None)
