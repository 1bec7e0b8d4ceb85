"""Flux maps of parts: flat drawings of their surfaces, or views of a mesh."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PolyCollection
from matplotlib.colors import LogNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from dishtrace.report import fluxmap
from dishtrace.report.layout import rows_of_drawings
from dishtrace.report.numerals import FINE, significant, written
from dishtrace.report.pictures.style import (
    COLOURS,
    DARK_HALO,
    HALO,
    NO_LIGHT,
    SETTINGS,
    foot,
    head,
    noise_line,
)
from dishtrace.report.sideview import up_direction

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult, Result


def draw_flux(result: Result, part: PartResult) -> Figure:
    """Flux map of a part that can be mapped: flat drawings of its surfaces, or views of a mesh."""
    drawings, dark = fluxmap.panels(part, up_direction(result))
    low, high = (value / 1000.0 for value in fluxmap.scale_of(drawings))
    scale = LogNorm(low, high) if low > 0.0 else Normalize(0.0, high)
    noise = fluxmap.typical_error(drawings)
    layout = rows_of_drawings(fluxmap.drawn_spans(drawings))
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        for panel, box in zip(drawings, layout.boxes, strict=True):
            _draw_panel(figure.add_axes(box), panel, scale, noise)
        below = any(bool(np.any(panel.flux[panel.is_known] < 1000.0 * low)) for panel in drawings)
        bar = figure.colorbar(
            ScalarMappable(scale, COLOURS), cax=figure.add_axes(layout.bar), extend="min" if below else "neither"
        )
        bar.ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        bar.set_label("incident mirror light,\nwithout direct sun (kW/m²)")
        peak = written(part.peak_w_m2.scaled(1e-3), FINE)
        head(figure, result, f"Flux on “{part.name}” ({part.role})")
        foot(
            figure,
            f"× peak {peak} kW/m² over {1e4 * part.peak_patch_m2:.2g} cm². {noise_line(noise, 'triangle')}",
            "Blank (hatched, grey): no light seen, or standard error above 50 %."
            + (
                " Backs are drawn as seen through the front."
                if any("back" in panel.title for panel in drawings)
                else ""
            ),
            f"Too little light for a drawing: {', '.join(dark)}." if dark else "",
        )
    return figure


def _draw_panel(axis: Any, panel: fluxmap.Panel, scale: Normalize, noise: float) -> None:
    """One drawing of a flux map on its axes."""
    known = panel.is_known
    if panel.is_view:
        _draw_body(axis, panel, scale)
    else:
        dark = np.concatenate([panel.uv[~known], panel.uv[~known][:, :1]], axis=1)
        if len(dark):
            axis.add_artist(PathPatch(Outline.make_compound_path_from_polys(dark), **NO_LIGHT))
        colours = {"array": panel.flux[known] / 1000.0, "norm": scale, "cmap": COLOURS}
        shown = PolyCollection(panel.uv[known], edgecolor="face", linewidth=0.4, **colours)
        axis.add_collection(shown, autolim=False)
    has_contours = not panel.is_view and noise < fluxmap.NOISE_FOR_CONTOURS and _draw_contours(axis, panel, scale)
    if not has_contours:
        _print_numbers(axis, panel, scale)
    if panel.peak is not None:
        for colour, size, width in (("white", 8, 2.8), ("black", 7, 1.3)):
            axis.plot(*panel.peak, marker="x", color=colour, markersize=size, markeredgewidth=width, zorder=7)
    (left, bottom), (right, top) = panel.window
    axis.set(xlim=(left, right), ylim=(bottom, top), xlabel=panel.labels[0], ylabel=panel.labels[1])
    axis.set_title(panel.title, fontsize=8.5, y=1.0)
    axis.tick_params(labelsize=7.5)
    axis.locator_params(axis="x", nbins=max(2, int(axis.bbox.width / axis.figure.dpi / 0.6)))


def _draw_body(axis: Any, panel: fluxmap.Panel, scale: Normalize) -> None:
    """A body, its triangles from back to front; those without light in light greys."""
    known = panel.is_known
    colours = ScalarMappable(scale, COLOURS).to_rgba(panel.flux / 1000.0)
    colours[~known, :3] = (0.75 + 0.2 * panel.shade[~known])[:, np.newaxis]
    colours[:, 3] = 1.0
    triangles = PolyCollection(panel.uv, facecolor=colours, edgecolor=colours, linewidth=0.3)
    axis.add_collection(triangles, autolim=False)


def _draw_contours(axis: Any, panel: fluxmap.Panel, scale: Normalize) -> bool:
    """Labelled contour lines on a flat drawing; False when fewer than two would cross it."""
    corners, triangles, values = fluxmap.corner_values(panel)
    values = values / 1000.0
    levels = fluxmap.round_levels(scale.vmin, scale.vmax)
    levels = levels[(levels < values.max()) & (levels > values.min())]
    if len(levels) < 2:
        return False
    lines = axis.tricontour(*corners.T, triangles, values, levels=levels, colors="white", linewidths=0.8)
    for text in axis.clabel(lines, fmt="%g", fontsize=7):
        text.set_path_effects(DARK_HALO)
    return True


def _print_numbers(axis: Any, panel: fluxmap.Panel, scale: Normalize) -> None:
    """Mean fluxes on a coarse grid of places."""
    least = max(1000.0 * scale.vmin, 5.0 * scale.vmax)
    for x, y, flux in fluxmap.numbers(panel):
        if flux > least:
            text = significant(flux / 1000.0, 2)
            axis.text(x, y, text, ha="center", va="center", fontsize=7, path_effects=HALO, clip_on=True)
