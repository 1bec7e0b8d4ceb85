"""Pictures of a day or year: power and spot over the day; power over hour and date, energy by month."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps, rc_context
from matplotlib.figure import Figure

from dishtrace.report.day import MONTHS, traces_text
from dishtrace.report.day_files import named_timelines
from dishtrace.report.numerals import FINE, written
from dishtrace.report.pictures.style import COLOURS, SETTINGS, above, foot, saved
from dishtrace.report.pictures.timeline import write_timeline_picture

if TYPE_CHECKING:
    from dishtrace.study.day import Day

LINES = (("sunlight_w", "sunlight on the dish", ":"), ("receiver_w", "receiver", "-"), ("stand_w", "stand", "--"))


def draw_day_pictures(found: Day, folder: Path) -> list[str]:
    """Draw all pictures of a day or year into a folder that exists; gives their names."""
    figure = draw_day(found) if found.span == "day" else draw_year(found)
    written = [saved(figure, found.version, folder / f"{found.span}.png")]
    for timeline, name in named_timelines(found):
        path = folder / f"timeline-{name}.png"
        written.append(write_timeline_picture(timeline, path, title=found.scene.title_line, version=found.version))
    return written


def _head(figure: Figure, found: Day, what: str) -> None:
    above(figure, what, found.scene.title_line, f": {traces_text(found)} of {found.rays} rays, seed {found.seed}")


def _hours(found: Day) -> np.ndarray:
    return np.array([time.hour + time.minute / 60.0 + time.second / 3600.0 for time in found.table.path.time])


def draw_day(found: Day) -> Figure:
    """Power with its errors, irradiance and shade, and where the spot's middle is, over the hours of a day."""
    hours, table = _hours(found), found.table
    colours = colormaps[COLOURS](np.linspace(0.0, 0.8, 3))
    with rc_context(SETTINGS):
        figure = Figure(figsize=(7.2, 7.2), layout="constrained")
        power, sky, spot = figure.subplots(3, 1, sharex=True, height_ratios=(3, 1.6, 1.6))
        for (name, label, dash), colour in zip(LINES, colours, strict=True):
            value, error = table.columns[name]
            power.plot(hours, value, dash, color=colour, linewidth=1.4, label=label)
            spread = 2.0 * np.nan_to_num(error)
            power.fill_between(hours, value - spread, value + spread, color=colour, alpha=0.25, linewidth=0.0)
        power.set(ylabel="power (W)", ylim=(0.0, None))
        power.legend(frameon=False, fontsize=8)
        _draw_sky(sky, hours, found)
        for name, label, dash, colour in (("spot_x_m", "x", "-", colours[0]), ("spot_y_m", "y", "--", colours[2])):
            value, error = table.columns[name]
            lit = np.isfinite(value) & (table.reaching_w_m2 > 0.0)
            spread = 2.0 * np.nan_to_num(error[lit])
            spot.errorbar(
                hours[lit], 1e3 * value[lit], 1e3 * spread, fmt=dash, color=colour, linewidth=1.2, label=label
            )
        low, high = spot.get_ylim()
        spot.set_ylim(min(low, -1.0), max(high, 1.0))
        spot.set(xlabel=f"hour ({found.zone})", ylabel="middle of spot (mm)")
        spot.legend(frameon=False, fontsize=8, ncols=2)
        _head(figure, found, f"Power and spot on {found.first:%Y-%m-%d}")
        energy = found.energy_kwh["receiver"]
        foot(figure, f"Receiver {written(energy, FINE, 'kWh')}. Bands and bars: two standard errors.")
    return figure


def _draw_sky(axis: Any, hours: np.ndarray, found: Day) -> None:
    table = found.table
    axis.plot(hours, table.facts["dni_w_m2"], color="0.3", linewidth=1.2, label="direct irradiance")
    if not np.array_equal(table.facts["dni_w_m2"], table.reaching_w_m2):
        axis.plot(hours, table.reaching_w_m2, "--", color="0.3", linewidth=1.2, label="after horizon and obstacles")
    axis.set(ylabel="irradiance (W/m²)", ylim=(0.0, None))
    axis.legend(frameon=False, fontsize=8)


def draw_year(found: Day) -> Figure:
    """Power of the receivers over hour and date, and the energy of each month with its error."""
    with rc_context(SETTINGS):
        figure = Figure(figsize=(7.2, 6.4), layout="constrained")
        chart, bars = figure.subplots(2, 1, height_ratios=(2, 1.4))
        _draw_chart(figure, chart, found)
        months = list(found.months)
        values = [found.months[month]["receiver"].value for month in months]
        errors = [2.0 * (found.months[month]["receiver"].se or 0.0) for month in months]
        bars.bar(months, values, yerr=errors, color="0.8", edgecolor="0.3", capsize=3)
        for month, value in zip(months, values, strict=True):
            bars.annotate(
                f"{value:.3g}", (month, 0.0), xytext=(0, 4), textcoords="offset points", ha="center", fontsize=8
            )
        bars.set(ylabel="receiver (kWh)", ylim=(0.0, None))
        bars.set_xticks(months, [MONTHS[month - 1] for month in months])
        _head(figure, found, f"Receiver through {found.first:%Y}")
        foot(figure, "Bars: two standard errors of tracing and of what lies between traced directions.")
    return figure


def _draw_chart(figure: Figure, axis: Any, found: Day) -> None:
    path = found.table.path
    step = path.step_s / 3600.0
    grid = np.full((round(24.0 / step), found.days), np.nan)
    for start, power in zip(path.start, found.table.columns["receiver_w"][0], strict=True):
        row = int((start.hour + start.minute / 60.0) / step) % grid.shape[0]
        grid[row, min((start.date() - found.first).days, found.days - 1)] = power
    picture = axis.imshow(
        grid,
        origin="lower",
        aspect="auto",
        cmap=COLOURS,
        interpolation="nearest",
        extent=(0.5, found.days + 0.5, 0.0, 24.0),
        vmin=0.0,
    )
    axis.set(xlabel="day of the year", ylabel=f"hour ({found.zone})", yticks=range(0, 25, 4))
    figure.colorbar(picture, ax=axis, label="receiver (W)")
