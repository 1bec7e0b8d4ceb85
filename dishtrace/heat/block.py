"""Timelines of what only stores heat: a block, a bath of oil, insulation, air, and a charge that melts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.heat.lump import Enthalpy, Lump, LumpRun, crossing, heated, run_lump
from dishtrace.heat.timeline import Event, Timeline
from dishtrace.stats import Estimate
from dishtrace.units import celsius

ENDS = {
    "duration": "the time to follow it is over",
    "settled": "losses equal the light absorbed",
    "wall": "the wall melts, or is hotter than its material's table goes",
}
NEAR = 0.95
"""Share of the final rise of temperature at which it counts as reached. [-]"""
NOTES = ("Wall and filling have one temperature.",)


@dataclass(frozen=True)
class Charge:
    """A charge that melts.

    Parameters
    ----------
    melting : float
        [K]
    solid_heat, liquid_heat : float
        Heat capacities of the whole charge. [J/K]
    fusion : float
        Heat of fusion of the whole charge. [J]
    """

    melting: float
    solid_heat: float
    liquid_heat: float
    fusion: float

    def enthalpy(self, *, wall_heat: float, start: float) -> Enthalpy:
        """Of wall and charge, 0 at the start [K], which lies below melting."""
        warm = (self.solid_heat + wall_heat) * (self.melting - start)
        melted = warm + self.fusion
        return Enthalpy(
            np.array([start, self.melting, self.melting, self.melting + 1000.0]),
            np.array([0.0, warm, melted, melted + 1000.0 * (self.liquid_heat + wall_heat)]),
        )


def block_timeline(part: str, kind: str, lump: Lump, *, limit: float | None, notes: tuple[str, ...] = ()) -> Timeline:
    """A lump that stores heat and melts nowhere.

    Parameters
    ----------
    part, kind : str
    lump : Lump
    limit : float or None
        Temperature not to be passed. [K]
    notes : tuple of str
        To add.
    """
    run = run_lump(lump)
    return _timeline(part, kind, lump, run, limit, [], (*NOTES, *notes))


def melt_timeline(part: str, lump: Lump, charge: Charge, *, limit: float | None) -> Timeline:
    """A charge from cold to molten.

    Parameters
    ----------
    part : str
    lump : Lump
        Its enthalpy is that of the charge and wall.
    charge : Charge
    limit : float or None
        Temperature not to be passed. [K]
    """
    run = run_lump(lump)
    warm, melted = lump.enthalpy.energy[1:3] - lump.enthalpy.at(lump.start)
    events = [
        crossing(run, "melting-starts", "the charge starts to melt", energy=float(warm) + 1e-6),
        crossing(run, "melted", "all of the charge is molten", energy=float(melted)),
    ]
    share = np.clip((run.columns["stored_j"] - warm) / charge.fusion, 0.0, 1.0)
    run.columns["molten_share"] = share
    return _timeline(part, "melt", lump, run, limit, events, NOTES)


def _timeline(
    part: str,
    kind: str,
    lump: Lump,
    run: LumpRun,
    limit: float | None,
    events: list[Event | None],
    notes: tuple[str, ...],
) -> Timeline:
    """What all of them tell."""
    last = run.columns["temperature_c"][-1] + 273.15
    if limit is not None:
        text = f"the limit of {celsius(limit):.0f} degC is passed"
        events.append(crossing(run, "limit", text, temperature=limit))
    if run.ended == "settled":
        aim = lump.start + NEAR * (last - lump.start)
        text = f"{100 * NEAR:.0f} % of the final rise of temperature is reached"
        events.append(crossing(run, "nearly-final", text, temperature=aim) if last > lump.start else None)
    if run.ended != "duration":
        time, text = float(run.columns["time_s"][-1]), ENDS[run.ended]
        key = "wall-limit" if run.ended == "wall" else run.ended
        events.append(Event(key, text, Estimate(time, None), celsius(last)))
    kept = sorted((event for event in events if event is not None), key=lambda event: event.time_s.value)
    keys = {event.key for event in kept}
    hazards = [key for key, event in (("too-hot", "limit"), ("wall-lost", "wall-limit")) if event in keys]
    figures: dict[str, float | None] = {
        "final_temperature_c": celsius(last),
        "stored_j": float(run.columns["stored_j"][-1]),
        "largest_loss_w": float(run.columns["loss_w"].max()),
    }
    return Timeline(part, kind, run.columns, tuple(kept), figures, tuple(hazards), notes, ENDS[run.ended])


def plain_enthalpy(heat: float, start: float) -> Enthalpy:
    """Of a lump of constant heat capacity [J/K], 0 at the start [K]."""
    return heated(heat=heat, start=start)


def nothing_carried(_: float) -> float:
    """No flow carries heat off. [W]"""
    return 0.0


def shut_air_pressure(columns: dict[str, np.ndarray], *, start: float, pressure: float) -> np.ndarray:
    """Pressure of air that is shut in, p T / T_start: an ideal gas of constant volume.

    Parameters
    ----------
    columns : dict
        With ``temperature_c``.
    start : float
        [K]
    pressure : float
        At the start. [Pa]

    Returns
    -------
    (n,) float64
        [Pa]
    """
    return pressure * (columns["temperature_c"] + 273.15) / start
