"""Cautions for what a part holds: pressure, hot water, dry-out. Hazards to know about, never a licence to do a thing.

A calculation of pressure or stress here is an aid to understanding and never a certificate: pressure vessels follow
local codes, need a relief valve, and are the work of licensed people.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from dishtrace.report.cautions import Caution

if TYPE_CHECKING:
    from dishtrace.heat.timeline import Timeline

VESSEL = (
    "What is computed of pressure, openings and stress is an aid to understanding and never a certificate. Pressure "
    "vessels follow local codes: they need a relief valve for all of the power, tested and out of the beam, and a "
    "licensed person to judge and test them."
)


def filling_cautions(timelines: Iterable[Timeline]) -> tuple[Caution, ...]:
    """Cautions that timelines give reason for, the most pressing first, each once.

    Parameters
    ----------
    timelines : iterable of Timeline

    Returns
    -------
    tuple of Caution
        Those of a burst stand out: they start with the word BURST.
    """
    found = [
        (list(_TEXTS).index(hazard), Caution(_TEXTS[hazard][0], _TEXTS[hazard][1](timeline), _TEXTS[hazard][2]))
        for timeline in timelines
        for hazard in timeline.hazards
    ]
    ordered = [caution for _, caution in sorted(found, key=lambda pair: pair[0])]
    return tuple(dict.fromkeys(ordered))


def _minutes(timeline: Timeline, key: str) -> str:
    event = timeline.event(key)
    return "" if event is None else f"{event.time_s.value / 60.0:.3g} min"


def _reached(timeline: Timeline) -> str:
    """When, and at which pressure, a timeline ended."""
    event = timeline.event("pressure-limit") or timeline.event("critical")
    if event is None:
        return "its pressure limit"
    blocked = [other for other in timeline.events if other.key.startswith("blocked-")]
    since = (
        f", {(event.time_s.value - blocked[-1].time_s.value) / 60.0:.3g} min after it was blocked" if blocked else ""
    )
    return f"{event.pressure_pa / 1e5:.3g} bar (absolute) after {event.time_s.value / 60.0:.3g} min{since}"


def _burst(timeline: Timeline) -> str:
    return (
        f'BURST: "{timeline.part}" is shut while heat keeps coming. It reaches {_reached(timeline)}, and nothing stops '
        "the rise. A vessel that bursts throws hot metal and flashing water. Never close a vessel at a focus: give it "
        "a relief valve that passes all of the power, out of the beam, and do not build this."
    )


def _shut(timeline: Timeline) -> str:
    pressure = timeline.figures.get("highest_pressure_pa")
    reached = f" It has reached {pressure / 1e5:.3g} bar (absolute)" if pressure is not None else " The pressure rises"
    return (
        f'BURST to come: "{timeline.part}" is shut while heat keeps coming.{reached} when the time that was followed '
        "is over, and nothing stops the rise. Never close a vessel at a focus: give it a relief valve that passes all "
        "of the power, out of the beam, and do not build this."
    )


def _hydraulic(timeline: Timeline) -> str:
    full = _minutes(timeline, "liquid-full")
    when = f"after {full} " if full else ""
    return (
        f'BURST by swelling water: "{timeline.part}" is so full that the warming water fills it {when}and there is no '
        f"room left. It reaches {_reached(timeline)}: each few degrees raise a full, shut vessel by tens of bar, long "
        "before anything boils. Leave at least a fifth of the room to air, and never shut it."
    )


def _too_small(timeline: Timeline) -> str:
    return (
        f'BURST: the openings of "{timeline.part}" are too small for the heat: it reaches {_reached(timeline)} while '
        "they are open. They need to pass all of the power at a pressure that the shell bears, also when half blocked."
    )


def _hot_water(timeline: Timeline) -> str:
    share = timeline.figures.get("flash_share")
    flashing = f", of which {100.0 * share:.1g} % flash to steam in the air" if share else ""
    return (
        f'An opening of "{timeline.part}" lies under water and throws out hot water, not steam{flashing}. It reaches '
        "farther and scalds worse than steam, and the tank empties fast. Put openings at the top, away from people."
    )


def _dry(timeline: Timeline) -> str:
    highest = timeline.figures.get("highest_temperature_c")
    hot = (
        f" and heats to {highest:.0f} degC on the whole, where the light is brightest to far more"
        if highest is not None
        else ""
    )
    return (
        f'"{timeline.part}" runs dry after {_minutes(timeline, "dry")}: from then on the empty wall takes all the light'
        f"{hot}. Metal softens, seals and solder go; water poured into it then flashes. Cover the mirror before the "
        "water is gone."
    )


def _lost(timeline: Timeline) -> str:
    return (
        f'The wall of "{timeline.part}" is lost after {_minutes(timeline, "wall-limit")}: it melts, or is hotter '
        "than its material is known for. Molten metal and whatever is inside fall on what stands below."
    )


def _spin(timeline: Timeline) -> str:
    return (
        f'"{timeline.part}" turns so fast that pressure and turning together stress its shell beyond what its material '
        "may bear. Turning parts burst without warning: hold the speed down, and keep out of the plane it turns in."
    )


def _flow_boils(timeline: Timeline) -> str:
    return (
        f'The water that flows through "{timeline.part}" boils after {_minutes(timeline, "boils")}: too little flows. '
        "Pipes then hammer and spit steam. Let more flow, watch that it never stops, and leave its end open."
    )


def _hot(timeline: Timeline) -> str:
    return (
        f'"{timeline.part}" passes its temperature limit after {_minutes(timeline, "limit")}. Oil past its flash point '
        "burns; take the mirror off the sun before, and keep a lid at hand, not water."
    )


def _vessel(_: Timeline) -> str:
    return VESSEL


_TEXTS: dict[str, tuple[str, Callable[[Timeline], str], str]] = {
    "burst": ("burst", _burst, "IAPWS-95 for the pressure; common practice for the rest"),
    "hydraulic-burst": ("burst", _hydraulic, "IAPWS-95 for the swelling; common practice for the rest"),
    "shut": ("burst", _shut, "IAPWS-95 for the pressure; common practice for the rest"),
    "opening-too-small": ("burst", _too_small, "IAPWS-95 for the pressure; common practice for the rest"),
    "turns-too-fast": ("turning", _spin, "stress of a turning ring, density times speed of its rim squared"),
    "wall-lost": ("heat", _lost, "table of wall materials"),
    "hot-water": ("steam", _hot_water, "IAPWS-95 for the flashing; common practice for the rest"),
    "runs-dry": ("heat", _dry, "common practice"),
    "flow-boils": ("steam", _flow_boils, "common practice"),
    "too-hot": ("fire", _hot, "common practice"),
    "pressure-vessel": ("pressure", _vessel, "common practice"),
}
