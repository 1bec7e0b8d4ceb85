"""An improvement for people: what is gained and how sure that is, files for other programs."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.report.cautions import CODES
from dishtrace.report.columns import fitting
from dishtrace.report.csv_rows import write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.numerals import PLAIN, Signs, written
from dishtrace.report.tables import WIDTH, Heading, bullets, grid, joined
from dishtrace.study.improve.outcome import sureness
from dishtrace.study.sweep.figures import factor_of, label_of

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.stats import Estimate
    from dishtrace.study.improve import Improvement
    from dishtrace.study.improve.aims import Limit
    from dishtrace.study.sweep.points import Point

ALSO = ("first_hit_receiver_w", "intercept_factor", "first_hit_stand_w", "missed_w", "receiver_peak_w_m2")
"""Figures that are told beside the aim and the limits."""


def improve_text(found: Improvement, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a search, save the list of files: lines of at most 80 columns."""
    sections = [
        _head(found),
        [Heading("What was found"), *textwrap.wrap(conclusion(found, signs), WIDTH - 2, **_INDENT)],
        _values(found),
        _figures(found, signs),
        bullets("Notes", found.notes()),
        bullets("Cautions", [CODES]),
    ]
    return joined(section for section in sections if section)


_INDENT = {"initial_indent": "  ", "subsequent_indent": "  ", "break_on_hyphens": False}


def conclusion(found: Improvement, signs: Signs = PLAIN) -> str:
    """What is gained and how sure that is, as a few sentences."""
    if found.best is None:
        kept = " and ".join(str(limit) for limit in found.limits)
        return f"None of the {len(found.trials)} trials keeps {kept}: widen the ranges or the limits."
    figure = found.aim.figure
    value = _told(figure, found.best.figures[figure], signs)
    values = ", ".join(f"{key} = {number:.4g}" for key, number in found.best.values.items())
    text = f"With {values}: {label_of(figure)} {value}"
    if found.gain is None or found.start is None:
        return f"{text}. {_limits(found)}".strip()
    before = found.start.figures[figure]
    change = found.gain.scaled(factor_of(figure))
    share = f" ({100.0 * found.gain.value / abs(before.value):+.3g} %)" if before.value else ""
    broken = [limit for limit in found.limits if limit.room(found.start.figures[limit.figure]) < 0.0]
    sign = "+" if change.value > 0.0 else ""
    text += f", from {_told(figure, before, signs)} before: {sign}{written(change, signs)}{share}"
    if broken:
        return f"{text}; the scene as written breaks {' and '.join(str(limit) for limit in broken)}. {_limits(found)}"
    if found.gain.value == 0.0:
        return f"{text}: nothing better was found than the scene as written. {_limits(found)}"
    return f"{text}. {_sure(found)} {_limits(found)}".strip()


def _sure(found: Improvement) -> str:
    chance = sureness(found.gain)
    is_better = found.aim.sign * found.gain.value > 0.0
    if chance is None:
        return "How sure that is, is not known."
    word = "gain" if is_better else "LOSS"
    how = "checked with fresh random points" if found.is_checked else "not checked with fresh points"
    if chance > 0.9995:
        return f"That it is a {word} is sure by the errors of the tracing ({how})."
    return f"That it is a {word} is {100.0 * chance:.3g} % sure by the errors of the tracing ({how})."


def _limits(found: Improvement) -> str:
    return " ".join(_limit(limit, found.best) for limit in found.limits)


def _limit(limit: Limit, best: Point) -> str:
    chance = limit.chance(best.figures[limit.figure])
    if chance is None:
        return f"Whether {limit} holds is not known."
    if limit.room(best.figures[limit.figure]) < 0.0:
        return f"{limit} is BROKEN in the check (holds with {100.0 * chance:.2g} %): keep a wider limit."
    return f"{limit} holds{'' if chance > 0.9995 else f' with {100.0 * chance:.3g} %'}."


def _told(key: str, estimate: Estimate, signs: Signs) -> str:
    return written(estimate.scaled(factor_of(key)), signs)


def _head(found: Improvement) -> list[str]:
    title = found.scene.title_line
    lines: list[str] = [Heading(f"Improve: {title}"[:WIDTH])]
    if found.stopped:
        lines.append("STOPPED EARLY")
    kept = "".join(f", {limit}" for limit in found.limits)
    check = f"; check {found.check_rays} rays" if found.is_checked else ""
    about = f"{found.aim}{kept}; {len(found.trials)} trials of {found.rays} rays, seed {found.seed}{check}"
    return lines + textwrap.wrap(about, WIDTH, break_on_hyphens=False)


def _values(found: Improvement) -> list[str]:
    """Keys before and after."""
    if found.best is None:
        return []
    columns = {
        "from": [f"{one.low:g}" for one in found.varied],
        "to": [f"{one.high:g}" for one in found.varied],
        "before": [_number(found.start, key) for key in found.keys],
        "best": [_number(found.best, key) for key in found.keys],
    }
    return [Heading("Keys"), *grid(list(found.keys), columns)]


def _number(point: Point | None, key: str) -> str:
    return "-" if point is None else f"{point.values[key]:.4g}"


def _figures(found: Improvement, signs: Signs) -> list[str]:
    """The aim, the limits and the usual figures before and after, with the differences' own errors."""
    if found.best is None:
        return []
    wanted = [found.aim.figure, *(limit.figure for limit in found.limits), *ALSO]
    keys = [key for key in dict.fromkeys(wanted) if key in found.best.figures]
    columns: dict[str, list[str]] = {}
    if found.start is not None:
        columns["before"] = [_told(key, found.start.figures[key], signs) for key in keys]
    columns["best"] = [_told(key, found.best.figures[key], signs) for key in keys]
    if found.start is not None:
        columns["gain"] = [_told(key, found.best.figures[key].minus(found.start.figures[key]), signs) for key in keys]
    labels = [label_of(key) for key in keys]
    return [Heading("Figures"), *grid(labels, fitting(labels, columns))]


def write_improvement(found: Improvement, folder: Path) -> list[str]:
    """Write improve.json and improve.csv into a folder that exists; gives their names."""
    told = {**found.to_dict(), "conclusion": conclusion(found)}
    names = [write_object(told, folder / "improve.json")]
    comments = [
        f"dishtrace {found.version}, {found.rays} rays each, seed {found.seed}, same random points",
        f"aim: {found.aim}; limits: {', '.join(str(limit) for limit in found.limits) or 'none'}; a row a trial",
    ]
    return [*names, write_rows(found.rows(), folder / "improve.csv", comments)]
