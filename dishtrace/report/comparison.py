"""A comparison for people: tables in the terminal, files for other programs, and what the picture shows."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.cautions import cautions
from dishtrace.report.csv_rows import write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.numerals import PLAIN, Signs, significant, written, written_pair
from dishtrace.report.spotmap import contour_levels, smoothed
from dishtrace.report.tables import WIDTH, Heading, bullets, cell, grid, joined
from dishtrace.stats import Estimate
from dishtrace.study.comparison import DIFFERENT, NOT_TOLD_APART, TELLING, UNKNOWN
from dishtrace.study.figures import BY_KEY

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.flux.result import ScreenResult
    from dishtrace.study.comparison import Case, Comparison
    from dishtrace.study.figures import Measure

TOO_MANY = 1e12
LONGEST_TITLE = 44
OUTSHINES = 8.0
"""Ratio of the spots' peaks above which one linear range of colours would leave the faintest dark. [–]"""
BELOW_FAINTEST = 10.0
"""How far a logarithmic range of colours reaches below the faintest spot's peak. [–]"""
OVERVIEW = {
    "mirror_m2": "mirror m2",
    "facets": "facets",
    "first_hit_receiver_w": "receiver W",
    "intercept_factor": "share %",
    "first_hit_stand_w": "stand W",
    "r90_m": "R90 mm",
    "concentration_90": "suns",
}
EXPLAINED = ("intercept_factor", "spot_peak_w_m2", "best_focus_m", "r90_m", "concentration_90")
CAUTIONS = ("eyes", "skin", "codes")


def comparison_text(comparison: Comparison, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a comparison, save the list of files.

    Parameters
    ----------
    comparison : Comparison
    signs : Signs
        Characters that the output can carry.

    Returns
    -------
    rich.text.Text
        Lines of at most 80 columns: all scenes in one table, then each beside the first.
    """
    others = comparison.cases[1:]
    sections = [
        head(comparison),
        overview(comparison, signs),
        *(beside_first(comparison, case, signs) for case in others),
        *([] if others else [alone(comparison, signs)]),
        *(dishes(comparison, case, signs) for case in comparison.cases if case.dishes),
        bullets("What the figures mean", meanings(comparison, signs)),
        bullets("Notes", comparison.notes),
        bullets("Cautions", warnings(comparison, signs)),
    ]
    return joined(section for section in sections if section)


def head(comparison: Comparison) -> list[str]:
    """How many scenes and rays, and which letter stands for which scene."""
    number = len(comparison.cases)
    scenes = f"{number} scenes" if number != 1 else "1 scene"
    lines: list[str] = [
        Heading(f"Comparison of {scenes}   {comparison.rays} rays each, seed {comparison.seed}, same random points")
    ]
    if comparison.stopped:
        left = ", ".join(comparison.not_traced)
        lines += textwrap.wrap(f"STOPPED EARLY; not traced: {left}" if left else "STOPPED EARLY", WIDTH)
    for case in comparison.cases:
        title = " ".join(case.result.scene.title.split())
        lines += textwrap.wrap(
            case.name if title in ("", "untitled", case.name) else f"{case.name}   ({title})",
            WIDTH,
            initial_indent=f"  {case.letter:<3}",
            subsequent_indent="       ",
        )
    return lines


def overview(comparison: Comparison, signs: Signs = PLAIN) -> list[str]:
    """One row a scene, values rounded as their errors allow."""
    columns = {}
    for key, title in OVERVIEW.items():
        if key in comparison.keys():
            texts = [_short(case, key) for case in comparison.cases]
            columns[title.replace("m2", f"m{signs.square}")] = texts
    return grid([case.letter for case in comparison.cases], columns)


def _short(case: Case, key: str) -> str:
    estimate = case.figures.get(key)
    return "-" if estimate is None else written_pair(estimate.scaled(BY_KEY[key].factor))[0]


def beside_first(comparison: Comparison, case: Case, signs: Signs = PLAIN) -> list[str]:
    """A scene beside the first: values, differences with their own errors, and what cannot be told apart."""
    first = comparison.first
    keys = [key for key in comparison.keys() if key in first.figures or key in case.figures]
    columns: dict[str, list[str]] = {first.letter: [], case.letter: [], f"{case.letter} - {first.letter}": []}
    for key in keys:
        texts = _value(first, key, signs), _value(case, key, signs), _difference(first, case, key, signs)
        for column, text in zip(columns.values(), texts, strict=True):
            column.append(text)
    title = _clipped(f"{case.letter} {case.name}, against {first.letter} {first.name}", WIDTH)
    lines: list[str] = [Heading(title), *grid([_label(BY_KEY[key], signs) for key in keys], columns)]
    for text in (_not_told_apart(comparison, case), _within_chance(comparison, case)):
        if text:
            lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return lines


def alone(comparison: Comparison, signs: Signs = PLAIN) -> list[str]:
    """The figures of the first scene when nothing else was traced."""
    first = comparison.first
    keys = list(first.figures)
    values = [_value(first, key, signs) for key in keys]
    return [Heading(first.name), *grid([_label(BY_KEY[key], signs) for key in keys], {first.letter: values})]


def dishes(comparison: Comparison, case: Case, signs: Signs = PLAIN) -> list[str]:
    """Mean and scatter over dishes that only the luck of setting their facets tells apart."""
    drawn = case.dishes
    if drawn is None:
        return []
    keys = [key for key in comparison.keys() if key in drawn.figures and drawn.figures[key].sd != 0.0]
    last = drawn.first_seed + drawn.number - 1
    lines: list[str] = [Heading(_clipped(f"{case.letter} {case.name}: from one dish to another", WIDTH))]
    rows = []
    for key in keys:
        measure, one = BY_KEY[key], drawn.figures[key]
        rows.append(Estimate(one.mean, one.sd).scaled(measure.factor))
    pairs = [written_pair(row) for row in rows]
    columns = {"mean": [value for value, _ in pairs], "scatter (1 sd)": [error for _, error in pairs]}
    if keys:
        lines += grid([_label(BY_KEY[key], signs) for key in keys], columns)
    text = (
        f"{drawn.number} dishes with dish.seed {drawn.first_seed} to {last}, {drawn.rays} rays each; the error of "
        f"tracing is taken out. The scatter itself is known to about {_share_of_sd(drawn.number)} %. What is not "
        "listed scatters less than that error."
    )
    return lines + textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _share_of_sd(number: int) -> str:
    """Relative standard error of a standard deviation from normal draws, 1 / sqrt(2 (n - 1)), in percent."""
    return f"{100.0 / np.sqrt(2.0 * (number - 1)):.0f}"


def warnings(comparison: Comparison, signs: Signs = PLAIN) -> list[str]:
    """The cautions that hold for all scenes, for the one with the highest peak."""
    worst = max((case.result for case in comparison.cases), key=lambda result: result.highest_peak.peak_w_m2.value)
    texts = [caution.text for caution in cautions(worst) if caution.topic in CAUTIONS]
    texts.append("What each scene can do to stand, bystanders and vessel, dishtrace trace tells.")
    return [text.replace("m2", f"m{signs.square}") for text in texts]


def meanings(comparison: Comparison, signs: Signs = PLAIN) -> list[str]:
    """The definitions that are not plain from a figure's name."""
    keys = [key for key in comparison.keys() if key in EXPLAINED]
    texts = [f"{BY_KEY[key].label}: {BY_KEY[key].meaning[:1].lower()}{BY_KEY[key].meaning[1:]}" for key in keys]
    return [text.replace("m2", f"m{signs.square}") for text in texts]


def _clipped(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 3]}..."


def _label(measure: Measure, signs: Signs) -> str:
    unit = measure.shown_unit.replace("m2", f"m{signs.square}")
    return f"{measure.label} {unit}".strip()


def _value(case: Case, key: str, signs: Signs) -> str:
    estimate = case.figures.get(key)
    return "-" if estimate is None else cell(estimate.scaled(BY_KEY[key].factor), signs)


def _difference(first: Case, case: Case, key: str, signs: Signs) -> str:
    """A signed difference; one that cannot be told from nothing carries a mark."""
    told = case.difference(first, key)
    if told is None:
        return "-"
    if told.verdict not in (DIFFERENT, NOT_TOLD_APART, UNKNOWN):
        return "0"
    estimate = told.estimate.scaled(BY_KEY[key].factor)
    sign = "+" if estimate.value > 0.0 else ""
    text = f"{sign}{written(estimate, signs)}".replace("(error unknown)", "(?)")
    return f"{text} ~" if told.verdict == NOT_TOLD_APART else text


def _not_told_apart(comparison: Comparison, case: Case) -> str:
    """Which figures cannot be told apart, and with how many rays they could."""
    items = []
    for key in comparison.keys():
        told = case.difference(comparison.first, key)
        if told is not None and told.verdict == NOT_TOLD_APART:
            items.append(f"{BY_KEY[key].label} ({_rays(told.rays_to_tell)})")
    if not items:
        return ""
    return (
        f"~ cannot be told apart with {comparison.rays} rays (the difference is below {TELLING:.0f} of its standard "
        f"errors; in brackets, about how many rays would tell a difference of this size): {', '.join(items)}."
    )


def _rays(needed: float | None) -> str:
    """A count of rays in round words."""
    if needed is None or needed > TOO_MANY:
        return "more than 1e12"
    for size, word in ((1e9, " thousand million"), (1e6, " million"), (1e3, " thousand")):
        if needed >= size:
            return significant(needed / size, 2) + word
    return significant(needed, 2)


def _within_chance(comparison: Comparison, case: Case) -> str:
    """Which differences are within what the luck of setting the facets does."""
    first = comparison.first
    items = []
    for key in comparison.keys():
        told = case.difference(first, key)
        spreads = [one.dishes.figures[key].sd for one in (first, case) if one.dishes and key in one.dishes.figures]
        if told is None or not spreads or any(sd is None for sd in spreads):
            continue
        if 0.0 < abs(told.estimate.value) < TELLING * float(np.hypot.reduce(spreads)):
            items.append(BY_KEY[key].label)
    if not items:
        return ""
    return f"Within {TELLING:.0f} sd of what one dish differs from the next by the luck of setting: {', '.join(items)}."


def write_comparison(comparison: Comparison, folder: Path) -> list[str]:
    """Write comparison.json and comparison.csv.

    Parameters
    ----------
    comparison : Comparison
    folder : Path
        Exists and can be written.

    Returns
    -------
    list of str
        Names of the files written.
    """
    names = [write_object(comparison.to_dict(), folder / "comparison.json")]
    comments = [
        f"dishtrace {comparison.version}, {comparison.rays} rays each, seed {comparison.seed}, same random points",
        f"one row a scene and figure; difference: from scene {comparison.first.name!r}, with its own standard error",
        "rays_to_tell: rays at which a difference of this size would be 2 standard errors",
        "dishes_sd: scatter from one dish to another by the luck of setting facets; empty: nothing to tell",
    ]
    return [*names, write_rows(comparison.rows(), folder / "comparison.csv", comments)]


@dataclass(frozen=True, eq=False)
class SpotPanel:
    """One spot of the picture.

    Parameters
    ----------
    title : str
        Letter and name.
    told : str
        Lines that say the same in numbers.
    screen : ScreenResult
        At the best focus.
    flux, smooth : (n, n) float64
        Map and smoothed map. [kW/m2]
    known : (n, n) bool
        Where the map is certain enough to show.
    """

    title: str
    told: str
    screen: ScreenResult
    flux: np.ndarray
    smooth: np.ndarray
    known: np.ndarray


@dataclass(frozen=True, eq=False)
class SpotRow:
    """Spots at one scale.

    Parameters
    ----------
    panels : tuple of SpotPanel
    half_width : float
        Half of what each panel shows, both ways. [mm]
    lowest, highest : float
        Ends of the colour scale, which is logarithmic when the lowest is above zero. [kW/m2]
    levels : (n,) float64
        Contour levels for all. [kW/m2]
    """

    panels: tuple[SpotPanel, ...]
    half_width: float
    lowest: float
    highest: float
    levels: np.ndarray


def spot_row(comparison: Comparison) -> SpotRow:
    """The spots of all scenes at their best focus, wide enough for the largest circle of R95.

    Colours are logarithmic when the brightest spot outshines the faintest so much that the latter would be all dark.
    """
    from dishtrace.report.fluxmap import is_certain

    panels, reaches = [], []
    for case in comparison.cases:
        screen = case.result.best_focus
        flux = np.asarray(screen.map_w_m2) / 1000.0
        error = np.asarray(screen.map_se_w_m2) / 1000.0
        known = is_certain(flux, error)
        title = _clipped(f"{case.letter}  {case.name}", LONGEST_TITLE)
        panels.append(SpotPanel(title, _told(case), screen, flux, smoothed(flux), known))
        centre = max(abs(value.value) for value in screen.centroid_m)
        reach = 1000.0 * (centre + 1.15 * screen.radius_m["95"].value)
        reaches.append(min(reach, 1000.0 * screen.half_width_m) if np.isfinite(reach) else 1000.0 * screen.half_width_m)
    highest = max((float(one.flux[one.known].max()) for one in panels if one.known.any()), default=1.0)
    peaks = np.array([panel.smooth.max() for panel in panels])
    lit = peaks[peaks > 0.0]
    if len(lit) and lit.max() > OUTSHINES * lit.min():
        lowest = round_below(lit.min() / BELOW_FAINTEST)
        return SpotRow(tuple(panels), max(reaches), lowest, highest, log_levels(lowest, highest))
    return SpotRow(tuple(panels), max(reaches), 0.0, highest, fewer(contour_levels(peaks)))


def log_levels(lowest: float, highest: float) -> np.ndarray:
    """Levels 1 and 3 of every decade above the lowest and below the highest."""
    decades = np.arange(np.floor(np.log10(lowest)), np.ceil(np.log10(highest)) + 1.0)
    levels = np.sort(np.concatenate([10.0**decades, 3.0 * 10.0**decades]))
    return levels[(levels > 1.001 * lowest) & (levels < highest)]


def round_below(value: float) -> float:
    """The next 1 or 3 of a decade at or below a positive value."""
    decade = 10.0 ** np.floor(np.log10(value))
    return float(3.0 * decade if value >= 3.0 * decade else decade)


def fewer(levels: np.ndarray) -> np.ndarray:
    """Contour levels for small drawings: of more than five, the skirt's and every second of the others."""
    return levels if len(levels) <= 5 else np.concatenate([levels[:1], levels[1::2]])


def _told(case: Case) -> str:
    """Spot and receiver in numbers, two short lines."""
    figures = case.figures
    radius, peak = 1e3 * figures["r90_m"].value, 1e-3 * figures["spot_peak_w_m2"].value
    lines = [f"R90 {significant(radius, 3)} mm, peak {significant(peak, 3)} kW/m²"]
    if "intercept_factor" in figures:
        share = 100.0 * figures["intercept_factor"].value
        lines.append(f"receiver {significant(figures['first_hit_receiver_w'].value, 4)} W ({share:.1f} %)")
    return "\n".join(lines)
