"""The summary in the terminal: plain lines of at most 80 columns, readable without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from dishtrace.report.cautions import cautions
from dishtrace.report.numerals import PLAIN, UNKNOWN, Signs, has_error, written, written_pair
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.flux.result import PartResult, Result, ScreenResult

WIDTH = 80
BUDGET_NAMES = {
    "gaps": "gaps and hole",
    "shaded": "shade of parts",
    "mirror_absorbed": "mirror absorbs",
    "blocked": "mirror's back, rim",
    "receiver": "receiver absorbs",
    "stand": "stand absorbs",
    "other_parts": "others absorb",
    "escaped": "bounced off, gone",
    "missed": "missed every part",
    "lost": "lost in tracing",
}


class Heading(str):
    """A line that starts a section; shown bold where the terminal can."""


def summary(result: Result, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a run, save the list of files.

    Parameters
    ----------
    result : Result
        A traced scene.
    signs : Signs
        Characters that the output can carry.

    Returns
    -------
    rich.text.Text
        Lines of at most 80 columns, headings in bold; `.plain` is the bare text.
    """
    sections = [
        head(result),
        budget(result, signs) + first_hits(result, signs),
        spot(result, signs) + peaks(result, signs),
        parts_table(result, signs),
        screens(result, signs),
        notes(result),
        warnings(result, signs),
    ]
    return joined(section for section in sections if section)


def joined(sections: Iterable[Sequence[str]]) -> Text:
    """Sections under one another with an empty line between, headings in bold."""
    from rich.text import Text

    text = Text(no_wrap=True, overflow="ignore")
    for number, section in enumerate(sections):
        if number:
            text.append("\n")
        for line in section:
            text.append(line, style="bold" if isinstance(line, Heading) else "")
            text.append("\n")
    text.rstrip()
    return text


def head(result: Result) -> list[str]:
    """Which scene, how many rays, what sun and what dish."""
    lines: list[str] = [Heading(_clipped(result.scene.title or "Untitled scene"))]
    if result.stopped:
        lines.append(
            f"STOPPED EARLY: {result.rays} of {result.rays_wanted} rays traced; the errors below say so."
        )
    sun, dish = result.sun, result.dish
    place = (
        f"azimuth {sun.azimuth_deg:.1f}, elevation {sun.elevation_deg:.1f} deg"
        if sun.has_direction
        else "overhead"
    )
    facts = [
        f"{result.rays} rays, seed {result.seed}",
        f"sun {sun.dni_w_m2:.0f} W/m2, {place}",
        f"mirror {dish['mirror_m2']:.3g} m2, rim angle {dish['rim_angle_deg']:.1f} deg",
    ]
    return lines + flow(facts, indent="")


def budget(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The ledger as a bar chart in characters, with watts, percent of the outline and errors."""
    whole = result.budget_w["outline"]
    rows = [
        (name, result.budget_w[key])
        for key, name in BUDGET_NAMES.items()
        if result.budget_w[key].value != 0.0
    ]
    share = 100.0 / whole.value if whole.value else 0.0
    watts = aligned([estimate for _, estimate in rows], signs)
    percents = aligned([_without_unknown(estimate.scaled(share)) for _, estimate in rows], signs)
    room = WIDTH - 2 - 18 - 2 - sum(len(column[0]) + 4 if column else 0 for column in (watts, percents))
    lines: list[str] = [Heading(f"Where the {written(whole, signs)} W of sunlight on the dish outline end")]
    for (name, estimate), watt, percent in zip(rows, watts, percents, strict=True):
        bar = "#" * round(max(0.0, estimate.value * share / 100.0) * room)
        lines.append(
            f"  {name:<18} {bar:<{max(room, 0)}} {watt} W  {percent} %".replace("  %", " %").rstrip()
        )
    return lines


def first_hits(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Which part the light meets first after the mirror: intercept factor and stand."""
    stand = result.first_hit_w["stand"]
    leaving = sum(estimate.value for estimate in result.first_hit_w.values())
    share = stand.scaled(100.0 / leaving) if leaving > 0.0 else Estimate(float("nan"), None)
    receiver = written(result.intercept_factor.scaled(100.0), signs)
    lines = [f"Of the light that leaves the mirror, {receiver} % meets the receiver first (intercept factor)"]
    if stand.value > 0.0:
        lines[0] += f", {written(share, signs)} % the stand ({written(stand, signs)} W)."
    else:
        lines[0] += ", none the stand."
    return textwrap.wrap(lines[0], WIDTH)


def spot(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Size and place of the spot in the focal plane and where along the axis it is best."""
    plane, best, high = result.focal_plane, result.best_focus, result.highest_peak
    lines: list[str] = [Heading("Spot in the focal plane, no receiver in the way (diameters, mm)")]
    lines += flow(_diameters(plane, signs))
    center = [written(value.scaled(1000.0), signs) for value in plane.centroid_m]
    lines += flow([f"centre at x = {center[0]}, y = {center[1]} mm", f"peak {_flux(plane.peak_w_m2, signs)}"])
    ninety = written(best.radius_m["90"].scaled(2000.0), signs)
    lines += flow([f"smallest spot: {_offset(best, signs)}", f"90 % in {ninety} mm"])
    lines += flow(
        [f"highest peak: {_offset(high, signs)}", _peak(high.peak_w_m2, high.peak_patch_m2, result, signs)]
    )
    return lines


def peaks(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The highest flux on a receiver and on a stand part, with its place."""
    lines: list[str] = []
    for role in ("receiver", "stand"):
        parts = [part for part in result.parts.values() if part.role == role and part.peak_w_m2.value > 0.0]
        if parts:
            part = max(parts, key=lambda candidate: candidate.peak_w_m2.value)
            what = f"peak on the {role}: {_peak(part.peak_w_m2, part.peak_patch_m2, result, signs)}"
            lines += flow([what, f'"{part.name}" {place_of_peak(result, part)}'])
    return lines


def place_of_peak(result: Result, part: PartResult) -> str:
    """Side and coordinates of a part's peak in the frame in which the scene places the part."""
    frame = next((given.frame for given in result.scene.parts if given.name == part.name), "dish")
    origin = "ground origin" if frame == "ground" else "focus"
    x, y, z = (f"{1000.0 * value + 0.0:.0f}" for value in part.peak_at_m)
    return f"{part.peak_side} at ({x}, {y}, {z}) mm from the {origin}"


def parts_table(result: Result, signs: Signs = PLAIN) -> list[str]:
    """One row a part: light that meets it first, what it absorbs, direct sun, peak flux."""
    if not result.parts:
        return []
    rows = [(f"{part.name}, {part.role}", part, part) for part in result.parts.values()]
    labels, columns = [], [[], [], [], []]
    for label, part, figures in rows:
        labels.append(label)
        values = (figures.first_w, figures.absorbed_w, figures.direct_absorbed_w, part.peak_w_m2.scaled(1e-3))
        for column, value in zip(columns, values, strict=True):
            column.append(cell(value, signs))
    titles = ["meets first W", "absorbs W", "direct sun W", "peak kW/m2"]
    lines: list[str] = [Heading("Parts (mirror light; direct sun absorbed apart)")]
    lines += grid(labels, titles, columns)
    if any(UNKNOWN_MARK in text for column in columns for text in column):
        lines.append(f"  {UNKNOWN_MARK} {UNKNOWN}")
    return lines


def screens(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Power, spot size and peak on every screen of the scene."""
    if not result.screens:
        return []
    lines: list[str] = [Heading("Screens (diameters in mm)")]
    for name, screen in result.screens.items():
        lines += flow(
            [f'"{name}" {written(screen.power_w, signs, "W")}', f"peak {_flux(screen.peak_w_m2, signs)}"]
        )
        lines += flow(_diameters(screen, signs), indent="    ")
        inside = [f"{1000.0 * radius:g} mm: {written(power, signs)} W" for radius, power in screen.inside]
        if inside:
            lines += flow(["within a radius of " + inside[0], *inside[1:]], indent="    ")
    return lines


def notes(result: Result) -> list[str]:
    """What the run has to tell about itself."""
    if not result.notes:
        return []
    return [Heading("Notes"), *(line for note in result.notes for line in bullet(note))]


def warnings(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The cautions, short."""
    texts = [caution.text.replace("m2", f"m{signs.square}") for caution in cautions(result)]
    return [Heading("Cautions"), *(line for text in texts for line in bullet(text))]


UNKNOWN_MARK = "(?)"


def cell(estimate: Estimate, signs: Signs) -> str:
    """An estimate in a table: "none seen" for nothing with unknown error, a mark for other unknown errors."""
    if estimate.value == 0.0:
        return "0" if has_error(estimate) else "none seen"
    return written(estimate, signs).replace(f"({UNKNOWN})", UNKNOWN_MARK)


def aligned(estimates: Sequence[Estimate], signs: Signs) -> list[str]:
    """Estimates as texts of equal width: values to the right, errors to the left."""
    pairs = [written_pair(estimate) for estimate in estimates]
    left = max((len(value) for value, _ in pairs), default=0)
    tails = []
    for _, error in pairs:
        tails.append(f" ({error})" if error == UNKNOWN else f" {signs.plus_minus} {error}" if error else "")
    right = max((len(tail) for tail in tails), default=0)
    return [f"{value:>{left}}{tail:<{right}}" for (value, _), tail in zip(pairs, tails, strict=True)]


def grid(labels: Sequence[str], titles: Sequence[str], columns: Sequence[Sequence[str]]) -> list[str]:
    """A table under its titles; a label too long for its column stands on a line of its own."""
    widths = [
        max(len(title), *(len(text) for text in column))
        for title, column in zip(titles, columns, strict=True)
    ]
    room = WIDTH - 2 - sum(width + 2 for width in widths)
    fits = max((len(label) for label in labels if len(label) <= room), default=max(room, 0))
    lines = ["  " + " " * fits + "".join(f"  {title:>{w}}" for title, w in zip(titles, widths, strict=True))]
    for row, label in enumerate(labels):
        numbers = "".join(f"  {column[row]:>{w}}" for column, w in zip(columns, widths, strict=True))
        if len(label) > fits:
            lines += textwrap.wrap(label, WIDTH - 2, initial_indent="  ", subsequent_indent="  ")
            label = ""
        lines.append(f"  {label:<{fits}}{numbers}")
    return lines


def flow(items: Sequence[str], indent: str = "  ") -> list[str]:
    """Items after one another with three spaces between, a new line where the next would pass 80 columns."""
    lines, line = [], ""
    for item in items:
        longer = f"{line}   {item}" if line else f"{indent}{item}"
        if line and len(longer) > WIDTH:
            lines.append(line)
            longer = f"{indent}{'  ' if indent else ''}{item}"
        line = longer
    lines.append(line)
    return [piece for text in lines for piece in _wrapped(text, indent)]


def bullet(text: str) -> list[str]:
    """A paragraph with a dash before its first line."""
    return textwrap.wrap(" ".join(text.split()), WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _wrapped(text: str, indent: str) -> list[str]:
    if len(text) <= WIDTH:
        return [text]
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent + "  ", drop_whitespace=True)


def _clipped(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= WIDTH else line[: WIDTH - 3] + "..."


def _diameters(screen: ScreenResult, signs: Signs) -> list[str]:
    return [
        f"{share} % in {written(radius.scaled(2000.0), signs)}" for share, radius in screen.radius_m.items()
    ]


def _flux(flux: Estimate, signs: Signs) -> str:
    return written(flux.scaled(1e-3), signs, f"kW/m{signs.square}")


def _peak(flux: Estimate, patch_m2: float, result: Result, signs: Signs) -> str:
    suns = flux.value / result.sun.dni_w_m2
    return f"{_flux(flux, signs)} ({suns:.3g} suns) over {1e4 * patch_m2:.3g} cm{signs.square}"


def _offset(screen: ScreenResult, signs: Signs) -> str:
    offset = (
        screen.offset_m if isinstance(screen.offset_m, Estimate) else Estimate(float(screen.offset_m), 0.0)
    )
    return f"{written(offset.scaled(1000.0), signs)} mm beyond the focus"


def _without_unknown(estimate: Estimate) -> Estimate:
    """The same value without an error, for a column whose neighbour already says that it is unknown."""
    return estimate if has_error(estimate) else Estimate(estimate.value, 0.0)
