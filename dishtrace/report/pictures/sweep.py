"""Pictures of a sweep: figures over the keys that vary, and maps where there are two on a grid."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import colormaps, rc_context
from matplotlib.figure import Figure

from dishtrace.report.pictures.style import COLOURS, SETTINGS, above, foot, printable, saved
from dishtrace.report.sweep import shown_figures
from dishtrace.scene.quantity import plain_number
from dishtrace.study.sweep.figures import factor_of, label_of

if TYPE_CHECKING:
    from dishtrace.study.sweep import Sweep

MOST_LINES = 9
DASHES = ("-", "--", "-.", ":")
MARKERS = ("o", "s", "^", "v", "D")
"""Lines that lie on each other stay apart by dashes and marks."""
MOST_PANELS_ACROSS = 4


def write_sweep_pictures(sweep: Sweep, folder: Path, wanted: Sequence[str] = ()) -> list[str]:
    """Write sweep.png into a folder that exists; gives its name."""
    if not sweep.sound:
        return []
    return [saved(draw_sweep(sweep, shown_figures(sweep, wanted)), sweep.version, folder / "sweep.png")]


def draw_sweep(sweep: Sweep, figures: Sequence[str]) -> Figure:
    """A row a figure: on a grid lines over the first key, one a value of the second; else dots over each key."""
    with rc_context(SETTINGS):
        is_lines = sweep.design.method == "grid" and len(sweep.keys) <= 2
        keys = list(sweep.keys[:1] if is_lines else sweep.keys[:MOST_PANELS_ACROSS])
        size = (max(6.4, 2.9 * len(keys)), 0.9 + 2.4 * len(figures))
        figure = Figure(figsize=size, layout="constrained")
        axes = figure.subplots(len(figures), len(keys), squeeze=False, sharey="row")
        for row, name in zip(axes, figures, strict=True):
            for axis, key in zip(row, keys, strict=True):
                if is_lines:
                    _draw_lines(axis, sweep, name)
                else:
                    _draw_dots(axis, sweep, name, key)
                axis.set_xlabel(printable(key), fontsize=8)
            row[0].set_ylabel(printable(label_of(name)), fontsize=8)
        stopped = ", stopped early" if sweep.stopped else ""
        how = f": {len(sweep.points)} points, {sweep.rays} rays each, seed {sweep.seed}{stopped}"
        above(figure, "Sweep", sweep.scene.title_line, how)
        foot(figure, "Bars: one standard error of the tracing; differences between points are sharper.")
    return figure


def _column(sweep: Sweep, name: str) -> tuple[list[Any], np.ndarray, np.ndarray]:
    """Points that have a figure, its values and errors in the unit shown."""
    points = [point for point in sweep.sound if name in point.figures]
    factor = factor_of(name)
    values = np.array([factor * point.figures[name].value for point in points])
    errors = np.array(
        [np.nan if point.figures[name].se is None else factor * point.figures[name].se for point in points]
    )
    return points, values, errors


def _places(column: Sequence[Any], axis: Any) -> np.ndarray:
    """Numbers to draw at; texts at whole numbers with their names."""
    if all(plain_number(value) is not None for value in column):
        return np.array(column, dtype=np.float64)
    names = list(dict.fromkeys(str(value) for value in column))
    axis.set_xticks(range(len(names)), [printable(name) for name in names], fontsize=7)
    return np.array([float(names.index(str(value))) for value in column])


def _draw_lines(axis: Any, sweep: Sweep, name: str) -> None:
    points, values, errors = _column(sweep, name)
    places = _places([point.values[sweep.keys[0]] for point in points], axis)
    if len(sweep.keys) == 1:
        axis.errorbar(places, values, errors, color="black", marker="o", markersize=3.5, linewidth=1.2)
        return
    lines = list(dict.fromkeys(point.values[sweep.keys[1]] for point in points))
    for number, line in enumerate(lines[:: -(-len(lines) // MOST_LINES)]):
        mine = np.array([point.values[sweep.keys[1]] == line for point in points])
        colour = colormaps[COLOURS](0.9 * lines.index(line) / max(len(lines) - 1, 1))
        text = f"{line:.4g}" if isinstance(line, float) else str(line)
        axis.errorbar(
            places[mine], values[mine], errors[mine], color=colour, linestyle=DASHES[number % len(DASHES)],
            marker=MARKERS[number % len(MARKERS)], markersize=4, fillstyle="none", linewidth=1.2, label=printable(text),
        )  # fmt: skip
    axis.legend(frameon=False, fontsize=7, title=printable(sweep.keys[1]), title_fontsize=7)


def _draw_dots(axis: Any, sweep: Sweep, name: str, key: str) -> None:
    points, values, errors = _column(sweep, name)
    places = _places([point.values[key] for point in points], axis)
    axis.errorbar(places, values, errors, fmt="o", color="0.25", markersize=2.5, elinewidth=0.6)
