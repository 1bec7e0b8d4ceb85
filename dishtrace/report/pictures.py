"""The pictures, and the only file that imports matplotlib: flux maps, spots, profiles and the side view.

Figures are made directly, without the interactive layer of the library, so that no window system is touched and no
setting of the process changes. Colours are the perceptually uniform "viridis"; contour lines or printed numbers say the
same without colour.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PolyCollection
from matplotlib.colors import LogNorm, Normalize
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patches import Circle, PathPatch
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from dishtrace.report import fluxmap, spotmap
from dishtrace.report.exports import named_screens
from dishtrace.report.folder import slugs
from dishtrace.report.layout import one_drawing, rows_of_drawings
from dishtrace.report.numerals import FINE, significant, written
from dishtrace.report.sideview import SideView, side_view, up_direction

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dishtrace.flux.result import PartResult, Result, ScreenResult

COLOURS = "viridis"
DOTS_PER_INCH = 130
SETTINGS = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "axes.titlesize": 9.0,
    "hatch.linewidth": 0.4,
    "hatch.color": "0.55",
    "axes.spines.top": False,
    "axes.spines.right": False,
}
NO_LIGHT = {"facecolor": "0.93", "edgecolor": "0.55", "hatch": "////", "linewidth": 0.0}
HALO = [withStroke(linewidth=2.0, foreground="white")]
DARK_HALO = [withStroke(linewidth=2.0, foreground="black")]


def draw_all(result: Result, folder: Path) -> Iterator[str]:
    """Draw every picture of a result.

    Parameters
    ----------
    result : Result
        A traced scene.
    folder : Path
        Exists and can be written.

    Yields
    ------
    str
        The name of each file once it is written.
    """
    yield _saved(draw_side_view(result), result, folder / "side-view.png")
    for name, screen in named_screens(result).items():
        if name in ("best-focus", "highest-peak"):
            continue
        yield _saved(draw_spot(result, screen), result, folder / f"spot-{name}.png")
        yield _saved(draw_profile(result, screen), result, folder / f"profile-{name}.png")
    for name, part in zip(slugs(result.parts), result.parts.values(), strict=True):
        if fluxmap.can_be_mapped(part):
            yield _saved(draw_flux(result, part), result, folder / f"flux-{name}.png")


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
        bar.set_label("incident mirror light, without direct sun (kW/m²)")
        peak = written(part.peak_w_m2.scaled(1e-3), FINE)
        _head(figure, result, f"Flux on “{part.name}” ({part.role})")
        _foot(
            figure,
            f"× peak {peak} kW/m² over {1e4 * part.peak_patch_m2:.2g} cm². {_noise(noise, 'triangle')}",
            "Blank (hatched, grey): no light seen, or standard error above 50 %."
            + (
                " Backs are drawn as seen through the front."
                if any("back" in panel.title for panel in drawings)
                else ""
            ),
            f"Too little light for a drawing: {', '.join(dark)}." if dark else "",
        )
    return figure


def draw_spot(result: Result, screen: ScreenResult) -> Figure:
    """Flux in the plane of a screen with the circles that hold 50, 90, 95 and 99 % of the power."""
    flux, error = np.asarray(screen.map_w_m2) / 1000.0, np.asarray(screen.map_se_w_m2) / 1000.0
    known = fluxmap.is_certain(flux, error)
    half = screen.half_width_m * 1000.0
    layout = one_drawing((5.0, 5.0), has_bar=True)
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        axis = figure.add_axes(layout.boxes[0])
        axis.patch.set(**NO_LIGHT)
        shown = np.ma.masked_where(~known, flux)
        image = axis.imshow(shown, origin="lower", extent=(-half, half, -half, half), cmap=COLOURS)
        image.set_clim(0.0, float(flux[known].max()) if known.any() else 1.0)
        middles = (np.arange(len(flux)) + 0.5) / len(flux) * 2.0 * half - half
        smooth = spotmap.smoothed(flux)
        levels = spotmap.contour_levels(smooth)
        if len(levels):
            lines = axis.contour(middles, middles, smooth, levels=levels, colors="white", linewidths=0.8)
            for text in axis.clabel(lines, fmt="%g", fontsize=7.5):
                text.set_path_effects(DARK_HALO)
        _draw_circles(axis, screen, half)
        axis.set(xlim=(-half, half), ylim=(-half, half), xlabel="x (mm)", ylabel="y (mm)", aspect="equal")
        figure.colorbar(image, cax=figure.add_axes(layout.bar)).set_label("mirror light (kW/m²)")
        _head(figure, result, f"Spot on “{screen.name}”")
        noise = spotmap.typical_error(flux, error, known)
        peak = written(screen.peak_w_m2.scaled(1e-3), FINE)
        power = written(screen.power_w, FINE)
        _foot(
            figure,
            f"{power} W, peak {peak} kW/m² over {1e4 * screen.peak_patch_m2:.2g} cm². {_noise(noise, 'bin')}",
            f"{spotmap.viewer(result, screen)} Dashed circles hold the share of the power written on them.",
            "White contours in kW/m², smoothed. Hatched: no light seen, or standard error above 50 %.",
        )
    return figure


def draw_profile(result: Result, screen: ScreenResult) -> Figure:
    """Flux over the radius and power within a radius, about the screen's centre, with error bands."""
    edges = 1000.0 * np.asarray(screen.profile_edges_m)
    flux, error = np.asarray(screen.profile_w_m2) / 1000.0, np.asarray(screen.profile_se_w_m2) / 1000.0
    radius, power = 1000.0 * np.asarray(screen.encircled_radius_m), np.asarray(screen.encircled_w)
    power_error = np.asarray(screen.encircled_se_w)
    layout = one_drawing((5.8, 5.0), has_bar=False)
    figure = Figure(figsize=layout.size)
    left, bottom, width, height = layout.boxes[0]
    with rc_context(SETTINGS):
        lower = figure.add_axes((left, bottom, width, 0.48 * height))
        upper = figure.add_axes((left, bottom + 0.52 * height, width, 0.48 * height), sharex=lower)
        upper.tick_params(labelbottom=False)
        upper.stairs(flux, edges, color="black", linewidth=1.2)
        upper.stairs(
            flux + 2.0 * error,
            edges,
            baseline=np.maximum(flux - 2.0 * error, 0.0),
            fill=True,
            color="0.7",
            zorder=0,
        )
        upper.set(ylabel="flux, mean over a ring (kW/m²)", ylim=(0.0, None))
        lower.plot(radius, power, color="black", linewidth=1.2)
        lower.fill_between(radius, power - 2.0 * power_error, power + 2.0 * power_error, color="0.7", zorder=0)
        whole = screen.power_w.value
        for share in (0.5, 0.9, 0.95, 0.99):
            lower.axhline(share * whole, color="0.5", linewidth=0.7, linestyle="--")
            lower.annotate(
                f"{100 * share:.0f} %",
                (1.0, share * whole),
                xycoords=("axes fraction", "data"),
                xytext=(3, 0),
                textcoords="offset points",
                va="center",
                fontsize=7,
            )
        lower.set(
            xlabel="radius about the screen's centre (mm)",
            ylabel="power within the radius (W)",
            xlim=(0.0, edges[-1]),
            ylim=(0.0, None),
        )
        for axis in (upper, lower):
            axis.grid(color="0.9", linewidth=0.6)
        _head(figure, result, f"Radial profile and encircled power on “{screen.name}”")
        noise = spotmap.typical_error(flux, error, np.isfinite(error) & (flux > 0.0))
        _foot(
            figure,
            f"Grey band: ± 2 standard errors. {_noise(noise, 'ring')}",
            "Dashed: shares of the power on the plane.",
        )
    return figure


def draw_side_view(result: Result) -> Figure:
    """The scene from the side, to scale, with the paths of a few dozen rays."""
    view = side_view(result)
    left, right, bottom, top = view.limits
    scale = min(7.2 / (right - left), 8.0 / (top - bottom))
    layout = one_drawing((max(scale * (right - left), 3.5), scale * (top - bottom)), has_bar=False)
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        axis = figure.add_axes(layout.boxes[0])
        for ray in view.rays:
            axis.plot(*ray.T, color="#e08214", linewidth=0.6, alpha=0.6, zorder=1)
        axis.plot(*view.rim.T, color="0.6", linewidth=0.8, zorder=2)
        for line in view.mirror:
            axis.plot(*line.T, color="black", linewidth=2.4, zorder=3, solid_capstyle="butt")
        for part in view.parts:
            grey = {"receiver": "0.25", "stand": "0.55"}.get(part.role, "0.75")
            axis.add_collection(PolyCollection(part.uv, facecolor=grey, edgecolor=grey, linewidth=1.2, zorder=4))
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
        _head(figure, result, "Side view, to scale")
        _foot(
            figure,
            f"{view.seen_from[0].upper()}{view.seen_from[1:]}. Thick line: section of the mirror through its middle; "
            "thin grey: its rim.",
            f"{len(view.rays)} rays of the run, from the sun to where they end.",
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
            axis.add_patch(PathPatch(Outline.make_compound_path_from_polys(dark), **NO_LIGHT))
        colours = {"array": panel.flux[known] / 1000.0, "norm": scale, "cmap": COLOURS}
        axis.add_collection(PolyCollection(panel.uv[known], edgecolor="face", linewidth=0.4, **colours))
    has_contours = not panel.is_view and noise < fluxmap.NOISE_FOR_CONTOURS and _draw_contours(axis, panel, scale)
    if not has_contours:
        _print_numbers(axis, panel, scale)
    if panel.peak is not None:
        for colour, size, width in (("white", 8, 2.8), ("black", 7, 1.3)):
            axis.plot(*panel.peak, marker="x", color=colour, markersize=size, markeredgewidth=width, zorder=7)
    (left, bottom), (right, top) = panel.window
    axis.set(xlim=(left, right), ylim=(bottom, top), xlabel=panel.labels[0], ylabel=panel.labels[1])
    axis.set_title(panel.title, fontsize=8.5)
    axis.tick_params(labelsize=7.5)
    axis.locator_params(axis="x", nbins=max(2, int(axis.bbox.width / axis.figure.dpi / 0.6)))


def _draw_body(axis: Any, panel: fluxmap.Panel, scale: Normalize) -> None:
    """A body, its triangles from back to front; those without light in light greys."""
    known = panel.is_known
    colours = ScalarMappable(scale, COLOURS).to_rgba(panel.flux / 1000.0)
    colours[~known, :3] = (0.75 + 0.2 * panel.shade[~known])[:, np.newaxis]
    colours[:, 3] = 1.0
    axis.add_collection(PolyCollection(panel.uv, facecolor=colours, edgecolor=colours, linewidth=0.3))


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
    for x, y, flux in panel.numbers:
        if flux > least:
            text = significant(flux / 1000.0, 2)
            axis.text(x, y, text, ha="center", va="center", fontsize=7, path_effects=HALO, clip_on=True)


def _draw_circles(axis: Any, screen: ScreenResult, half: float) -> None:
    x, y = (1000.0 * value.value for value in screen.centroid_m)
    axis.plot(x, y, marker="+", color="black", markersize=9, path_effects=HALO, zorder=5)
    for number, (share, estimate) in enumerate(screen.radius_m.items()):
        radius = 1000.0 * estimate.value
        if not np.isfinite(radius) or radius > 1.3 * half:
            continue
        for colour, width, style in (("white", 1.8, "-"), ("black", 1.0, "--")):
            axis.add_patch(Circle((x, y), radius, fill=False, linestyle=style, linewidth=width, edgecolor=colour))
        angle = np.radians(55.0 - 30.0 * number)
        place = (x + radius * np.cos(angle), y + radius * np.sin(angle))
        if max(abs(place[0]), abs(place[1])) < half:
            axis.text(*place, f"{share} %", ha="center", va="center", fontsize=8, path_effects=HALO, zorder=6)


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
            _printable(f"{part.name} ({part.role})"),
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


def _head(figure: Figure, result: Result, what: str) -> None:
    title = " ".join((result.scene.title or "untitled").split())
    stopped = ", stopped early" if result.stopped else ""
    text = f"{what}\n{title[:80]}: {result.rays} rays, seed {result.seed}{stopped}"
    figure.suptitle(_printable(text), fontsize=10.5, parse_math=False)


def _foot(figure: Figure, *lines: str) -> None:
    figure.supxlabel(
        _printable("\n".join(line for line in lines if line)), fontsize=7.5, color="0.25", parse_math=False
    )


def _noise(share: float, what: str) -> str:
    if not np.isfinite(share):
        return "Standard errors unknown."
    return f"Typical standard error of a {what}: {100.0 * share:.2g} %."


@cache
def _characters() -> frozenset[int]:
    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def _printable(text: str) -> str:
    """The text with every character that the font lacks as a question mark."""
    return "".join(char if char == "\n" or ord(char) in _characters() else "?" for char in text)


def _saved(figure: Figure, result: Result, path: Path) -> str:
    with rc_context(SETTINGS):
        figure.savefig(path, dpi=DOTS_PER_INCH, metadata={"Software": f"dishtrace {result.version}"})
    return path.name
