"""How hot, how soon: from a scene to the temperatures of all its parts."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.heat.advice import stand_advice
from dishtrace.heat.air import ambient_of
from dishtrace.heat.balance import Balance, balance, settled
from dishtrace.heat.exchange import Sight, sights
from dishtrace.heat.limits import margins
from dishtrace.heat.outcome import HeatResult, PartTemperatures
from dishtrace.heat.ranges import ranged, samples
from dishtrace.heat.setting import Setting, settings_of
from dishtrace.heat.spreads import peak_spread, stagnation_spread
from dishtrace.heat.wall import WallHeat, wall_heat, warming
from dishtrace.scene.materials import surface_of
from dishtrace.scene.uncertain import nominal
from dishtrace.scene.wall import solid_of
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.heat.part_heat import PartHeat
    from dishtrace.heat.timeline import Timeline
    from dishtrace.scene.model import Scene

SHORTEST_MIN, LONGEST_MIN = 0.01, 10_000.0
"""How long a wall can be followed. [min]"""
MELTING_SPAN_S = 4.0 * 3600.0
"""How long a wall is followed to see when it melts. [s]"""
MATTERS_K = 1.0
"""Radiant exchange is worked out again until no part changes by more than this. [K]"""


def heat(
    scene: Scene,
    *,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    minutes: float | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> HeatResult:
    """Trace a scene and tell how hot its parts get, how soon, and what their fillings do.

    Parameters
    ----------
    scene : Scene
        From `load_scene`.
    rays, seed, threads, progress, announce
        As for `trace`.
    minutes : float, optional
        Follow each wall so long from the temperature of the air, 0.01 to 10000. [min]

    Returns
    -------
    HeatResult

    Raises
    ------
    InputError
        If the scene cannot be traced as described, or holds nothing whose temperature could be told.
    RunError
        If more than one ray in a million was lost, or temperatures did not settle.
    """
    from dishtrace.flux.measure import trace

    faults = _faults(scene)
    if minutes is not None and not SHORTEST_MIN <= minutes <= LONGEST_MIN:
        allowed = f"must be from {SHORTEST_MIN:g} to {LONGEST_MIN:g} (minutes)"
        remedy = "leave it out for the steady state alone"
        faults.append(Fault(COMMAND_LINE, "--minutes", f"{minutes:g}", allowed, remedy))
    if faults:
        raise InputError(faults)
    result = trace(scene, rays=rays, seed=seed, threads=threads, progress=progress, announce=announce)
    return heat_of(result, minutes=minutes)


def heat_of(result: Result, *, minutes: float | None = None) -> HeatResult:
    """Temperatures of the parts of a traced scene; see `heat`."""
    settings = settings_of(result, up_direction(result))
    balances = {name: _balance(setting, result) for name, setting in settings.items()}
    walls, seen = _walls(result, settings, balances)
    parts = {
        name: _part(setting, balances[name], walls.get(name), seen.get(name), minutes)
        for name, setting in settings.items()
    }
    timelines = _fillings(result.scene, settings)
    return HeatResult(result, ambient_of(result.scene), parts, timelines, stand_advice(result, parts))


def _fillings(scene: Scene, settings: dict[str, Setting]) -> tuple[Timeline, ...]:
    """Fillings over time; where the scene has uncertain numbers, with the spread of their events."""
    from dishtrace.heat.filling import run_fillings
    from dishtrace.heat.spread import N_FILLINGS, with_intervals

    def heats(drawn: Scene | None = None) -> dict[str, PartHeat]:
        known = {name: setting for name, setting in settings.items() if setting.losses is not None}
        return {name: setting.part_heat(drawn) for name, setting in known.items()}

    timelines = run_fillings(scene, heats())
    if timelines and ranged(scene):
        timelines = with_intervals(timelines, ((drawn, heats(drawn)) for drawn in samples(scene, N_FILLINGS)))
    return tuple(timelines)


def quick_balance(result: Result) -> dict[str, dict]:
    """The section `heat` of a trace's results: each part as one lump with nothing drawn off, where that is known."""
    found = {}
    for name, setting in settings_of(result, up_direction(result)).items():
        told = _balance(setting, result)
        if told is not None:
            stagnation = told.stagnation_k
            found[name] = {
                "absorbed_w": told.absorbed_w.to_dict(),
                "stagnation_c": {**stagnation.to_dict(), "value": celsius(stagnation.value)},
                "losses_w": told.losses_w,
            }
    return found


def up_direction(result: Result) -> np.ndarray:
    """Unit vector upwards in the dish frame; the dish axis when the scene gives no sun direction, (3,). [–]"""
    return np.asarray(result.pose.rotation) @ np.array([0.0, 0.0, 1.0])


def _faults(scene: Scene) -> list[Fault]:
    """A scene of which no part's emittance is known has no temperatures; nor has a filling without it."""
    if not scene.parts:
        return [scene.fault(("part",), allowed="is missing", remedy="heat needs at least one [[part]]")]
    known = [surface_of(scene, number, "front").emittance is not None for number in range(len(scene.parts))]
    remedy = "give emittance in the surface, or name a surface of the table"
    filled = [number for number, part in enumerate(scene.parts) if part.contents is not None and not known[number]]
    if filled:
        allowed = "has no emittance, so what the filling loses is not known"
        return [scene.fault(("part", number, "surface"), allowed=allowed, remedy=remedy) for number in filled]
    if any(known):
        return []
    return [scene.fault(("part", 0, "surface"), allowed="has no emittance", remedy=remedy)]


def _balance(setting: Setting, result: Result) -> Balance | None:
    if setting.losses is None:
        return None
    return balance(setting.absorbed, setting.losses, sunlight=result.budget_w["outline"].value)


def _walls(
    result: Result, settings: dict[str, Setting], balances: dict[str, Balance | None]
) -> tuple[dict[str, WallHeat], dict[str, Sight]]:
    """Temperature fields of all walls, with the heat that parts radiate to each other."""
    wanted = {name: setting for name, setting in settings.items() if setting.part.wall and setting.losses is not None}
    walls: dict[str, WallHeat] = {}
    if not wanted:
        return walls, {}
    warmth = {name: told.stagnation_k.value for name, told in balances.items() if told is not None}
    views = sights(result, settings, wanted)
    for _ in range(4 if len(settings) > 1 else 1):
        before = dict(warmth)
        for name, setting in wanted.items():
            sight = views[name].at(warmth)
            walls[name] = _wall(setting, sight, walls.get(name))
            views[name] = sight
            warmth[name] = float(np.mean(walls[name].values ** 4) ** 0.25)
        if max(abs(warmth[name] - before[name]) for name in wanted) < MATTERS_K:
            break
    return walls, views


def _wall(setting: Setting, sight: Sight, before: WallHeat | None) -> WallHeat:
    wall = setting.part.wall
    return wall_heat(
        setting.lit,
        setting.traced.mesh.triangles,
        setting.losses,
        solid=solid_of(wall),
        thickness=float(nominal(wall.thickness_m)),
        inside=setting.inside,
        sight=sight,
        shell=setting.shell,
        start=None if before is None else before.values,
    )


def _part(
    setting: Setting, told: Balance | None, wall: WallHeat | None, sight: Sight | None, minutes: float | None
) -> PartTemperatures:
    """All that is told of one part."""
    if told is None:
        why = "no temperatures: its thermal emittance is not given" if setting.part.role != "cover" else ""
        return PartTemperatures(setting, None, None, None, None, None, "no emittance", (), (why,) if why else ())
    spread = stagnation_spread(setting)
    notes, state, hottest, warm = [], "no wall", told.stagnation_k.value, None
    if wall is not None:
        solid, peak = wall.problem.plate.solid, wall.peak_k.value
        state, hottest = _state(solid, peak), peak
        if minutes is not None or state == "melts":
            span = MELTING_SPAN_S if minutes is None else 60.0 * minutes
            warm = warming(wall.problem, ambient=setting.ambient.temperature, seconds=span)
        notes += [*wall.notes, *_wall_notes(setting, wall, state, warm)]
        if state in ("melts", "beyond table"):
            hottest, wall = solid.melting if state == "melts" else solid.highest, None
    else:
        hottest = max(hottest, _unspread(setting))
        notes.append(
            f"no wall given: its brightest place lies between the {celsius(told.stagnation_k.value):.0f} C of one lump "
            f"and the {celsius(hottest):.0f} C without heat spreading along it, which limits are held against"
        )
    notes += _notes(setting)
    peak = None if wall is None else peak_spread(setting, wall)
    return PartTemperatures(
        setting, told, spread, wall, peak, warm, state, margins(setting.part, hottest), tuple(notes)
    )


def _state(solid: object, peak: float) -> str:
    if solid.melting is not None and peak >= solid.melting:
        return "melts"
    if solid.highest is not None and peak > solid.highest:
        return "beyond table"
    return "steady"


def _wall_notes(setting: Setting, wall: WallHeat, state: str, warm: object) -> list[str]:
    solid = wall.problem.plate.solid
    found = []
    if state == "melts":
        when = (
            "later than it was followed" if warm is None or warm.melts_after_s is None else _after(warm.melts_after_s)
        )
        held = ""
        if solid.highest is not None and solid.highest < solid.melting:
            held = f" (beyond {celsius(solid.highest):.0f} C with the numbers there, the end of its table)"
        place = ", ".join(f"{1e3 * value:.0f}" for value in setting.traced.mesh.to_user(wall.peak_at))
        found.append(
            f"THE WALL MELTS: {solid.name} melts at {celsius(solid.melting):.0f} C, which its hottest place, at "
            f"({place}) mm, reaches {when}{held}; no temperatures are told beyond that"
        )
    if state == "beyond table":
        found.append(
            f"the wall gets hotter than {celsius(solid.highest):.0f} C, up to which {solid.name} is known: refused "
            "beyond that; give conductivity_w_mk, density_kg_m3 and heat_capacity_j_kgk of your own"
        )
    burnout = None if setting.inside is None else setting.inside.burnout_w_m2
    if burnout is not None and wall.inside_peak_w_m2 > 0.5 * burnout:
        word = "MORE THAN" if wall.inside_peak_w_m2 > burnout else "near"
        found.append(
            f"{word} the {burnout / 1e3:.0f} kW/m2 at which steam cuts water off from a wall: "
            f"{wall.inside_peak_w_m2 / 1e3:.0f} kW/m2 at the hottest place, where the wall may burn through"
        )
    return found


def _after(seconds: float) -> str:
    return f"after {seconds:.0f} s" if seconds < 120.0 else f"after {seconds / 60.0:.1f} min"


def _notes(setting: Setting) -> list[str]:
    kinds = {face.kind for face in setting.losses.faces}
    found = []
    if "cavity" in kinds:
        found.append("convection out of the cavity by Stine and McDonald 1989, good to 40 %")
        dip = next(face.sizes["dip"] for face in setting.losses.faces if face.kind == "cavity")
        if dip < -1e-6:
            found.append("the cavity looks up, for which that correlation does not hold: taken as looking sideways")
    if setting.part.spins:
        found.append("spins: its light is averaged around its axis, as if it turned much faster than it warms")
    return found


def _unspread(setting: Setting) -> float:
    """Temperature that the brightest patch would have by itself, both sides of a sheet losing heat. [K]"""
    traced, losses = setting.traced, setting.losses
    side = traced.peak_side
    flux = traced.peak_w_m2.value * surface_of(setting.result.scene, setting.number, side).absorptance
    fronts = {face.side: number for number, face in reversed(list(enumerate(losses.faces)))}

    def lost(wall: float) -> float:
        one = 0.0
        for number in fronts.values():
            only = type(losses)(
                (losses.faces[number],),
                losses.emittance[number : number + 1],
                losses.ambient,
                losses.coefficients[number : number + 1],
            )
            one += only.total(wall) / losses.faces[number].area
        return one

    return settled(flux, lost, coldest=min(losses.ambient.temperature, losses.ambient.sky))
