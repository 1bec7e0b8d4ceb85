"""A tank of water in the light, from cold to dry: energy and masses over time.

The state is the internal energy of wall, water, steam and air together and the masses of water and air; temperature and
pressure follow from them, so nothing has to be switched when the water boils, the air is gone, or the tank runs dry.
Wall and filling have one temperature.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from dishtrace.errors import RunError
from dishtrace.heat.course import Course, is_held, largest, longest_step, power_at
from dishtrace.heat.spin import Rotor, jet_torque, water_surface
from dishtrace.heat.tank import Outflow, Tank, outflow
from dishtrace.heat.water import (
    AIR_GAS_CONSTANT,
    HIGHEST_STEAM_K,
    HIGHEST_WET_K,
    TRIPLE_K,
    TankState,
    saturation,
    tank_state,
)

SETTLED_SHARE = 1e-3
"""Share of the absorbed power that energy inside changes by when nothing more happens. [-]"""
OUTPUT_STEP_S = 20.0
"""Longest step between rows. [s]"""
TOLERANCE = 1e-7
"""Relative tolerance of the integration. [-]"""
BEND = "bend"
_SCALES = np.array([1e-1, 1e-9, 1e-10, 1e-1, 1e-1, 1e-9, 1e-9, 1e-5])
_ENERGY, _WATER, _AIR, _LOST, _CARRIED, _STEAM_OUT, _LIQUID_OUT, _SPEED = range(8)


@dataclass(frozen=True, eq=False)
class Vessel:
    """All that a run of a tank needs, in SI units.

    Parameters
    ----------
    tank : Tank
    water : float
        Mass at the start. [kg]
    start : float
        Temperature at the start. [K]
    absorbed : float or Course
        Light absorbed, held or over time; under a course nothing settles. [W]
    loss : callable
        Temperature of the outside [K] to what it loses. [W]
    wall_heat : float
        Heat capacity of the wall. [J/K]
    pressure_limit : callable
        Temperature [K] to the absolute pressure [Pa] at which the run ends.
    wall_limit : float
        Temperature at which the wall melts or is not known any more. [K]
    duration : float
        [s]
    rotor : Rotor or None
        Free to turn.
    """

    tank: Tank
    water: float
    start: float
    absorbed: float | Course
    loss: Callable[[float], float]
    wall_heat: float
    pressure_limit: Callable[[float], float]
    wall_limit: float
    duration: float
    rotor: Rotor | None = None

    @property
    def start_air(self) -> float:
        """Air in the tank when it is closed over its filling, at the pressure of the air outside. [kg]"""
        sat = saturation(self.start)
        room = max(self.tank.volume - self.water * sat.liquid_volume, 0.0)
        pressure = max(self.tank.ambient_pressure - sat.pressure, 0.0)
        return pressure * room / (AIR_GAS_CONSTANT * self.start)


class Moment(NamedTuple):
    """A tank at one moment.

    Parameters
    ----------
    time : float
        [s]
    state : TankState
    air : float
        Mass of air inside. [kg]
    level : float
        Height of the water at the wall. [m]
    flows : tuple of Outflow
        One for each set of openings.
    loss : float
        [W]
    lost, carried : float
        Up to now. [J]
    speed : float
        [rad/s]
    torque : float
        Of the jets, at that speed. [N m]
    """

    time: float
    state: TankState
    air: float
    level: float
    flows: tuple[Outflow, ...]
    loss: float
    lost: float
    carried: float
    speed: float
    torque: float

    @property
    def energy_flow(self) -> float:
        """Enthalpy that leaves. [W]"""
        return sum(flow.energy for flow in self.flows)


class Run(NamedTuple):
    """A tank over time.

    Parameters
    ----------
    moments : list of Moment
        Rising in time.
    at : callable
        Time within the run [s] to the moment.
    ended : str
        "duration", "pressure", "critical", "wall", "settled", "frozen" or "dry" (no wall is known).
    """

    moments: list[Moment]
    at: Callable[[float], Moment]
    ended: str


def run_vessel(vessel: Vessel) -> Run:
    """Follow a tank until it ends, settles or the time is over."""
    from scipy.integrate import solve_ivp

    model = _Model(vessel)
    stops = [*sorted({t for t in _breaks(vessel) if 0.0 < t < vessel.duration}), vessel.duration]
    begin, state, legs, ended = 0.0, model.start(), [], "duration"
    while stops:
        end = stops[0]
        endings = model.endings() + model.bends(begin, state)
        solution = solve_ivp(
            lambda t, y: model.slopes(t, y),
            (begin, end),
            state,
            method="LSODA",
            rtol=TOLERANCE,
            atol=_SCALES,
            events=endings,
            dense_output=True,
            max_step=longest_step(vessel.absorbed, max((end - begin) / 4.0, 1.0)),
            first_step=min(1e-3, 0.5 * (end - begin)),
        )
        legs.append(solution)
        begin, state = float(solution.t[-1]), solution.y[:, -1]
        reason = _which(solution, endings)
        if reason not in ("", BEND):
            ended = reason
            break
        if begin >= end or not reason:
            stops.pop(0)
    moments = [model.moment(t, y) for t, y in _rows(legs)]
    return Run(moments, lambda t: model.moment(t, _dense(legs, t)), ended)


def _breaks(vessel: Vessel) -> list[float]:
    return [hole.blocked_at for hole in vessel.tank.holes if hole.blocked_at is not None]


def _which(solution: Any, endings: list[_Ending]) -> str:
    """The ending that stopped a leg; empty when it ran to its end."""
    if solution.status == -1:
        raise RunError(f"the integration of a filling failed: {solution.message}")
    for ending, times in zip(endings, solution.t_events, strict=True):
        if len(times):
            return ending.reason
    return ""


def _rows(legs: list[Any]) -> list[tuple[float, np.ndarray]]:
    """Times and states: the solver's own steps, and more where they are long."""
    rows = []
    for k, leg in enumerate(legs):
        count = max(int((leg.t[-1] - leg.t[0]) / OUTPUT_STEP_S), 1)
        times = np.union1d(leg.t, np.linspace(leg.t[0], leg.t[-1], count + 1))
        times = times if k == 0 else times[1:]
        kept = times[np.diff(times, prepend=-1.0) > 1e-3]
        rows += [(float(t), leg.sol(t)) for t in kept]
    return rows


def _dense(legs: list[Any], time: float) -> np.ndarray:
    leg = next((leg for leg in legs if time <= leg.t[-1]), legs[-1])
    return leg.sol(time)


class _Ending:
    """A terminal event of the solver with its reason."""

    terminal = True
    direction = 0

    def __init__(self, reason: str, signal: Callable[[Moment], float], model: _Model) -> None:
        self.reason, self.signal, self.model = reason, signal, model

    def __call__(self, time: float, y: np.ndarray) -> float:
        return self.signal(self.model.moment(time, y))


class _Model:
    """Right-hand side; keeps the last temperature as a guess, and the last moment: the endings ask for it again."""

    def __init__(self, vessel: Vessel) -> None:
        self.vessel = vessel
        self.guess = vessel.start
        self.has_heights = any(hole.height is not None for hole in vessel.tank.holes)
        self.last: tuple[float, bytes, Moment] | None = None

    def start(self) -> np.ndarray:
        vessel = self.vessel
        air = vessel.start_air
        y = np.zeros(8)
        y[:3] = self.energy(vessel.start, vessel.water, air), vessel.water, air
        return y

    def energy(self, temperature: float, water: float, air: float) -> float:
        """Internal energy of wall and filling. [J]"""
        state = tank_state(temperature, water=water, air=air, volume=self.vessel.tank.volume)
        return self.vessel.wall_heat * temperature + state.energy

    def temperature(self, y: np.ndarray) -> float:
        """The temperature at which wall and filling hold their energy. [K]"""
        energy, water, air = float(y[_ENERGY]), float(y[_WATER]), max(float(y[_AIR]), 0.0)
        here = self.guess
        slope = (self.energy(here + 0.01, water, air) - self.energy(here, water, air)) / 0.01
        for _ in range(12):
            gap = self.energy(here, water, air) - energy
            step = gap / slope
            if not TRIPLE_K < here - step < HIGHEST_STEAM_K or abs(step) > 30.0:
                break
            here -= step
            if abs(step) < 1e-9:
                self.guess = here
                return here
        return self._searched(energy, water, air)

    def _searched(self, energy: float, water: float, air: float) -> float:
        """The same by bisection, for a poor guess; the ends of the range stand for what is beyond them."""
        from scipy.optimize import brentq

        ends = (TRIPLE_K, HIGHEST_STEAM_K)
        gaps = [self.energy(end, water, air) - energy for end in ends]
        if gaps[0] >= 0.0 or gaps[1] <= 0.0:
            return ends[0] if gaps[0] >= 0.0 else ends[1]
        self.guess = float(brentq(lambda t: self.energy(t, water, air) - energy, *ends, xtol=1e-10, rtol=1e-14))
        return self.guess

    def moment(self, time: float, y: np.ndarray) -> Moment:
        """Everything that follows from a state."""
        key = y.tobytes()
        if self.last is not None and self.last[:2] == (time, key):
            return self.last[2]
        vessel, air, speed = self.vessel, max(float(y[_AIR]), 0.0), float(y[_SPEED])
        temperature = self.temperature(y)
        state = tank_state(temperature, water=float(y[_WATER]), air=air, volume=vessel.tank.volume)
        level = self._level(state, speed)
        flows = tuple(outflow(vessel.tank, hole, state, air=air, level=level, time=time) for hole in vessel.tank.holes)
        torque = sum(
            jet_torque(
                thrust=flow.thrust,
                mass_flow=max(flow.mass, 0.0),
                lever_arm=hole.lever_arm,
                around=hole.around,
                speed=speed,
            )
            for flow, hole in zip(flows, vessel.tank.holes, strict=True)
        )
        loss = vessel.loss(temperature)
        carried = float(y[_CARRIED])
        found = Moment(time, state, air, level, flows, loss, float(y[_LOST]), carried, speed, torque)
        self.last = (time, key, found)
        return found

    def _level(self, state: TankState, speed: float) -> float:
        """Height of the water at the wall, where the openings that have a height are."""
        tank, rotor = self.vessel.tank, self.vessel.rotor
        level = tank.level(state)
        if rotor is None or not self.has_heights or abs(speed) < 1.0:
            return level
        room = tank.volume - state.gas_volume
        return water_surface(water_volume=room, speed=speed, radius=tank.radius, height=tank.height).at_wall

    def slopes(self, time: float, y: np.ndarray) -> np.ndarray:
        """Change of the state with time."""
        vessel = self.vessel
        now = self.moment(time, y)
        steam = sum(flow.steam for flow in now.flows)
        liquid = sum(flow.liquid for flow in now.flows)
        air = sum(flow.air for flow in now.flows)
        slopes = np.empty(8)
        slopes[_ENERGY] = power_at(vessel.absorbed, time) - now.loss - now.energy_flow
        slopes[_WATER] = -steam - liquid
        slopes[_AIR] = -air
        slopes[_LOST] = now.loss
        slopes[_CARRIED] = now.energy_flow
        slopes[_STEAM_OUT] = steam
        slopes[_LIQUID_OUT] = liquid
        slopes[_SPEED] = self._turning(now, steam + liquid)
        return slopes

    def _turning(self, now: Moment, leaving: float) -> float:
        """Angular acceleration: torques over the inertia of vessel and water, whose water leaves from its middle."""
        rotor = self.vessel.rotor
        if rotor is None:
            return 0.0
        square = 0.5 * self.vessel.tank.radius**2
        inertia = rotor.inertia + square * max(now.state.liquid, 0.0)
        torque = now.torque - rotor.resisting_torque(now.speed) + square * leaving * now.speed
        return torque / inertia

    def bends(self, time: float, y: np.ndarray) -> list[_Ending]:
        """Where the slopes jump, so that the integration starts afresh there: when the last water is gone."""
        if self.moment(time, y).state.liquid <= 1e-9 * self.vessel.water:
            return []
        return [_Ending(BEND, lambda now: now.state.liquid, self)]

    def endings(self) -> list[_Ending]:
        """What ends a run early."""
        vessel = self.vessel
        light = largest(vessel.absorbed)
        small = SETTLED_SHARE * max(light, 1.0)
        signals: dict[str, Callable[[Moment], float]] = {
            "pressure": lambda now: now.state.pressure - vessel.pressure_limit(now.state.temperature),
            "critical": lambda now: now.state.temperature - HIGHEST_WET_K if now.state.liquid > 0.0 else -1.0,
            "wall": lambda now: now.state.temperature - vessel.wall_limit,
            "settled": lambda now: max(abs(light - now.loss - now.energy_flow), abs(now.energy_flow)) - small,
            "frozen": lambda now: now.state.temperature - (TRIPLE_K + 0.01),
        }
        if not is_held(vessel.absorbed):
            del signals["settled"]
        if vessel.wall_heat <= 0.0:
            signals["dry"] = lambda now: now.state.liquid - 1e-4 * vessel.water
        return [_Ending(reason, signal, self) for reason, signal in signals.items()]


def stored(vessel: Vessel, moment: Moment) -> float:
    """Energy stored since the start, told from temperature and masses. [J]"""
    first = tank_state(vessel.start, water=vessel.water, air=vessel.start_air, volume=vessel.tank.volume)
    warmed = vessel.wall_heat * (moment.state.temperature - vessel.start)
    return moment.state.energy - first.energy + warmed
