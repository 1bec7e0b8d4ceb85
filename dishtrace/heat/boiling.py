"""The timeline of a tank of water: rows, events, figures and hazards of a run of a vessel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dishtrace.heat.course import energy_until
from dishtrace.heat.spin import Surface, best_speed, water_surface
from dishtrace.heat.steam import expansion_j_kg, flash_share
from dishtrace.heat.stress import PressureShell
from dishtrace.heat.timeline import Event, Timeline
from dishtrace.heat.vessel import Moment, Run, Vessel, run_vessel, stored
from dishtrace.heat.water import saturation_temperature
from dishtrace.stats import Estimate
from dishtrace.units import celsius

FULL_SHARE = 2e-3
"""Share of the volume left to gas below which a tank counts as full of liquid. [-]"""
NEAR = 0.95
"""Share of the final pressure or speed at which it counts as reached. [-]"""
LEAST_GAUGE_PA = 1000.0
"""Gauge pressure below which no pressure is told to have been reached. [Pa]"""
_MOST_STEPS = 60
_NO_FLOW = 1e-7

NOTES = (
    "Wall and filling have one temperature, the shell is rigid, steam leaves dry: a tank that boils hard or foams also "
    "throws out water, and is dry sooner.",
)
ENDS = {
    "duration": "the time to follow it is over",
    "pressure": "the pressure limit is reached",
    "critical": "the water nears its critical point, where this model ends",
    "wall": "the wall melts, or is hotter than its material's table goes",
    "settled": "nothing changes any more",
    "frozen": "the water freezes",
    "dry": "the tank is dry, and no wall is given that could be followed further",
}


@dataclass(frozen=True, eq=False)
class BoilingCase:
    """A tank with what is told of it.

    Parameters
    ----------
    part : str
        Name of the part.
    vessel : Vessel
    shell : PressureShell or None
        For stresses.
    limit : float or None
        Temperature that the part must not exceed. [K]
    turbine : tuple of float or None
        Isentropic efficiency [-] and exhaust pressure [Pa].
    wall_ends : str
        What happens at the wall's limit: "melts" or "leaves its table".
    """

    part: str
    vessel: Vessel
    shell: PressureShell | None = None
    limit: float | None = None
    turbine: tuple[float, float] | None = None
    wall_ends: str = "melts"


def boiling_timeline(case: BoilingCase) -> Timeline:
    """Follow a tank and tell what happens."""
    run = run_vessel(case.vessel)
    events = _events(case, run)
    return Timeline(
        part=case.part,
        kind="water",
        columns=_columns(case, run.moments),
        events=events,
        figures=_figures(case, run),
        hazards=_hazards(case, run, {event.key for event in events}),
        notes=NOTES,
        ended=ENDS[run.ended],
    )


def _columns(case: BoilingCase, moments: list[Moment]) -> dict[str, np.ndarray]:
    vessel, shell = case.vessel, case.shell

    def column(value: Callable[[Moment], float]) -> np.ndarray:
        return np.array([value(now) for now in moments], float)

    columns = {
        "time_s": column(lambda now: now.time),
        "temperature_c": column(lambda now: celsius(now.state.temperature)),
        "pressure_pa": column(lambda now: now.state.pressure),
        "water_kg": column(lambda now: max(now.state.liquid, 0.0)),
        "steam_kg": column(lambda now: now.state.steam),
        "air_kg": column(lambda now: max(now.air, 0.0)),
        "level_m": column(lambda now: now.level),
        "steam_kg_s": column(lambda now: sum(flow.steam for flow in now.flows)),
        "hot_water_kg_s": column(lambda now: sum(flow.liquid for flow in now.flows)),
        "air_kg_s": column(lambda now: sum(flow.air for flow in now.flows)),
        "absorbed_j": column(lambda now: energy_until(vessel.absorbed, now.time)),
        "stored_j": column(lambda now: stored(vessel, now)),
        "lost_j": column(lambda now: now.lost),
        "carried_j": column(lambda now: now.carried),
        "thrust_n": column(lambda now: sum(flow.thrust for flow in now.flows)),
        "torque_nm": column(lambda now: now.torque),
    }
    if vessel.rotor is not None:
        columns["speed_rad_s"] = column(lambda now: now.speed)
    if shell is not None:
        columns["stress_pa"] = column(lambda now: _stress(case, now))
    return columns


def _stress(case: BoilingCase, now: Moment) -> float:
    gauge = max(now.state.pressure - case.vessel.tank.ambient_pressure, 0.0)
    return case.shell.stress(gauge, speed=now.speed)


def _events(case: BoilingCase, run: Run) -> tuple[Event, ...]:
    """All events in the order of time."""
    found = []
    for key, text, happens in _conditions(case, run):
        time = first_time(run, happens)
        if time is not None:
            found.append(_event(key, text, run.at(time)))
    last = run.moments[-1]
    for k, hole in enumerate(case.vessel.tank.holes, 1):
        if hole.blocked_at is not None and hole.blocked_at < last.time:
            found.append(_event(f"blocked-{k}", f"opening {k} is blocked", run.at(hole.blocked_at)))
    ending = _ending(case, run)
    if ending is not None:
        found.append(_event(*ending, last))
    return tuple(sorted(found, key=lambda event: event.time_s.value))


def _event(key: str, text: str, now: Moment) -> Event:
    return Event(key, text, Estimate(now.time, None), celsius(now.state.temperature), now.state.pressure)


def first_time(run: Run, happens: Callable[[Moment], bool]) -> float | None:
    """First time at which something holds, to a millisecond; None when it never does. [s]"""
    before = run.moments[0]
    if happens(before):
        return before.time
    for now in run.moments[1:]:
        if happens(now):
            return _bisected(run, happens, before.time, now.time)
        before = now
    return None


def _bisected(run: Run, happens: Callable[[Moment], bool], low: float, high: float) -> float:
    for _ in range(_MOST_STEPS):
        if high - low < 1e-3:
            break
        middle = 0.5 * (low + high)
        low, high = (low, middle) if happens(run.at(middle)) else (middle, high)
    return high


def _conditions(case: BoilingCase, run: Run) -> list[tuple[str, str, Callable[[Moment], bool]]]:
    """Key, text and condition of what can happen to any tank."""
    vessel = case.vessel
    ambient, tank = vessel.tank.ambient_pressure, vessel.tank
    top = max(now.state.pressure for now in run.moments) - ambient
    fastest = max(abs(now.speed) for now in run.moments)
    is_open = any(hole.diameter > 0.0 for hole in tank.holes)
    boils = "the water boils" if is_open else "the water passes its boiling point in the open; shut, it does not boil"
    boiling_point = saturation_temperature(ambient)
    found: list[tuple[str, str, Callable[[Moment], bool]]] = [
        ("boils", boils, lambda now: now.state.liquid > 0.0 and now.state.steam_pressure >= ambient),
        ("chokes", "the flow through an opening chokes", lambda now: any(flow.is_choked for flow in now.flows)),
        ("half-gone", "half of the water is gone", lambda now: now.state.liquid < 0.5 * vessel.water),
        ("dry", "the tank is dry; from now on the wall heats alone", lambda now: now.state.liquid <= 0.0),
        ("liquid-full", "the water fills the whole tank", lambda now: now.state.gas_volume < FULL_SHARE * tank.volume),
        (
            "throws-water",
            "an opening that is under water throws out water",
            lambda now: sum(flow.liquid for flow in now.flows) > _NO_FLOW and now.state.temperature <= boiling_point,
        ),
        (
            "throws-hot-water",
            "an opening that is under water throws out hot water that flashes to steam",
            lambda now: sum(flow.liquid for flow in now.flows) > _NO_FLOW and now.state.temperature > boiling_point,
        ),
    ]
    if is_open and top > LEAST_GAUGE_PA:
        text = f"{100 * NEAR:.0f} % of the highest gauge pressure is reached"
        found.append(("at-pressure", text, lambda now: now.state.pressure - ambient >= NEAR * top))
    if case.limit is not None:
        text = f"the part passes its limit_c of {celsius(case.limit):.0f} degC"
        found.append(("limit", text, lambda now: now.state.temperature > case.limit))
    for k, hole in enumerate(tank.holes, 1):
        if hole.opens_at is not None:
            found.append((f"valve-{k}", f"valve {k} opens", lambda now, at=hole.opens_at: now.state.pressure > at))
    if vessel.rotor is not None and fastest > 1.0:
        text = f"{100 * NEAR:.0f} % of the highest speed is reached"
        found.append(("at-speed", text, lambda now: abs(now.speed) >= NEAR * fastest))
        found.append(
            ("floor-dries", "the turning water leaves the middle of the floor dry", lambda now: _dry_floor(vessel, now))
        )
    return found


def _dry_floor(vessel: Vessel, now: Moment) -> bool:
    return now.state.liquid > 1e-3 * vessel.water and surface(vessel, now).dry_floor_radius > 0.0


def surface(vessel: Vessel, now: Moment) -> Surface:
    """The surface of the turning water; see `dishtrace.heat.spin.water_surface`."""
    room = max(vessel.tank.volume - now.state.gas_volume, 0.0)
    return water_surface(water_volume=room, speed=now.speed, radius=vessel.tank.radius, height=vessel.tank.height)


def _ending(case: BoilingCase, run: Run) -> tuple[str, str] | None:
    limit = run.moments[-1].state.pressure
    texts = {
        "pressure": f"the pressure limit of {limit / 1e5:.3g} bar is reached: a shell may burst from here on",
        "critical": ENDS["critical"],
        "wall": f"the wall {case.wall_ends}: the tank is lost",
        "settled": ENDS["settled"],
        "frozen": ENDS["frozen"],
    }
    keys = {"pressure": "pressure-limit", "wall": "wall-limit"}
    return (keys.get(run.ended, run.ended), texts[run.ended]) if run.ended in texts else None


def _figures(case: BoilingCase, run: Run) -> dict[str, float | None]:
    """Single numbers of the whole run."""
    vessel, moments = case.vessel, run.moments
    busiest = max(moments, key=lambda now: sum(flow.steam for flow in now.flows))
    figures: dict[str, float | None] = {
        "highest_pressure_pa": max(now.state.pressure for now in moments),
        "highest_temperature_c": celsius(max(now.state.temperature for now in moments)),
        "largest_steam_kg_s": sum(flow.steam for flow in busiest.flows),
        "largest_thrust_n": max(sum(flow.thrust for flow in now.flows) for now in moments),
        "largest_torque_nm": max((now.torque for now in moments), key=abs),
        "air_at_start_kg": vessel.start_air,
    }
    throwing = [now for now in moments if sum(flow.liquid for flow in now.flows) > _NO_FLOW]
    if throwing:
        hottest = max(throwing, key=lambda now: now.state.temperature).state.temperature
        figures["flash_share"] = flash_share(hottest, back_pressure=vessel.tank.ambient_pressure)
    if case.shell is not None:
        worst = max(moments, key=lambda now: _stress(case, now))
        figures["largest_stress_pa"] = _stress(case, worst)
        figures["allowed_stress_pa"] = case.shell.allowed(worst.state.temperature)
    if case.turbine is not None:
        efficiency, exhaust = case.turbine
        work = expansion_j_kg(pressure=busiest.state.pressure, exhaust=exhaust)
        flow = figures["largest_steam_kg_s"] or 0.0
        figures["turbine_power_w"] = efficiency * work * flow
    return figures | _turning(vessel, run, busiest)


def _turning(vessel: Vessel, run: Run, busiest: Moment) -> dict[str, float | None]:
    """Figures of a vessel that is free to turn."""
    if vessel.rotor is None:
        return {}
    jets = [
        (flow.thrust, flow.mass, hole.lever_arm, abs(hole.around))
        for flow, hole in zip(busiest.flows, vessel.tank.holes, strict=True)
    ]
    best = best_speed(vessel.rotor, jets)
    fastest = max(run.moments, key=lambda now: abs(now.speed))
    half_full = [now for now in run.moments if now.state.liquid > 0.5 * vessel.water]
    shape = surface(vessel, max(half_full, key=lambda now: abs(now.speed)))
    return {
        "highest_speed_rad_s": abs(fastest.speed),
        "best_speed_rad_s": best.speed,
        "shaft_power_w": best.power,
        "free_speed_rad_s": best.free_speed,
        "water_at_wall_m": shape.at_wall,
        "dry_floor_radius_m": shape.dry_floor_radius,
        "wet_top_radius_m": shape.wet_top_radius,
    }


def is_rising(run: Run) -> bool:
    """Whether the pressure was still on its way up when the time was over."""
    return len(run.moments) > 1 and run.moments[-1].state.pressure > run.moments[-2].state.pressure


def _hazards(case: BoilingCase, run: Run, keys: set[str]) -> tuple[str, ...]:
    """Keys of the cautions that a run gives reason for, the most pressing first."""
    last, vessel = run.moments[-1], case.vessel
    can_leave = any(
        hole.diameter > 0.0 and (hole.blocked_at is None or hole.blocked_at > last.time) for hole in vessel.tank.holes
    )
    found = []
    if run.ended in ("pressure", "critical"):
        is_full = last.state.gas_volume < FULL_SHARE * vessel.tank.volume
        found.append("hydraulic-burst" if is_full else "opening-too-small" if can_leave else "burst")
    elif run.ended == "duration" and not can_leave and is_rising(run):
        found.append("shut")
    if "throws-hot-water" in keys or "throws-water" in keys:
        found.append("hot-water")
    if case.shell is not None and vessel.rotor is not None:
        allowed = [(case.shell.allowed(now.state.temperature), _stress(case, now)) for now in run.moments]
        if any(limit is not None and stress > limit for limit, stress in allowed):
            found.append("turns-too-fast")
    if run.ended == "wall":
        found.append("wall-lost")
    if "dry" in keys:
        found.append("runs-dry")
    return (*found, "pressure-vessel")
