"""The command `day`: a dish through a day or a year."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.cli.ending import hand_over
from dishtrace.cli.exits import told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import (
    AsJson,
    Quiet,
    SceneFile,
    Seed,
    Threads,
    check_numbers,
    count_option,
    folder_option,
)
from dishtrace.cli.progress import watched
from dishtrace.errors import COMMAND_LINE, Fault, InputError

DAY_HELP = """Follow a dish through a day or a year: power, spot, energy, hazards.

A few sun directions are traced, those between are interpolated and checked.
A day also tells what an imperfect drive does, and how parts and fillings warm.

\b
Example:
  dishtrace day yard.toml --date 2026-06-21
  dishtrace day yard.toml --date 2026-06-21 --step 5 --zone Europe/Athens
  dishtrace day yard.toml --year 2026 --json > year.json
"""
Date = Annotated[str | None, typer.Option(metavar="DATE", show_default=False, help="A day: 2026-06-21.")]
Year = Annotated[int | None, typer.Option(metavar="YEAR", show_default=False, help="A whole year: 2026.")]
Step = Annotated[
    float | None,
    typer.Option(metavar="MIN", show_default=False, help="Minutes of a step; 10 for a day, 60 for a year."),
]
Sky = Annotated[
    str | None,
    typer.Option(
        metavar="KIND",
        show_default=False,
        help="clear-sky, weather (the scene's file) or held (its dni_w_m2). Default: weather if named, else clear.",
    ),
]
Zone = Annotated[
    str | None,
    typer.Option(metavar="ZONE", show_default=False, help="+02:00 or Europe/Athens. Default: that of sun.time."),
]
Traces = Annotated[int | None, count_option("Most traces. Default: 52.", example="52")]
ResetDays = Annotated[
    int | None,
    typer.Option(metavar="D", show_default=False, help="A clock's declination is set again every D days."),
]
RaysEach = Annotated[int | None, count_option("Rays of each trace. Default: as [run], at most 65536.")]


def day_command(
    scene: SceneFile,
    date: Date = None,
    year: Year = None,
    step: Step = None,
    sky: Sky = None,
    zone: Zone = None,
    traces: Traces = None,
    reset_days: ResetDays = None,
    rays: RaysEach = None,
    seed: Seed = None,
    threads: Threads = None,
    out: Annotated[Path | None, folder_option("day or year")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Follow a dish; print and write what happens."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads)
        if (date is None) == (year is None):
            fault = Fault(COMMAND_LINE, "--date", "", "or --year must be given, one of them", "--date 2026-06-21")
            raise InputError(fault)
        from dishtrace.report.day import day_cautions, day_text
        from dishtrace.report.day_files import write_day
        from dishtrace.report.pictures.day import draw_day_pictures
        from dishtrace.study.day import day as follow_day
        from dishtrace.study.day import year as follow_year

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="day" if year is None else "year")
        options = {"step_min": step, "most_traces": traces, "sky": sky, "zone": zone, "reset_days": reset_days}
        options = {key: value for key, value in options.items() if value is not None}
        options |= {"rays": rays, "seed": seed, "threads": threads}
        options |= {"date": date} if year is None else {"year": year}
        found = watched(follow_day if year is None else follow_year, described, quiet=quiet, **options)
        hand_over(
            as_object=lambda: found.to_dict() | {"cautions": day_cautions(found)},
            text_for=lambda signs: day_text(found, signs),
            writers=[lambda place: write_day(found, place), lambda place: draw_day_pictures(found, place)],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=found.stopped,
        )
