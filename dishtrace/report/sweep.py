"""A sweep for people: sensitivities and a table in the terminal, files for other programs."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dishtrace.report.cautions import CODES
from dishtrace.report.columns import fitting
from dishtrace.report.csv_rows import write_parquet, write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.numerals import PLAIN, Signs, written
from dishtrace.report.tables import WIDTH, Heading, bullets, grid, joined
from dishtrace.study.sweep.figures import factor_of, label_of

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.study.sweep import Sweep

SHOWN_POINTS = 24
SHOWN = ("first_hit_receiver_w", "intercept_factor", "first_hit_stand_w", "r90_m", "receiver_peak_w_m2")
"""Figures that are told and drawn when the user names none."""
MOST_SHOWN = 4
ROUNDING = 1e-9
"""Relative effect that is only rounding. [–]"""


def shown_figures(sweep: Sweep, wanted: Sequence[str]) -> list[str]:
    """Figures to tell and draw: those wanted, else the usual ones that vary."""
    there = sweep.figure_keys()
    if wanted:
        return [key for key in wanted if key in there]
    usual = [key for key in SHOWN if key in there]
    varying = [key for key in usual if len({point.figures[key].value for point in sweep.sound}) > 1]
    return (varying or usual)[:MOST_SHOWN]


def sweep_text(sweep: Sweep, wanted: Sequence[str] = (), signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a sweep, save the list of files: lines of at most 80 columns."""
    figures = shown_figures(sweep, wanted)
    sections = [
        _head(sweep),
        *(_sensitivity(sweep, key, signs) for key in figures),
        _table(sweep, figures, signs),
        bullets("Notes", sweep.notes()),
        bullets("Cautions", [CODES]),
    ]
    return joined(section for section in sections if section)


def _head(sweep: Sweep) -> list[str]:
    title = sweep.scene.title_line
    lines: list[str] = [Heading(f"Sweep: {title}"[:WIDTH])]
    if sweep.stopped:
        lines.append("STOPPED EARLY: the same command goes on where this stopped.")
    ranges = ", ".join(range_of(one) for one in sweep.varied)
    about = (
        f"{len(sweep.points)} points ({sweep.design.method}), {sweep.rays} rays each, seed {sweep.seed}, same random "
        f"points; {ranges}"
    )
    return lines + textwrap.wrap(about, WIDTH, break_on_hyphens=False)


def range_of(one: Any) -> str:
    """A key with its range or values."""
    if one.values:
        return f"{one.key} = {', '.join(str(value) for value in one.values)}"
    return f"{one.key} {one.low:g} to {one.high:g}"


def _sensitivity(sweep: Sweep, key: str, signs: Signs) -> list[str]:
    """Which key moves a figure most."""
    found = sweep.effects(key)
    indices = {one.key: one for one in sweep.indices(key)}
    if not found and not indices:
        return []
    names = [one.key for one in found] or list(indices)
    effects = {one.key: one for one in found}
    columns: dict[str, list[str]] = {}
    if found:
        largest = max(abs(point.figures[key].value) for point in sweep.sound if key in point.figures)
        columns["moves it by"] = [_reach(effects[name], key, largest, signs) for name in names]
        columns["alone %"] = ["-" if effects[name].share is None else _percent(effects[name].share) for name in names]
    if indices:
        columns["first index"] = [
            _index(indices[name].first, indices[name].first_low, indices[name].first_high) for name in names
        ]
        columns["total index"] = [
            _index(indices[name].total, indices[name].total_low, indices[name].total_high) for name in names
        ]
    return [Heading(f"What moves: {label_of(key)}"), *grid(names, fitting(names, columns))]


def _reach(effect: Any, key: str, largest: float, signs: Signs) -> str:
    """By how much a key moves a figure; what is only rounding beside the largest value is 0."""
    if effect.reach.value <= ROUNDING * largest:
        return "0"
    sign = "" if effect.is_rising is None else "+" if effect.is_rising else "-"
    return f"{sign}{written(effect.reach.scaled(factor_of(key)), signs)}".replace("(error unknown)", "(?)")


def _percent(share: float) -> str:
    return f"{abs(100.0 * share) if abs(share) < 5e-4 else 100.0 * share:.1f}"


def _index(value: float, low: float, high: float) -> str:
    return f"{value:.2f} ({low:.2f}..{high:.2f})"


def _table(sweep: Sweep, figures: Sequence[str], signs: Signs) -> list[str]:
    """Some of the points; all stand in the file."""
    points = sweep.sound
    step = max(-(-len(points) // SHOWN_POINTS), 1)
    shown = points[::step]
    labels = ["  ".join(_short(point.values[key]) for key in sweep.keys) for point in shown]
    columns = {}
    for key in figures:
        cells = [point.figures[key].scaled(factor_of(key)) if key in point.figures else None for point in shown]
        columns[label_of(key)] = ["-" if one is None else written(one, signs) for one in cells]
    columns = fitting(labels, columns)
    title = f"Points: {', '.join(sweep.keys)}"
    lines = textwrap.wrap(title if step == 1 else f"{title} (one in {step})", WIDTH, break_on_hyphens=False)
    return [*(Heading(line) for line in lines), *grid(labels, columns)]


def _short(value: Any) -> str:
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def write_sweep(sweep: Sweep, folder: Path) -> list[str]:
    """Write sweep.json, sweep.csv and, where pyarrow is installed, sweep.parquet; gives their names."""
    names = [write_object(sweep.to_dict(), folder / "sweep.json")]
    title = sweep.scene.title_line
    comments = [
        f"dishtrace {sweep.version}, {sweep.rays} rays each, seed {sweep.seed}, same random points",
        f"scene {title!r}, {sweep.design.method}; a row a point; ..._se: standard error of the tracing",
    ]
    names.append(write_rows(sweep.rows(), folder / "sweep.csv", comments))
    about = {"dishtrace": json.dumps({"version": sweep.version, "rays": sweep.rays, "seed": sweep.seed})}
    parquet = write_parquet(sweep.columns(), folder / "sweep.parquet", about)
    return [*names, parquet] if parquet else names
