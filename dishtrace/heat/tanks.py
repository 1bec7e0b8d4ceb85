"""From a scene's tank of water to its vessel: room, openings, shell, limits; and what is told beside the timeline."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from dishtrace.heat.boiling import BoilingCase, boiling_timeline
from dishtrace.heat.relief import diameter_of, largest_steam_flow, pressure_reached, smallest_area
from dishtrace.heat.spin import Rotor
from dishtrace.heat.stress import PressureShell
from dishtrace.heat.tank import Hole, Tank
from dishtrace.heat.timeline import Timeline
from dishtrace.heat.vessel import Vessel, run_vessel
from dishtrace.heat.water import AIR_GAS_CONSTANT, HIGHEST_WET_K, TRIPLE_K, saturation, saturation_temperature
from dishtrace.scene.uncertain import nominal
from dishtrace.units import celsius, kelvin

if TYPE_CHECKING:
    from dishtrace.heat.course import Course
    from dishtrace.heat.filling import Filled

PRESSURE_LIMIT_PA = 1.0e6
"""Absolute pressure whose time is told where no limit and no wall is given: a round number. [Pa]"""


def tank_timeline(filled: Filled, absorbed: float | Course) -> Timeline:
    """A tank of water, at an absorbed power [W]."""
    made = boiling_timeline(case_of(filled, absorbed))
    return replace(made, notes=(*made.notes, *_notes(filled)))


def tank_figures(filled: Filled, absorbed: float) -> dict[str, float | None]:
    """What is told beside the timeline: the same tank shut, and the openings it needs."""
    case = case_of(filled, absorbed)
    return shut_figures(case) | relief_figures(case)


def case_of(filled: Filled, absorbed: float | Course) -> BoilingCase:
    """The vessel of a part that holds water."""
    heat, turbine = filled.heat, filled.contents.turbine
    tank = tank_of(filled)
    _refuse_start(filled, tank)
    shell = shell_of(filled, tank)
    wall_limit, wall_ends = filled.wall_end
    vessel = Vessel(
        tank=tank,
        water=filled.value("mass_kg"),
        start=filled.start(),
        absorbed=absorbed,
        loss=heat.loss_w,
        wall_heat=filled.wall_heat,
        pressure_limit=_pressure_limit(filled, shell),
        wall_limit=wall_limit,
        duration=filled.duration,
        rotor=rotor_of(filled),
    )
    _refuse_pressure(filled, vessel)
    return BoilingCase(
        part=heat.name,
        vessel=vessel,
        shell=shell,
        limit=filled.limit(),
        turbine=None if turbine is None else _turbine(turbine, heat.pressure_pa),
        wall_ends=wall_ends,
    )


def _refuse_start(filled: Filled, tank: Tank) -> None:
    """Water must be liquid at the start, and have room."""
    start = filled.start()
    if not TRIPLE_K < start < HIGHEST_WET_K:
        raise filled.refused(
            "temperature_c", f"starts at {celsius(start):.1f} degC, where water is not liquid", "give it"
        )
    room = filled.value("mass_kg") * saturation(start).liquid_volume
    if room > tank.volume:
        allowed = f"takes {1000.0 * room:.4g} litres at the start, more than the {1000.0 * tank.volume:.4g} of the tank"
        raise filled.refused("mass_kg", allowed, "leave room for the water to swell, or give volume_m3")


def _refuse_pressure(filled: Filled, vessel: Vessel) -> None:
    """The water must start below the pressure that the tank is taken to bear."""
    first, bearable = saturation(vessel.start).pressure, vessel.pressure_limit(vessel.start)
    if first >= bearable:
        allowed = (
            f"starts at {celsius(vessel.start):.1f} degC, and so at {first / 1e5:.3g} bar (absolute), above the "
            f"{bearable / 1e5:.3g} bar that the tank is taken to bear"
        )
        raise filled.refused("temperature_c", allowed, "give degrees Celsius, not kelvin; or start colder")


def _turbine(turbine: Any, ambient: float) -> tuple[float, float]:
    exhaust = ambient if turbine.exhaust_pa is None else float(nominal(turbine.exhaust_pa))
    return float(nominal(turbine.isentropic_efficiency)), exhaust


def tank_of(filled: Filled) -> Tank:
    """Room and openings of the tank."""
    part, heat = filled.heat.part, filled.heat
    volume = filled.value("volume_m3", heat.volume_m3)
    if volume is None:
        raise filled.refused("volume_m3", "is missing", "the part encloses no volume: give that of the tank")
    is_ball = part.shape == "sphere" and filled.contents.height_m is None and filled.contents.volume_m3 is None
    return Tank(
        volume=volume,
        height=filled.contents.height_m or _height(part, volume),
        holes=tuple(_hole(opening) for opening in part.openings),
        ambient_pressure=heat.pressure_pa,
        ambient_temperature=heat.ambient_k,
        is_ball=is_ball,
    )


def _height(part: Any, volume: float) -> float:
    """Height inside from the part's shape, standing upright; else that of a cube of the volume. [m]"""
    if part.shape in ("cylinder", "cone", "tube"):
        return part.height_m
    if part.shape == "box":
        return part.size_m[2]
    if part.shape == "sphere":
        return 2.0 * part.radius_m
    return part.depth_m if part.shape == "cavity" else volume ** (1.0 / 3.0)


def _hole(opening: Any) -> Hole:
    length = math.hypot(*opening.direction)
    return Hole(
        diameter=float(nominal(opening.diameter_m)),
        coefficient=float(nominal(opening.discharge_coefficient)),
        count=opening.count,
        height=opening.height_m,
        lever_arm=opening.lever_arm_m,
        around=opening.direction[0] / length,
        opens_at=None if opening.opens_at_pa is None else float(nominal(opening.opens_at_pa)),
        blocked_at=None if opening.blocked_at_min is None else 60.0 * opening.blocked_at_min,
    )


def shell_of(filled: Filled, tank: Tank) -> PressureShell | None:
    """The shell, where wall and radius are known."""
    from dishtrace.scene.wall import solid_of

    part, contents = filled.heat.part, filled.contents
    if part.wall is None:
        return None
    allowable = filled.value("allowable_stress_pa")
    return PressureShell(
        radius=getattr(part, "radius_m", None) or tank.radius,
        thickness=float(nominal(part.wall.thickness_m)),
        density=solid_of(part.wall).density,
        material=part.wall.material,
        allowable=allowable,
        safety_factor=contents.safety_factor,
        joint_efficiency=contents.joint_efficiency,
        is_ball=part.shape == "sphere",
    )


def _pressure_limit(filled: Filled, shell: PressureShell | None) -> Any:
    """Temperature [K] to the absolute pressure [Pa] at which the timeline ends."""
    given, ambient = filled.value("pressure_limit_pa"), filled.heat.pressure_pa
    if given is not None:
        return lambda temperature: given
    if shell is None or shell.allowed(filled.start()) is None:
        return lambda temperature: PRESSURE_LIMIT_PA
    return lambda temperature: ambient + shell.pressure_allowed(temperature)


def rotor_of(filled: Filled) -> Rotor | None:
    """The vessel as something that turns."""
    spin, heat = filled.contents.spin, filled.heat
    if spin is None:
        return None
    from dishtrace.heat.air import film_at

    tank = tank_of(filled)
    density = heat.pressure_pa / (AIR_GAS_CONSTANT * heat.ambient_k)
    return Rotor(
        inertia=float(nominal(spin.inertia_kg_m2)),
        radius=spin.radius_m or getattr(heat.part, "radius_m", None) or tank.radius,
        length=spin.length_m or tank.height,
        bearing_torque=float(nominal(spin.bearing_torque_nm)),
        bearing_drag=float(nominal(spin.bearing_drag_nms)),
        load=float(nominal(spin.load_nm)),
        air_density=density,
        air_viscosity=density * film_at(heat.ambient_k, heat.pressure_pa).viscosity,
    )


def shut_figures(case: BoilingCase) -> dict[str, float | None]:
    """The same tank with its outlet shut from the start: when it reaches the pressure limit, and how hot it is then."""
    vessel = case.vessel
    run = run_vessel(replace(vessel, tank=replace(vessel.tank, holes=()), rotor=None))
    last = run.moments[-1]
    is_reached = run.ended == "pressure"
    return {
        "shut_limit_s": last.time if is_reached else None,
        "shut_limit_pa": last.state.pressure if is_reached else None,
        "shut_temperature_c": celsius(last.state.temperature),
    }


def boiling_limit(vessel: Vessel) -> float | None:
    """The pressure limit at the temperature that water boils at under it; None above 210 bar. [Pa]"""
    from scipy.optimize import brentq

    def short(pressure: float) -> float:
        return vessel.pressure_limit(saturation_temperature(pressure)) - pressure

    low, high = 0.5 * vessel.tank.ambient_pressure, saturation(HIGHEST_WET_K - 0.5).pressure
    if short(high) >= 0.0:
        return None
    return float(brentq(short, low, high, xtol=1.0)) if short(low) > 0.0 else None


def relief_figures(case: BoilingCase) -> dict[str, float | None]:
    """Smallest opening for the largest steam production at the pressure limit, and what the openings there are hold."""
    vessel, tank = case.vessel, case.vessel.tank
    limit = boiling_limit(vessel)
    figures: dict[str, float | None] = {
        "pressure_limit_pa": limit,
        "relief_diameter_m": None,
        "relief_steam_kg_s": None,
    }
    if limit is not None and limit > tank.ambient_pressure and vessel.absorbed > 0.0:
        flow = largest_steam_flow(vessel.absorbed, pressure=limit)
        area = smallest_area(flow, pressure=limit, back_pressure=tank.ambient_pressure, coefficient=_coefficient(tank))
        figures |= {"relief_diameter_m": diameter_of(area), "relief_steam_kg_s": flow}
    area = sum(hole.area * hole.coefficient for hole in tank.holes if hole.opens_at is None)
    reached = None
    if area > 0.0:
        reached = pressure_reached(
            lambda temperature: vessel.absorbed - vessel.loss(temperature),
            area=area,
            back_pressure=tank.ambient_pressure,
        )
    return figures | {"reached_pressure_pa": reached}


def _coefficient(tank: Tank) -> float:
    """Discharge coefficient of the openings there are, the smallest; 0.6 where there are none. [-]"""
    return min((hole.coefficient for hole in tank.holes if hole.diameter > 0.0), default=0.6)


def _notes(filled: Filled) -> tuple[str, ...]:
    """What was taken for granted."""
    notes = []
    if filled.wall_heat <= 0.0:
        notes.append(
            "The part has no wall: its heat capacity and strength are left out, and dry-out ends the timeline."
        )
    elif shell_of(filled, tank_of(filled)).allowed(kelvin(100.0)) is None and filled.value("pressure_limit_pa") is None:
        notes.append("No allowable stress is known for this wall: give allowable_stress_pa or pressure_limit_pa.")
    inside, given = filled.heat.volume_m3, filled.value("volume_m3")
    if inside is not None and given is not None and given > 1.05 * inside:
        notes.append(
            f"volume_m3 is {given:.4g}, but the part encloses only {inside:.4g} m3: the rest is taken to be a room "
            "that is joined to it and as warm."
        )
    if filled.heat.part.frame == "dish":
        notes.append("The tank is taken to stand upright although it moves with the dish.")
    return tuple(notes)
