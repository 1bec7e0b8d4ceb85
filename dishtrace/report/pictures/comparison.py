"""The picture of a comparison: the spots of all scenes at one scale and in one range of colours."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.cm import ScalarMappable
from matplotlib.colors import LogNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from dishtrace.report.comparison import SpotPanel, SpotRow, spot_row
from dishtrace.report.layout import rows_of_drawings
from dishtrace.report.pictures.style import COLOURS, DARK_HALO, NO_LIGHT, SETTINGS, foot, printable

if TYPE_CHECKING:
    from dishtrace.study.comparison import Comparison

TITLE_ROOM = 0.55
"""Above each drawing, for three lines. [inch]"""
LEAST_LABELLED = 0.25
"""Spots whose R90 is a smaller share of the drawing carry no numbers on their contours. [–]"""


def draw_comparison(comparison: Comparison) -> Figure:
    """Spots at the best focus side by side, with contours at the same levels and the circle that holds 90 %."""
    row = spot_row(comparison)
    layout = rows_of_drawings(np.full((len(row.panels), 2), 2.0 * row.half_width), above=TITLE_ROOM)
    scale = LogNorm(row.lowest, row.highest) if row.lowest > 0.0 else Normalize(0.0, row.highest)
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        for panel, box in zip(row.panels, layout.boxes, strict=True):
            axis = figure.add_axes(box)
            half = row.half_width
            _draw_spot(axis, panel, scale, row)
            axis.set(xlim=(-half, half), ylim=(-half, half), xlabel="x (mm)", ylabel="y (mm)", aspect="equal")
            axis.set_title(printable(f"{panel.title}\n{panel.told}"), fontsize=8.0, parse_math=False)
            axis.tick_params(labelsize=7.5)
        bar = figure.colorbar(
            ScalarMappable(scale, COLOURS),
            cax=figure.add_axes(layout.bar),
            extend="min" if row.lowest > 0.0 else "neither",
        )
        bar.ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        bar.set_label("mirror light (kW/m²)")
        stopped = ", stopped early" if comparison.stopped else ""
        figure.suptitle(
            "Spots at their best focus, at one scale and in one range of colours\n"
            f"{comparison.rays} rays each, seed {comparison.seed}, same random points{stopped}",
            fontsize=10.5,
            parse_math=False,
        )
        foot(
            figure,
            "Dashed circle: R90, holds 90 % of the power. White contours, the same in all drawings: "
            f"{', '.join(f'{level:g}' for level in row.levels)} kW/m².",
            "Seen from +z of the dish frame; receivers let the light through. "
            "Hatched: no light seen, or standard error above 50 %.",
        )
    return figure


def _draw_spot(axis: Any, panel: SpotPanel, scale: Normalize, row: SpotRow) -> None:
    """One spot with contours and circle."""
    screen = panel.screen
    half = 1000.0 * screen.half_width_m
    axis.patch.set(**NO_LIGHT)
    shown = np.ma.masked_where(~panel.known, panel.flux)
    axis.imshow(shown, origin="lower", extent=(-half, half, -half, half), cmap=COLOURS, norm=scale)
    levels, radius = row.levels, 1000.0 * screen.radius_m["90"].value
    inside = levels[(levels > panel.smooth.min()) & (levels < panel.smooth.max())]
    if len(inside):
        middles = (np.arange(len(panel.flux)) + 0.5) / len(panel.flux) * 2.0 * half - half
        lines = axis.contour(middles, middles, panel.smooth, levels=inside, colors="white", linewidths=0.8)
        for text in axis.clabel(lines, fmt="%g", fontsize=7.0) if radius > LEAST_LABELLED * row.half_width else ():
            text.set_path_effects(DARK_HALO)
    x, y = (1000.0 * value.value for value in screen.centroid_m)
    if np.isfinite(radius):
        for colour, width, style in (("white", 1.8, "-"), ("black", 1.0, "--")):
            axis.add_patch(Circle((x, y), radius, fill=False, linestyle=style, linewidth=width, edgecolor=colour))
