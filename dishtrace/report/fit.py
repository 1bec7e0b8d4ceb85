"""A fit for people: the table in the terminal, files for other programs."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.report.cautions import CODES
from dishtrace.report.csv_rows import write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.numerals import PLAIN, Signs, written_pair
from dishtrace.report.tables import WIDTH, Heading, bullet, bullets, grid, joined
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.study.fit.findings import Finding
    from dishtrace.study.fit.outcome import Fit

SHOWN = {
    "slope_error_mrad": ("slope error of the mirror", "mrad", 1.0),
    "slope_error_from_spot_mrad": ("  from the photo", "mrad", 1.0),
    "slope_error_from_target_mrad": ("  from radii by hand", "mrad", 1.0),
    "slope_error_from_power_mrad": ("  from the power", "mrad", 1.0),
    "pointing_offset_x_mrad": ("pointing offset x", "mrad", 1.0),
    "pointing_offset_y_mrad": ("pointing offset y", "mrad", 1.0),
    "centroid_x_m": ("centroid x", "mm", 1e3),
    "centroid_y_m": ("centroid y", "mm", 1e3),
    "r50_m": ("R50 on the photo", "mm", 1e3),
    "r90_m": ("R90 on the photo", "mm", 1e3),
    "edge_radius_m": ("edge of the bright patch", "mm", 1e3),
    "power_w": ("power absorbed", "W", 1.0),
    "net_power_w": ("net power", "W", 1.0),
    "loss_w_k": ("loss coefficient", "W/K", 1.0),
    "optical_efficiency": ("optical efficiency", "%", 100.0),
    "wall_k_w": ("wall over water", "K/W", 1.0),
    "brightness_factor": ("brightness, times the scene's", "%", 100.0),
}
"""Names, units and factors of findings as they are shown."""
CAUSES = {
    "readings": "scatter of the readings",
    "photo": "noise of the photo",
    "tracing": "tracing",
    "grid": "reading off",
    "water_kg": "mass of the water",
    "vessel_j_k": "heat in the vessel",
    "air_c": "air temperature",
    "dni_w_m2": "irradiance",
    "dni_scale": "calibration of the irradiance",
    "offset_c": "calibration of the thermometer",
    "emissivity": "emissivity",
    "set_emissivity": "emissivity set",
    "reflected_c": "reflected radiation",
    "instrument_c": "temperature of the instrument",
    "wall_k_w": "wall over water",
}
WARNINGS = (
    "Photograph the spot through a dark filter and from the side of the dish, never along its light, and look at the "
    "target only through eye protection of welding grade. A white target at the focus can char or burn within seconds.",
    CODES,
)


def fit_text(fit: Fit, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a fit, save the list of files.

    Parameters
    ----------
    fit : Fit
    signs : Signs
        Characters that the output can carry.

    Returns
    -------
    rich.text.Text
        Lines of at most 80 columns.
    """
    sections = [_head(fit), table(fit, signs), _remarks(fit), causes(fit), bullets("Notes", fit.notes)]
    return joined(section for section in [*sections, bullets("Cautions", WARNINGS)] if section)


def _head(fit: Fit) -> list[str]:
    title = fit.scene.title_line
    lines: list[str] = [Heading(f"What the readings say about: {title}"[:WIDTH])]
    if fit.stopped:
        lines.append("STOPPED EARLY: what needs more traces is missing.")
    read = []
    if fit.heat is not None:
        used = sum(len(one) for one in fit.heat.judged.stretches)
        read.append(
            f"log: {used} of {len(fit.heat.heat_c)} readings used, scatter {fit.heat.fit.noise_k:.2g} K; power at "
            f"{fit.heat.dni_w_m2.value:.0f} W/m2, net power at {fit.heat.middle_c:.0f} degC"
        )
    if fit.spot is not None:
        read.append(f"photo: {fit.spot.photo.tone}; scale: {fit.spot.scale.kind}")
    if fit.edge is not None:
        low, high = fit.edge.edge
        read.append(
            f"{len(fit.edge.radii_m)} radii by hand, edge taken at {100 * low:g} to {100 * high:g} % of the peak"
        )
    return lines + [
        line for text in read for line in textwrap.wrap(text, WIDTH - 2, initial_indent="  ", subsequent_indent="    ")
    ]


def table(fit: Fit, signs: Signs = PLAIN) -> list[str]:
    """Value, standard error and 95 % interval of every finding; "?" marks what the readings cannot tell."""
    labels, values, intervals = [], [], []
    for key, one in fit.findings.items():
        name, unit, factor = SHOWN[key]
        labels.append(f"{name} {unit}")
        values.append(_value(one, factor, signs))
        intervals.append(interval(one, factor))
    return grid(labels, {"value": values, "95 % interval": intervals}) if labels else []


def _value(one: Finding, factor: float, signs: Signs) -> str:
    if one.se is None:
        return "?"
    value, error = written_pair(Estimate(one.value, one.se).scaled(factor))
    return f"{value} {signs.plus_minus} {error}" + ("" if one.told else " ?")


def interval(one: Finding, factor: float) -> str:
    """An interval in words, with digits that its width bears out."""
    if one.low is None and one.high is None:
        return "cannot be told"
    if one.low is None or one.high is None:
        return f"above {factor * one.low:.3g}" if one.high is None else f"below {factor * one.high:.3g}"
    step = Estimate(one.low, 0.5 * (one.high - one.low)).scaled(factor)
    low, _ = written_pair(step)
    high, _ = written_pair(Estimate(factor * one.high, step.se))
    return f"{low} to {high}"


def _remarks(fit: Fit) -> list[str]:
    """What the findings' remarks say."""
    lines, told = [], set()
    for key, one in fit.findings.items():
        if one.remark and one.remark not in told:
            told.add(one.remark)
            lines += bullet(f"{SHOWN[key][0].strip()}: {one.remark}")
    return [Heading("What that means"), *lines] if lines else []


def causes(fit: Fit) -> list[str]:
    """What makes each finding uncertain, in shares of its squared error, the largest first."""
    lines = []
    for key, shares in fit.shares.items():
        whole = sum(se**2 for se in shares.values())
        if key not in SHOWN or not whole > 0.0 or key.startswith("centroid"):
            continue
        ranked = sorted(shares.items(), key=lambda item: -item[1])
        parts = [
            f"{CAUSES.get(cause, cause)} {100.0 * se**2 / whole:.0f} %"
            for cause, se in ranked[:3]
            if se**2 > 0.005 * whole
        ]
        name = SHOWN[key][0].strip()
        name = f"slope error {name}" if name.startswith("from") else name
        lines += bullet(f"{name}: {', '.join(parts)}")
    return [Heading("Where the errors come from"), *lines] if lines else []


def write_fit(fit: Fit, folder: Path) -> list[str]:
    """Write fit.json, fit.csv, and for a log fit-log.csv with what was made of each reading.

    Parameters
    ----------
    fit : Fit
    folder : Path
        Exists and can be written.

    Returns
    -------
    list of str
        Names of the files written.
    """
    names = [write_object(fit.to_dict(), folder / "fit.json")]
    comments = [f"dishtrace {fit.version}, {fit.rays} rays each, seed {fit.seed}", "low, high: 95 % interval"]
    names.append(write_rows(fit.rows(), folder / "fit.csv", comments))
    if fit.heat is not None:
        remark = "temperature_c: corrected; fitted_c: from the heat balance, empty where the reading was left out"
        names.append(write_rows(log_rows(fit), folder / "fit-log.csv", [comments[0], remark]))
    return names


def log_rows(fit: Fit) -> list[dict[str, float | None]]:
    """What was made of each reading."""
    heat = fit.heat
    fitted = {
        int(place): float(value)
        for places, values in zip(heat.judged.stretches, heat.fit.fitted_c, strict=True)
        for place, value in zip(places, values, strict=True)
    }
    return [
        {
            "line": int(heat.log.lines[k]),
            "time_s": float(heat.log.time_s[k]),
            "reading_c": float(heat.log.reading_c[k]),
            "temperature_c": float(heat.heat_c[k]),
            "fitted_c": fitted.get(k),
        }
        for k in range(len(heat.heat_c))
    ]
