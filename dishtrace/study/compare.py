"""Compare scenes and variants: all traced with the same random points, so that differences are sharper than values."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dishtrace.flux.measure import trace
from dishtrace.flux.result import Result
from dishtrace.scene.model import Scene
from dishtrace.scene.quantity import nominal
from dishtrace.stats import Estimate
from dishtrace.study.dishes import Scatter, has_chance, scatter, with_dish_seed
from dishtrace.study.figures import BY_KEY, MEASURES, figures_of, receiver_peak
from dishtrace.study.variants import named_scenes, refuse_faults
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import UNIT_RAYS, points_for

DISHES = 8
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


def compare(
    scenes: Scene | Mapping[str, Scene] | Iterable[Scene],
    *,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    dishes: int = DISHES,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Comparison:
    """Trace scenes and their variants with common random points and tell the differences from the first.

    Parameters
    ----------
    scenes : Scene, mapping of str to Scene, or iterable of Scene
        Two at least, or one with variants; a scene comes before its variants.
    rays, seed : int, optional
        The same for all; left out, those of the first scene's [run]. [–]
    threads : int, optional
        Threads; left out, all cores. [–]
    dishes : int
        Dishes to draw where chance sets the facets, with `dish.seed` from the scene's own on and rays / dishes rays
        each; below 2, none. [–]
    progress : callable, optional
        Called with (rays done, rays wanted), of all traces together.
    announce : callable, optional
        Called with a line of text when something slow is about to happen.

    Returns
    -------
    Comparison
        With `stopped` set when the user pressed Ctrl-C; it then holds the traces finished until then, or what there
        is of the first.

    Raises
    ------
    InputError
        With the faults of all scenes, before anything is traced.
    RunError
        If rays were lost.
    KeyboardInterrupt
        If the user stopped it before anything was traced.
    """
    named = named_scenes(scenes)
    first = next(iter(named.values()))
    rays = nominal(first.run.rays) if rays is None else rays
    seed = first.run.seed if seed is None else seed
    refuse_faults(named.values(), seed=seed)
    lucky = [name for name, scene in named.items() if dishes >= 2 and has_chance(scene)]
    share = -(-rays // max(dishes, 1))
    jobs = [(scene, rays) for scene in named.values()]
    for name in lucky:
        jobs += [(with_dish_seed(named[name], named[name].dish.seed + k), share) for k in range(dishes)]
    traced, draws, stopped = _traced(
        jobs, n_kept=len(named), seed=seed, threads=threads, progress=progress, announce=announce
    )
    spreads = _spreads(lucky, named, draws, n_dishes=dishes, rays=points_for(share) * N_SCRAMBLES)
    cases = tuple(
        Case(letters(number), name, result, figures_of(result), spreads.get(name))
        for number, (name, result) in enumerate(zip(named, traced, strict=False))
    )
    notes = tuple(_notes(list(named.values()), cases, rays=rays))
    return Comparison(cases, tuple(named)[len(cases) :], cases[0].result.rays, seed, stopped, notes)


def letters(number: int) -> str:
    """A, B, ... Z, AA, AB, ... for 0, 1, ..."""
    text = ""
    number += 1
    while number > 0:
        number, place = divmod(number - 1, 26)
        text = chr(ord("A") + place) + text
    return text


def _traced(
    jobs: Sequence[tuple[Scene, int]],
    *,
    n_kept: int,
    progress: Callable[[int, int], None] | None,
    **options: Any,
) -> tuple[list[Result], list[dict[str, Estimate]], bool]:
    """Trace one after another until all are done or the user stops: results of the first jobs, figures of the rest."""
    whole = sum(points_for(rays) * N_SCRAMBLES for _, rays in jobs)
    results: list[Result] = []
    draws: list[dict[str, Estimate]] = []
    done = 0
    for scene, rays in jobs:
        try:
            result = trace(scene, rays=rays, peak_points=False, progress=_shifted(progress, done, whole), **options)
        except KeyboardInterrupt:
            if not results:
                raise
            return results, draws, True
        if result.stopped and results:
            return results, draws, True
        if len(results) < n_kept:
            results.append(result)
        else:
            draws.append(figures_of(result))
        if result.stopped:
            return results, draws, True
        done += result.rays
    return results, draws, False


def _shifted(progress: Callable[[int, int], None] | None, before: int, whole: int) -> Callable[[int, int], None] | None:
    """Progress of one trace as progress of all of them."""
    return None if progress is None else lambda done, _: progress(before + done, whole)


def _spreads(
    lucky: Sequence[str],
    named: Mapping[str, Scene],
    draws: Sequence[dict[str, Estimate]],
    *,
    n_dishes: int,
    rays: int,
) -> dict[str, Dishes]:
    """What the dishes drawn say, by name; of those that an early stop left with fewer than two, nothing."""
    spreads = {}
    for place, name in enumerate(lucky):
        mine = draws[place * n_dishes : (place + 1) * n_dishes]
        if len(mine) >= 2:
            keys = [key for key in mine[0] if all(key in one for one in mine)]
            figures = {key: scatter([one[key] for one in mine]) for key in keys}
            spreads[name] = Dishes(len(mine), named[name].dish.seed, rays, figures)
    return spreads


def _notes(scenes: Sequence[Scene], cases: Sequence[Case], *, rays: int) -> Iterator[str]:
    first = cases[0].result
    if first.stopped:
        yield f"stopped early: {first.rays} of {rays} rays were traced"
    elif first.rays != rays:
        yield f"{rays} rays were rounded up to {first.rays}, whole units of {UNIT_RAYS}"
    if any(scene.run != scenes[0].run for scene in scenes):
        yield "all scenes are traced with the same rays and seed; [run] of the others is not used"
    suns = [case.result.sun.dni_w_m2 for case in cases]
    if max(suns) - min(suns) > SAME * max(suns):
        yield f"the scenes have different suns, {min(suns):.0f} to {max(suns):.0f} W/m2: watts differ by that, too"
    for case in cases:
        part = receiver_peak(case.result)
        patch = part.peak_patch_m2 if part else 1e-4
        if not 0.95e-4 < patch < 1.05e-4:
            yield f'the peak on the receiver of "{case.name}" is over {1e4 * patch:.2g} cm2, not 1 cm2'
