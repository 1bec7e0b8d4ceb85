"""Pictures of heat: temperature maps of walls, heat to draw off, limits, and which input matters most."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.cm import ScalarMappable
from matplotlib.collections import PolyCollection
from matplotlib.colors import Normalize
from matplotlib.figure import Figure

from dishtrace.heat.outcome import degrees
from dishtrace.report.folder import slugs
from dishtrace.report.layout import rows_of_drawings
from dishtrace.report.numerals import FINE, written
from dishtrace.report.pictures.style import SETTINGS, foot, head, saved
from dishtrace.report.projection import project, three_quarter, view_axes
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.heat.outcome import HeatResult, PartTemperatures
    from dishtrace.heat.spreads import Spread

HEAT_COLOURS = "inferno"


def draw_heat(heat: HeatResult, folder: Path) -> Iterator[str]:
    """Draw every picture of a heat result into a folder that exists; gives each file's name once it is written."""
    for name, part in zip(slugs(heat.parts), heat.parts.values(), strict=True):
        if part.wall is not None:
            yield saved(draw_wall(heat, part), heat.version, folder / f"heat-wall-{name}.png")
        spread = part.wall_spread or part.spread
        if spread is not None and spread.influences:
            yield saved(draw_influences(heat, part, spread), heat.version, folder / f"heat-inputs-{name}.png")
    if any(part.balance is not None for part in heat.parts.values()):
        yield saved(draw_curves(heat), heat.version, folder / "heat-curves.png")
    if any(part.margins for part in heat.parts.values()):
        yield saved(draw_limits(heat), heat.version, folder / "heat-limits.png")
    if heat.timelines:
        from dishtrace.report.pictures.timeline import draw_timeline

        for timeline, name in zip(heat.timelines, slugs(timeline.part for timeline in heat.timelines), strict=True):
            figure = draw_timeline(timeline, title=heat.scene.title_line)
            yield saved(figure, heat.version, folder / f"timeline-{name}.png")


def draw_wall(heat: HeatResult, part: PartTemperatures) -> Figure:
    """Temperature map of a wall's front: flat drawings of its surfaces, or a view of a mesh."""
    wall, mesh = part.wall, part.setting.traced.mesh
    front = celsius(wall.front_k)
    low, high = float(front.min()), max(float(front.max()), float(front.min()) + 0.1)
    scale = Normalize(low, high)
    drawings = [(chart.name, chart.labels, chart.uv, front[chart.index]) for chart in mesh.charts]
    if not drawings:
        drawings = [_view(part, front)]
    layout = rows_of_drawings(np.array([np.ptp(uv.reshape(-1, 2), axis=0) for _, _, uv, _ in drawings]))
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        for (title, labels, uv, values), box in zip(drawings, layout.boxes, strict=True):
            axis = figure.add_axes(box)
            colours = {"array": values, "norm": scale, "cmap": HEAT_COLOURS}
            axis.add_collection(PolyCollection(uv, edgecolor="face", linewidth=0.4, **colours))
            room = 0.02 * float(np.ptp(uv.reshape(-1, 2), axis=0).max())
            (left, bottom), (right, top) = uv.min(axis=(0, 1)) - room, uv.max(axis=(0, 1)) + room
            axis.set(xlim=(left, right), ylim=(bottom, top), xlabel=labels[0], ylabel=labels[1])
            axis.set_title(title, fontsize=8.5)
            axis.tick_params(labelsize=7.5)
            axis.locator_params(axis="x", nbins=4)
            _isotherms(axis, uv, values)
        bar = figure.colorbar(ScalarMappable(scale, HEAT_COLOURS), cax=figure.add_axes(layout.bar))
        bar.set_label("temperature of the front (°C)")
        head(figure, heat.result, f"Temperature of “{part.setting.part.name}” ({part.setting.part.role})")
        peak = written(degrees(wall.peak_k), FINE)
        foot(
            figure,
            f"Hottest place {peak} °C on the {wall.peak_side}; the error is that of the traced flux alone.",
            f"90 % range by the uncertain inputs: {_range(part.wall_spread)}.",
        )
    return figure


def _isotherms(axis: Any, uv: np.ndarray, values: np.ndarray) -> None:
    """A few labelled lines of equal temperature, where the drawing has enough of them."""
    middles = uv.mean(axis=1)
    if np.ptp(values) < 2.0 or len(values) < 12:
        return
    lines = axis.tricontour(*middles.T, values, levels=4, colors="white", linewidths=0.7)
    axis.clabel(lines, fmt="%g", fontsize=7)


def _view(part: PartTemperatures, front: np.ndarray) -> tuple[str, tuple[str, str], np.ndarray, np.ndarray]:
    """A drawn shape from where its hottest place is seen."""
    mesh, up = part.setting.traced.mesh, part.setting.up
    normal = mesh.normals[int(np.argmax(part.wall.front_k))]
    toward = three_quarter(normal, up)
    right, top = view_axes(toward, up)
    middle = mesh.triangles.mean(axis=(0, 1))
    shown = np.flatnonzero(mesh.normals @ toward > 0.0) if mesh.is_closed else np.arange(len(front))
    shown = shown[np.argsort(mesh.triangles[shown].mean(axis=1) @ toward, kind="stable")]
    uv = project(mesh.triangles[shown] - middle, right, top)
    return "from where it is hottest", ("across (m)", "up in the view (m)"), uv, front[shown]


def draw_curves(heat: HeatResult) -> Figure:
    """Net heat and efficiency against working temperature, of all parts that take in heat."""
    figure = Figure(figsize=(7.2, 4.6), layout="constrained")
    with rc_context(SETTINGS):
        axis = figure.add_subplot()
        styles = ("-", "--", "-.", ":")
        for number, (name, part) in enumerate(heat.parts.items()):
            if part.balance is None or not part.balance.absorbed_w.value > 0.0:
                continue
            curve = part.balance.curve
            axis.plot(celsius(curve["temperature_k"]), curve["net_w"], styles[number % 4], label=name)
        whole = heat.result.budget_w["outline"].value
        axis.set(xlabel="temperature of the part, equally warm everywhere (°C)", ylabel="heat to draw off (W)")
        axis.set_ylim(bottom=0.0)
        beside = axis.secondary_yaxis("right", functions=(lambda w: 100.0 * w / whole, lambda p: p * whole / 100.0))
        beside.set_ylabel("share of the sunlight on the dish outline (%)")
        axis.grid(alpha=0.3)
        axis.legend(frameon=False)
        head(figure, heat.result, "Heat to draw off, by working temperature")
        foot(figure, "Each curve ends at the temperature with nothing drawn off. Losses are good to about 20 %.")
    return figure


def draw_limits(heat: HeatResult) -> Figure:
    """Temperatures found against limits, part by part."""
    rows = [(name, margin) for name, part in heat.parts.items() for margin in part.margins]
    figure = Figure(figsize=(7.2, 1.6 + 0.2 * len(rows)), layout="constrained")
    with rc_context(SETTINGS):
        axis = figure.add_subplot()
        for number, (_, margin) in enumerate(rows):
            passed = margin.margin_k < 0.0
            axis.plot([margin.found_c, margin.limit.limit_c], [number, number], color="0.6", linewidth=1.0)
            axis.plot(margin.limit.limit_c, number, "|", color="black", markersize=10, markeredgewidth=2.0)
            axis.plot(margin.found_c, number, "X" if passed else "o", color="#b2182b" if passed else "#2166ac")
        labels = [f"{name}: {margin.limit.item}{'' if margin.is_own else ' (fixed to it)'}" for name, margin in rows]
        axis.set_yticks(range(len(rows)), labels, fontsize=7.5)
        axis.invert_yaxis()
        axis.set_xlabel("temperature (°C)")
        axis.grid(axis="x", alpha=0.3)
        head(figure, heat.result, "Temperatures found (o; X past the limit) and limits (|)")
        foot(figure, "Hottest place of the wall; without a wall the most that the brightest place can reach.")
    return figure


def draw_influences(heat: HeatResult, part: PartTemperatures, spread: Spread) -> Figure:
    """Which input matters most: change of the temperature at one standard deviation below and above."""
    told = [entry for entry in spread.influences if entry.reach > 0.0][:10]
    figure = Figure(figsize=(7.2, 1.8 + 0.3 * len(told)), layout="constrained")
    what = "hottest place of the wall" if part.wall_spread is spread else "temperature with nothing drawn off"
    with rc_context(SETTINGS):
        axis = figure.add_subplot()
        places = np.arange(len(told))
        axis.barh(places, [entry.below_k for entry in told], color="#2166ac", label="one sd below", height=0.6)
        axis.barh(
            places,
            [entry.above_k for entry in told],
            color="#d6604d",
            label="one sd above",
            height=0.6,
            hatch="//",
            edgecolor="white",
            linewidth=0.0,
        )
        axis.set_yticks(places, [entry.name for entry in told], fontsize=8)
        axis.invert_yaxis()
        axis.axvline(0.0, color="black", linewidth=0.8)
        axis.set_xlabel("change of the temperature (K)")
        axis.legend(frameon=False)
        head(figure, heat.result, f"What makes the {what} of “{part.setting.part.name}” uncertain")
        foot(figure, f"90 % range: {_range(spread)}.")
    return figure


def _range(spread: Spread | None) -> str:
    return "unknown" if spread is None else f"{celsius(spread.low_k):.0f} to {celsius(spread.high_k):.0f} °C"
