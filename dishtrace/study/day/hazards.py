"""When the beam leaves the receiver, what it then hits, and which parts get strong light: a list with times."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.study.day.drive import Standing
    from dishtrace.study.day.table import Table

OFF_SHARE = 0.5
"""Share of the light leaving the mirror on receivers below which the beam counts as off them. [–]"""
STRONG_W_M2 = 4_000.0
"""Flux from which on a part is listed; wood chars and, with a flame near, ignites from 4 to 12 kW/m2 on. [W/m2]"""
LEAST_W = 5.0
"""Mirror light that is worth a line. [W]"""


@dataclass(frozen=True)
class Hazard:
    """One thing to beware of.

    Parameters
    ----------
    kind : str
        "strong-light" on a part that is no receiver, "off-receiver": the beam is beside the receivers,
        "stopped-drive": what gets it after the drive stops.
    part : str or None
        That is hit; None: no part, the light goes past all of them.
    start, end : datetime
        First and last time of it.
    lasts_s : float or None
        For how long in all, counted by steps, since it may pause in between; None after a stop of the drive. [s]
    peak_w_m2 : Estimate or None
        Brightest square centimetre; None for light that goes past. [W/m2]
    power_w : Estimate
        Mirror light that meets the part first, or goes past, at the worst. [W]
    at : datetime
        When it is worst.
    """

    kind: str
    part: str | None
    start: datetime
    end: datetime
    lasts_s: float | None
    peak_w_m2: Estimate | None
    power_w: Estimate
    at: datetime

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "kind": self.kind,
            "part": self.part,
            "start": self.start.isoformat(),
            "end": self.end.isoformat(),
            "lasts_s": self.lasts_s,
            "peak_w_m2": None if self.peak_w_m2 is None else self.peak_w_m2.to_dict(),
            "power_w": self.power_w.to_dict(),
            "at": self.at.isoformat(),
        }


def hazards_of(
    table: Table, standings: list[Standing], *, roles: dict[str, str], stopped_at: datetime | None
) -> tuple[Hazard, ...]:
    """All hazards of a day or year, by kind in the order of `Hazard`.

    Parameters
    ----------
    table : Table
        Steps.
    standings : list of Standing
        After the drive stopped; may be empty.
    roles : dict
        Of the parts by name.
    stopped_at : datetime or None
        When the drive stopped.
    """
    found = [_strong(table, name) for name, role in roles.items() if role != "receiver"]
    if "receiver" in roles.values():
        found += _off(table, roles)
    if stopped_at is not None:
        found += _stopped(standings, roles, stopped_at)
    return tuple(hazard for hazard in found if hazard is not None)


def _strong(table: Table, name: str) -> Hazard | None:
    """A part that is no receiver and gets strong light."""
    peak, _ = table.columns[f"peak_w_m2:{name}"]
    steps = np.flatnonzero(peak >= STRONG_W_M2)
    return _hazard("strong-light", name, table, steps, worst=peak) if len(steps) else None


def _off(table: Table, roles: dict[str, str]) -> list[Hazard]:
    """What the beam hits while it is beside the receivers."""
    share, leaving = table.columns["intercept_factor"][0], table.columns["leaving_w"][0]
    off = np.flatnonzero((share < OFF_SHARE) & (leaving > LEAST_W))
    found = []
    for name in [*(name for name, role in roles.items() if role != "receiver"), None]:
        power = table.columns["passed_w" if name is None else f"first_w:{name}"][0]
        steps = off[power[off] >= LEAST_W]
        if len(steps):
            found.append(_hazard("off-receiver", name, table, steps, worst=power))
    return sorted(found, key=lambda hazard: -hazard.power_w.value)


def _hazard(kind: str, name: str | None, table: Table, steps: np.ndarray, *, worst: np.ndarray) -> Hazard:
    top = int(steps[np.argmax(worst[steps])])
    power = table.at("passed_w" if name is None else f"first_w:{name}", top)
    peak = None if name is None else table.at(f"peak_w_m2:{name}", top)
    times = table.path.time
    lasts = len(steps) * table.path.step_s
    return Hazard(kind, name, times[steps[0]], times[steps[-1]], lasts, peak, power, times[top])


def _stopped(standings: list[Standing], roles: dict[str, str], stopped_at: datetime) -> list[Hazard]:
    """What the light hits after the drive has stopped."""
    found = []
    for name in [*(name for name, role in roles.items() if role != "receiver"), None]:
        lit = [s for s in standings if (s.passed_w if name is None else s.first_w[name]).value >= LEAST_W]
        if not lit:
            continue

        def strength(standing: Standing, name: str | None = name) -> float:
            return (standing.passed_w if name is None else standing.peak_w_m2[name]).value

        worst = max(lit, key=strength)
        times = [stopped_at + timedelta(minutes=standing.minutes) for standing in (lit[0], lit[-1], worst)]
        peak = None if name is None else worst.peak_w_m2[name]
        power = worst.passed_w if name is None else worst.first_w[name]
        found.append(Hazard("stopped-drive", name, times[0], times[1], None, peak, power, times[2]))
    return found
