"""The light of all steps of a day or year per unit of irradiance, from a few traces."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.stats import Estimate
from dishtrace.study.day.spread import Chosen, best_kernel, choose, distinct, weights
from dishtrace.study.fit.ladder import StoppedError, Tracer

if TYPE_CHECKING:
    from datetime import datetime

    from dishtrace.flux.result import Result
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.path import SunPath
    from dishtrace.study.day.poses import Poses

TRACED_DNI_W_M2 = 1000.0
MATTERS = ("first.receiver", "first.stand", "first.other_parts", "outline")
N_BLOCKS = 32


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
    between : (q,) float64
        Standard error of what lies between traced steps, by checks; 0 where all were traced, NaN where not checked.
    chosen : Chosen
        Which steps were traced.
    owners : (n,) int64
        Position in `chosen.steps` of the traced step that a step is or looks like; -1 for those between.
    is_lit : (n,) bool
        Steps at which the sun stands before the mirror; the others have no mirror light.
    kernel : str
    results : dict
        The traces by step.
    """

    names: tuple[str, ...]
    known: np.ndarray
    known_se: np.ndarray
    left_out: np.ndarray
    weights: np.ndarray
    between: np.ndarray
    chosen: Chosen
    owners: np.ndarray
    is_lit: np.ndarray
    kernel: str
    results: dict[int, Result]

    def column(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """A figure at all steps and its standard error, NaN where unknown; 0 and 0 where the dish has no sun, (n,)."""
        j = self.names.index(name)
        value = _mixed(self.weights, self.known[:, j])
        left = _mixed(self.weights, self.left_out[:, :, j])
        plain = _mixed(np.abs(self.weights), self.known_se[:, j])
        paired = _jackknife(left)
        between = np.where(self.owners < 0, self.between[j], 0.0)
        error = np.hypot(np.where(np.isfinite(paired), paired, plain), between)
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
            Rays are common to all traces, so their errors are paired; what lies between traced steps is taken to err
            the same way everywhere, which is the worst case.
        """
        value, left, between = 0.0, np.zeros(N_BLOCKS), 0.0
        for name, factor in terms.items():
            j = self.names.index(name)
            lit = np.where(self.is_lit, factor, 0.0)
            counts = (lit @ self.weights)[np.newaxis]
            value += float(_mixed(counts, self.known[:, j])[0])
            left = left + _mixed(counts, self.left_out[:, :, j])[0]
            open_steps = np.abs(lit[self.owners < 0]).sum()
            between += float(open_steps * self.between[j]) if open_steps > 0.0 else 0.0
        error = float(np.hypot(_jackknife(left[np.newaxis])[0], between))
        return Estimate(value, error if np.isfinite(error) else None)


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
        raise InputError(Fault("day", "date", f"{path.time[0]:%Y-%m-%d}", allowed, "turn the dish, or choose a day"))
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
    columns = [names.index(name) for name in MATTERS]
    kernel = best_kernel(places[steps], known[:, columns])
    counts, owners = _counts(places, steps, kernel)
    between = np.zeros(len(names))
    if (owners < 0).any():
        between = _between(places, chosen, known, kernel)
    return Light(names, known, errors, left, counts, between, chosen, owners, poses.is_lit, kernel, results)


def _counts(places: np.ndarray, steps: np.ndarray, kernel: str) -> tuple[np.ndarray, np.ndarray]:
    """Weights of the traced steps at all steps, and which of them a step is or looks like."""
    alike = distinct(places)
    owners = np.full(len(places), -1)
    for number, step in enumerate(steps):
        owners[alike == alike[step]] = number
    counts = np.zeros((len(places), len(steps)))
    of_one = owners >= 0
    counts[of_one, owners[of_one]] = 1.0
    if not of_one.all():
        counts[~of_one] = weights(places[steps], places[~of_one], kernel=kernel)
    return counts, owners


def _between(places: np.ndarray, chosen: Chosen, known: np.ndarray, kernel: str) -> np.ndarray:
    """Root mean square of what checks differ from what the other traces foretell, (q,); NaN without checks."""
    if not chosen.n_checks:
        return np.full(known.shape[1], np.nan)
    nodes, n_nodes = chosen.nodes, len(chosen.nodes)
    counts = weights(places[nodes], places[chosen.steps[n_nodes:]], kernel=kernel)
    return np.sqrt(np.mean((counts @ known[:n_nodes] - known[n_nodes:]) ** 2, axis=0))


def _error(value: Estimate) -> float:
    return np.nan if value.se is None else float(value.se)


def _left_out(value: Estimate) -> np.ndarray:
    if value.left_out is None or len(value.left_out) != N_BLOCKS:
        return np.full(N_BLOCKS, np.nan)
    return value.left_out
