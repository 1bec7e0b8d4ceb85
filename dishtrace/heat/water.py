"""Water, its steam and the air above it in a closed space, from the saturation properties of IAPWS-95.

Properties come from CoolProp (W. Wagner and A. Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387-535) and are held as cubic
splines over temperature, since a filling asks for them some ten thousand times.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, NamedTuple

import numpy as np

TRIPLE_K = 273.16
"""Triple point of water. [K]"""
HIGHEST_WET_K = 640.0
"""End of the table of saturation: beyond it, towards the critical point (647.096 K, IAPWS-95), liquid and steam are too
alike for this model. [K]"""
HIGHEST_STEAM_K = 1990.0
"""Where the equation of state of steam ends, less ten. [K]"""
AIR_GAS_CONSTANT = 287.05
"""Gas constant of dry air; source: ISO 2533 standard atmosphere. [J/(kg K)]"""
AIR_CV = 718.0
"""Heat capacity of air at constant volume near 300 K, Incropera and DeWitt, Table A.4 (from memory). [J/(kg K)]"""
AIR_CP = AIR_CV + AIR_GAS_CONSTANT
GRAVITY = 9.80665
"""Standard gravity; source: ISO 80000-3. [m/s2]"""
_N_TABLE = 900


class Saturation(NamedTuple):
    """Water at saturation.

    Parameters
    ----------
    pressure : float
        [Pa]
    liquid_volume, steam_volume : float
        Specific volumes. [m3/kg]
    liquid_u, steam_u : float
        Specific internal energies. [J/kg]
    steam_h : float
        Specific enthalpy of the steam. [J/kg]
    compressibility : float
        Isothermal compressibility of the liquid. [1/Pa]
    liquid_du_dp : float
        Change of the liquid's specific internal energy with pressure, at constant temperature. [J/(kg Pa)]
    """

    pressure: float
    liquid_volume: float
    steam_volume: float
    liquid_u: float
    steam_u: float
    steam_h: float
    compressibility: float
    liquid_du_dp: float

    @property
    def liquid_h(self) -> float:
        """Specific enthalpy of the liquid. [J/kg]"""
        return self.liquid_u + self.pressure * self.liquid_volume


class TankState(NamedTuple):
    """What is in a tank of uniform temperature.

    Parameters
    ----------
    temperature : float
        [K]
    pressure, steam_pressure : float
        Total, and that of the steam alone. [Pa]
    liquid : float
        Mass of liquid water; negative by as much as steam is lacking to saturation where all is steam. [kg]
    steam : float
        Mass of steam. [kg]
    gas_volume : float
        Room that steam and air have; 0 when the tank is full of liquid. [m3]
    energy : float
        Internal energy of water, steam and air. [J]
    liquid_h, steam_h : float
        Specific enthalpies. [J/kg]
    liquid_volume : float
        Specific volume of the liquid. [m3/kg]
    """

    temperature: float
    pressure: float
    steam_pressure: float
    liquid: float
    steam: float
    gas_volume: float
    energy: float
    liquid_h: float
    steam_h: float
    liquid_volume: float


def saturation(temperature: float) -> Saturation:
    """Water at saturation.

    Parameters
    ----------
    temperature : float
        From the triple point to `HIGHEST_WET_K`. [K]

    Raises
    ------
    ValueError
        Outside that range.
    """
    if not TRIPLE_K <= temperature <= HIGHEST_WET_K:
        raise ValueError(f"saturated water at {temperature:.2f} K: only from {TRIPLE_K} to {HIGHEST_WET_K} K")
    pieces, step = _pieces()
    k = min(int((temperature - TRIPLE_K) / step), len(pieces) - 1)
    x = temperature - TRIPLE_K - k * step
    log_p, liquid_v, log_v, *rest = [((a * x + b) * x + c) * x + d for a, b, c, d in pieces[k]]
    return Saturation(math.exp(log_p), liquid_v, math.exp(log_v), *rest)


def saturation_temperature(pressure: float) -> float:
    """Temperature at which water boils at a pressure [Pa]; in kelvin."""
    return float(_splines()[1](np.log(pressure)))


def tank_state(temperature: float, *, water: float, air: float, volume: float) -> TankState:
    """Equilibrium of water, steam and air in a closed volume.

    Parameters
    ----------
    temperature : float
        [K]
    water, air : float
        Masses; all the H2O, as liquid or steam, and the air. [kg]
    volume : float
        Of the tank; its shell is taken as rigid. [m3]

    Notes
    -----
    Steam is saturated as long as there is liquid. The liquid is compressed by the pressure x of the air above that of
    the steam: v = v' (1 - kappa x), u = u' + (du/dp) x. Air: x V_gas = m R T. So x is the positive root of
    m v' kappa x^2 + (V - m v' - m_a R T kappa v'/v'') x - m_a R T (1 - v'/v'') = 0 (derived); without air it is 0
    while there is room for gas, and the overpressure of compressed liquid when there is none. Air dissolved in water
    is neglected. Steam alone follows IAPWS-95 itself.
    """
    if temperature < HIGHEST_WET_K:
        found = _wet(temperature, saturation(temperature), water=water, air=air, volume=volume)
        if found.liquid > 0.0:
            return found
        lacking = found.liquid
    else:
        lacking = -1.0
    return _dry(temperature, water=water, air=air, volume=volume, lacking=lacking)


def _wet(temperature: float, sat: Saturation, *, water: float, air: float, volume: float) -> TankState:
    """Liquid with steam and air above it; the liquid's mass is negative where there is too little for that."""
    ratio = sat.liquid_volume / sat.steam_volume
    air_work = air * AIR_GAS_CONSTANT * temperature
    square = water * sat.liquid_volume * sat.compressibility
    room = volume - water * sat.liquid_volume - air_work * sat.compressibility * ratio
    root = math.sqrt(room * room + 4.0 * square * air_work * (1.0 - ratio))
    if room > 0.0:
        over = 2.0 * air_work * (1.0 - ratio) / (room + root)
    else:
        over = (root - room) / (2.0 * square)
    liquid_volume = sat.liquid_volume * (1.0 - sat.compressibility * over)
    gas_volume = max((volume - water * liquid_volume) / (1.0 - liquid_volume / sat.steam_volume), 0.0)
    steam = gas_volume / sat.steam_volume
    liquid = water - steam
    liquid_u = sat.liquid_u + sat.liquid_du_dp * over
    pressure = sat.pressure + over
    return TankState(
        temperature=temperature,
        pressure=pressure,
        steam_pressure=sat.pressure,
        liquid=liquid,
        steam=steam,
        gas_volume=gas_volume,
        energy=liquid * liquid_u + steam * sat.steam_u + air * AIR_CV * temperature,
        liquid_h=liquid_u + pressure * liquid_volume,
        steam_h=sat.steam_h,
        liquid_volume=liquid_volume,
    )


def _dry(temperature: float, *, water: float, air: float, volume: float, lacking: float) -> TankState:
    """Steam alone, superheated or just saturated, and air."""
    density = max(water, 1e-15) / volume
    pressure, inner, enthalpy = steam_properties(temperature, density)
    return TankState(
        temperature=temperature,
        pressure=pressure + air * AIR_GAS_CONSTANT * temperature / volume,
        steam_pressure=pressure,
        liquid=lacking,
        steam=water,
        gas_volume=volume,
        energy=water * inner + air * AIR_CV * temperature,
        liquid_h=0.0,
        steam_h=enthalpy,
        liquid_volume=1e-3,
    )


def steam_properties(temperature: float, density: float) -> tuple[float, float, float]:
    """Pressure [Pa], internal energy [J/kg] and enthalpy [J/kg] of steam.

    Parameters
    ----------
    temperature : float
        [K]
    density : float
        At most that of saturated steam. [kg/m3]
    """
    import CoolProp

    state = _gas()
    state.update(CoolProp.DmassT_INPUTS, density, temperature)
    return state.p(), state.umass(), state.hmass()


@cache
def _gas() -> Any:
    """The equation of state of steam, told not to look for a liquid."""
    import CoolProp

    state = CoolProp.AbstractState("HEOS", "Water")
    state.specify_phase(CoolProp.iphase_gas)
    return state


@cache
def _pieces() -> tuple[list[list[list[float]]], float]:
    """Coefficients of the cubic pieces of saturation, [piece][quantity][power], and their width [K].

    Plain lists: for one temperature at a time they are four times as fast as arrays.
    """
    spline = _splines()[0]
    return spline.c.transpose(1, 2, 0).tolist(), (HIGHEST_WET_K - TRIPLE_K) / spline.c.shape[1]


@cache
def _splines() -> tuple[Any, Any]:
    """Saturation properties over temperature, and temperature over the logarithm of pressure."""
    import CoolProp
    from scipy.interpolate import CubicSpline

    both, liquid = CoolProp.AbstractState("HEOS", "Water"), CoolProp.AbstractState("HEOS", "Water")
    liquid.specify_phase(CoolProp.iphase_liquid)
    temperatures = np.linspace(TRIPLE_K, HIGHEST_WET_K, _N_TABLE)
    rows = [_saturation_row(both, liquid, temperature) for temperature in temperatures]
    table = np.array(rows)
    return CubicSpline(temperatures, table), CubicSpline(table[:, 0], temperatures)


def _saturation_row(both: Any, liquid: Any, temperature: float) -> tuple[float, ...]:
    """One row of the table: what `Saturation` holds, with logarithms of pressure and of the steam's volume."""
    import CoolProp

    both.update(CoolProp.QT_INPUTS, 0.0, temperature)
    density, pressure, inner = both.rhomass(), both.p(), both.umass()
    both.update(CoolProp.QT_INPUTS, 1.0, temperature)
    liquid.update(CoolProp.DmassT_INPUTS, density, temperature)
    return (
        float(np.log(pressure)),
        1.0 / density,
        float(-np.log(both.rhomass())),
        inner,
        both.umass(),
        both.hmass(),
        liquid.isothermal_compressibility(),
        liquid.first_partial_deriv(CoolProp.iUmass, CoolProp.iP, CoolProp.iT),
    )
