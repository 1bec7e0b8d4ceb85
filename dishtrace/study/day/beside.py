"""What is told beside the light of a day or year: an imperfect drive, a stop at the worst moment, heating."""

from __future__ import annotations

from dataclasses import replace
from datetime import date as Date

import numpy as np

from dishtrace.errors import InputError
from dishtrace.study.day.drive import slips, stopped_drive
from dishtrace.study.day.hazards import hazards_of
from dishtrace.study.day.light import scene_at
from dishtrace.study.day.outcome import Day
from dishtrace.study.day.warmth import HeatedDay, warmed
from dishtrace.study.drift import stopped_drive_times
from dishtrace.study.tracer import Tracer

MOST_STANDING_RAYS = 32768


def with_drive_and_heat(found: Day, tracer: Tracer) -> Day:
    """The day or year with its drive and its heating.

    The drive is told at the moment when the receivers get most. Clock errors and stale settings take ten traces, which
    only a day is given.
    """
    scene, table = found.scene, found.table
    best = int(np.argmax(table.columns["receiver_w"][0] + 1e-6 * table.reaching_w_m2))
    time, dni = table.path.time[best], float(table.reaching_w_m2[best])
    setting = None if found.set_declination is None else float(found.set_declination[best])
    found = replace(found, worst_at=time)
    if found.span == "day":
        slipped, is_stopped = slips(scene, time, dni=dni, set_declination=setting, tracer=tracer)
        found = replace(found, slips=tuple(slipped), stopped=is_stopped)
        if is_stopped:
            return found
    options = {"seed": found.seed, "threads": tracer.options["threads"]}
    rays = min(found.rays, MOST_STANDING_RAYS)
    standings, is_stopped = stopped_drive(scene, time, dni=dni, set_declination=setting, rays=rays, **options)
    roles = {part.name: part.role for part in scene.parts}
    hazards = hazards_of(table, standings, roles=roles, stopped_at=time)
    found = replace(found, standings=tuple(standings), hazards=hazards, stopped=is_stopped)
    if is_stopped:
        return found
    drift = stopped_drive_times(scene_at(scene, time, set_declination=setting), **options)
    found = replace(found, drift=drift, stopped=drift.stopped)
    return found if found.stopped else _heated(found)


def _heated(found: Day) -> Day:
    """Heating under the light of the day, or of chosen days of the year.

    What heat would refuse (a filling that does not fit its tank) is told in the notes, and the light of the day kept.
    """
    heats = []
    try:
        for day, why in chosen_days(found).items():
            heats.append(_heated_day(found, day, why))
    except InputError as error:
        return replace(found, notes=(*found.notes, *(f"no heating is told: {fault}" for fault in error.faults)))
    return replace(found, heats=tuple(heats))


def chosen_days(found: Day) -> dict[Date, str]:
    """Days whose heating is told, and why: the day itself; of a year the middle one and the one with most energy."""
    dates = np.array([start.date() for start in found.table.path.start])
    if found.span == "day":
        return {found.first: ""}
    days = np.unique(dates)
    absorbed = sum(found.table.columns[f"absorbed_w:{part.name}"][0] for part in found.scene.parts)
    if not found.scene.parts:
        return {}
    sums = np.array([absorbed[dates == day].sum() for day in days])
    order = np.argsort(sums)
    lit = order[sums[order] > 0.0]
    if not len(lit):
        return {}
    most, middle = days[lit[-1]], days[lit[len(lit) // 2]]
    return {middle: "the middle one of all days", most: "the day with most light"}


def _heated_day(found: Day, day: Date, why: str) -> HeatedDay:
    """Heating on one day; parts lose heat as they stand when the receivers get most."""
    table, light = found.table, found.light
    steps = np.flatnonzero([start.date() == day for start in table.path.start])
    best = steps[np.argmax(table.columns["receiver_w"][0][steps] + 1e-6 * table.reaching_w_m2[steps])]
    owner = int(light.owners[best])
    nearest = light.chosen.steps[owner if owner >= 0 else int(np.argmax(light.weights[best]))]
    start = table.path.start[steps[0]]
    seconds = np.array([(table.path.time[k] - start).total_seconds() for k in steps])
    absorbed = {
        part.name: tuple(one[steps] for one in table.columns[f"absorbed_w:{part.name}"]) for part in found.scene.parts
    }
    timelines, warmths = warmed(found.scene, light.results[nearest], start, seconds, absorbed)
    return HeatedDay(day, why, start, tuple(timelines), tuple(warmths))
