"""A dish through a day or a year: `day` and `year`, from a scene to a table of steps, sums, hazards and heating."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date as Date
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.quantity import nominal
from dishtrace.study.day.drive import N_SLIPS, slips, stopped_drive
from dishtrace.study.day.hazards import hazards_of
from dishtrace.study.day.light import Light, light_along, scene_at
from dishtrace.study.day.outcome import Day
from dishtrace.study.day.path import MINUTES_A_DAY, SunPath, sun_path, zone_of
from dishtrace.study.day.poses import CLOCK_DRIVEN, Poses, poses_along
from dishtrace.study.day.shade import horizon_of, shaded_share, share_above
from dishtrace.study.day.sky import Sky, sky_along, sky_kind
from dishtrace.study.day.table import Table, sums_of, table_of
from dishtrace.study.day.warmth import warmed
from dishtrace.study.drift import stopped_drive_times
from dishtrace.study.fit.ladder import StoppedError, Tracer
from dishtrace.trace.run import available_threads

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

RAYS = 65536
"""Rays of each trace unless something else is asked for. [–]"""
MOST_TRACES = 56
"""Sun directions traced at most, checks among them; a year then costs less than 60 traces. [–]"""
FEWEST_TRACES, HIGHEST_TRACES = 16, 2000
STEP_MIN, YEAR_STEP_MIN = 10.0, 60.0


def day(
    scene: Scene,
    *,
    date: Date | str,
    step_min: float = STEP_MIN,
    sky: str | None = None,
    zone: str | None = None,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    most_traces: int = MOST_TRACES,
    reset_days: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Day:
    """A dish through a day: power, spot, energy, an imperfect drive, hazards, and heating.

    Parameters
    ----------
    scene : Scene
        With `site`; its time of day is not used.
    date : date or str
        "2026-06-21".
    step_min : float
        Divides a day; 1 to 120. [min]
    sky : str, optional
        "clear-sky", "weather" (the scene's `sun.weather_file`) or "held" (its `sun.dni_w_m2`); left out, the weather
        file if the scene has one, else the clear sky.
    zone : str, optional
        "+02:00" or "Europe/Athens"; left out, that of `sun.time`.
    rays : int, optional
        Of each trace; left out, those of the scene, at most 65536. [–]
    seed, threads : int, optional
        As for `trace`.
    most_traces : int
        Sun directions to trace at most. [–]
    reset_days : int, optional
        For a dish that a clock turns: its declination is set at the first noon, and again after so many days.
    progress, announce : callable, optional
        As for `trace`.

    Returns
    -------
    Day

    Raises
    ------
    InputError
        With no site, in polar night, without weather on that day, or if the scene cannot be traced as described.
    KeyboardInterrupt
        If the user stopped it before anything was traced.
    """
    options = {"rays": rays, "seed": seed, "threads": threads, "progress": progress, "announce": announce}
    first = _date(date)
    found = _followed(
        scene, first, 1, "day", step_min, sky=sky, zone=zone, most=most_traces, reset_days=reset_days, **options
    )
    return found


def year(
    scene: Scene,
    *,
    year: int,
    step_min: float = YEAR_STEP_MIN,
    sky: str | None = None,
    zone: str | None = None,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    most_traces: int = MOST_TRACES,
    reset_days: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Day:
    """A dish through a year: energy by month, spot and hazards, from at most 56 traced sun directions.

    Parameters are those of `day`, but for the `year`, a number. What lies between traced directions is checked by
    traces of its own, and its error is part of every standard error.
    """
    if not 1800 <= year <= 2200:
        raise InputError(Fault("day", "year", str(year), "must be from 1800 to 2200"))
    options = {"rays": rays, "seed": seed, "threads": threads, "progress": progress, "announce": announce}
    first = Date(year, 1, 1)
    days = (Date(year + 1, 1, 1) - first).days
    return _followed(
        scene, first, days, "year", step_min, sky=sky, zone=zone, most=most_traces, reset_days=reset_days, **options
    )


def _date(value: Date | str) -> Date:
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, Date):
        return value
    try:
        found = Date.fromisoformat(value)
    except ValueError as error:
        raise InputError(Fault("day", "date", value, "must be a date", "for instance 2026-06-21")) from error
    if not 1800 <= found.year <= 2200:
        raise InputError(Fault("day", "date", value, "must lie in the years 1800 to 2200"))
    return found


def _checked(scene: Scene, step_min: float, most: int) -> None:
    """Refuse what cannot be followed, all at once."""
    faults = []
    if scene.site is None:
        faults.append(scene.fault(("site",), allowed="is missing", remedy="add latitude_deg and longitude_deg"))
    if not 1.0 <= step_min <= 120.0 or MINUTES_A_DAY % step_min:
        allowed = "must be from 1 to 120 and divide a day (minutes)"
        faults.append(Fault("day", "step", f"{step_min:g}", allowed, "for instance 5, 10, 15, 30 or 60"))
    if not FEWEST_TRACES <= most <= HIGHEST_TRACES:
        allowed = f"must be from {FEWEST_TRACES} to {HIGHEST_TRACES}"
        faults.append(Fault("day", "most traces", str(most), allowed))
    if faults:
        raise InputError(faults)


def _followed(
    scene: Scene,
    first: Date,
    days: int,
    span: str,
    step_min: float,
    *,
    sky: str | None,
    zone: str | None,
    most: int,
    reset_days: int | None,
    rays: int | None,
    seed: int | None,
    threads: int | None,
    progress: Callable[[int, int], None] | None,
    announce: Callable[[str], None] | None,
) -> Day:
    from dishtrace import __version__

    _checked(scene, step_min, most)
    kind, (place, zone_note) = sky_kind(scene, sky), zone_of(scene, zone)
    path = sun_path(scene, first=first, days=days, step_min=step_min, zone=place)
    bright = sky_along(scene, path, kind)
    poses = poses_along(scene, path, reset_days=reset_days)
    above = share_above(horizon_of(scene), path.fine_azimuth, path.fine_elevation)
    shaded = shaded_share(scene, path, poses)
    reaching = (bright.fine_w_m2 * above).mean(axis=1)
    if not reaching.max() > 0.0:
        fault = scene.fault(("horizon",), allowed="hides the sun all the time", remedy="check its elevations")
        raise InputError(fault)
    rays = min(nominal(scene.run.rays), RAYS) if rays is None else rays
    seed = scene.run.seed if seed is None else seed
    threads = available_threads() if threads is None else threads
    extra = N_SLIPS if span == "day" and scene.mount.kind in CLOCK_DRIVEN else 0
    tracing = {"rays": rays, "seed": seed, "threads": threads, "announce": announce}
    tracer = Tracer(n_wanted=extra, progress=progress, options=tracing)
    try:
        light = light_along(scene, path, poses, reaching * (1.0 - shaded), most=most, tracer=tracer)
    except StoppedError as stop:
        raise KeyboardInterrupt from stop
    table = table_of(scene, path, poses, bright, light, above=above, shaded=shaded)
    roles = {part.name: part.role for part in scene.parts}
    found = Day(
        scene=scene,
        version=__version__,
        span=span,
        first=first,
        days=days,
        zone=str(place),
        rays=next(iter(light.results.values())).rays,
        seed=seed,
        stopped=light.chosen.is_stopped,
        table=table,
        sky=bright,
        poses=poses,
        light=light,
        energy_kwh=sums_of(scene, table, light),
        dni_kwh_m2=float(reaching.sum() * path.step_s / 3.6e6),
        months=_months(scene, table, light) if span == "year" else {},
        hazards=hazards_of(table, [], roles=roles, stopped_at=None),
        notes=_notes(scene, bright, light, zone_note, path, poses),
    )
    return found if span == "year" or found.stopped else _with_drive_and_heat(found, tracer)


def _months(scene: Scene, table: Table, light: Light) -> dict[int, dict[str, Any]]:
    """Energies of each month that has sun."""
    month = np.array([start.month for start in table.path.start])
    found = {}
    for number in np.unique(month):
        steps = month == number
        irradiation = float(table.open_w_m2[steps].sum() * table.path.step_s / 3.6e6)
        found[int(number)] = {"dni_kwh_m2": irradiation, **sums_of(scene, table, light, steps)}
    return found


def _with_drive_and_heat(found: Day, tracer: Tracer) -> Day:
    """What is told of a single day: an imperfect drive, hazards of a stop, heating."""
    scene, table = found.scene, found.table
    best = int(np.argmax(table.columns["receiver_w"][0] + 1e-6 * table.reaching_w_m2))
    time, dni = table.path.time[best], float(table.reaching_w_m2[best])
    setting = None if found.set_declination is None else float(found.set_declination[best])
    slipped, is_stopped = slips(scene, time, dni=dni, set_declination=setting, tracer=tracer)
    found = replace(found, slips=tuple(slipped), worst_at=time, stopped=is_stopped)
    if is_stopped:
        return found
    options = {"seed": found.seed, "threads": tracer.options["threads"]}
    standings, is_stopped = stopped_drive(
        scene, time, dni=dni, set_declination=setting, rays=min(found.rays, 32768), **options
    )
    roles = {part.name: part.role for part in scene.parts}
    hazards = hazards_of(table, standings, roles=roles, stopped_at=time)
    found = replace(found, standings=tuple(standings), hazards=hazards, stopped=is_stopped)
    if is_stopped:
        return found
    drift = stopped_drive_times(scene_at(scene, time, set_declination=setting), **options)
    return replace(_heated(found, best), drift=drift, stopped=drift.stopped)


def _heated(found: Day, best: int) -> Day:
    """Heating under the day's light; parts lose heat as they stand when the receivers get most.

    What heat would refuse (a filling that does not fit its tank) is told in the notes, and the light of the day kept.
    """
    table, light = found.table, found.light
    nearest = light.chosen.steps[int(np.argmin(np.abs(np.array(light.chosen.steps) - best)))]
    if light.owners[best] >= 0:
        nearest = light.chosen.steps[light.owners[best]]
    start = table.path.start[0]
    seconds = np.array([(time - start).total_seconds() for time in table.path.time])
    absorbed = {part.name: table.columns[f"absorbed_w:{part.name}"] for part in found.scene.parts}
    try:
        timelines, warmths = warmed(found.scene, light.results[nearest], start, seconds, absorbed)
    except InputError as error:
        return replace(found, notes=(*found.notes, *(f"no heating is told: {fault}" for fault in error.faults)))
    return replace(found, timelines=tuple(timelines), warmths=tuple(warmths), heat_start=start)


def _notes(scene: Scene, sky: Sky, light: Light, zone_note: str, path: SunPath, poses: Poses) -> tuple[str, ...]:
    chosen = light.chosen
    notes = [*sky.notes]
    notes.append("standard errors are those of tracing and of what lies between traced directions, not of the sky")
    if zone_note:
        notes.append(zone_note)
    if (light.owners < 0).any():
        checked = (
            f"{chosen.n_checks} of them to check the rest" if chosen.n_checks else "none of them to check the rest"
        )
        notes.append(
            f"{len(chosen.steps)} of {len(path.time)} sun directions were traced, {checked}; between them the light is "
            f"interpolated ({light.kernel.replace('_', ' ')})"
        )
    dark = int((~poses.is_lit & (sky.dni_w_m2 > 0.0)).sum())
    if dark:
        notes.append(
            f"in {dark} of {len(path.time)} steps the sun stands behind the dish, and its light is not counted"
        )
    if scene.obstacles:
        notes.append("obstacles are taken to dim mirror and parts alike: the spot keeps its shape under their shade")
    if chosen.is_stopped:
        notes.append("stopped early: fewer directions were traced than wanted, and none to check the rest")
    return tuple(notes)
