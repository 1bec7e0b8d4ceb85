"""A dish through a day or a year: `day` and `year`, from a scene to a table of steps, sums, hazards and heating."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date as Date
from datetime import datetime
from importlib import metadata
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from dishtrace.cores import available_cores
from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.presses import Presses
from dishtrace.study.asked import Asked, asked
from dishtrace.study.day.beside import with_drive_and_heat
from dishtrace.study.day.drive import N_SLIPS
from dishtrace.study.day.hazards import hazards_of
from dishtrace.study.day.light import Light, light_along
from dishtrace.study.day.notes import notes_of
from dishtrace.study.day.outcome import Day
from dishtrace.study.day.path import MINUTES_A_DAY, SunPath, sun_path, zone_of
from dishtrace.study.day.poses import CLOCK_DRIVEN, Poses, poses_along
from dishtrace.study.day.shade import horizon_of, shaded_share, share_above
from dishtrace.study.day.sky import Sky, sky_along, sky_kind
from dishtrace.study.day.table import J_PER_KWH, Table, sums_of, table_of
from dishtrace.study.stopping import StoppedError
from dishtrace.study.tracer import Tracer

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

RAYS = 65536
"""Rays of each trace unless something else is asked for. [–]"""
MOST_TRACES = 52
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
    run = asked("day", scene, rays=rays, seed=seed, threads=threads, most_rays=RAYS)
    span = _Span("day", _date(date), 1)
    steps = {"step_min": step_min, "sky": sky, "zone": zone, "reset_days": reset_days}
    return _followed(scene, span, run, most=most_traces, **steps, progress=progress, announce=announce)


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
    """A dish through a year: energy by month, spot and hazards, from at most 52 traced sun directions.

    Parameters are those of `day`, but for the `year`, a number. What lies between traced directions is checked by
    traces of its own, and its error is part of every standard error.
    """
    run = asked("year", scene, rays=rays, seed=seed, threads=threads, most_rays=RAYS)
    if not 1800 <= year <= 2200:
        raise InputError(Fault(COMMAND_LINE, "--year", str(year), "must be from 1800 to 2200"))
    first = Date(year, 1, 1)
    span = _Span("year", first, (Date(year + 1, 1, 1) - first).days)
    steps = {"step_min": step_min, "sky": sky, "zone": zone, "reset_days": reset_days}
    return _followed(scene, span, run, most=most_traces, **steps, progress=progress, announce=announce)


def _date(value: Date | str) -> Date:
    try:
        found = value if isinstance(value, Date) else Date.fromisoformat(value)
    except ValueError as error:
        raise InputError(Fault(COMMAND_LINE, "--date", value, "must be a date", "for instance 2026-06-21")) from error
    if not 1800 <= found.year <= 2200:
        raise InputError(Fault(COMMAND_LINE, "--date", str(value), "must lie in the years 1800 to 2200"))
    return found.date() if isinstance(found, datetime) else found


def _checked(scene: Scene, step_min: float, most: int) -> None:
    """Refuse what cannot be followed, all at once."""
    faults = []
    if scene.site is None:
        faults.append(scene.fault(("site",), allowed="is missing", remedy="add latitude_deg and longitude_deg"))
    if not 1.0 <= step_min <= 120.0 or MINUTES_A_DAY % step_min:
        allowed = "must be from 1 to 120 and divide a day (minutes)"
        faults.append(Fault(COMMAND_LINE, "--step", f"{step_min:g}", allowed, "for instance 5, 10, 15, 30 or 60"))
    if not FEWEST_TRACES <= most <= HIGHEST_TRACES:
        allowed = f"must be from {FEWEST_TRACES} to {HIGHEST_TRACES}"
        faults.append(Fault(COMMAND_LINE, "--traces", str(most), allowed))
    if faults:
        raise InputError(faults)


class _Span(NamedTuple):
    """What is followed: "day" or "year", its first day, and how many days."""

    kind: str
    first: Date
    days: int


class _Steps(NamedTuple):
    """Steps in which the sun is up, before anything is traced.

    With the share of the sun's disc above the horizon at the path's fine times (n, m), and that of the mirror's light
    which obstacles take (n,). [–]
    """

    zone: str
    zone_note: str
    path: SunPath
    sky: Sky
    poses: Poses
    above: np.ndarray
    shaded: np.ndarray

    @property
    def open_w_m2(self) -> np.ndarray:
        """Irradiance above the horizon, (n,). [W/m2]"""
        return self.sky.open_w_m2(self.above)


def _followed(
    scene: Scene,
    span: _Span,
    run: Asked,
    *,
    most: int,
    step_min: float,
    sky: str | None,
    zone: str | None,
    reset_days: int | None,
    **tracing: Any,
) -> Day:
    """Lay out all steps, tell their light from a few traces, then what is told beside the light."""
    _checked(scene, step_min, most)
    steps = _laid_out(scene, span, step_min=step_min, sky=sky, zone=zone, reset_days=reset_days)
    with Presses() as presses:
        tracer = _tracer(scene, span, run, presses, **tracing)
        found = _lit(scene, span, steps, tracer, most=most)
        return found if found.stopped else with_drive_and_heat(found, tracer)


def _laid_out(
    scene: Scene, span: _Span, *, step_min: float, sky: str | None, zone: str | None, reset_days: int | None
) -> _Steps:
    """Where the sun stands at each step, how bright it is, how the dish is turned, and what hides the sun."""
    kind, (place, zone_note) = sky_kind(scene, sky), zone_of(scene, zone)
    path = sun_path(scene, first=span.first, days=span.days, step_min=step_min, zone=place)
    bright = sky_along(scene, path, kind)
    poses = poses_along(scene, path, reset_days=reset_days)
    above = share_above(horizon_of(scene), path.fine_azimuth, path.fine_elevation)
    found = _Steps(str(place), zone_note, path, bright, poses, above, shaded_share(scene, path, poses))
    if not found.open_w_m2.max() > 0.0:
        fault = scene.fault(("horizon",), allowed="hides the sun all the time", remedy="check its elevations")
        raise InputError(fault)
    return found


def _tracer(
    scene: Scene,
    span: _Span,
    run: Asked,
    presses: Presses,
    *,
    progress: Callable[[int, int], None] | None,
    announce: Callable[[str], None] | None,
) -> Tracer:
    """What traces all of it; it knows of the traces beside the light."""
    threads = available_cores() if run.threads is None else run.threads
    options = {"rays": run.rays, "seed": run.seed, "threads": threads, "announce": announce}
    beside = N_SLIPS if span.kind == "day" and scene.mount.kind in CLOCK_DRIVEN else 0
    return Tracer(n_wanted=beside, progress=progress, options=options, presses=presses)


def _lit(scene: Scene, span: _Span, steps: _Steps, tracer: Tracer, *, most: int) -> Day:
    """The day or year with the light of all steps, from at most so many traces."""
    path, poses, shaded = steps.path, steps.poses, steps.shaded
    try:
        light = light_along(scene, path, poses, steps.open_w_m2 * (1.0 - shaded), most=most, tracer=tracer)
    except StoppedError as stop:
        raise KeyboardInterrupt from stop
    table = table_of(scene, path, poses, steps.sky, light, above=steps.above, shaded=shaded)
    return Day(
        scene=scene,
        version=metadata.version("dishtrace"),
        span=span.kind,
        first=span.first,
        days=span.days,
        zone=steps.zone,
        rays=next(iter(light.results.values())).rays,
        seed=tracer.options["seed"],
        stopped=light.chosen.is_stopped,
        table=table,
        sky=steps.sky,
        poses=poses,
        light=light,
        energy_kwh=sums_of(scene, table, light),
        dni_kwh_m2=_irradiation(table),
        months=_months(scene, table, light) if span.kind == "year" else {},
        hazards=hazards_of(table, [], roles={part.name: part.role for part in scene.parts}, stopped_at=None),
        notes=notes_of(scene, steps.sky, light, table, poses, zone_note=steps.zone_note),
    )


def _months(scene: Scene, table: Table, light: Light) -> dict[int, dict[str, Any]]:
    """Energies of each month that has sun."""
    month = np.array([start.month for start in table.path.start])
    return {
        int(number): {
            "dni_kwh_m2": _irradiation(table, month == number),
            **sums_of(scene, table, light, month == number),
        }
        for number in np.unique(month)
    }


def _irradiation(table: Table, steps: np.ndarray | slice = slice(None)) -> float:
    """Direct normal irradiation above the horizon over all or some steps. [kWh/m2]"""
    return float(table.open_w_m2[steps].sum() * table.path.step_s / J_PER_KWH)
