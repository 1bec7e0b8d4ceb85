"""Picture of a filling over time: temperature, pressure, masses and flows, where the heat went, and the events."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps, rc_context
from matplotlib.figure import Figure

from dishtrace.report.numerals import significant
from dishtrace.report.pictures.style import COLOURS, SETTINGS, above, foot, saved

if TYPE_CHECKING:
    from dishtrace.heat.timeline import Timeline

PANEL_INCH = 1.45
WIDTH_INCH = 7.4
MARGIN_INCH = 0.75
LINES = ("-", "--", ":", "-.")
PANELS: tuple[tuple[str, tuple[tuple[str, str, float], ...]], ...] = (
    ("temperature (degC)", (("temperature_c", "", 1.0),)),
    ("pressure, absolute (bar)", (("pressure_pa", "", 1e-5),)),
    ("water (kg)", (("water_kg", "", 1.0),)),
    ("molten share", (("molten_share", "", 1.0),)),
    ("flow out (g/s)", (("steam_kg_s", "steam", 1e3), ("hot_water_kg_s", "water", 1e3))),
    ("speed (turns/min)", (("speed_rad_s", "", 30.0 / np.pi),)),
    (
        "energy (MJ)",
        (
            ("absorbed_j", "absorbed", 1e-6),
            ("stored_j", "stored", 1e-6),
            ("lost_j", "lost", 1e-6),
            ("carried_j", "carried off", 1e-6),
        ),
    ),
)
"""Label of each panel, and its columns with their names and factors; panels without a column, or with zeros alone, are
left out."""


def draw_timeline(timeline: Timeline, *, title: str) -> Figure:
    """All panels of a timeline below each other, with numbered events.

    Parameters
    ----------
    timeline : Timeline
    title : str
        Of the scene, on one line.
    """
    panels = [
        (label, kept) for label, lines in PANELS if (kept := [line for line in lines if _is_shown(timeline, line[0])])
    ]
    events = [event for event in timeline.events if np.isfinite(event.time_s.value)]
    below = MARGIN_INCH + 0.15 * len(events)
    height = below + 0.75 + PANEL_INCH * len(panels)
    figure = Figure(figsize=(WIDTH_INCH, height))
    minutes = timeline.columns["time_s"] / 60.0
    with rc_context(SETTINGS):
        for k, (label, lines) in enumerate(panels):
            bottom = below + PANEL_INCH * (len(panels) - 1 - k)
            axis = figure.add_axes((0.13, bottom / height, 0.82, (PANEL_INCH - 0.22) / height))
            _draw_panel(axis, timeline, minutes, lines)
            axis.set_ylabel(label, fontsize=8.0)
            axis.set_xlim(0.0, max(float(minutes[-1]), 1e-9))
            _draw_events(axis, events, is_top=k == 0)
            if k < len(panels) - 1:
                axis.tick_params(labelbottom=False)
            else:
                axis.set_xlabel("time (min)")
        above(figure, f'"{timeline.part}": {timeline.kind} over time', title)
        foot(figure, *(_told(number, event) for number, event in enumerate(events, 1)), f"Ends: {timeline.ended}.")
    return figure


def _is_shown(timeline: Timeline, name: str) -> bool:
    column = timeline.columns.get(name)
    return column is not None and bool(np.any(np.isfinite(column) & (column != 0.0)))


def _draw_panel(axis: Any, timeline: Timeline, minutes: np.ndarray, lines: list[tuple[str, str, float]]) -> None:
    """Lines of one panel, told apart by dashes too."""
    colours = colormaps[COLOURS](np.linspace(0.0, 0.8, max(len(lines), 2)))
    for k, (name, label, factor) in enumerate(lines):
        axis.plot(
            minutes, factor * timeline.columns[name], LINES[k], color=colours[k], linewidth=1.3, label=label or None
        )
    if len(lines) > 1:
        axis.legend(fontsize=7.0, frameon=False, loc="upper left", ncols=len(lines))
    top = max(float(np.nanmax(factor * timeline.columns[name])) for name, _, factor in lines)
    axis.set_ylim(0.0 if lines[0][0] != "temperature_c" else None, 1.15 * top if top > 0.0 else None)


def _draw_events(axis: Any, events: list[Any], *, is_top: bool) -> None:
    for number, event in enumerate(events, 1):
        time = event.time_s.value / 60.0
        axis.axvline(time, color="0.55", linewidth=0.6, linestyle=":")
        if event.interval_s is not None:
            axis.axvspan(event.interval_s[0] / 60.0, event.interval_s[1] / 60.0, color="0.5", alpha=0.12, linewidth=0.0)
        if is_top:
            place = (time, 1.0 + 0.1 * ((number - 1) % 2))
            axis.annotate(
                str(number), place, xycoords=("data", "axes fraction"), ha="center", va="bottom", fontsize=7.0
            )


def _told(number: int, event: Any) -> str:
    """One line of the legend of events."""
    span = ""
    if event.interval_s is not None:
        low, high = (significant(value / 60.0, 3) for value in event.interval_s)
        span = f" ({low} to {high})"
    return f"{number}: {significant(event.time_s.value / 60.0, 3)} min{span}  {event.text}"


def write_timeline_picture(timeline: Timeline, path: Path, *, title: str, version: str) -> str:
    """Write the picture of a timeline; gives its name."""
    return saved(draw_timeline(timeline, title=title), version, path)
