"""The light of all steps of a day or year per unit of irradiance, from a few traces."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.errors import InputError
from dishtrace.stats import Estimate
from dishtrace.study.day.field import Field, fitted
from dishtrace.study.day.path import span_fault
from dishtrace.study.day.spread import Chosen, choose, distinct
from dishtrace.study.stopping import StoppedError
from dishtrace.study.tracer import Tracer

if TYPE_CHECKING:
    from datetime import datetime

    from dishtrace.flux.result import Result
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.path import SunPath
    from dishtrace.study.day.poses import Poses

TRACED_DNI_W_M2 = 1000.0
MATTERS = ("first.receiver", "first.stand", "first.other_parts", "outline")
SIGNED = ("spot.x_m", "spot.y_m")
"""Figures that can be below 0; the others are held at 0 between traces. [–]"""
N_BLOCKS = 32
NEAR_COUNTS = 0.8
SAFETY = 1.15
"""Lengths that are fitted make guesses look better than they are; seen with traced and invented lights. [–]"""


@dataclass(frozen=True, eq=False)
class Light:
    """Figures of every step, per W/m2 of direct normal irradiance where they grow with it.

    Parameters
    ----------
    names : tuple of str
        Of the figures: ``budget.receiver``, ``first.stand``, ``part.<name>`` (mirror light that meets it first),
        ``absorbed.<name>``, ``direct.<name>`` (absorbed straight from the sun), ``peak.<name>``; ``spot.x_m``,
        ``spot.y_m``, ``spot.r90_m``, ``spot.peak``.
    known : (k, q) float64
        Of the traced steps; NaN where a figure has no meaning without light.
    known_se : (k, q) float64
        Standard errors, NaN where they are not known.
    left_out : (k, 32, q) float64
        With each block of rays left out; NaN where not known.
    weights : (n, k) float64
        How much each traced step counts at each step. [–]
    field : Field
        Of the traced steps' places.
    scales : (q,) float64
        Standard deviation of each figure as a field; NaN where tracing was stopped before the checks.
    places : (n, d) float64
        Of all steps.
    spread : (n,) float64
        Standard deviation of what lies between traced steps, in `scales`; 0 where a step was traced. [–]
    chosen : Chosen
        Which steps were traced.
    owners : (n,) int64
        Position in `chosen.steps` of the traced step that a step is or looks like; -1 for those between.
    is_lit : (n,) bool
        Steps at which the sun stands before the mirror; the others have no mirror light.
    results : dict
        The traces by step.
    """

    names: tuple[str, ...]
    known: np.ndarray
    known_se: np.ndarray
    left_out: np.ndarray
    weights: np.ndarray
    field: Field
    scales: np.ndarray
    places: np.ndarray
    spread: np.ndarray
    chosen: Chosen
    owners: np.ndarray
    is_lit: np.ndarray
    results: dict[int, Result]
    sums: dict[bytes, np.ndarray] = field(default_factory=dict, repr=False)

    def column(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """A figure at all steps and its standard error, NaN where unknown; 0 and 0 where the dish has no sun, (n,)."""
        j = self.names.index(name)
        value = _mixed(self.weights, self.known[:, j])
        if name not in SIGNED:
            value = np.maximum(value, 0.0)
        left = _mixed(self.weights, self.left_out[:, :, j])
        plain = _mixed(np.abs(self.weights), self.known_se[:, j])
        paired = _jackknife(left)
        error = np.hypot(np.where(np.isfinite(paired), paired, plain), self._between(j))
        return np.where(self.is_lit, value, 0.0), np.where(self.is_lit, error, 0.0)

    def summed(self, terms: dict[str, np.ndarray]) -> Estimate:
        """Sum over steps and figures of each figure times its factors.

        Parameters
        ----------
        terms : dict of (n,) float64
            Factors by name of figure.

        Returns
        -------
        Estimate
            Rays are common to all traces, so their errors are paired. What lies between traced steps errs alike where
            steps are alike, and figures are taken to err alike, which is the worst case.
        """
        value, left, between = 0.0, np.zeros(N_BLOCKS), 0.0
        for name, factor in terms.items():
            j = self.names.index(name)
            lit = np.where(self.is_lit, factor, 0.0)
            counts = (lit @ self.weights)[np.newaxis]
            value += float(_mixed(counts, self.known[:, j])[0])
            left = left + _mixed(counts, self.left_out[:, :, j])[0]
            open_steps = np.where(self.spread > 0.0, lit, 0.0)
            between += float(self._sum_spread(open_steps)[j]) if open_steps.any() else 0.0
        error = float(np.hypot(_jackknife(left[np.newaxis])[0], between))
        if all(factor.min(initial=0.0) >= 0.0 for factor in terms.values()):
            value = max(value, 0.0)
        return Estimate(value, error if np.isfinite(error) else None)

    def _sum_spread(self, factors: np.ndarray) -> np.ndarray:
        """Standard errors of sums of all figures, (q,); the same factors come again with other figures."""
        key = factors.tobytes()
        if key not in self.sums:
            used = np.flatnonzero(factors)
            here = local_errors(self.field, self.known, self.scales, self.places[used])
            self.sums[key] = self.field.sum_spread(self.places[used], factors[used, np.newaxis] * here)
        return self.sums[key]

    def between(self, name: str) -> float:
        """Root mean square of the error of a figure between traced steps; NaN where it is not known."""
        is_open = (self.spread > 0.0) & self.is_lit
        return float(np.sqrt(np.mean(self._between(self.names.index(name))[is_open] ** 2))) if is_open.any() else 0.0

    def _between(self, j: int) -> np.ndarray:
        """Standard error of a figure between traced steps, (n,)."""
        is_open = self.spread > 0.0
        found = np.zeros(len(self.spread))
        if is_open.any():
            here = local_errors(self.field, self.known[:, [j]], self.scales[[j]], self.places[is_open])
            found[is_open] = self.spread[is_open] * here[:, 0]
        return found


def local_errors(known: Field, values: np.ndarray, scales: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Standard deviation of figures (k, q) as fields near places (n, d), (n, q).

    Most of the variance goes by how well known neighbours are guessed, the rest by how well all are, since few
    neighbours tell little.
    """
    near = SAFETY * known.local_scales(values, at)
    return np.sqrt(NEAR_COUNTS * near**2 + (1.0 - NEAR_COUNTS) * scales**2)


def _mixed(counts: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Weighted sums of known figures (k, ...), NaN only where one that counts is NaN."""
    unknown = np.isnan(known)
    found = counts @ np.where(unknown, 0.0, known)
    return np.where(np.abs(counts) @ unknown > 1e-9, np.nan, found) if unknown.any() else found


def _jackknife(left: np.ndarray) -> np.ndarray:
    """Standard errors of values (n,) from those with each block left out (n, 32)."""
    spread = left - left.mean(axis=1, keepdims=True)
    return np.sqrt((N_BLOCKS - 1) / N_BLOCKS * (spread**2).sum(axis=1))


def scene_at(scene: Scene, time: datetime, *, set_declination: float | None = None) -> Scene:
    """The scene at a time under 1000 W/m2, without screens.

    Parameters
    ----------
    scene : Scene
    time : datetime
    set_declination : float, optional
        In place of the scene's. [rad]
    """
    update: dict[str, Any] = {"time": time, "dni_w_m2": TRACED_DNI_W_M2}
    update |= dict.fromkeys(("azimuth_deg", "elevation_deg", "dni", "linke_turbidity", "weather_file"))
    changes: dict[str, Any] = {"sun": scene.sun.model_copy(update=update), "screens": ()}
    if set_declination is not None:
        degrees = float(np.degrees(set_declination))
        changes["mount"] = scene.mount.model_copy(update={"set_declination_deg": degrees})
    return scene.model_copy(update=changes)


def light_along(
    scene: Scene,
    path: SunPath,
    poses: Poses,
    importance: np.ndarray,
    *,
    most: int,
    tracer: Tracer,
) -> Light:
    """Trace a few steps and tell the light of all.

    Parameters
    ----------
    scene : Scene
    path, poses
        All steps.
    importance : (n,) float64
        Irradiance of each, which tells where traces are worth most. [W/m2]
    most : int
        Traces allowed.
    tracer : Tracer

    Raises
    ------
    InputError
        If the sun never stands before the mirror, or a step cannot be traced.
    StoppedError
        If the user stopped it before anything was traced.
    """
    lit = np.flatnonzero(poses.is_lit & (importance > 0.0))
    if not len(lit):
        allowed = "has the sun behind the dish, or behind more than half of its mirror, whenever it shines"
        remedy = "turn the dish, or choose another day" if path.days == 1 else "turn the dish"
        raise InputError(span_fault(path.first, path.days, allowed=allowed, remedy=remedy))
    places, results = poses.places[lit], {}
    tracer.n_wanted += min(most, len(np.unique(distinct(places))))

    def look(number: int) -> np.ndarray | None:
        step = int(lit[number])
        setting = None if poses.set_declination is None else float(poses.set_declination[step])
        try:
            results[step] = traced(scene, path.time[step], tracer, set_declination=setting)
        except StoppedError:
            return None
        figures = figures_of(results[step])
        return np.array([figures[name].value for name in MATTERS])

    chosen = choose(places, importance[lit], most=most, look=look)
    if not chosen.steps:
        raise StoppedError
    chosen = replace(chosen, steps=[int(lit[number]) for number in chosen.steps])
    return _assembled(poses, chosen, results)


def traced(scene: Scene, time: datetime, tracer: Tracer, *, set_declination: float | None = None) -> Result:
    """One trace; faults that belong to this time alone say which it is."""
    try:
        return tracer.traced(scene_at(scene, time, set_declination=set_declination))
    except InputError as error:
        at = f"seen at {time:%Y-%m-%d %H:%M}"
        faults = [replace(fault, remedy=f"{fault.remedy} ({at})".strip()) for fault in error.faults]
        raise InputError(faults) from error


def figures_of(result: Result) -> dict[str, Estimate]:
    """Figures of one trace by name, those that grow with the irradiance over it."""
    found = {f"budget.{key}": value for key, value in result.budget_w.items() if key != "outline"}
    found["outline"] = result.budget_w["outline"]
    found |= {f"first.{key}": value for key, value in result.first_hit_w.items()}
    for name, part in result.parts.items():
        found |= {f"part.{name}": part.first_w, f"absorbed.{name}": part.absorbed_w}
        found |= {f"direct.{name}": part.direct_absorbed_w, f"peak.{name}": part.peak_w_m2}
    spot = result.focal_plane
    found["spot.peak"] = spot.peak_w_m2
    scale = 1.0 / result.sun.dni_w_m2
    found = {name: value.scaled(scale) for name, value in found.items()}
    found["spot.x_m"], found["spot.y_m"] = spot.centroid_m
    found["spot.r90_m"] = spot.radius_m["90"]
    return found


def _assembled(poses: Poses, chosen: Chosen, results: dict[int, Result]) -> Light:
    tables = [figures_of(results[step]) for step in chosen.steps]
    names = tuple(tables[0])
    known = np.array([[table[name].value for name in names] for table in tables])
    errors = np.array([[_error(table[name]) for name in names] for table in tables])
    left = np.stack([np.stack([_left_out(table[name]) for name in names], axis=1) for table in tables])
    places, steps = poses.places, np.array(chosen.steps)
    matter = [names.index(name) for name in MATTERS]
    found = fitted(places[steps], known[:, matter])
    counts, owners = _counts(places, steps, found)
    spread = np.zeros(len(places))
    is_open = owners < 0
    if is_open.any():
        spread[is_open] = np.maximum(found.spread(places[is_open]), 1e-12)
    scales = _scales(found, known, chosen)
    return Light(
        names, known, errors, left, counts, found, scales, places, spread, chosen, owners, poses.is_lit, results
    )


def _counts(places: np.ndarray, steps: np.ndarray, known: Field) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the traced steps at all steps, and which of them a step is or looks like."""
    alike = distinct(places)
    owners = np.full(len(places), -1)
    for number, step in enumerate(steps):
        owners[alike == alike[step]] = number
    counts = np.zeros((len(places), len(steps)))
    of_one = owners >= 0
    counts[of_one, owners[of_one]] = 1.0
    if not of_one.all():
        counts[~of_one] = known.weights(places[~of_one])
    return counts, owners


def _scales(known: Field, values: np.ndarray, chosen: Chosen) -> np.ndarray:
    """Standard deviation of each figure as a field, (q,), by guessing each traced step from the others.

    It is the larger one of that over all steps and over those that were traced as checks, and so large that 95 % of the
    errors lie within two of it, since errors have longer tails than normal ones where the light changes fast.
    """
    if not chosen.n_checks:
        return np.full(values.shape[1], np.nan)
    errors, expected = known.left_out(values)
    ratios = np.abs(errors) / expected[:, np.newaxis]
    checks = ratios[len(ratios) - chosen.n_checks :]
    whole, some = np.sqrt(np.mean(ratios**2, axis=0)), np.sqrt(np.mean(checks**2, axis=0))
    return SAFETY * np.max([whole, some, np.quantile(ratios, 0.95, axis=0) / 2.0], axis=0)


def _error(value: Estimate) -> float:
    return np.nan if value.se is None else float(value.se)


def _left_out(value: Estimate) -> np.ndarray:
    if value.left_out is None or len(value.left_out) != N_BLOCKS:
        return np.full(N_BLOCKS, np.nan)
    return value.left_out
