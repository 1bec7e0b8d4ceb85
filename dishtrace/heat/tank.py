"""A tank: its room, its openings, how high the water stands in it, and what flows through the openings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from dishtrace.heat.steam import Jet, gas_jet, liquid_jet, mixed_exponent
from dishtrace.heat.water import AIR_CP, AIR_GAS_CONSTANT, GRAVITY, TankState

MOLE_STEAM = 0.018015268
"""Molar mass of water; source: IAPWS-95. [kg/mol]"""
MOLE_AIR = 0.0289647
"""Molar mass of dry air; source: ISO 2533. [kg/mol]"""
BREATHING_S = 0.5
"""Time in which a tank that is dry evens out its pressure with the air; one with cold water takes (1 - p_sat / p_air)^2
of it, a boiling one none. What gas is in it then weighs next to nothing, and a wide opening would do it in a
millisecond, of which nothing is to be learned. It shifts the pressure by some tens of pascals. [s]"""
FULLY_OPEN = 0.10
"""Overpressure, over set pressure, at which a relief valve is fully open; common practice. [-]"""


@dataclass(frozen=True)
class Hole:
    """Equal openings, in SI units and plain numbers.

    Parameters
    ----------
    diameter : float
        [m]
    coefficient : float
        Discharge coefficient. [-]
    count : int
    height : float or None
        Above the floor; None at the top, in the middle. [m]
    lever_arm : float
        Of the jet about the axis that the vessel turns about. [m]
    around : float
        Share of the jet's direction that is tangential, with its sign. [-]
    opens_at : float or None
        Pressure at which a valve starts to open; None for a plain hole. [Pa]
    blocked_at : float or None
        Time from which on it is blocked. [s]
    """

    diameter: float
    coefficient: float
    count: int = 1
    height: float | None = None
    lever_arm: float = 0.0
    around: float = 1.0
    opens_at: float | None = None
    blocked_at: float | None = None

    @property
    def area(self) -> float:
        """Area of all of them. [m2]"""
        return 0.25 * math.pi * self.diameter**2 * self.count

    def open_share(self, pressure: float, *, time: float) -> float:
        """How far it is open at a pressure [Pa] and time [s], 0 to 1."""
        if self.blocked_at is not None and time >= self.blocked_at:
            return 0.0
        if self.opens_at is None:
            return 1.0
        return min(max((pressure - self.opens_at) / (FULLY_OPEN * self.opens_at), 0.0), 1.0)


@dataclass(frozen=True)
class Tank:
    """The room inside a vessel and what leads out of it.

    Parameters
    ----------
    volume, height : float
        Inside. [m3], [m]
    holes : tuple of Hole
    ambient_pressure, ambient_temperature : float
        Of the air outside. [Pa], [K]
    is_ball : bool
        The tank is a ball; else its cross-section is the same at all heights.
    """

    volume: float
    height: float
    holes: tuple[Hole, ...]
    ambient_pressure: float
    ambient_temperature: float
    is_ball: bool = False

    @property
    def radius(self) -> float:
        """Radius of the upright cylinder, or of the ball. [m]"""
        return 0.5 * self.height if self.is_ball else math.sqrt(self.volume / (math.pi * self.height))

    def level(self, state: TankState) -> float:
        """Height of the water above the floor, the vessel at rest. [m]"""
        share = min(max(1.0 - state.gas_volume / self.volume, 0.0), 1.0)
        return self.height * (ball_level(share) if self.is_ball else share)

    def wet_share(self, hole: Hole, level: float) -> float:
        """Share of an opening's height that stands below the water line, 0 to 1."""
        middle = self.height - 0.5 * hole.diameter if hole.height is None else hole.height
        if hole.diameter <= 0.0:
            return 0.0
        return min(max((level - middle) / hole.diameter + 0.5, 0.0), 1.0)


class Outflow(NamedTuple):
    """What passes one set of openings; negative where it comes in.

    Parameters
    ----------
    steam, air, liquid : float
        [kg/s]
    energy : float
        Enthalpy carried. [W]
    thrust : float
        [N]
    momentum_flow : float
        Mass flow of the jets. [kg/s]
    is_choked : bool
    wet : float
        Share of the opening below the water line. [-]
    """

    steam: float
    air: float
    liquid: float
    energy: float
    thrust: float
    is_choked: bool
    wet: float

    @property
    def mass(self) -> float:
        """All that passes. [kg/s]"""
        return self.steam + self.air + self.liquid


CLOSED = Outflow(0.0, 0.0, 0.0, 0.0, 0.0, False, 0.0)


def ball_level(share: float) -> float:
    """Height of a liquid over the diameter of a ball that it fills to a share of its volume: 3 x^2 - 2 x^3 = share."""
    return 0.5 - math.sin(math.asin(1.0 - 2.0 * share) / 3.0)


def outflow(tank: Tank, hole: Hole, state: TankState, *, air: float, level: float, time: float) -> Outflow:
    """What passes one set of openings.

    Parameters
    ----------
    tank, hole : Tank, Hole
    state : TankState
        Inside.
    air : float
        Mass of air inside. [kg]
    level : float
        Height of the water where the opening is. [m]
    time : float
        [s]
    """
    share = hole.open_share(state.pressure, time=time)
    if share <= 0.0 or hole.diameter <= 0.0:
        return CLOSED
    area = hole.area * hole.coefficient * share
    wet = tank.wet_share(hole, level) if state.liquid > 0.0 else 0.0
    gas = _gas_part(tank, state, air=air, area=area * (1.0 - wet)) if wet < 1.0 else CLOSED
    liquid = _liquid_part(tank, hole, state, area=area * wet, level=level) if wet > 0.0 else CLOSED
    return Outflow(
        steam=gas.steam + liquid.steam,
        air=gas.air + liquid.air,
        liquid=gas.liquid + liquid.liquid,
        energy=gas.energy + liquid.energy,
        thrust=gas.thrust + liquid.thrust,
        is_choked=gas.is_choked,
        wet=wet,
    )


def _gas_part(tank: Tank, state: TankState, *, air: float, area: float) -> Outflow:
    """Steam and air through the part of an opening that is above the water."""
    mass = state.steam + air
    slowest = _breathing(tank, state, mass)
    if state.pressure < tank.ambient_pressure:
        return _air_in(tank, state.pressure, area, slowest)
    if state.gas_volume <= 0.0 or mass <= 0.0:
        return CLOSED
    exponent = mixed_exponent(
        steam_mole=state.steam / MOLE_STEAM, air_mole=air / MOLE_AIR, is_saturated=state.liquid > 0.0
    )
    jet = gas_jet(
        pressure=state.pressure,
        density=mass / state.gas_volume,
        exponent=exponent,
        back_pressure=tank.ambient_pressure,
    )
    flow = _slowed(area * jet.flux, slowest)
    steam, dry = flow * state.steam / mass, flow * air / mass
    energy = steam * state.steam_h + dry * AIR_CP * state.temperature
    return Outflow(steam, dry, 0.0, energy, area * jet.thrust, jet.is_choked, 0.0)


def _breathing(tank: Tank, state: TankState, mass: float) -> float | None:
    """Flow that evens out the pressure in `BREATHING_S` or its share; None for a tank that boils. [kg/s]"""
    share = 1.0 if state.liquid <= 0.0 else max(1.0 - state.steam_pressure / tank.ambient_pressure, 0.0) ** 2
    if share * BREATHING_S < 1e-6 or state.pressure <= 0.0:
        return None
    return mass * abs(state.pressure - tank.ambient_pressure) / (state.pressure * BREATHING_S * share)


def _slowed(flow: float, slowest: float | None) -> float:
    """A flow that does not exceed another one, without a kink."""
    if slowest is None or flow <= 0.0:
        return flow
    return 0.0 if slowest <= 0.0 else flow * slowest / (flow + slowest)


def _air_in(tank: Tank, pressure: float, area: float, slowest: float | None = None) -> Outflow:
    """Air that is drawn in; its thrust is neglected."""
    density = tank.ambient_pressure / (AIR_GAS_CONSTANT * tank.ambient_temperature)
    jet = gas_jet(pressure=tank.ambient_pressure, density=density, exponent=1.4, back_pressure=pressure)
    flow = -_slowed(area * jet.flux, slowest)
    return Outflow(0.0, flow, 0.0, flow * AIR_CP * tank.ambient_temperature, 0.0, False, 0.0)


def _liquid_part(tank: Tank, hole: Hole, state: TankState, *, area: float, level: float) -> Outflow:
    """Water through the part of an opening that is below the water line, with the water's head."""
    density = 1.0 / state.liquid_volume
    head = 0.0 if hole.height is None else density * GRAVITY * max(level - hole.height, 0.0)
    if state.pressure + head < tank.ambient_pressure:
        return _air_in(tank, state.pressure + head, area)
    jet: Jet = liquid_jet(pressure=state.pressure + head, density=density, back_pressure=tank.ambient_pressure)
    flow = area * jet.flux
    return Outflow(0.0, 0.0, flow, flow * state.liquid_h, area * jet.thrust, False, 0.0)
