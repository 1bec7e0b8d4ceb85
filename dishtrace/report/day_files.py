"""Files of `day`: day.json, day.csv with a row a step, months, hazards, fillings over the day."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from dishtrace.report.csv_rows import write_rows
from dishtrace.report.day import day_cautions, hazard_text, traces_text
from dishtrace.report.exports import write_object
from dishtrace.report.folder import slugs
from dishtrace.report.timeline import write_events, write_timeline

if TYPE_CHECKING:
    from dishtrace.heat.timeline import Timeline
    from dishtrace.study.day import Day
    from dishtrace.study.day.warmth import HeatedDay


def write_day(found: Day, folder: Path) -> list[str]:
    """Write all tables of a day or year into a folder that exists; gives their names, day.json first."""
    told = found.to_dict() | {"cautions": day_cautions(found)}
    written = [write_object(told, folder / "day.json")]
    written.append(_write(folder / "day.csv", found, found.rows()))
    if found.months:
        written.append(_write(folder / "day-months.csv", found, month_rows(found)))
    if found.hazards:
        rows = [_flat(hazard.to_dict()) | {"text": hazard_text(hazard, found.span)} for hazard in found.hazards]
        written.append(_write(folder / "day-hazards.csv", found, rows))
    for timeline, name in named_timelines(found):
        written.append(write_timeline(timeline, folder / f"timeline-{name}.csv"))
    for heat in found.heats:
        if heat.timelines:
            name = f"timeline-events{_of_day(heat)}.csv"
            written.append(write_events(list(heat.timelines), folder / name))
    return written


def named_timelines(found: Day) -> list[tuple[Timeline, str]]:
    """Fillings and the part of a file's name that tells each: the part's name, of a year with the date behind it."""
    named = []
    for heat in found.heats:
        names = slugs(timeline.part for timeline in heat.timelines)
        named += [(timeline, name + _of_day(heat)) for timeline, name in zip(heat.timelines, names, strict=True)]
    return named


def _of_day(heat: HeatedDay) -> str:
    return f"-{heat.day.isoformat()}" if heat.why else ""


def month_rows(found: Day) -> list[dict[str, Any]]:
    """One row a month: energies and their standard errors. [kWh]"""
    rows = []
    for month, told in found.months.items():
        row: dict[str, Any] = {"month": month, "dni_kwh_m2": told["dni_kwh_m2"]}
        for key, value in told.items():
            if key != "dni_kwh_m2":
                row |= {f"{key}_kwh": value.value, f"{key}_kwh_se": value.se}
        rows.append(row)
    return rows


def _flat(told: dict[str, Any]) -> dict[str, Any]:
    """Estimates as two columns."""
    row: dict[str, Any] = {}
    for key, value in told.items():
        if isinstance(value, dict):
            row |= {key: value["value"], f"{key}_se": value["se"]}
        elif value is None and key.endswith("_w_m2"):
            row |= {key: None, f"{key}_se": None}
        else:
            row[key] = value
    return row


def _write(path: Path, found: Day, rows: list[dict[str, Any]]) -> str:
    """A csv file with a remark above it; what is unknown is left empty."""
    title = found.scene.title_line
    about = f"dishtrace {found.version}, scene {title!r}: {traces_text(found)} of {found.rays} rays"
    return write_rows(rows, path, [about])
