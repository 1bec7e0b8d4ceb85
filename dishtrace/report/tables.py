"""The summary in the terminal: plain lines of at most 80 columns, readable without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from dishtrace.report.agreement import two_ways
from dishtrace.report.cautions import cautions
from dishtrace.report.drift import drift_text
from dishtrace.report.measured import small
from dishtrace.report.numerals import PLAIN, UNKNOWN, Signs, has_error, significant, written, written_pair
from dishtrace.scene.uncertain import nominal
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.flux.result import PartResult, Result, ScreenResult
    from dishtrace.study.drift import Drift

WIDTH = 80
NAME_WIDTH = 18
TIED = "\u00a0"  # a space at which no line is broken
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


def summary(
    result: Result, signs: Signs = PLAIN, drift: Drift | None = None, heat: dict[str, dict] | None = None
) -> Text:
    """Everything that is printed after a run, save the list of files.

    Parameters
    ----------
    result : Result
        A traced scene.
    signs : Signs
        Characters that the output can carry.
    drift : Drift, optional
        Of a dish that stands still.
    heat : dict, optional
        Quick balance of the parts, see `dishtrace.heat.run.quick_balance`.

    Returns
    -------
    rich.text.Text
        Lines of at most 80 columns, headings in bold; `.plain` is the bare text.
    """
    sections = [
        head(result, signs),
        measured(result),
        measured_facets(result),
        budget(result, signs) + first_hits(result, signs),
        spot(result, signs) + moving_on(drift, signs) + peaks(result, signs),
        parts_table(result, signs),
        screens(result, signs),
        settled(heat),
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


def head(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Which scene, how many rays, what sun and what dish."""
    about = f"   {result.rays} rays, seed {result.seed}"
    lines: list[str] = [Heading(_clipped(result.scene.title or "Untitled scene", WIDTH - len(about)) + about)]
    if result.stopped:
        lines.append(f"STOPPED EARLY: {result.rays} of {result.rays_wanted} rays traced; the errors say so.")
    sun, dish = result.sun, result.dish
    place = "overhead"
    if sun.has_direction:
        place = f"azimuth {sun.azimuth_deg:.1f}, elevation {sun.elevation_deg:.1f} deg"
    facts = [
        f"sun {sun.dni_w_m2:.0f} W/m{signs.square}, {place}",
        f"mirror {dish['mirror_m2']:.3g} m{signs.square}, rim {dish['rim_angle_deg']:.1f} deg",
    ]
    return lines + flow(facts, indent="")


def measured(result: Result) -> list[str]:
    """The fit of a measured mirror; nothing for other mirrors."""
    figures = result.dish.get("measured")
    if figures is None:
        return []
    scene_m = nominal(result.scene.dish.focal_length_m)
    lines: list[str] = [Heading(f"Measured mirror, {figures['points']} points")]
    lines += flow(
        [
            f"fitted focal length {significant(figures['focal_length_m'], 4)} m (scene: {scene_m:.4g} m)",
            f"{small(1e3 * figures['beside_paraboloid_rms_m'], 'mm')} rms beside the paraboloid",
        ]
    )
    lines += flow(
        [
            f"fit of degree {figures['degree']} leaves {small(1e3 * figures['left_rms_m'], 'mm')} rms",
            f"slope error {small(figures['slope_error_mrad'], 'mrad')} per axis",
        ]
    )
    return lines + _why_no_errors(result.scene.dish.facets.height_error_m, "height_error_m")


def measured_facets(result: Result) -> list[str]:
    """The fits of measured facets; nothing for other mirrors."""
    lines: list[str] = []
    for figures in result.dish.get("measured_facets", ()):
        file = " ".join(figures["file"].split())
        lines.append(Heading(_clipped(f"Measured facet {file}, {figures['points']} points", WIDTH)))
        radius, (low, high) = figures["radius_m"], figures["radii_m"]
        form = "flat" if radius is None else f"fitted radius {significant(radius, 4)} m"
        by_way = " and ".join("flat" if r is None else f"{significant(r, 4)} m" for r in (low, high))
        lines += flow(
            [
                f"{form} (by direction: {by_way})",
                f"{small(1e3 * figures['beside_sphere_rms_m'], 'mm')} rms beside the "
                f"{'plane' if radius is None else 'sphere'}",
            ]
        )
        lines += flow(
            [
                f"fit of degree {figures['degree']} leaves {small(1e3 * figures['left_rms_m'], 'mm')} rms",
                f"slope error {small(figures['slope_error_mrad'], 'mrad')} per axis",
                f"carried by {figures['facets']} facets of {figures['patches']} "
                f"patch{'' if figures['patches'] == 1 else 'es'}",
            ]
        )
    if lines:
        lines += _why_no_errors(result.scene.dish.facets.curve_height_error_m, "curve_height_error_m")
    return lines


def _why_no_errors(error_m: float, key: str) -> list[str]:
    """Why figures of a fit stand without standard errors, and what of the heights' error is in them."""
    heights = f"Heights count as exact; {key} would take their error out of the slope error."
    if error_m > 0.0:
        heights = f"An error of {1e3 * error_m:.3g} mm of the heights is taken out of the slope error."
    why = f"No standard errors: what the fit leaves is form and measuring error, mixed. {heights}"
    return textwrap.wrap(why, WIDTH, initial_indent="  ", subsequent_indent="  ")


def budget(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The ledger as a bar chart in characters, with watts and their errors and percent of the outline."""
    whole = result.budget_w["outline"]
    entries = ((name, result.budget_w[key]) for key, name in BUDGET_NAMES.items())
    rows = [(name, estimate) for name, estimate in entries if estimate.value != 0.0]
    watts = aligned([estimate for _, estimate in rows], signs)
    room = WIDTH - 2 - NAME_WIDTH - 2 - max((len(watt) for watt in watts), default=0) - len(" W  100.00 %")
    lines: list[str] = [Heading(f"Where the {written(whole, signs)} W of sunlight on the dish outline end")]
    for (name, estimate), watt in zip(rows, watts, strict=True):
        share = estimate.value / whole.value if whole.value > 0.0 else 0.0
        bar = "#" * round(max(0.0, share) * room)
        lines.append(f"  {name:<{NAME_WIDTH}} {bar:<{room}} {watt} W  {100.0 * share:6.2f} %")
    return lines


def first_hits(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Which part the light meets first after the mirror: intercept factor and stand."""
    stand = result.first_hit_w["stand"]
    leaving = sum(estimate.value for estimate in result.first_hit_w.values())
    receiver = written(result.intercept_factor.scaled(100.0), signs)
    text = f"Of the light that leaves the mirror, {receiver} % meets the receiver first (intercept{TIED}factor)"
    tail = ", none the stand."
    if stand.value > 0.0:
        share = written(stand.scaled(100.0 / leaving), signs)
        tail = f", {share} % the stand ({written(stand, signs)} W)."
    return [line.replace(TIED, " ") for line in textwrap.wrap(text + tail, WIDTH)]


def spot(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Size and place of the spot in the focal plane and where along the axis it is best."""
    plane, best, high = result.focal_plane, result.best_focus, result.highest_peak
    lines: list[str] = [
        Heading(f"Spot in the focal plane, no receiver there (diameters in mm; peaks over 1 cm{signs.square})")
    ]
    lines += flow(_diameters(plane, signs))
    x, y = (written(value.scaled(1000.0), signs) for value in plane.centroid_m)
    lines += flow([f"peak {_peak(plane, signs)}", f"centre at x {x}, y {y} mm"])
    ninety = written(best.radius_m["90"].scaled(2000.0), signs)
    lines += flow([f"smallest: {_offset(best, signs)}", f"90 % in {ninety}"])
    lines += flow([f"brightest: {_offset(high, signs)}", f"{_peak(high, signs)} {_suns(high, result)}"])
    return lines


def moving_on(drift: Drift | None, signs: Signs = PLAIN) -> list[str]:
    """When the spot has left the receiver; nothing for a dish that follows the sun."""
    text = "" if drift is None else drift_text(drift, signs)
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def peaks(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The highest flux on a receiver and on a stand part, with its place."""
    lines: list[str] = []
    for role in ("receiver", "stand"):
        parts = [part for part in result.parts.values() if part.role == role and part.peak_w_m2.value > 0.0]
        if parts:
            part = max(parts, key=lambda candidate: candidate.peak_w_m2.value)
            patch = f'on "{part.name}" {_peak(part, signs)}'
            lines += flow([patch, place_of_peak(result, part), *at_point(part, signs)])
    return lines + two_ways(result, signs, width=WIDTH)


def at_point(part: PartResult, signs: Signs = PLAIN) -> list[str]:
    """The flux at the part's brightest point, where it was looked for."""
    point = getattr(part, "peak_point", None)
    return [] if point is None else [f"at a point {written(point.flux.scaled(1e-3), signs, f'kW/m{signs.square}')}"]


def place_of_peak(result: Result, part: PartResult) -> str:
    """Coordinates of a part's peak in the frame in which the scene places the part; the side of a sheet, too."""
    frame = next((given.frame for given in result.scene.parts if given.name == part.name), "dish")
    origin = "ground origin" if frame == "ground" else "focus"
    x, y, z = (f"{1000.0 * value:z.0f}" for value in part.peak_at_m)
    side = "" if part.mesh.is_closed else f"{part.peak_side} "
    return f"{side}at ({x}, {y}, {z}) mm from the {origin}"


def parts_table(result: Result, signs: Signs = PLAIN) -> list[str]:
    """One row a part: light that meets it first, what it absorbs, direct sun, peak flux."""
    if not result.parts:
        return []
    parts = list(result.parts.values())
    columns = {
        "meets first W": [part.first_w for part in parts],
        "absorbs W": [part.absorbed_w for part in parts],
        "direct sun W": [part.direct_absorbed_w for part in parts],
        f"peak kW/m{signs.square}": [part.peak_w_m2.scaled(1e-3) for part in parts],
    }
    texts = {title: [cell(value, signs) for value in values] for title, values in columns.items()}
    lines: list[str] = [Heading("Parts (mirror light; absorbed direct sun apart)")]
    lines += grid([f"{part.name}, {part.role}" for part in parts], texts)
    if any(UNKNOWN_MARK in text for column in texts.values() for text in column):
        lines.append(f"  {UNKNOWN_MARK} {UNKNOWN}")
    return lines


def screens(result: Result, signs: Signs = PLAIN) -> list[str]:
    """Power, spot size and peak on every screen of the scene."""
    if not result.screens:
        return []
    lines: list[str] = [Heading("Screens (diameters in mm)")]
    for name, screen in result.screens.items():
        lines += flow(
            [f'"{name}" {written(screen.power_w, signs, "W")}', f"peak {_peak(screen, signs)} {_suns(screen, result)}"]
        )
        lines += flow(_diameters(screen, signs), indent="    ")
        inside = [f"{1000.0 * radius:g} mm: {written(power, signs)} W" for radius, power in screen.inside]
        if inside:
            lines += flow(["within a radius of " + inside[0], *inside[1:]], indent="    ")
    return lines


def settled(heat: dict[str, dict] | None) -> list[str]:
    """Temperature of each lit part as one lump with nothing drawn off."""
    lit = {name: entry for name, entry in (heat or {}).items() if entry["absorbed_w"]["value"] > 0.0}
    if not lit:
        return []
    items = [f"{name} {entry['stagnation_c']['value']:.0f} C" for name, entry in lit.items()]
    lines = [Heading("Temperatures with nothing drawn off, each part equally warm everywhere"), *flow(items)]
    return [*lines, "  (losses are good to 20 %; the command heat tells the hottest places and more)"]


def notes(result: Result) -> list[str]:
    """What the run has to tell about itself."""
    return bullets("Notes", result.notes)


def warnings(result: Result, signs: Signs = PLAIN) -> list[str]:
    """The cautions, short."""
    texts = [caution.text.replace("m2", f"m{signs.square}") for caution in cautions(result)]
    return bullets("Cautions", texts)


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


def grid(labels: Sequence[str], columns: Mapping[str, Sequence[str]]) -> list[str]:
    """A table under its titles; labels stand on lines of their own when one is too long for its column."""
    widths = {title: max(len(title), *(len(text) for text in column)) for title, column in columns.items()}
    room = WIDTH - 2 - sum(width + 2 for width in widths.values())
    is_short = max(len(label) for label in labels) <= room
    first = max(len(label) for label in labels) if is_short else max(room, 0)
    lines = [f"  {'':<{first}}" + "".join(f"  {title:>{width}}" for title, width in widths.items())]
    for row, label in enumerate(labels):
        if not is_short:
            lines += textwrap.wrap(label, WIDTH - 2, initial_indent="  ", subsequent_indent="  ")
        numbers = "".join(f"  {columns[title][row]:>{width}}" for title, width in widths.items())
        lines.append(f"  {label if is_short else '':<{first}}{numbers}")
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


def bullets(title: str, texts: Sequence[str]) -> list[str]:
    """A heading and a paragraph with a dash for each text; nothing without texts."""
    return [Heading(title), *(line for text in texts for line in bullet(text))] if texts else []


def _wrapped(text: str, indent: str) -> list[str]:
    if len(text) <= WIDTH:
        return [text]
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent + "  ", drop_whitespace=True)


def _clipped(text: str, width: int) -> str:
    line = " ".join(text.split())
    return line if len(line) <= width else line[: width - 3] + "..."


def _diameters(screen: ScreenResult, signs: Signs) -> list[str]:
    return [f"{share} % in {written(radius.scaled(2000.0), signs)}" for share, radius in screen.radius_m.items()]


def _peak(where: PartResult | ScreenResult, signs: Signs) -> str:
    """Peak flux in kW/m2, with its patch when that is not 1 cm2."""
    patch = 1e4 * where.peak_patch_m2
    tail = "" if 0.95 < patch < 1.05 else f" over {patch:.2g} cm{signs.square}"
    return written(where.peak_w_m2.scaled(1e-3), signs, f"kW/m{signs.square}") + tail


def _suns(screen: ScreenResult, result: Result) -> str:
    """Peak flux over direct normal irradiance."""
    return f"({significant(screen.peak_w_m2.value / result.sun.dni_w_m2, 3)} suns)"


def _offset(screen: ScreenResult, signs: Signs) -> str:
    """Where a plane stands along the axis."""
    offset = screen.offset_m if isinstance(screen.offset_m, Estimate) else Estimate(float(screen.offset_m), 0.0)
    side = "before" if offset.value < 0.0 else "beyond"
    return f"{written(Estimate(abs(offset.value), offset.se).scaled(1000.0), signs)} mm {side} the focus"
