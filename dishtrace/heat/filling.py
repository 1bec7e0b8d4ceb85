"""Fillings of all parts of a scene: from the scene's tables to the models, and their timelines."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dishtrace.errors import InputError, RunError
from dishtrace.heat.air import ambient_of
from dishtrace.heat.block import (
    Charge,
    block_timeline,
    melt_timeline,
    nothing_carried,
    plain_enthalpy,
    shut_air_pressure,
)
from dishtrace.heat.flow import Stream, boiling_point, flow_timeline, water_enthalpy
from dishtrace.heat.lump import Enthalpy, Lump
from dishtrace.heat.pot import PotCase, cooking_power, pot_timeline
from dishtrace.heat.tanks import tank_figures, tank_timeline
from dishtrace.heat.timeline import Timeline, with_errors
from dishtrace.heat.water import AIR_CV, AIR_GAS_CONSTANT, HIGHEST_STEAM_K
from dishtrace.scene.uncertain import nominal
from dishtrace.units import kelvin

if TYPE_CHECKING:
    from dishtrace.heat.course import Course
    from dishtrace.heat.part_heat import PartHeat
    from dishtrace.scene.model import Scene

OIL_J_KGK = 2100.0
"""Specific heat capacity of mineral and vegetable oils when warm, 1900 to 2400; common practice. [J/(kg K)]"""


@dataclass(frozen=True, eq=False)
class Filled:
    """A part with a filling, and the scene it is in.

    Parameters
    ----------
    scene : Scene
    index : int
        Of the part in the scene's list.
    heat : PartHeat
    """

    scene: Scene
    index: int
    heat: PartHeat

    @property
    def contents(self) -> Any:
        """The table of what the part holds."""
        return self.heat.part.contents

    def value(self, key: str, default: float | None = None) -> float | None:
        """A number of the contents, the middle of its range; the default when it is left out."""
        given = getattr(self.contents, key)
        return default if given is None else float(nominal(given))

    def start(self) -> float:
        """Temperature at the start. [K]"""
        given = self.value("temperature_c")
        return self.heat.ambient_k if given is None else kelvin(given)

    def limit(self) -> float | None:
        """Temperature not to be passed: that of the contents or of the part, the lower of them. [K]"""
        own = getattr(self.contents, "limit_c", None)
        both = [float(nominal(given)) for given in (own, self.heat.part.limit_c) if given is not None]
        return kelvin(min(both)) if both else None

    @property
    def duration(self) -> float:
        """How long it is followed: as the contents say, or as long as there is a course of light. [s]"""
        course = self.heat.course
        return 60.0 * self.contents.duration_min if course is None else course.duration

    @property
    def wall_heat(self) -> float:
        """Heat capacity of the wall; 0 where none is given. [J/K]"""
        if self.heat.wall_mass_kg is None or self.heat.wall_heat_capacity_j_kgk is None:
            return 0.0
        return self.heat.wall_mass_kg * self.heat.wall_heat_capacity_j_kgk

    @property
    def wall_end(self) -> tuple[float, str]:
        """Temperature at which the wall cannot be followed further [K], and what happens there."""
        from dishtrace.scene.wall import solid_of

        wall = self.heat.part.wall
        solid = None if wall is None else solid_of(wall)
        if solid is None or solid.limit is None or solid.limit > HIGHEST_STEAM_K:
            return HIGHEST_STEAM_K - 20.0, "passes 1700 degC"
        melts = solid.melting is not None and solid.limit == solid.melting
        return solid.limit, "starts to melt" if melts else "is hotter than its material's table goes"

    def refused(self, key: str, allowed: str, remedy: str) -> InputError:
        """An error at a key of the contents."""
        path = ("part", self.index, "contents", key)
        return InputError(self.scene.fault(path, allowed=allowed, remedy=remedy))


def run_fillings(scene: Scene, parts_heat: dict[str, PartHeat], *, is_brief: bool = False) -> list[Timeline]:
    """Timelines of all parts that hold something.

    Parameters
    ----------
    scene : Scene
    parts_heat : dict of PartHeat
        By name of part; parts that are not in it are passed over.
    is_brief : bool
        Leave out the errors and what is told beside the timeline: relief, the shut tank, the cooking test.

    Returns
    -------
    list of Timeline
        In the order of the scene. The standard errors of event times come from that of the absorbed power.

    Raises
    ------
    InputError
        With all faults: a filling larger than its tank, a tank without a known volume, a start above boiling.
    """
    filled_parts = [
        Filled(scene, index, parts_heat[part.name])
        for index, part in enumerate(scene.parts)
        if part.contents is not None and part.name in parts_heat
    ]
    timelines, faults = [], []
    for filled in filled_parts:
        try:
            timelines.append(_told(filled, is_brief))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return timelines


def _told(filled: Filled, is_brief: bool) -> Timeline:
    """The timeline of one part, with errors and all figures unless it is to be brief."""
    absorbed = filled.heat.absorbed_w
    if is_brief:
        return _timeline(filled, absorbed.value)
    if filled.heat.course is not None:
        return with_errors(lambda power: _timeline(filled, power), absorbed)

    def full(power: float) -> Timeline:
        made = _timeline(filled, power)
        figures, notes = _beside(filled, power)
        return replace(made, figures=made.figures | figures, notes=(*made.notes, *notes))

    return with_errors(full, absorbed)


def _beside(filled: Filled, absorbed: float) -> tuple[dict[str, float | None], tuple[str, ...]]:
    """Figures and notes that need more than the timeline."""
    if filled.contents.kind == "water":
        return tank_figures(filled, absorbed), ()
    return _cooking_test(filled, absorbed) if filled.contents.kind == "pot" else ({}, ())


def _timeline(filled: Filled, absorbed: float) -> Timeline:
    """The timeline of one part at an absorbed power [W], which a course of light takes shares of."""
    kind = filled.contents.kind
    makers = {
        "water": tank_timeline,
        "pot": _pot,
        "flow": _flow,
        "melt": _melt,
        "oil": _block,
        "solid": _block,
        "insulation": _block,
        "air": _air,
    }
    if not math.isfinite(absorbed):
        raise RunError(f"part {filled.heat.name!r}: the absorbed power is not known, so its filling cannot be followed")
    course = filled.heat.course
    return makers[kind](filled, absorbed if course is None else course.scaled(absorbed))


def lump_of(filled: Filled, enthalpy: Enthalpy, *, absorbed: float | Course, start: float) -> Lump:
    """The lump of a part with a filling of this enthalpy, wall included. [J]"""
    return Lump(
        enthalpy=enthalpy,
        start=start,
        absorbed=absorbed,
        loss=filled.heat.loss_w,
        carried=nothing_carried,
        highest=filled.wall_end[0],
        duration=filled.duration,
    )


def _block(filled: Filled, absorbed: float | Course) -> Timeline:
    """A solid block, a bath of oil, or insulation."""
    start = filled.start()
    heat = (filled.value("mass_kg", 0.0) or 0.0) * filled.value("heat_capacity_j_kgk") + filled.wall_heat
    if heat <= 0.0:
        raise filled.refused("mass_kg", "is missing, and the part has no wall", "give either: something must be heated")
    lump = lump_of(filled, plain_enthalpy(heat, start), absorbed=absorbed, start=start)
    return block_timeline(filled.heat.name, filled.contents.kind, lump, limit=filled.limit())


def _air(filled: Filled, absorbed: float | Course) -> Timeline:
    """Air alone, shut in or not."""
    start, pressure = filled.start(), filled.heat.pressure_pa
    volume = filled.value("volume_m3", filled.heat.volume_m3)
    if volume is None:
        raise filled.refused("volume_m3", "is missing", "the part encloses no volume: give that of the air")
    mass = pressure * volume / (AIR_GAS_CONSTANT * start)
    heat = mass * AIR_CV + filled.wall_heat
    lump = lump_of(filled, plain_enthalpy(heat, start), absorbed=absorbed, start=start)
    made = block_timeline(filled.heat.name, "air", lump, limit=filled.limit())
    if not filled.contents.shut:
        return made
    pressures = shut_air_pressure(made.columns, start=start, pressure=pressure)
    figures = made.figures | {"highest_pressure_pa": float(pressures.max())}
    hazards = (*made.hazards, "pressure-vessel")
    return replace(made, columns=made.columns | {"pressure_pa": pressures}, figures=figures, hazards=hazards)


def _melt(filled: Filled, absorbed: float | Course) -> Timeline:
    """A charge that melts."""
    start, melting = filled.start(), kelvin(filled.value("melting_c"))
    if start >= melting:
        raise filled.refused("melting_c", "is not above the temperature at the start", "start with a solid")
    mass = filled.value("mass_kg")
    solid = filled.value("heat_capacity_j_kgk")
    charge = Charge(
        melting=melting,
        solid_heat=mass * solid,
        liquid_heat=mass * filled.value("heat_capacity_liquid_j_kgk", solid),
        fusion=mass * filled.value("heat_of_fusion_j_kg"),
    )
    enthalpy = charge.enthalpy(wall_heat=filled.wall_heat, start=start)
    lump = lump_of(filled, enthalpy, absorbed=absorbed, start=start)
    return melt_timeline(filled.heat.name, lump, charge, limit=filled.limit())


def _flow(filled: Filled, absorbed: float | Course) -> Timeline:
    """A liquid that flows through, from its inlet temperature."""
    contents, inlet = filled.contents, kelvin(filled.value("inlet_c"))
    boils = None
    capacity = filled.value("heat_capacity_j_kgk")
    if contents.fluid == "water":
        boils = boiling_point(filled.value("pressure_pa", filled.heat.pressure_pa))
        if not 273.16 <= inlet < boils:
            raise filled.refused("inlet_c", "is not that of liquid water at its pressure", "give pressure_pa")
    given = capacity is not None or contents.fluid == "oil"
    specific = plain_enthalpy(capacity or OIL_J_KGK, inlet) if given else water_enthalpy()
    stream = Stream(filled.value("flow_kg_s"), inlet, specific, boils)
    mass, wall = filled.value("mass_kg"), filled.wall_heat
    held = Enthalpy(specific.temperature, mass * specific.energy + wall * specific.temperature)
    lump = replace(lump_of(filled, held, absorbed=absorbed, start=inlet), carried=stream.carried)
    return flow_timeline(filled.heat.name, lump, stream, limit=filled.limit())


def _pot(filled: Filled, absorbed: float | Course) -> Timeline:
    """An open pot."""
    return pot_timeline(_pot_case(filled, absorbed))


def _cooking_test(filled: Filled, absorbed: float) -> tuple[dict[str, float | None], tuple[str, ...]]:
    """The cooking-power test of a pot."""
    from dishtrace.dish.outline import outline_of
    from dishtrace.sun.state import sun_state

    sun = sun_state(filled.scene)
    case = _pot_case(filled, absorbed)
    test = cooking_power(case, intercept_area=outline_of(filled.scene).area, irradiance=sun.dni_w_m2)
    figures = {
        "cooking_power_w": test.at_50_k,
        "cooking_power_slope_w_k": test.slope,
        "cooking_power_r_squared": test.r_squared,
        "cooking_test_water_kg": test.water,
    }
    note = f"Cooking power as by ASAE S580.1, but: {'; '.join(test.departures)}."
    return figures, (note,)


def _pot_case(filled: Filled, absorbed: float | Course) -> PotCase:
    contents, heat = filled.contents, filled.heat
    surface = contents.surface_m2 or _free_surface(heat.part)
    if surface is None:
        raise filled.refused("surface_m2", "is missing", "this shape does not tell the free surface of the water")
    case = PotCase(
        part=heat.name,
        water=filled.value("mass_kg"),
        start=filled.start(),
        absorbed=absorbed,
        loss=heat.loss_w,
        wall_heat=filled.wall_heat,
        surface=surface,
        leak=contents.lid_leak if contents.lid else 1.0,
        humidity=contents.humidity,
        ambient=replace(ambient_of(filled.scene), temperature=heat.ambient_k, pressure=heat.pressure_pa),
        duration=filled.duration,
    )
    if not 273.16 < case.start < case.boiling_point:
        raise filled.refused("temperature_c", "is not that of liquid water in the open", "start below boiling")
    return case


def _free_surface(part: Any) -> float | None:
    """Area of the water's surface in a part that stands upright. [m2]"""
    if part.shape in ("cylinder", "disc", "tube", "cavity"):
        return math.pi * part.radius_m**2
    if part.shape in ("box", "rectangle"):
        return part.size_m[0] * part.size_m[1]
    return None
