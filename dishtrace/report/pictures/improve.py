"""The picture of a search: the aim over the trials, and over each key."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure

from dishtrace.report.improve import conclusion
from dishtrace.report.pictures.style import SETTINGS, above, foot, printable, saved
from dishtrace.study.improve.task import keeps
from dishtrace.study.sweep.figures import factor_of, label_of

if TYPE_CHECKING:
    from dishtrace.study.improve import Improvement

MOST_KEYS = 4


def write_improvement_picture(found: Improvement, folder: Path) -> str:
    """Write improve.png into a folder that exists; gives its name."""
    return saved(draw_improvement(found), found.version, folder / "improve.png")


def draw_improvement(found: Improvement) -> Figure:
    """The aim's figure over the order of trials and over each key; hollow where a limit is broken."""
    keys = found.keys[:MOST_KEYS]
    with rc_context(SETTINGS):
        figure = Figure(figsize=(3.0 * (1 + len(keys)) + 0.6, 3.9), layout="constrained")
        axes = figure.subplots(1, 1 + len(keys), sharey=True, squeeze=False)[0]
        _draw(axes[0], found, None)
        axes[0].set_ylabel(printable(label_of(found.aim.figure)))
        axes[0].set_xlabel("trial")
        for axis, key in zip(axes[1:], keys, strict=True):
            _draw(axis, found, key)
            axis.set_xlabel(printable(key), fontsize=8)
        above(figure, f"Search for {found.aim}", found.scene.title_line)
        hollow = (
            "Hollow: a limit is broken. Star: the best, checked. Bars: one standard error."
            if found.is_checked
            else "Hollow: breaks a limit. Bars: one standard error."
        )
        foot(figure, *_lines(conclusion(found)), hollow)
    return figure


def _lines(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, 110, break_on_hyphens=False)


def _draw(axis: Any, found: Improvement, key: str | None) -> None:
    name = found.aim.figure
    points = [point for point in found.trials if not point.fault]
    places = np.array([float(point.number if key is None else point.values[key]) for point in points])
    values = np.array([factor_of(name) * point.figures[name].value for point in points])
    good = np.array([keeps(point, found.limits) for point in points], dtype=bool)
    errors = np.array([factor_of(name) * (point.figures[name].se or 0.0) for point in points])
    style = {"fmt": "o", "markersize": 3.5, "elinewidth": 0.7}
    axis.errorbar(places[good], values[good], errors[good], color="0.2", **style)
    axis.errorbar(places[~good], values[~good], errors[~good], markerfacecolor="none", color="0.5", **style)
    if found.best is not None:
        place = found.best.number if key is None else found.best.values[key]
        best = found.best.figures[name]
        error = 0.0 if best.se is None else factor_of(name) * best.se
        axis.errorbar(place, factor_of(name) * best.value, error, fmt="*", color="tab:red", markersize=9)
