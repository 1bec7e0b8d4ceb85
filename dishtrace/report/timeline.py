"""A filling over time as text, as a table for spreadsheets, and what its picture shows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.csv_rows import write_table
from dishtrace.report.numerals import PLAIN, Signs, significant, written
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.heat.timeline import Event, Timeline

MOST_DIGITS = 6
FIGURES = {
    "highest_pressure_pa": ("highest pressure, absolute", 1e-5, "bar"),
    "highest_temperature_c": ("highest temperature", 1.0, "degC"),
    "final_temperature_c": ("temperature at the end", 1.0, "degC"),
    "largest_steam_kg_s": ("largest steam flow", 3600.0, "kg/h"),
    "reached_pressure_pa": ("pressure that the openings let it reach, if it lasted", 1e-5, "bar"),
    "pressure_limit_pa": ("pressure limit at the temperature that water boils at under it", 1e-5, "bar"),
    "relief_diameter_m": ("smallest opening for all power at that limit, diameter", 1e3, "mm"),
    "relief_steam_kg_s": ("steam it would have to pass", 3600.0, "kg/h"),
    "shut_limit_s": ("with the outlet shut from the start: limit reached after", 1.0 / 60.0, "min"),
    "shut_limit_pa": ("with the outlet shut: pressure then", 1e-5, "bar"),
    "largest_thrust_n": ("largest thrust of all jets", 1.0, "N"),
    "largest_torque_nm": ("largest torque of the jets", 1.0, "N m"),
    "turbine_power_w": ("power of the turbine at the largest steam flow", 1.0, "W"),
    "highest_speed_rad_s": ("highest speed", 30.0 / np.pi, "turns/min"),
    "best_speed_rad_s": ("speed of the greatest shaft power", 30.0 / np.pi, "turns/min"),
    "shaft_power_w": ("shaft power at that speed", 1.0, "W"),
    "free_speed_rad_s": ("speed without load", 30.0 / np.pi, "turns/min"),
    "water_at_wall_m": ("the turning water, at least half of it left, wets the wall up to", 1e3, "mm"),
    "dry_floor_radius_m": ("and leaves the floor dry within a radius of", 1e3, "mm"),
    "largest_stress_pa": ("largest stress in the shell", 1e-6, "N/mm2"),
    "allowed_stress_pa": ("stress allowed at that temperature, seam and safety factor in it", 1e-6, "N/mm2"),
    "flash_share": ("share of the water thrown out that turns to steam, at most", 100.0, "%"),
    "outlet_c": ("steady outlet temperature", 1.0, "degC"),
    "useful_w": ("useful power", 1.0, "W"),
    "efficiency": ("useful power over light absorbed", 100.0, "%"),
    "loss_w": ("losses then", 1.0, "W"),
    "largest_loss_w": ("largest loss", 1.0, "W"),
    "boiling_point_c": ("boiling point in this air", 1.0, "degC"),
    "loss_at_boiling_w": ("the pot's loss when the water boils", 1.0, "W"),
    "loss_coefficient_w_k": ("the same over the difference from the air", 1.0, "W/K"),
    "evaporation_5k_below_boiling_kg_s": ("evaporation 5 K below boiling", 3600.0, "kg/h"),
    "cooking_power_w": ("standardised cooking power at 50 K above the air", 1.0, "W"),
    "cooking_test_water_kg": ("water of the cooking-power test", 1.0, "kg"),
}
"""Name of a figure to its text, the factor to the unit shown, and that unit; figures that are not here stand in the
JSON alone."""


def timeline_lines(timeline: Timeline, signs: Signs = PLAIN) -> list[str]:
    """A timeline for the terminal: events, figures, notes.

    Parameters
    ----------
    timeline : Timeline
    signs : Signs
        What the terminal can show.
    """
    lines = [f'"{timeline.part}": {timeline.kind} over time   ({timeline.ended})']
    lines += [f"  {event_line(event, signs)}" for event in timeline.events]
    for name, (text, factor, unit) in FIGURES.items():
        value = timeline.figures.get(name)
        if value is not None and value != 0.0:
            lines.append(f"  {text}: {_figure(timeline, name, factor, unit, signs)}")
    return [*lines, *(f"  {note}" for note in timeline.notes)]


def event_line(event: Event, signs: Signs = PLAIN) -> str:
    """One event: "12.37 +- 0.06 min (11.2 to 13.9)  the water boils   100.0 degC, 1.04 bar"."""
    time = written(event.time_s.scaled(1.0 / 60.0), signs, "min")
    span = ""
    if event.interval_s is not None:
        low, high = (significant(value / 60.0, 3) for value in event.interval_s)
        span = f" ({low} to {high})"
    pressure = "" if event.pressure_pa is None else f", {significant(event.pressure_pa / 1e5, 3)} bar"
    return f"{time}{span}  {event.text}   {event.temperature_c:.0f} degC{pressure}"


def _figure(timeline: Timeline, name: str, factor: float, unit: str, signs: Signs) -> str:
    error = timeline.figures_se.get(name)
    estimate = Estimate(timeline.figures[name] * factor, None if error is None else abs(error * factor))
    told = written(estimate, signs, unit)
    if name in timeline.figures_interval:
        low, high = (significant(value * factor, 3) for value in timeline.figures_interval[name])
        told += f" ({low} to {high})"
    return told


def write_timeline(timeline: Timeline, path: Path) -> str:
    """Write the columns as a csv file; gives its name."""
    rows = zip(*timeline.columns.values(), strict=True)
    texts = ([f"{value:.{MOST_DIGITS}g}" if np.isfinite(value) else "" for value in row] for row in rows)
    return write_table(path, timeline.columns, texts)


def write_events(timelines: list[Timeline], path: Path) -> str:
    """Write the events of all timelines as one csv file; gives its name."""
    columns = ("part", "event", "time_s", "se_s", "low_s", "high_s", "temperature_c", "pressure_pa", "text")
    rows = (_cells(timeline.part, event) for timeline in timelines for event in timeline.events)
    return write_table(path, columns, rows)


def _cells(part: str, event: Event) -> tuple[str | float | None, ...]:
    low, high = event.interval_s or (None, None)
    time = (event.time_s.value, event.time_s.se, low, high)
    return (part, event.key, *time, event.temperature_c, event.pressure_pa, event.text)
