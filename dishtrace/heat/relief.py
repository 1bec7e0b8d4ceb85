"""The opening that a boiling tank needs, and the pressure that a given opening lets it reach."""

from __future__ import annotations

import math
from collections.abc import Callable

from dishtrace.heat.steam import saturated_steam_jet
from dishtrace.heat.water import HIGHEST_WET_K, saturation, saturation_temperature


def largest_steam_flow(power: float, *, pressure: float) -> float:
    """Most steam that a power can raise at a pressure: all of it goes into the heat of vaporisation. [kg/s]

    Parameters
    ----------
    power : float
        Heat into the water; without losses for the worst case. [W]
    pressure : float
        Absolute. [Pa]
    """
    sat = saturation(saturation_temperature(pressure))
    return power / (sat.steam_h - sat.liquid_h)


def smallest_area(flow: float, *, pressure: float, back_pressure: float, coefficient: float) -> float:
    """Total area of openings that passes a flow of dry saturated steam.

    Parameters
    ----------
    flow : float
        [kg/s]
    pressure, back_pressure : float
        In the tank, above the other one; outside. Absolute. [Pa]
    coefficient : float
        Discharge coefficient. [-]

    Returns
    -------
    float
        [m2]
    """
    return flow / (coefficient * saturated_steam_jet(pressure, back_pressure=back_pressure).flux)


def diameter_of(area: float) -> float:
    """Diameter of a round opening of an area [m2]. [m]"""
    return math.sqrt(4.0 * area / math.pi)


def pressure_reached(net_power: Callable[[float], float], *, area: float, back_pressure: float) -> float | None:
    """Pressure at which an opening carries off all the steam that is raised.

    Parameters
    ----------
    net_power : callable
        Temperature of the water [K] to the heat it takes in, losses taken off [W].
    area : float
        Total area times discharge coefficient. [m2]
    back_pressure : float
        Outside, absolute. [Pa]

    Returns
    -------
    float or None
        Absolute; `back_pressure` where nothing boils; None where the pressure would pass 190 bar. [Pa]
    """
    from scipy.optimize import brentq

    def excess(pressure: float) -> float:
        temperature = saturation_temperature(pressure)
        carried = area * saturated_steam_jet(pressure, back_pressure=back_pressure).flux
        sat = saturation(temperature)
        return net_power(temperature) - carried * (sat.steam_h - sat.liquid_h)

    if net_power(saturation_temperature(back_pressure)) <= 0.0:
        return back_pressure
    highest = saturation(HIGHEST_WET_K - 2.0).pressure
    low = back_pressure + 1e-3
    if excess(highest) > 0.0:
        return None
    return low if excess(low) <= 0.0 else float(brentq(excess, low, highest, xtol=1e-3, rtol=1e-12))
