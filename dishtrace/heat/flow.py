"""A liquid that flows through a part: outlet temperature, useful power, warming up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from dishtrace.heat.block import ENDS
from dishtrace.heat.course import largest
from dishtrace.heat.lump import Enthalpy, Lump, crossing, run_lump
from dishtrace.heat.timeline import Event, Timeline
from dishtrace.heat.water import HIGHEST_WET_K, TRIPLE_K, saturation, saturation_temperature
from dishtrace.stats import Estimate
from dishtrace.units import celsius

NEAR = 0.95
NOTES = (
    "The liquid inside is as warm as what leaves, and so is the wall (well stirred); a long thin pipe loses a little "
    "less, since its first part is colder. The wall under strong light is hotter than the liquid.",
)
_POINTS = 400


@dataclass(frozen=True)
class Stream:
    """What flows.

    Parameters
    ----------
    flow : float
        [kg/s]
    inlet : float
        Temperature. [K]
    specific : Enthalpy
        Enthalpy of a kilogram over temperature.
    boils : float or None
        Temperature at which it boils at its pressure; None for oil. [K]
    """

    flow: float
    inlet: float
    specific: Enthalpy
    boils: float | None

    def carried(self, outlet: float) -> float:
        """Useful power at an outlet temperature [K]. [W]"""
        return self.flow * (self.specific.at(outlet) - self.specific.at(self.inlet))


@cache
def water_enthalpy() -> Enthalpy:
    """Of a kilogram of liquid water at saturation, which the pressure hardly changes; source: IAPWS-95."""
    temperatures = np.linspace(TRIPLE_K, HIGHEST_WET_K, _POINTS)
    return Enthalpy(temperatures, np.array([saturation(temperature).liquid_h for temperature in temperatures]))


def boiling_point(pressure: float) -> float:
    """Temperature at which water boils at a pressure [Pa]. [K]"""
    return saturation_temperature(pressure)


def steady_outlet(stream: Stream, *, absorbed: float, loss: Callable[[float], float], highest: float) -> float | None:
    """Outlet temperature at which absorbed = useful + lost.

    Parameters
    ----------
    stream : Stream
    absorbed : float
        [W]
    loss : callable
        Temperature [K] to loss [W].
    highest : float
        End of the search. [K]

    Returns
    -------
    float or None
        None where it would lie above `highest`. [K]
    """
    from scipy.optimize import brentq

    def excess(outlet: float) -> float:
        return absorbed - loss(outlet) - stream.carried(outlet)

    low = min(stream.inlet, 273.16)
    if excess(highest) > 0.0:
        return None
    return float(brentq(excess, low, highest, xtol=1e-9)) if excess(low) > 0.0 else low


def flow_timeline(part: str, lump: Lump, stream: Stream, *, limit: float | None) -> Timeline:
    """Warming up of a part that a liquid flows through, to its steady state.

    Parameters
    ----------
    part : str
    lump : Lump
        Its `carried` is that of the stream.
    stream : Stream
    limit : float or None
        Temperature not to be passed. [K]
    """
    ends = [lump.highest] + ([stream.boils] if stream.boils is not None else [])
    highest = min(ends)
    run = run_lump(replace(lump, highest=highest))
    light = largest(lump.absorbed)
    steady = steady_outlet(stream, absorbed=light, loss=lump.loss, highest=highest)
    last = run.columns["temperature_c"][-1] + 273.15
    has_boiled = run.ended == "wall" and stream.boils is not None and highest == stream.boils
    ended = "the liquid boils: this model ends here" if has_boiled else ENDS[run.ended]
    events: list[Event | None] = []
    if limit is not None:
        events.append(crossing(run, "limit", f"the limit of {celsius(limit):.0f} degC is passed", temperature=limit))
    if steady is not None and steady > lump.start:
        aim = lump.start + NEAR * (steady - lump.start)
        text = f"{100 * NEAR:.0f} % of the rise to the steady outlet temperature is reached"
        events.append(crossing(run, "nearly-final", text, temperature=aim))
    if run.ended != "duration":
        key = "boils" if has_boiled else {"wall": "wall-limit"}.get(run.ended, run.ended)
        events.append(Event(key, ended, Estimate(float(run.columns["time_s"][-1]), None), celsius(last)))
    kept = sorted((event for event in events if event is not None), key=lambda event: event.time_s.value)
    keys = {event.key for event in kept}
    hazards = [
        name
        for name, key in (("flow-boils", "boils"), ("too-hot", "limit"), ("wall-lost", "wall-limit"))
        if key in keys
    ]
    useful = None if steady is None else stream.carried(steady)
    figures: dict[str, float | None] = {
        "outlet_c": None if steady is None else celsius(steady),
        "useful_w": useful,
        "efficiency": None if useful is None or light <= 0.0 else useful / light,
        "loss_w": None if steady is None else lump.loss(steady),
    }
    return Timeline(part, "flow", run.columns, tuple(kept), figures, tuple(hazards), NOTES, ended)
