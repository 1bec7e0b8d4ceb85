"""Pictures of a fit: the log with its heat balance, the spot beside the matched one, power over slope error."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from dishtrace.report.pictures.style import COLOURS, SETTINGS, above, foot, saved

if TYPE_CHECKING:
    from dishtrace.study.fit.edges import EdgeMatch
    from dishtrace.study.fit.heat_test import HeatTest
    from dishtrace.study.fit.power_match import PowerMatch
    from dishtrace.study.fit.spot_test import SpotTest
    from dishtrace.study.fit.whole import Fit


def write_fit_pictures(fit: Fit, folder: Path) -> list[str]:
    """Write the pictures that a fit gives reason for; gives their names."""
    names = []
    pictures = {
        "fit-log.png": draw_log,
        "fit-spot.png": draw_matched,
        "fit-power.png": draw_power,
        "fit-target.png": draw_edge,
    }
    for name, draw in pictures.items():
        figure = draw(fit)
        if figure is not None:
            names.append(saved(figure, fit.version, folder / name))
    return names


def _head(figure: Figure, fit: Fit, what: str) -> None:
    above(figure, what, fit.scene.title_line)


def draw_log(fit: Fit) -> Figure | None:
    """Readings, those left out, and the fitted temperature; below, what the fit leaves."""
    heat = fit.heat
    if heat is None:
        return None
    with rc_context(SETTINGS):
        figure = Figure(figsize=(7.0, 5.2), layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 1))
        _draw_readings(above, heat)
        _draw_left(below, heat)
        _head(figure, fit, "Heating log and fitted heat balance")
        power, loss = heat.findings["power_w"], heat.findings["loss_w_k"]
        foot(
            figure,
            f"Power absorbed {power.value:.0f} W ({power.low:.0f} to {power.high:.0f} W), loss {loss.value:.2f} W/K "
            f"({loss.low:.2f} to {loss.high:.2f} W/K): 95 % intervals.",
        )
    return figure


def _draw_readings(axis: Any, heat: HeatTest) -> None:
    minutes = heat.log.time_s / 60.0
    used = np.zeros(len(minutes), dtype=bool)
    used[np.concatenate(heat.judged.stretches)] = True
    axis.plot(minutes[used], heat.heat_c[used], "o", markersize=3.5, color="0.35", label="readings, corrected")
    if (~used).any():
        axis.plot(minutes[~used], heat.heat_c[~used], "x", markersize=5, color="tab:red", label="left out")
    for number, (places, fitted) in enumerate(zip(heat.judged.stretches, heat.fit.fitted_c, strict=True)):
        axis.plot(minutes[places], fitted, color="black", linewidth=1.2, label="heat balance" if number == 0 else None)
    off = ~heat.log.is_sun_on
    if off.any():
        low, high = axis.get_ylim()
        axis.fill_between(minutes, low, high, where=off, color="0.93", zorder=0, label="dish off the sun")
        axis.set_ylim(low, high)
    axis.set_ylabel("temperature (degC)")
    axis.legend(frameon=False, fontsize=8)


def _draw_left(axis: Any, heat: HeatTest) -> None:
    minutes = heat.log.time_s / 60.0
    for places, fitted in zip(heat.judged.stretches, heat.fit.fitted_c, strict=True):
        axis.plot(minutes[places], heat.heat_c[places] - fitted, ".-", color="0.35", linewidth=0.6, markersize=4)
    axis.axhline(0.0, color="black", linewidth=0.8)
    axis.set(xlabel="time (min)", ylabel="left (K)")


def draw_matched(fit: Fit) -> Figure | None:
    """The photographed spot, the matched one, and what the match leaves, at one scale."""
    test = fit.spot
    if test is None or test.match is None:
        return None
    base = test.match.numbers[4]
    top = float(np.nanmax(test.match.fitted) - base)
    panels = (
        ("photo", (test.patch.light - base) / top, COLOURS, (0.0, 1.0)),
        ("matched spot", (test.match.fitted - base) / top, COLOURS, (0.0, 1.0)),
        ("photo less match", test.match.left / top, "coolwarm", (-0.1, 0.1)),
    )
    with rc_context(SETTINGS):
        figure = Figure(figsize=(10.0, 3.9), layout="constrained")
        for axis, (title, values, colours, limits) in zip(figure.subplots(1, 3), panels, strict=True):
            image = _draw_panel(axis, test, values, colours, limits)
            axis.set_title(title)
            figure.colorbar(image, ax=axis, shrink=0.8, label="share of the peak")
        _head(figure, fit, "Spot on the photo and the traced spot most like it")
        foot(
            figure,
            "Light above the background; circles: R50 and R90 of the photo. x and y of the dish. Plain grey: left out.",
        )
    return figure


def _draw_panel(axis: Any, test: SpotTest, values: np.ndarray, colours: str, limits: tuple[float, float]) -> Any:
    patch, found = test.patch, test.radii.values
    half = 0.5 * patch.pitch_m
    extent = [1e3 * v for v in (patch.x_m[0] - half, patch.x_m[-1] + half, patch.y_m[0] - half, patch.y_m[-1] + half)]
    axis.set_facecolor("0.85")
    low, high = limits
    image = axis.imshow(values, origin="lower", extent=extent, cmap=colours, vmin=low, vmax=high)
    for key in ("r50_m", "r90_m"):
        middle = 1e3 * found["centroid_x_m"], 1e3 * found["centroid_y_m"]
        axis.add_patch(Circle(middle, 1e3 * found[key], fill=False, edgecolor="white", linewidth=1.6))
        axis.add_patch(Circle(middle, 1e3 * found[key], fill=False, edgecolor="black", linewidth=0.7))
    axis.set(xlabel="x (mm)", ylabel="y (mm)")
    return image


def draw_power(fit: Fit) -> Figure | None:
    """Traced power on the receivers over slope error, and the measured power with its interval."""
    match: PowerMatch | None = fit.power
    if match is None:
        return None
    with rc_context(SETTINGS):
        figure = Figure(figsize=(6.4, 4.2), layout="constrained")
        axis = figure.subplots()
        axis.errorbar(
            match.slopes_mrad, match.traced_w, 2.0 * match.traced_se_w, fmt="o-", color="black", linewidth=1.0,
            markersize=4, label="traced, at the irradiance of the test",
        )  # fmt: skip
        low, high = match.measured_w - match.half_w, match.measured_w + match.half_w
        axis.axhspan(low, high, color="0.85", label="measured, 95 % interval")
        axis.axhline(match.measured_w, color="0.4", linewidth=0.9, linestyle="--")
        slope = fit.findings.get("slope_error_mrad")
        if slope is not None and slope.told:
            axis.axvspan(
                slope.low, slope.high, facecolor="none", edgecolor="0.4", hatch="//", label="slope error found"
            )
        axis.set(xlabel="slope error (mrad)", ylabel="power absorbed by the receiver (W)", ylim=(0.0, None))
        axis.legend(frameon=False, fontsize=8, loc="lower left")
        _head(figure, fit, "Which slope error explains the power")
        foot(figure, *textwrap.wrap(match.finding.remark, 100))
    return figure


def draw_edge(fit: Fit) -> Figure | None:
    """Where traced spots have their edge over slope error, and the radii read by hand."""
    edge: EdgeMatch | None = fit.edge
    if edge is None:
        return None
    with rc_context(SETTINGS):
        figure = Figure(figsize=(6.4, 4.2), layout="constrained")
        axis = figure.subplots()
        low, high = (1e3 * curve for curve in edge.traced_m[::-1])
        shares = " to ".join(f"{100.0 * share:g}" for share in edge.edge)
        axis.fill_between(
            edge.slopes_mrad, low, high, color="0.75", linewidth=0.0, label=f"traced, {shares} % of the peak"
        )
        axis.plot(edge.slopes_mrad, low, color="black", linewidth=0.8)
        axis.plot(edge.slopes_mrad, high, color="black", linewidth=0.8)
        radius, found = edge.radius, edge.finding
        places = np.full(len(edge.radii_m), 0.98 * edge.slopes_mrad[-1])
        axis.plot(places, 1e3 * edge.radii_m, "o", color="tab:red", markersize=4, label="radii read by hand")
        axis.axhline(1e3 * radius.value, color="tab:red", linewidth=1.0, label="their mean, 95 % interval")
        for end in (radius.low, radius.high):
            axis.axhline(1e3 * end, color="tab:red", linewidth=0.8, linestyle="--")
        ends = [found.low, found.high]
        if ends != [None, None]:
            ends = [0.0 if ends[0] is None else ends[0], edge.slopes_mrad[-1] if ends[1] is None else ends[1]]
            axis.axvspan(*ends, facecolor="none", edgecolor="0.4", hatch="//", label="slope error found")
        axis.set(xlabel="slope error (mrad)", ylabel="radius of the bright patch (mm)", ylim=(0.0, None))
        axis.legend(frameon=False, fontsize=8, loc="upper left")
        _head(figure, fit, "Which slope error makes a patch of this size")
        told = found.remark or f"{found.value:.2g} mrad, 95 % interval {found.low:.2g} to {found.high:.2g} mrad"
        foot(figure, *textwrap.wrap(told, 100))
    return figure
