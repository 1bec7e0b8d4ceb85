"""Pictures of measured mirrors and facets: how the form departs from paraboloid or sphere, and what the fit leaves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from matplotlib.ticker import MaxNLocator

from dishtrace.dish.outline import Outline, outline_of
from dishtrace.report.layout import ABOVE, BELOW, FOOT, HEAD, LEFT, RIGHT
from dishtrace.report.measured import (
    SHARE_IN_SCALE,
    colour_limit,
    departure_map,
    outline_around,
    signed_levels,
    small,
    square_means,
)
from dishtrace.report.numerals import decimals, rounded, significant
from dishtrace.report.pictures.style import HALO, SETTINGS, foot, head

if TYPE_CHECKING:
    from dishtrace.dish.measured import MeasuredMirror
    from dishtrace.dish.measured_facet import MeasuredFacet
    from dishtrace.flux.result import Result

BOTH_SIDES = "coolwarm"
"""Even steps to the eye on both sides of a light middle: K. Moreland, "Diverging Color Maps for Scientific
Visualization", Advances in Visual Computing, LNCS 5876, 2009, doi 10.1007/978-3-642-10520-3_9."""
ACROSS = 4.1
"""Longer side of each drawing. [inch]"""
BAR = 1.15
"""Room for a colour bar and its labels. [inch]"""
MOST_MARKERS = 400
"""More points than this stand too close to read their sizes: means are printed on them. [–]"""
POINTS_PER_INCH = 72.0


def draw_measured(result: Result, mirror: MeasuredMirror) -> Figure:
    """Both maps of a measured mirror in plan, to one scale.

    Parameters
    ----------
    result : Result
        Of a scene with layout = "measured".
    mirror : MeasuredMirror
        Its fit.
    """
    figures = mirror.figures()
    return _draw(
        result,
        mirror,
        outline_of(result.scene),
        title="Measured mirror",
        form="paraboloid",
        frame=("x (m)", "y (m)", 1.0),
        fitted=f"Fitted focal length {significant(mirror.focal_length, 4)} m",
        placing=f"{_placing(result)} Seen from +z of the dish frame; heights along z, above is towards the sun.",
        figures=figures,
    )


def draw_measured_facet(result: Result, name: str, fit: MeasuredFacet) -> Figure:
    """Both maps of a measured facet in its own plane, to one scale, the line around its points as its edge.

    Parameters
    ----------
    result : Result
        Of a scene with facets of curve = "measured".
    name : str
        Of the file of points.
    fit : MeasuredFacet
    """
    figures = fit.figures()
    radius = figures["radius_m"]
    return _draw(
        result,
        fit,
        outline_around(fit.points),
        title=f'Measured facet "{name}"',
        form="sphere" if radius is not None else "plane",
        frame=("x (mm)", "y (mm)", 1e3),
        fitted="Flat" if radius is None else f"Fitted radius {significant(radius, 4)} m",
        placing="Tilt at the middle taken out. Seen from the side that mirrors; above is towards that side.",
        figures=figures,
    )


def _draw(
    result: Result,
    mirror: MeasuredMirror | MeasuredFacet,
    outline: Outline,
    *,
    title: str,
    form: str,
    frame: tuple[str, str, float],
    fitted: str,
    placing: str,
    figures: dict[str, Any],
) -> Figure:
    """Departure and rest side by side; `frame` is the labels of both axes and their numbers per metre."""
    low, high = _window(mirror, outline)
    across, tall = ACROSS * (high - low) / (high - low).max()
    panel = LEFT + across + BAR + RIGHT
    figure = Figure(figsize=(2.0 * panel, HEAD + ABOVE + tall + BELOW + FOOT + 0.15))
    width, height = figure.get_size_inches()
    with rc_context(SETTINGS):
        for k, draw in enumerate((_draw_departure, _draw_left)):
            left, bottom = k * panel + LEFT, BELOW + FOOT + 0.15
            axis = figure.add_axes((left / width, bottom / height, across / width, tall / height))
            place = ((left + across + 0.15) / width, bottom / height, 0.17 / width, tall / height)
            draw(axis, figure.add_axes(place), mirror, outline)
            axis.plot(*_closed(outline.boundary(256)).T, color="black", linewidth=0.8)
            axis.add_patch(Circle(outline.center, outline.hole_radius, fill=False, linewidth=0.8))
            axis.set(xlim=(low[0], high[0]), ylim=(low[1], high[1]), xlabel=frame[0], ylabel=frame[1], aspect="equal")
            for side in (axis.xaxis, axis.yaxis):
                side.set_major_formatter(lambda value, _: f"{frame[2] * value:.6g}")
        figure.axes[0].set_title(f"fitted surface above the fitted {form}")
        head(figure, result, f"{title}, {len(mirror.points)} points")
        foot(
            figure,
            f"{fitted}; the fit (degree {mirror.degree}) leaves "
            f"{small(1e3 * figures['left_rms_m'], 'mm')} rms and a slope error of "
            f"{small(figures['slope_error_mrad'], 'mrad')} per axis.",
            placing,
            f"Contours and numbers in mm; dashed: below 0. {_reading(mirror)}",
        )
    return figure


def _draw_departure(axis: Any, bar: Any, mirror: MeasuredMirror | MeasuredFacet, outline: Outline) -> None:
    """Form: the smooth surface above the fitted paraboloid or sphere."""
    x, y, heights = departure_map(mirror, outline)
    limit, heights = 1e3 * colour_limit(heights), 1e3 * heights
    half = 0.5 * np.array([x[1] - x[0], y[1] - y[0]])
    extent = (x[0] - half[0], x[-1] + half[0], y[0] - half[1], y[-1] + half[1])
    image = axis.imshow(heights, origin="lower", extent=extent, cmap=BOTH_SIDES, vmin=-limit, vmax=limit)
    levels = signed_levels(heights)
    if len(levels) and limit > 1e3 * colour_limit(np.zeros(1)):
        styles = ["dashed" if level < 0.0 else "solid" for level in levels]
        widths = [1.3 if level == 0.0 else 0.8 for level in levels]
        shown = np.ma.masked_invalid(heights)
        lines = axis.contour(x, y, shown, levels=levels, colors="black", linewidths=widths, linestyles=styles)
        for text in axis.clabel(lines, fmt="%g", fontsize=7.5):
            text.set_path_effects(HALO)
    _finish(axis.figure.colorbar(image, cax=bar), "departure (mm)")


def _draw_left(axis: Any, bar: Any, mirror: MeasuredMirror | MeasuredFacet, outline: Outline) -> None:
    """What is left: the points above the smooth surface."""
    places, heights = mirror.points[:, :2], 1e3 * mirror.left
    limit = 1e3 * colour_limit(mirror.left, share=SHARE_IN_SCALE)
    spread = np.ptp(places, axis=0)
    pitch = np.sqrt(spread.prod() / len(places)) / max(spread.max(), outline.span) * ACROSS * POINTS_PER_INCH
    largest = float(np.clip(0.8 * pitch, 2.0, 11.0))
    size = largest * (0.35 + 0.65 * np.minimum(1.0, np.abs(heights) / limit))
    for marker, members in (("^", heights >= 0.0), ("v", heights < 0.0)):
        marks = axis.scatter(
            *places[members].T,
            s=size[members] ** 2,
            c=heights[members],
            marker=marker,
            cmap=BOTH_SIDES,
            vmin=-limit,
            vmax=limit,
            edgecolor="black",
            linewidth=0.4 if len(places) <= MOST_MARKERS else 0.15,
        )
    if len(places) > MOST_MARKERS:
        for x, y, mean in square_means(places, heights):
            text = rounded(mean, decimals(limit, 2))
            axis.text(x, y, text, ha="center", va="center", fontsize=6.5, path_effects=HALO, clip_on=True)
    axis.set_title("points above (▲) and below (▼) the fitted surface")
    has_more = float(np.abs(heights).max()) > limit
    _finish(axis.figure.colorbar(marks, cax=bar, extend="both" if has_more else "neither"), "left by the fit (mm)")


def _finish(bar: Any, label: str) -> None:
    """At most seven short numbers beside a colour bar, and what they are."""
    bar.ax.yaxis.set_major_locator(MaxNLocator(6, steps=(1, 2, 5, 10)))
    bar.ax.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    bar.set_label(label)


def _window(mirror: MeasuredMirror | MeasuredFacet, outline: Outline) -> tuple[np.ndarray, np.ndarray]:
    """Corners of what both drawings show: outline and points with a margin. [m]"""
    shown = np.concatenate([outline.boundary(256), mirror.points[:, :2]])
    low, high = shown.min(axis=0), shown.max(axis=0)
    margin = 0.05 * (high - low).max()
    return low - margin, high + margin


def _closed(corners: np.ndarray) -> np.ndarray:
    return np.concatenate([corners, corners[:1]])


def _placing(result: Result) -> str:
    if result.scene.dish.facets.placed == "by-fit":
        return "Points moved so that vertex and axis of the fit are those of the dish."
    return "Points as measured: shift and tilt of the mirror are part of the departure."


def _reading(mirror: MeasuredMirror | MeasuredFacet) -> str:
    """How to read the points without colour."""
    if len(mirror.points) > MOST_MARKERS:
        return "Numbers on the points: means over squares."
    return "Larger triangles: farther from the fit."
