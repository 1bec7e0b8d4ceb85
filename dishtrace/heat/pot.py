"""An open pot of water, with or without a lid: heating, evaporation, boiling off; and a cooking-power test."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from dishtrace.heat.air import Ambient
from dishtrace.heat.convection import plate
from dishtrace.heat.course import Course, energy_until, longest_step, power_at
from dishtrace.heat.tank import MOLE_AIR, MOLE_STEAM
from dishtrace.heat.timeline import Event, Timeline
from dishtrace.heat.water import AIR_CP, TRIPLE_K, saturation, saturation_temperature
from dishtrace.stats import Estimate
from dishtrace.units import celsius

BOILING_W_K = 2e4
"""Power that boiling carries off for each kelvin above the boiling point: large, so that it stays there. [W/K]"""
LEWIS = 0.865
"""Lewis number of water vapour in air, thermal over mass diffusivity near 300 K (from memory). [-]"""
DRY_SHARE = 1e-4
"""Share of the water at the start that counts as none. [-]"""
OUTPUT_STEP_S = 20.0
NOTES = (
    "The pot's own loss counts its top as a dry surface; evaporation comes on top of it. Rates by the analogy "
    "of heat and mass transfer are good to a third.",
)


@dataclass(frozen=True, eq=False)
class PotCase:
    """A pot in the light.

    Parameters
    ----------
    part : str
    water : float
        [kg]
    start : float
        [K]
    absorbed : float or Course
        Held, or over time. [W]
    loss : callable
        Temperature [K] to loss [W].
    wall_heat : float
        [J/K]
    surface : float
        Free surface. [m2]
    leak : float
        Share of its evaporation that gets out: 1 without a lid. [-]
    humidity : float
        Relative. [-]
    ambient : Ambient
    duration : float
        [s]
    """

    part: str
    water: float
    start: float
    absorbed: float | Course
    loss: Callable[[float], float]
    wall_heat: float
    surface: float
    leak: float
    humidity: float
    ambient: Ambient
    duration: float

    @property
    def boiling_point(self) -> float:
        """[K]"""
        return saturation_temperature(self.ambient.pressure)


def evaporation(temperature: float, *, area: float, humidity: float, ambient: Ambient) -> float:
    """Water that evaporates from a level surface below boiling.

    Parameters
    ----------
    temperature : float
        Of the water. [K]
    area : float
        [m2]
    humidity : float
        Relative humidity of the air. [-]
    ambient : Ambient

    Returns
    -------
    float
        Never negative: dew on the water is left out. [kg/s]

    Notes
    -----
    Mass flux h / (c_p Le^(2/3)) ln((1 - y_air) / (1 - y_surface)), with h of a level plate that looks up, y the mass
    share of vapour, and Stefan's flow in the logarithm. It rules in still air below boiling; near boiling it grows
    without bound, so y is held below 0.99 and boiling does the rest.

    References
    ----------
    .. [1] F. P. Incropera, D. P. DeWitt, *Fundamentals of Heat and Mass Transfer*, section 6.7 (analogy); R. B. Bird,
       W. E. Stewart, E. N. Lightfoot, *Transport Phenomena*, ch. 22 (Stefan's flow); both from memory.
    """
    side = math.sqrt(area)
    coefficient = plate(temperature, ambient, slope=side, breadth=0.25 * side, tilt=0.0)
    surface = vapour_share(saturation(temperature).pressure, ambient.pressure)
    ambient_vapour = humidity * saturation(max(ambient.temperature, TRIPLE_K)).pressure
    far = vapour_share(ambient_vapour, ambient.pressure)
    flux = coefficient / (AIR_CP * LEWIS ** (2.0 / 3.0)) * math.log((1.0 - far) / (1.0 - min(surface, 0.99)))
    return max(area * flux, 0.0)


def vapour_share(vapour_pressure: float, pressure: float) -> float:
    """Mass share of water vapour in moist air. [-]"""
    moles = min(vapour_pressure / pressure, 1.0)
    return moles * MOLE_STEAM / (moles * MOLE_STEAM + (1.0 - moles) * MOLE_AIR)


class _Rates(NamedTuple):
    temperature: float
    leaving: float
    loss: float
    carried: float


class PotRun(NamedTuple):
    """A pot over time: times (n,), states (4, n) of energy, water, lost and carried, and rates at any time."""

    times: np.ndarray
    states: np.ndarray
    at: Callable[[float], _Rates]
    ended: str


def run_pot(case: PotCase) -> PotRun:
    """Follow a pot until it is dry, nothing changes, or the time is over."""
    from scipy.integrate import solve_ivp

    first = case.water * saturation(case.start).liquid_u + case.wall_heat * case.start

    def rates(y: np.ndarray) -> _Rates:
        temperature = _temperature(case, float(y[0]), max(float(y[1]), 1e-9))
        steam = saturation(temperature)
        drying = min(max(float(y[1]) / (DRY_SHARE * case.water), 0.0), 1.0)
        open_air = evaporation(temperature, area=case.surface, humidity=case.humidity, ambient=case.ambient)
        boiling = BOILING_W_K * max(temperature - case.boiling_point, 0.0) / (steam.steam_h - steam.liquid_h)
        leaving = drying * (case.leak * open_air + boiling)
        return _Rates(temperature, leaving, case.loss(temperature), leaving * steam.steam_h)

    def slopes(t: float, y: np.ndarray) -> list[float]:
        now = rates(y)
        return [power_at(case.absorbed, t) - now.loss - now.carried, -now.leaving, now.loss, now.carried]

    def dries(_: float, y: np.ndarray) -> float:
        return float(y[1]) - 2.0 * DRY_SHARE * case.water

    dries.terminal = True
    solution = solve_ivp(
        slopes,
        (0.0, case.duration),
        [first, case.water, 0.0, 0.0],
        method="LSODA",
        rtol=1e-8,
        atol=[1e-2, 1e-9, 1e-2, 1e-2],
        events=[dries],
        dense_output=True,
        max_step=longest_step(case.absorbed, max(case.duration / 50.0, 1.0)),
    )
    count = max(int(solution.t[-1] / OUTPUT_STEP_S), 2)
    times = np.union1d(solution.t, np.linspace(0.0, solution.t[-1], count + 1))
    ended = "dry" if solution.status == 1 else "duration"
    return PotRun(times, solution.sol(times), lambda t: rates(solution.sol(t)), ended)


def _temperature(case: PotCase, energy: float, water: float) -> float:
    """Temperature at which water and wall hold an energy; up to 20 K above boiling. [K]"""
    here = min(max(case.start, TRIPLE_K), case.boiling_point)
    highest = case.boiling_point + 20.0
    for _ in range(40):
        sat = saturation(here)
        gap = water * sat.liquid_u + case.wall_heat * here - energy
        step = gap / (water * 4200.0 + case.wall_heat)
        there = min(max(here - step, TRIPLE_K), highest)
        if abs(there - here) < 1e-10:
            return there
        here = there
    return here


def pot_timeline(case: PotCase) -> Timeline:
    """Follow a pot and tell what happens."""
    run = run_pot(case)
    moments = [run.at(float(time)) for time in run.times]
    first = run.states[0, 0]
    columns = {
        "time_s": run.times,
        "temperature_c": np.array([celsius(now.temperature) for now in moments]),
        "water_kg": np.maximum(run.states[1], 0.0),
        "steam_kg_s": np.array([now.leaving for now in moments]),
        "absorbed_j": energy_until(case.absorbed, run.times),
        "stored_j": np.array([_held(case, now, water) for now, water in zip(moments, run.states[1], strict=True)])
        - first,
        "lost_j": run.states[2],
        "carried_j": run.states[3],
        "loss_w": np.array([now.loss for now in moments]),
        "carried_w": np.array([now.carried for now in moments]),
    }
    events = _events(case, run, columns)
    keys = {event.key for event in events}
    hazards = ("runs-dry",) if "dry" in keys else ()
    ended = "the pot is dry" if run.ended == "dry" else "the time to follow it is over"
    return Timeline(case.part, "pot", columns, events, _figures(case, columns), hazards, NOTES, ended)


def _held(case: PotCase, now: _Rates, water: float) -> float:
    return water * saturation(now.temperature).liquid_u + case.wall_heat * now.temperature


def _events(case: PotCase, run: PotRun, columns: dict[str, np.ndarray]) -> tuple[Event, ...]:
    """Boiling, half gone, dry; times between rows by straight lines, which bend little over a row."""
    found = []
    wanted = (
        ("boils", "the water boils", columns["temperature_c"], celsius(case.boiling_point)),
        ("half-gone", "half of the water is gone", -columns["water_kg"], -0.5 * case.water),
    )
    for key, text, values, level in wanted:
        above = np.flatnonzero(values >= level)
        if len(above) and above[0] > 0:
            k = int(above[0])
            share = (level - values[k - 1]) / (values[k] - values[k - 1])
            time = float(run.times[k - 1] + share * (run.times[k] - run.times[k - 1]))
            found.append(Event(key, text, Estimate(time, None), celsius(run.at(time).temperature)))
    if not any(event.key == "boils" for event in found):
        hottest = int(np.argmax(columns["temperature_c"] >= columns["temperature_c"].max() - 0.5))
        text = "the water is as hot as it gets: evaporation and losses take all the heat"
        time = Estimate(float(run.times[hottest]), None)
        found.append(Event("hottest", text, time, float(columns["temperature_c"][hottest])))
    if run.ended == "dry":
        text = "the pot is dry: it burns"
        found.append(Event("dry", text, Estimate(float(run.times[-1]), None), float(columns["temperature_c"][-1])))
    return tuple(sorted(found, key=lambda event: event.time_s.value))


def _figures(case: PotCase, columns: dict[str, np.ndarray]) -> dict[str, float | None]:
    boiling, air = case.boiling_point, case.ambient.temperature
    evaporated = case.leak * evaporation(boiling - 5.0, area=case.surface, humidity=case.humidity, ambient=case.ambient)
    return {
        "boiling_point_c": celsius(boiling),
        "loss_at_boiling_w": case.loss(boiling),
        "loss_coefficient_w_k": case.loss(boiling) / (boiling - air) if boiling > air else None,
        "evaporation_5k_below_boiling_kg_s": evaporated,
        "largest_steam_kg_s": float(columns["steam_kg_s"].max()),
        "highest_temperature_c": float(columns["temperature_c"].max()),
    }


class CookingPower(NamedTuple):
    """A cooking-power test.

    Parameters
    ----------
    water : float
        Load. [kg]
    at_50_k : float or None
        Standardised cooking power at 50 K above the air; None where the water never gets so warm. [W]
    slope : float or None
        Of the straight line over the temperature difference. [W/K]
    r_squared : float or None
        Of that line; the standard asks for 0.75 at least. [-]
    departures : tuple of str
        Where the conditions are not those of the standard.
    """

    water: float
    at_50_k: float | None
    slope: float | None
    r_squared: float | None
    departures: tuple[str, ...]


LOAD_KG_M2 = 7.0
INTERVAL_S = 600.0
STANDARD_IRRADIANCE = 700.0
WATER_CP = 4186.0


def cooking_power(case: PotCase, *, intercept_area: float, irradiance: float) -> CookingPower:
    """Standardised cooking power of a dish and its pot.

    Parameters
    ----------
    case : PotCase
        Its own load of water is replaced by that of the standard.
    intercept_area : float
        Of the dish, square to the sun. [m2]
    irradiance : float
        On that area; direct light only, since a dish uses no other. [W/m2]

    Notes
    -----
    7 kg of water for each square metre, read every 10 minutes from 5 K above the air's temperature up to 5 K below
    boiling: P = (T2 - T1) m c / 600 s, times 700 / irradiance, over the mean difference from the air; a straight line
    through the points is read at 50 K. The standard takes the total irradiance and measured points of three days.

    References
    ----------
    .. [1] ASAE S580.1, *Testing and Reporting Solar Cooker Performance*, ASABE, 2013 (from memory).
    """
    water = LOAD_KG_M2 * intercept_area
    start = case.ambient.temperature + 5.0
    run = run_pot(replace(case, water=water, start=start, duration=24 * 3600.0))
    read = []
    time = 0.0
    while time <= run.times[-1] and (temperature := run.at(time).temperature) < case.boiling_point - 5.0:
        if read and temperature - read[-1] < 0.05:
            break
        read.append(temperature)
        time += INTERVAL_S
    readings = np.array(read)
    powers = np.diff(readings) * water * WATER_CP / INTERVAL_S * STANDARD_IRRADIANCE / irradiance
    differences = 0.5 * (readings[1:] + readings[:-1]) - case.ambient.temperature
    return CookingPower(water, *_line(differences, powers), _departures(case, irradiance))


def _line(x: np.ndarray, y: np.ndarray) -> tuple[float | None, float | None, float | None]:
    """Value at 50 K, slope and r squared of the straight line; None with fewer than three points."""
    if len(x) < 3:
        return None, None, None
    slope, intercept = np.polyfit(x, y, 1)
    left = y - (intercept + slope * x)
    spread = float(np.sum((y - y.mean()) ** 2))
    r_squared = 1.0 - float(np.sum(left**2)) / spread if spread > 0.0 else None
    at_50 = float(intercept + 50.0 * slope) if x.max() >= 50.0 else None
    return at_50, float(slope), r_squared


def _departures(case: PotCase, irradiance: float) -> tuple[str, ...]:
    """Where the conditions are not those of the standard."""
    found = []
    if not 450.0 <= irradiance <= 1100.0:
        found.append(f"irradiance {irradiance:.0f} W/m2, not 450 to 1100")
    if case.ambient.wind > 1.0:
        found.append(f"wind {case.ambient.wind:.1f} m/s, above 1.0")
    air = celsius(case.ambient.temperature)
    if not 20.0 <= air <= 35.0:
        found.append(f"air at {air:.0f} degC, not 20 to 35")
    return (*found, "direct irradiance instead of total", "computed instead of measured")
