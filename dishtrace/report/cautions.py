"""What can hurt someone, in plain words: by the numbers of a result, and at the bench and while aligning.

These are hazards to know about, never a licence to do a thing: local codes and the judgement of licensed people come
first. The thresholds stand in data/skin_pain.csv and data/wood_ignition.csv with their sources.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dishtrace.flux.result import Result

BURN_DOSE_J_M2 = 164e3
"""Dose that burns bare skin to the second degree: 16.4 J/cm2 absorbed. Source: G. R. Ripple et al., J. Occupational
Medicine 32 (1990), read in its abstract. [J/m2]"""

STEAM_KG_PER_J = 0.474e-6
"""Steam raised per joule at 5 bar, 1/h_fg with h_fg = 2.108 MJ/kg. Source: IAPWS-IF97 saturation table. [kg/J]"""

CODES = "Local codes and licensed practice come before anything this program says."


@dataclass(frozen=True)
class Caution:
    """One caution.

    Parameters
    ----------
    topic : str
        One word: eyes, skin, fire, bystanders, steam, edges, wind, codes.
    text : str
        What the hazard is and what to do, one or two sentences.
    source : str
        Where the threshold comes from; "common practice" where there is no single source.
    """

    topic: str
    text: str
    source: str


ALIGNING = Caution(
    "eyes",
    "Align with all facets covered but one, and from the side: never put your eyes where an image falls, nor look into "
    "a facet along its beam. One facet is as bright as the sun; several on one place burn. A lamp is the safer light.",
    "common practice",
)
SUN = Caution(
    "fire",
    "Uncovered facets throw light on whatever stands in front of the dish, even far from the focus. Cover the mirror "
    "or turn it from the sun before you leave it, and keep whatever burns away from the board.",
    "common practice",
)
EDGES = Caution(
    "edges",
    "Cut glass and sheet metal have edges like knives, and sheet under bend springs back: gloves, sleeves, eye "
    "protection, clamps.",
    "common practice",
)
WIND = Caution(
    "wind",
    "Nothing here says that frame, ribs or mount are strong enough: wind on a dish is a heavy load, which these "
    "drawings do not look at.",
    "common practice",
)


def cautions(result: Result) -> tuple[Caution, ...]:
    """Cautions that this result gives reason for, the most pressing first.

    Parameters
    ----------
    result : Result
        A traced scene.

    Returns
    -------
    tuple of Caution
        Always those for eyes, skin and codes; fire, bystanders and steam where the numbers ask for them.
    """
    found = [_eyes(), _skin(result), _fire(result), _bystanders(result), _steam(result), _codes()]
    return tuple(caution for caution in found if caution is not None)


def making_cautions() -> tuple[Caution, ...]:
    """Cautions for everyone who makes and aligns a mirror."""
    return (ALIGNING, SUN, EDGES, WIND, _codes())


def seconds_to_burn(flux: float) -> float:
    """Time in which a flux of absorbed heat burns bare skin to the second degree.

    Parameters
    ----------
    flux : float
        Above zero. [W/m2]

    Returns
    -------
    float
        Dose over flux: heat that flows into the body is neglected, so a weak flux takes longer. [s]
    """
    return BURN_DOSE_J_M2 / flux


def seconds_to_pain(flux: float) -> float | None:
    """Longest listed time until skin hurts at a flux of at least a listed one.

    Parameters
    ----------
    flux : float
        On bare skin. [W/m2]

    Returns
    -------
    float or None
        The time of the largest listed flux that does not exceed `flux`; None below the table. [s]

    References
    ----------
    .. [1] API Standard 521, exposure times to reach the pain threshold; see data/skin_pain.csv.
    """
    reached = [float(row["pain_s"]) for row in _table("skin_pain.csv") if float(row["flux_w_m2"]) <= flux]
    return reached[-1] if reached else None


def wood_ignition(flux: float) -> str | None:
    """How wood ignites at a flux, as the end of a sentence; None below the smallest known igniting flux.

    Parameters
    ----------
    flux : float
        On the wood. [W/m2]

    References
    ----------
    .. [1] V. Babrauskas 2001; D. I. Lawson and D. L. Simms 1952; see data/wood_ignition.csv.
    """
    reached = [row["exposure"] for row in _table("wood_ignition.csv") if float(row["flux_w_m2"]) <= flux]
    return reached[-1] if reached else None


def _eyes() -> Caution:
    return Caution(
        "eyes",
        "Never look at the mirror from near its focus, nor at the bright spot without welding-grade eye protection: "
        "seen from there the whole mirror is as bright as the sun, and a blink is too slow.",
        "C. K. Ho, C. M. Ghanbari, R. B. Diver, J. Solar Energy Eng. 133 (2011) 031021 (from memory)",
    )


def _skin(result: Result) -> Caution:
    peak = max(result.highest_peak.peak_w_m2.value, result.focal_plane.peak_w_m2.value)
    where = f"The spot reaches {peak / 1000.0:.0f} kW/m2"
    if not peak > 0.0:
        where, harm = "The spot of a dish", "burns skin at once"
    elif seconds_to_burn(peak) < 10.0:
        harm = f"burns bare skin in about {_seconds(seconds_to_burn(peak))}"
    else:
        pain = seconds_to_pain(peak)
        harm = f"hurts bare skin within {pain:.0f} s" if pain else "makes metal too hot to touch"
    return Caution(
        "skin",
        f"{where}{' and' if peak > 0.0 else ''} {harm}. Cover the mirror or turn it from the sun before you reach in.",
        "Ripple et al. 1990; API Standard 521 (data/skin_pain.csv)",
    )


def _fire(result: Result) -> Caution | None:
    lit = [part for part in result.parts.values() if part.role != "receiver"]
    hottest = max(lit, key=lambda part: part.peak_w_m2.value, default=None)
    exposure = wood_ignition(hottest.peak_w_m2.value) if hottest else None
    if exposure is None:
        return Caution(
            "fire",
            "When the drive or the clock stops, the spot wanders off over stand, cables and ground and can set them "
            "alight. Never leave the dish facing the sun unattended.",
            "common practice",
        )
    return Caution(
        "fire",
        f'"{hottest.name}" gets up to {hottest.peak_w_m2.value / 1000.0:.1f} kW/m2: enough to set wood alight '
        f"{exposure}. Keep wood, plastic, cloth and hoses out of the light; never leave the dish facing the sun "
        "unattended.",
        "Babrauskas 2001; Lawson & Simms 1952 (data/wood_ignition.csv)",
    )


def _bystanders(result: Result) -> Caution | None:
    past = result.budget_w["missed"].value + result.budget_w["escaped"].value
    if past < 0.01 * result.budget_w["outline"].value:
        return None
    return Caution(
        "bystanders",
        f"{past:.0f} W of concentrated light go past or bounce off the parts. Keep people, animals and whatever burns "
        "out of the space behind and around the focus.",
        "common practice",
    )


def _steam(result: Result) -> Caution | None:
    power = result.budget_w["receiver"].value + sum(
        part.direct_absorbed_w.value for part in result.parts.values() if part.role == "receiver"
    )
    if not power > 0.0:
        return None
    per_hour = power * STEAM_KG_PER_J * 3600.0
    return Caution(
        "steam",
        f"If the receiver holds water: never close it without a relief valve that passes the full {power:.0f} W (about "
        f"{per_hour:.1f} kg of steam an hour at 5 bar), kept out of the beam. Steam scalds; an empty vessel softens.",
        "IAPWS-IF97 for the steam; common practice for the rest",
    )


def _codes() -> Caution:
    return Caution("codes", CODES, "common practice")


def _seconds(time: float) -> str:
    return f"{time:.1g} s" if time < 1.0 else f"{time:.0f} s"


@cache
def _table(name: str) -> tuple[dict[str, str], ...]:
    text = (files("dishtrace") / "data" / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
