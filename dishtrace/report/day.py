"""What `dishtrace day` prints: energy, the day in steps, an imperfect drive, hazards, heating, cautions."""

from __future__ import annotations

import textwrap
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.cautions import CODES, cautions, seconds_to_burn, wood_ignition
from dishtrace.report.drift import drift_text
from dishtrace.report.filling_cautions import filling_cautions
from dishtrace.report.numerals import PLAIN, Signs, rounded, written
from dishtrace.report.tables import WIDTH, Heading, bullet, bullets, flow, grid, joined
from dishtrace.report.timeline import timeline_lines

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.stats import Estimate
    from dishtrace.study.day import Day
    from dishtrace.study.day.hazards import Hazard
    from dishtrace.study.day.warmth import HeatedDay

MOST_ROWS = 16
MOST_HAZARDS = 12
ENERGIES = {
    "sunlight": "sunlight on the dish",
    "receiver": "receiver absorbs",
    "stand": "stand absorbs",
    "passed": "goes past all parts",
}
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SKY_WORDS = {"clear-sky": "clear sky", "weather": "weather file", "held": "irradiance held"}
HELD = "  (each part equally warm, air held; errors of the light only, losses: 20 %)"
UNATTENDED = (
    "A drive that stops, or a clock that is wrong, walks the beam off the receiver within minutes. Never leave the "
    "dish facing the sun unattended, keep what burns out of all places listed, and cover the mirror before you re-set "
    "it."
)


def day_text(found: Day, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after `day`, save the list of files; lines of at most 80 columns."""
    sections = [
        _head(found, signs),
        _energy(found, signs),
        _months(found, signs),
        _steps(found),
        _stop(found, signs),
        _slips(found, signs),
        _hazards(found, signs),
        _heating(found, signs),
        bullets("Notes", list(found.notes)),
        bullets("Cautions", day_cautions(found)),
    ]
    return joined(section for section in sections if section)


def _head(found: Day, signs: Signs) -> list[str]:
    about = f"   {traces_text(found)} of {found.rays} rays, seed {found.seed}"
    title = " ".join((found.scene.title or "Untitled scene").split())[: WIDTH - len(about)]
    site, path = found.scene.site, found.table.path
    when = f"{found.first:%Y}" if found.span == "year" else f"{found.first:%Y-%m-%d}"
    facts = [when, f"latitude {site.latitude_deg:g}, longitude {site.longitude_deg:g}", SKY_WORDS[found.sky.kind]]
    facts.append(f"steps of {path.step_s / 60.0:g} min")
    if found.span == "day":
        facts.append(f"sun in the steps from {path.start[0]:%H:%M} to {_end(found):%H:%M} ({found.zone})")
    facts.append(f"direct sunlight {found.dni_kwh_m2:.4g} kWh/m{signs.square}")
    lines: list[str] = [Heading(title + about)]
    if found.stopped:
        lines.append("STOPPED EARLY: what was finished is told.")
    return lines + flow(facts, indent="")


def traces_text(found: Day) -> str:
    """How many traces were made."""
    return "1 trace" if found.traces == 1 else f"{found.traces} traces"


def _end(found: Day) -> datetime:
    """End of the last step with sun."""
    path = found.table.path
    return path.start[-1] + timedelta(seconds=path.step_s)


def _energy(found: Day, signs: Signs) -> list[str]:
    whole = found.energy_kwh["sunlight"].value
    lines: list[str] = [Heading(f"Energy over the {found.span}")]
    for key, text in ENERGIES.items():
        share = f"{100.0 * found.energy_kwh[key].value / whole:.2f} %" if whole > 0.0 else ""
        lines.append(f"  {text:<22}{written(found.energy_kwh[key], signs, 'kWh'):>30}  {share:>9}")
    return lines


def _months(found: Day, signs: Signs) -> list[str]:
    if not found.months:
        return []
    columns = {f"direct kWh/m{signs.square}": [f"{told['dni_kwh_m2']:.1f}" for told in found.months.values()]}
    for key in ("receiver", "stand", "passed"):
        texts = [written(told[key], signs) for told in found.months.values()]
        columns[f"{key} kWh"] = [text.replace("(error unknown)", "(?)") for text in texts]
    return [Heading("Months"), *grid([MONTHS[month - 1] for month in found.months], columns)]


def _steps(found: Day) -> list[str]:
    """Some steps of a day."""
    if found.span != "day":
        return []
    table = found.table
    rows = np.unique(np.linspace(0, len(table.path.time) - 1, MOST_ROWS).round().astype(int))

    def texts(name: str, scale: float, places: int) -> list[str]:
        values = table.columns[name][0] if name in table.columns else table.facts[name]
        return [rounded(scale * float(values[k]), places) if np.isfinite(values[k]) else "-" for k in rows]

    columns = {
        "elev": texts("elevation_deg", 1.0, 1),
        "W/m2": texts("dni_w_m2", 1.0, 0),
        "off axis mrad": texts("off_axis_mrad", 1.0, 1),
        "shaded %": texts("shaded_share", 100.0, 0),
        "receiver W": texts("receiver_w", 1.0, 0),
        "stand W": texts("stand_w", 1.0, 1),
        "spot x": texts("spot_x_m", 1e3, 1),
        "y mm": texts("spot_y_m", 1e3, 1),
    }
    if not np.any(table.facts["shaded_share"] > 0.0):
        del columns["shaded %"]
    worst = np.nanmax([_largest(table.columns[name][1]) for name in ("receiver_w", "stand_w")])
    lines = [Heading("Through the day"), *grid([f"{table.path.time[k]:%H:%M}" for k in rows], columns)]
    lines.append(f"  (errors of the watts: at most {worst:.2g} W; all steps and errors in day.csv)")
    return lines


def _largest(values: np.ndarray) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else np.nan


def _stop(found: Day, signs: Signs) -> list[str]:
    """The drive stops."""
    if not found.standings:
        return []
    when = "at" if found.span == "day" else "when receivers get most, on"
    form = "%H:%M" if found.span == "day" else "%d %b %H:%M"
    what = (
        "The dish stands still; its light after"
        if found.scene.mount.kind == "fixed"
        else f"If the dish stops moving {when}"
    )
    lines: list[str] = [Heading(f"{what} {found.worst_at:{form}}")]
    if found.drift is not None:
        lines += bullet(drift_text(found.drift, signs))
    others = [part.name for part in found.scene.parts if part.role != "receiver"]
    columns = {"on receiver %": [written(s.share.scaled(100.0), signs) for s in found.standings]}
    if others:
        name = max(others, key=lambda other: max(s.peak_w_m2[other].value for s in found.standings))
        columns[f"{name[:12]} W"] = [written(s.first_w[name], signs) for s in found.standings]
        columns["kW/m2"] = [_flux(s.peak_w_m2[name], signs) for s in found.standings]
    columns["past all W"] = [written(s.passed_w, signs) for s in found.standings]
    return lines + grid([f"{s.minutes:g} min" for s in found.standings], columns)


def _flux(peak: Estimate, signs: Signs) -> str:
    return written(peak.scaled(1e-3), signs) if peak.value > 0.0 else "no ray"


def _slips(found: Day, signs: Signs) -> list[str]:
    """Clock errors and stale settings."""
    if not found.slips:
        return []
    labels = []
    for slip in found.slips:
        if slip.kind == "setting":
            labels.append(f"set {slip.days} days ago ({slip.declination_error_deg:+.2f} deg)")
        else:
            labels.append(f"clock {slip.clock_error_min:+g} min" + (" (as is)" if slip.kind == "none" else ""))
    columns = {
        "on receiver %": [written(slip.share.scaled(100.0), signs) for slip in found.slips],
        "stand W": [written(slip.stand_w, signs) for slip in found.slips],
        "spot moves x, y mm": [
            f"{1e3 * slip.shift_m[0].value:+.1f}, {1e3 * slip.shift_m[1].value:+.1f}" for slip in found.slips
        ],
    }
    return [Heading(f"Clock and setting at {found.worst_at:%H:%M}"), *grid(labels, columns)]


def hazard_text(hazard: Hazard, span: str, signs: Signs = PLAIN) -> str:
    """One hazard in words.

    Parameters
    ----------
    hazard : Hazard
    span : str
        "day" or "year", for how times are written.
    signs : Signs
    """
    form = "%H:%M" if span == "day" else "%d %b %H:%M"
    when = f"{hazard.start:{form}} to {hazard.end:{form}}" if hazard.end > hazard.start else f"{hazard.start:{form}}"
    if hazard.lasts_s is not None:
        when += f", {_span(hazard.lasts_s)} in all"
    power = written(hazard.power_w, signs, "W")
    if hazard.part is None:
        reason = {"stopped-drive": "after the drive stops", "off-receiver": "with the beam off the receiver"}
        return f"{when}: {power} go past all parts {reason[hazard.kind]}, to wherever the light then falls"
    flux = hazard.peak_w_m2.value
    peak = written(hazard.peak_w_m2.scaled(1e-3), signs, f"kW/m{signs.square}")
    reason = {
        "strong-light": "gets",
        "off-receiver": "is hit, the beam off the receiver: it gets",
        "stopped-drive": "is hit after the drive stops: it gets",
    }[hazard.kind]
    text = f'{when}: "{hazard.part}" {reason} up to {peak} and {power} at {hazard.at:{form}}'
    return text + _harm(flux)


def _span(seconds: float) -> str:
    if seconds < 7200.0:
        return f"{seconds / 60.0:.0f} min"
    hours = seconds / 3600.0
    return f"{hours:.0f} h" if hours >= 100.0 else f"{hours:.3g} h"


def _harm(flux: float) -> str:
    """What a flux does."""
    told = []
    exposure = wood_ignition(flux)
    if exposure is not None:
        told.append(f"enough to set wood alight {exposure}")
    if flux > 0.0 and seconds_to_burn(flux) < 60.0:
        told.append(f"burns skin in about {seconds_to_burn(flux):.2g} s")
    return f" ({'; '.join(told)})" if told else ""


def _hazards(found: Day, signs: Signs) -> list[str]:
    texts = [hazard_text(hazard, found.span, signs) for hazard in found.hazards[:MOST_HAZARDS]]
    if len(found.hazards) > MOST_HAZARDS:
        texts.append(f"and {len(found.hazards) - MOST_HAZARDS} more in day-hazards.csv")
    return bullets("Where strong light goes", texts)


def _heating(found: Day, signs: Signs) -> list[str]:
    """Fillings and parts under the day's light."""
    lines: list[str] = []
    for heat in found.heats:
        if heat.timelines or heat.warmths:
            when = f"from {heat.start:%H:%M} on" if not heat.why else f"on {heat.start:%d %b from %H:%M on}: {heat.why}"
            lines += [""] if lines else []
            lines += [Heading(f"Heating {when}"), HELD]
            lines += _heated(heat, signs)
    return lines


def _heated(heat: HeatedDay, signs: Signs) -> list[str]:
    """Fillings and parts on one day."""
    lines: list[str] = []
    for timeline in heat.timelines:
        for line in timeline_lines(timeline, signs):
            lines += [line] if len(line) <= WIDTH else textwrap.wrap(line, WIDTH, subsequent_indent="    ")
    for warmth in heat.warmths:
        how = "its wall as one lump" if warmth.kind == "wall" else "settling at once: it has no wall"
        text = f'"{warmth.part}" gets up to {written(warmth.highest_c, signs, "C")} at {warmth.at:%H:%M} ({how})'
        if warmth.limit_c is not None:
            over = f"for {warmth.over_s / 60.0:.0f} min" if warmth.over_s > 0.0 else "never"
            text += f", above its limit of {warmth.limit_c:.0f} C {over}"
        lines += bullet(text + (f"; {warmth.ended}" if warmth.ended else ""))
    return lines


def day_cautions(found: Day) -> list[str]:
    """Cautions of a day or year."""
    texts = [caution.text for caution in filling_cautions(found.timelines)]
    traced = next(iter(found.light.results.values()))
    eyes = [caution.text for caution in cautions(traced) if caution.topic == "eyes"]
    return list(dict.fromkeys([*texts, UNATTENDED, *eyes, CODES]))
