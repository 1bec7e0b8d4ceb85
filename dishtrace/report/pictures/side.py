"""The side view: the scene to scale with the paths of a few dozen rays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure

from dishtrace.report.layout import one_drawing
from dishtrace.report.pictures.style import HALO, SETTINGS, above, foot, printable
from dishtrace.report.sideview import SideView, side_view

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch


def draw_side_view(result: Result | Sketch) -> Figure:
    """The scene from the side, to scale, with the paths of a few dozen rays."""
    view = side_view(result)
    left, right, bottom, top = view.limits
    scale = min(7.2 / (right - left), 8.0 / (top - bottom))
    layout = one_drawing((max(scale * (right - left), 3.5), scale * (top - bottom)), has_bar=False)
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        axis = figure.add_axes(layout.boxes[0])
        axis.add_collection(
            LineCollection(view.rays, color="#e08214", linewidth=0.6, alpha=0.6, zorder=1), autolim=False
        )
        axis.plot(*view.rim.T, color="0.6", linewidth=0.8, zorder=2)
        for line in view.mirror:
            axis.plot(*line.T, color="black", linewidth=2.4, zorder=3, solid_capstyle="butt")
        for part in view.parts:
            grey = {"receiver": "0.25", "stand": "0.55"}.get(part.role, "0.75")
            silhouette = PolyCollection(part.uv, facecolor=grey, edgecolor=grey, linewidth=1.2, zorder=4)
            axis.add_collection(silhouette, autolim=False)
        _name_parts(axis, view)
        _draw_marks(axis, view)
        axis.set(
            xlim=(left, right),
            ylim=(bottom, top),
            aspect="equal",
            xlabel=view.labels[0],
            ylabel=view.labels[1],
        )
        axis.grid(color="0.93", linewidth=0.6, zorder=0)
        axis.set_axisbelow(True)
        above(figure, "Side view, to scale", result.scene.title_line)
        foot(
            figure,
            f"Rays and parts are {view.seen_from}; the mirror is cut through its middle (thick line; thin grey: its "
            "rim).",
            f"{len(view.rays)} rays of the run, from the sun to where they end.",
        )
    return figure


def _name_parts(axis: Any, view: SideView) -> None:
    """Names of the parts at the borders, from the top in the order of their height, with lines to them."""
    left, right, bottom, top = view.limits
    middles = {part.name: 0.5 * (part.uv.min(axis=(0, 1)) + part.uv.max(axis=(0, 1))) for part in view.parts}
    divide = float(np.median([place[0] for place in middles.values()])) if middles else 0.0
    rows = {"left": 0, "right": 0}
    for part in sorted(view.parts, key=lambda each: -middles[each.name][1]):
        side = "left" if middles[part.name][0] < divide else "right"
        inset = 0.01 * (right - left)
        place = (left + inset if side == "left" else right - inset, top - (0.03 + 0.045 * rows[side]) * (top - bottom))
        rows[side] += 1
        triangles = part.uv.mean(axis=1)
        nearest = triangles[np.argmin(np.linalg.norm(triangles - middles[part.name], axis=1))]
        axis.annotate(
            printable(f"{part.name} ({part.role})"),
            nearest,
            xytext=place,
            ha=side,
            va="top",
            fontsize=8,
            parse_math=False,
            path_effects=HALO,
            zorder=6,
            arrowprops={"arrowstyle": "-", "linewidth": 0.6, "color": "0.2"},
        )


def _draw_marks(axis: Any, view: SideView) -> None:
    """Focus, vertex and ground origin as points, and the directions of the frames as arrows."""
    left, right, bottom, top = view.limits
    length = 0.11 * max(right - left, top - bottom)
    for name, place in view.marks.items():
        shift = (7, 4) if "focus" in name else (7, -11) if "vertex" in name else (7, 7)
        axis.plot(*place, marker="o", color="white", markeredgecolor="black", markersize=4.5, zorder=7)
        axis.annotate(name, place, xytext=shift, textcoords="offset points", fontsize=7.5, path_effects=HALO, zorder=7)
    for name in ("y", "z"):
        _arrow(axis, view.vertex, view.arrows[name] * length, f"{name} (dish)")
    corner = np.array([left + 0.13 * (right - left), bottom + 0.14 * (top - bottom)])
    _arrow(axis, corner, view.arrows["sun"] * length, "to the sun")


def _arrow(axis: Any, start: np.ndarray, vector: np.ndarray, label: str) -> None:
    end = start + vector
    axis.annotate("", end, xytext=start, arrowprops={"arrowstyle": "->", "linewidth": 1.0}, zorder=7)
    axis.text(*(start + 1.15 * vector), label, fontsize=7.5, ha="center", va="center", path_effects=HALO, zorder=7)
