"""The picture of a sizing: what is caught and lost over the size, and the best size over the temperature."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator

from dishtrace.report.pictures.style import COLOURS, SETTINGS, above, foot, printable, saved
from dishtrace.report.size import recommendation
from dishtrace.study.size.knobs import KNOBS

if TYPE_CHECKING:
    from dishtrace.study.size import Sizing


def write_size_picture(sizing: Sizing, folder: Path) -> str:
    """Write size.png into a folder that exists; gives its name."""
    return saved(draw_size(sizing), sizing.version, folder / "size.png")


def draw_size(sizing: Sizing) -> Figure:
    """Share and peak, and net heat at each working temperature, over the first thing varied."""
    with rc_context(SETTINGS):
        figure = Figure(figsize=(9.0, 4.6), layout="constrained")
        left, right = figure.subplots(1, 2)
        _draw_share(left, sizing)
        if sizing.bests:
            _draw_net(right, sizing)
        else:
            _draw_rest(right, sizing)
        how = f": {sizing.rays} rays a size, seed {sizing.seed}"
        above(figure, f'Size of "{sizing.part}"', sizing.scene.title_line, how)
        foot(figure, *_lines(recommendation(sizing)), _second(sizing))
    return figure


def _lines(text: str, width: int = 150) -> list[str]:
    import textwrap

    return textwrap.wrap(text, width)


def _second(sizing: Sizing) -> str:
    if len(sizing.knobs) == 1:
        return "Bars: one standard error of the tracing."
    return f"Each curve at the best {KNOBS[sizing.knobs[1].name]} for it, of those tried."


def _axis(sizing: Sizing, axis: Any) -> float:
    """Scale and label of the horizontal axis; gives the factor on values."""
    name = sizing.knobs[0].name
    if name != "offset":
        axis.set_xscale("log")
        axis.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.xaxis.set_major_formatter("{x:g}")
        axis.xaxis.set_minor_formatter("")
    factor, unit = (1.0, "") if name == "scale" else (1e3, " (mm)")
    axis.set_xlabel(f"{KNOBS[name]}{unit}")
    return factor


def _curve(sizing: Sizing, figure: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Values of the first thing varied, the figure there (the highest over the second), and its error."""
    name = sizing.knobs[0].name
    best: dict[float, tuple[float, float]] = {}
    for trial in sizing.trials:
        one = figure(trial)
        pair = (one.value, np.nan if one.se is None else one.se)
        value = trial.values[name]
        if value not in best or pair[0] > best[value][0]:
            best[value] = pair
    places = np.array(sorted(best))
    return places, np.array([best[place][0] for place in places]), np.array([best[place][1] for place in places])


def _draw_share(axis: Any, sizing: Sizing) -> None:
    factor = _axis(sizing, axis)
    places, share, error = _curve(sizing, lambda trial: trial.share)
    axis.errorbar(factor * places, 100.0 * share, 100.0 * error, color="black", marker="o", markersize=3, linewidth=1.2)
    axis.set_ylabel("light from the mirror that it meets first (%)")
    axis.set_ylim(0.0, 104.0)
    for goal, found in sizing.captures.items():
        if found is not None:
            at = factor * found[0].value
            axis.plot([at, at], [0.0, 100.0 * goal], color="0.6", linewidth=0.8, linestyle=":")
            axis.annotate(f"{100.0 * goal:g} %", (at, 100.0 * goal), (3, -9), textcoords="offset points", fontsize=7)
    peak_axis = axis.twinx()
    places, peak, error = _curve(sizing, lambda trial: trial.peak_w_m2)
    peak_axis.errorbar(
        factor * places, 1e-3 * peak, 1e-3 * error, color="tab:red", linestyle="--", linewidth=1.0, elinewidth=0.7
    )
    peak_axis.set_ylabel("dashed: peak on it (kW/m²)", color="tab:red")
    peak_axis.set_ylim(bottom=0.0)
    peak_axis.spines["right"].set_visible(True)


def _draw_net(axis: Any, sizing: Sizing) -> None:
    from matplotlib import colormaps

    factor = _axis(sizing, axis)
    warm = sorted(range(len(sizing.temperatures_c)), key=lambda k: sizing.temperatures_c[k])
    highest = 0.0
    for order, number in enumerate(warm):
        places, net, error = _curve(sizing, lambda trial, number=number: trial.net_w(number))
        colour = colormaps[COLOURS](0.9 * order / max(len(warm) - 1, 1))
        label = f"{sizing.temperatures_c[number]:g} °C"
        axis.errorbar(factor * places, net, error, color=colour, linewidth=1.3, label=label)
        highest = max(highest, float(net.max()))
        best = sizing.bests[number]
        if best.sizes and not best.sizes[0].at_end:
            axis.plot(factor * best.sizes[0].value, best.net_w.value, "o", color=colour, markeredgecolor="black")
            if best.sizes[0].low is not None:
                ends = [factor * best.sizes[0].low, factor * best.sizes[0].high]
                axis.plot(ends, [best.net_w.value] * 2, color="black", linewidth=0.8)
    axis.set_ylim(-0.1 * max(highest, 1.0), 1.15 * max(highest, 1.0))
    axis.axhline(0.0, color="black", linewidth=0.6)
    axis.set_ylabel("heat to draw off (W)")
    axis.legend(frameon=False, fontsize=8, loc="best", title="at work, dot: best", title_fontsize=8)


def _draw_rest(axis: Any, sizing: Sizing) -> None:
    """Where the light that misses goes."""
    factor = _axis(sizing, axis)
    for name in sizing.trials[0].others_w:
        places, watts, error = _curve(sizing, lambda trial, name=name: trial.others_w[name])
        axis.errorbar(factor * places, watts, error, linewidth=1.2, label=printable(f'meets "{name}" first'))
    places, watts, error = _curve(sizing, lambda trial: trial.missed_w)
    axis.errorbar(factor * places, watts, error, linewidth=1.2, color="0.5", label="misses all parts")
    axis.set_ylabel("light from the mirror (W)")
    axis.legend(frameon=False, fontsize=8)
