"""Steam, air and hot water through an opening; steam through a small turbine."""

from __future__ import annotations

import math
from typing import NamedTuple

from dishtrace.heat.water import HIGHEST_WET_K, saturation, saturation_temperature

SATURATED_EXPONENT = 1.135
"""Isentropic exponent of steam that is dry saturated and condenses while it expands in equilibrium (Zeuner's value;
common practice). Within 0.25 % of the equilibrium flux from 2 to 15.5 bar, which a test shows. [-]"""
SUPERHEATED_EXPONENT = 1.3
"""Isentropic exponent of superheated steam; common practice. [-]"""
AIR_EXPONENT = 1.4
"""Isentropic exponent of air. [-]"""
SMOOTHED_PA = 2.0
"""Difference of pressure below which a flow falls with it, not with its root, as slow flows do. [Pa]"""


class Jet(NamedTuple):
    """What leaves an ideal nozzle, for each square metre.

    Parameters
    ----------
    flux : float
        Mass flux. [kg/(s m2)]
    speed : float
        At the narrowest place. [m/s]
    thrust : float
        Momentum flux and excess of pressure there. [N/m2]
    is_choked : bool
        The flow has the speed of sound there.
    """

    flux: float
    speed: float
    thrust: float
    is_choked: bool


def critical_ratio(exponent: float) -> float:
    """Pressure over that before the nozzle at which the flow chokes: (2 / (k + 1))^(k / (k - 1)). [-]"""
    return (2.0 / (exponent + 1.0)) ** (exponent / (exponent - 1.0))


def gas_jet(*, pressure: float, density: float, exponent: float, back_pressure: float) -> Jet:
    """Isentropic flow of a gas through a nozzle, below and at the speed of sound.

    Parameters
    ----------
    pressure, back_pressure : float
        Before and behind the nozzle; no flow where the first is not the higher. [Pa]
    density : float
        Before it. [kg/m3]
    exponent : float
        Isentropic exponent k. [-]

    References
    ----------
    .. [1] A. H. Shapiro, *The Dynamics and Thermodynamics of Compressible Fluid Flow*, Ronald, 1953, ch. 4 (from
       memory).
    """
    excess = pressure - back_pressure
    if excess <= 0.0:
        return Jet(0.0, 0.0, 0.0, False)
    k = exponent
    critical = critical_ratio(k)
    ratio = max(back_pressure / pressure, critical)
    speed = math.sqrt(2.0 * k / (k - 1.0) * pressure / density * max(1.0 - ratio ** ((k - 1.0) / k), 0.0))
    flux = density * ratio ** (1.0 / k) * speed * math.sqrt(excess / (excess + SMOOTHED_PA))
    thrust = flux * speed + (ratio * pressure - back_pressure)
    if ratio > critical:
        thrust = flux * speed
    return Jet(float(flux), float(speed), float(thrust), back_pressure <= critical * pressure)


def liquid_jet(*, pressure: float, density: float, back_pressure: float) -> Jet:
    """Flow of a liquid through a short hole, by Bernoulli's law.

    Hot water has no time to flash inside a hole that is not much longer than wide, so its flux is that of a cold liquid
    (H. K. Fauske, "The discharge of saturated water through tubes", Chem. Eng. Prog. Symp. Ser. 61 (1965), from
    memory): the most that can come out. It flashes outside.
    """
    excess = pressure - back_pressure
    if excess <= 0.0:
        return Jet(0.0, 0.0, 0.0, False)
    speed = math.sqrt(2.0 * excess / density)
    flux = density * speed * math.sqrt(excess / (excess + SMOOTHED_PA))
    return Jet(float(flux), float(speed), float(flux * speed), False)


def mixed_exponent(*, steam_mole: float, air_mole: float, is_saturated: bool) -> float:
    """Isentropic exponent of a mixture of steam and air, from the mean of 1 / (k - 1) over moles. [-]"""
    steam_k = SATURATED_EXPONENT if is_saturated else SUPERHEATED_EXPONENT
    total = steam_mole + air_mole
    inverse = (steam_mole / (steam_k - 1.0) + air_mole / (AIR_EXPONENT - 1.0)) / total
    return 1.0 + 1.0 / inverse


def saturated_steam_jet(pressure: float, *, back_pressure: float) -> Jet:
    """Dry saturated steam of a pressure [Pa] through a nozzle into another [Pa]."""
    volume = saturation(saturation_temperature(pressure)).steam_volume
    return gas_jet(pressure=pressure, density=1.0 / volume, exponent=SATURATED_EXPONENT, back_pressure=back_pressure)


def flash_share(temperature: float, *, back_pressure: float) -> float:
    """Share of hot water that turns to steam when let down to a pressure, at constant enthalpy.

    Parameters
    ----------
    temperature : float
        Of the water, saturated. [K]
    back_pressure : float
        [Pa]

    Returns
    -------
    float
        0 for water that is not hot enough to boil there. [-]
    """
    below = saturation(saturation_temperature(back_pressure))
    share = (saturation(min(temperature, HIGHEST_WET_K)).liquid_h - below.liquid_h) / (below.steam_h - below.liquid_h)
    return max(float(share), 0.0)


def expansion_j_kg(*, pressure: float, exhaust: float) -> float:
    """Work of dry saturated steam in an expansion without losses.

    Parameters
    ----------
    pressure, exhaust : float
        Before and behind; 0 where the first is not the higher. [Pa]

    Returns
    -------
    float
        Fall of enthalpy along constant entropy, wet steam in equilibrium, by IAPWS-95. [J/kg]
    """
    if pressure <= exhaust:
        return 0.0
    import CoolProp

    state = CoolProp.AbstractState("HEOS", "Water")
    state.update(CoolProp.PQ_INPUTS, pressure, 1.0)
    before, entropy = state.hmass(), state.smass()
    state.update(CoolProp.PSmass_INPUTS, exhaust, entropy)
    return before - state.hmass()
