"""Heating through the day: fillings under the day's light, and parts that only warm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date as Date
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.heat.balance import settled
from dishtrace.heat.course import Course
from dishtrace.heat.filling import Filled, run_fillings
from dishtrace.heat.lump import Lump, heated, run_lump
from dishtrace.heat.run import up_direction
from dishtrace.heat.setting import settings_of
from dishtrace.stats import Estimate
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.heat.part_heat import PartHeat
    from dishtrace.heat.timeline import Timeline
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False)
class Warmth:
    """A part that holds nothing, over the day.

    Parameters
    ----------
    part : str
    kind : str
        "wall": its wall warms as one lump; "settled": as if it settled at once, since no wall is given.
    highest_c : Estimate
        Highest temperature; its error is that of the traced light. [degC]
    at : datetime
        When.
    limit_c : float or None
        Of the part. [degC]
    over_s : float
        How long it is hotter than that. [s]
    ended : str
        Why it was not followed to the end; empty if it was.
    """

    part: str
    kind: str
    highest_c: Estimate
    at: datetime
    limit_c: float | None
    over_s: float
    ended: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "part": self.part,
            "kind": self.kind,
            "highest_c": self.highest_c.to_dict(),
            "at": self.at.isoformat(),
            "limit_c": self.limit_c,
            "over_limit_s": self.over_s,
            "ended": self.ended,
        }


@dataclass(frozen=True, eq=False)
class HeatedDay:
    """Heating over one day.

    Parameters
    ----------
    day : date
    why : str
        Why this day of a year was chosen; empty for a day that was asked for.
    start : datetime
        When it starts: the first step with sun.
    timelines : tuple of Timeline
        Fillings under the day's light.
    warmths : tuple of Warmth
        Other parts.
    """

    day: Date
    why: str
    start: datetime
    timelines: tuple[Timeline, ...]
    warmths: tuple[Warmth, ...]

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "day": self.day.isoformat(),
            "why": self.why,
            "start": self.start.isoformat(),
            "timelines": [timeline.to_dict() for timeline in self.timelines],
            "warm_parts": [warmth.to_dict() for warmth in self.warmths],
        }


def warmed(
    scene: Scene,
    result: Result,
    start: datetime,
    seconds: np.ndarray,
    absorbed: dict[str, tuple[np.ndarray, np.ndarray]],
) -> tuple[list[Timeline], list[Warmth]]:
    """Fillings and parts under a day's light.

    Parameters
    ----------
    scene : Scene
    result : Result
        A trace of that day: it tells how parts stand and lose heat, which is held.
    start : datetime
        When the day's light begins; fillings start then, as their tables say.
    seconds : (n,) float64
        Middles of the steps since then. [s]
    absorbed : dict of pairs of (n,) float64
        Light absorbed by each part at the steps and its standard error. [W]

    Returns
    -------
    timelines : list of Timeline
    warmths : list of Warmth
    """
    settings = settings_of(result, up_direction(result))
    heats: dict[str, PartHeat] = {}
    for name, setting in settings.items():
        heat = setting.part_heat() if setting.losses is not None else None
        if heat is not None and absorbed[name][0].max() > 0.0:
            heats[name] = _under(heat, seconds, *absorbed[name])
    timelines = run_fillings(scene, heats)
    empty = [heat for heat in heats.values() if heat.part.contents is None]
    return timelines, [_warmth(scene, heat, start) for heat in empty]


def _under(heat: PartHeat, seconds: np.ndarray, power: np.ndarray, error: np.ndarray) -> PartHeat:
    """A part under light that changes; it is dark half a step before the first and after the last one."""
    top = int(np.argmax(power))
    half = 0.5 * float(np.diff(seconds).min()) if len(seconds) > 1 else 300.0
    times = np.concatenate([[0.0], seconds, [seconds[-1] + half]])
    times[0] = min(0.0, seconds[0] - 1.0)
    shares = np.concatenate([[0.0], power, [0.0]]) / power[top]
    se = float(error[top]) if np.isfinite(error[top]) else None
    return replace(heat, absorbed_w=Estimate(float(power[top]), se), course=Course(times - times[0], shares))


def _warmth(scene: Scene, heat: PartHeat, start: datetime) -> Warmth:
    """The hottest that a part without contents gets."""
    index = next(number for number, part in enumerate(scene.parts) if part.name == heat.name)
    filled = Filled(scene, index, heat)
    limit = filled.limit()
    if heat.wall_mass_kg is None or filled.wall_heat <= 0.0:
        seconds, kelvins, higher = _settling(heat)
        kind, ended = "settled", ""
    else:
        (seconds, kelvins, ended), kind = _lump(filled, 1.0), "wall"
        higher = float(_lump(filled, 1.01)[1].max())
    top = int(np.argmax(kelvins))
    power = heat.absorbed_w
    error = None
    if power.se is not None and not ended:
        error = abs(higher - float(kelvins[top])) / 0.01 * power.se / power.value
    over = 0.0
    if limit is not None:
        middles = 0.5 * (kelvins[1:] + kelvins[:-1])
        over = float(np.diff(seconds)[middles > limit].sum())
    return Warmth(
        heat.name,
        kind,
        Estimate(celsius(float(kelvins[top])), error),
        start + timedelta(seconds=float(seconds[top])),
        None if limit is None else celsius(limit),
        over,
        ended,
    )


def _settling(heat: PartHeat) -> tuple[np.ndarray, np.ndarray, float]:
    """Times [s] and temperatures [K] as if the part settled at once, and the highest at 1 % more light [K]."""
    powers = heat.absorbed_w.value * heat.course.power

    def at(power: float) -> float:
        return settled(power, heat.loss_w, coldest=heat.ambient_k - 60.0)

    kelvins = np.array([at(float(power)) for power in powers])
    return heat.course.time, kelvins, at(1.01 * float(powers.max()))


def _lump(filled: Filled, factor: float) -> tuple[np.ndarray, np.ndarray, str]:
    """Times [s] and temperatures [K] of a wall that warms as one lump from the air's temperature."""
    heat = filled.heat
    highest, ends = filled.wall_end
    lump = Lump(
        enthalpy=heated(heat=filled.wall_heat, start=heat.ambient_k),
        start=heat.ambient_k,
        absorbed=heat.course.scaled(factor * heat.absorbed_w.value),
        loss=heat.loss_w,
        carried=lambda _: 0.0,
        highest=highest,
        duration=heat.course.duration,
    )
    run = run_lump(lump)
    columns = run.columns
    return columns["time_s"], columns["temperature_c"] + 273.15, f"the wall {ends}" if run.ended == "wall" else ""
