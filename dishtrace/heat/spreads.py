"""How uncertain numbers of the scene spread to temperatures, and which of them matters most."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.balance import settled
from dishtrace.heat.conduction import Problem
from dishtrace.heat.ranges import Ranged, interval, spread_points, with_values
from dishtrace.heat.setting import CONVECTION, EMITTANCE, INSIDE, INSIDE_SPREAD, Setting, changed
from dishtrace.heat.shell import Plate
from dishtrace.heat.sinks import outer_sinks
from dishtrace.heat.wall import WallHeat, influence
from dishtrace.scene.uncertain import Uncertain, nominal
from dishtrace.scene.wall import solid_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dishtrace.heat.losses import Losses
    from dishtrace.heat.ranges import Path

MIDDLE_90 = 1.6449
"""Standard deviations on either side that hold 90 % of a normal spread. [–]"""


@dataclass(frozen=True)
class Influence:
    """What one uncertain number does to a temperature: the change at one standard deviation below and above. [K]"""

    name: str
    sd: float
    below_k: float
    above_k: float

    @property
    def reach(self) -> float:
        """The larger change. [K]"""
        return max(abs(self.below_k), abs(self.above_k))

    def to_dict(self) -> dict:
        """As in results of heat."""
        return {"name": self.name, "sd": self.sd, "below_k": self.below_k, "above_k": self.above_k}


@dataclass(frozen=True)
class Spread:
    """Interval that holds 90 % of a temperature's spread [K], and what it comes from, most first."""

    low_k: float
    high_k: float
    influences: tuple[Influence, ...]


def stagnation_spread(setting: Setting) -> Spread:
    """Spread of a part's stagnation temperature: 64 well-placed draws of all inputs, and each input by itself."""
    inputs = setting.inputs()
    memory: dict[tuple, Losses] = {}

    def temperature(values: Mapping[Path, float]) -> float:
        absorbed, losses = _varied(setting, values, memory)
        coldest = min(losses.ambient.temperature, losses.ambient.sky)
        return settled(absorbed, losses.total, coldest=coldest)

    middle = temperature({})
    shares = spread_points(len(inputs))
    columns = [entry.at(shares[:, number]) for number, entry in enumerate(inputs)]
    paths = [entry.path for entry in inputs]
    drawn = np.array([temperature(dict(zip(paths, row, strict=True))) for row in zip(*columns, strict=True)])
    alone = [
        Influence(entry.name, entry.sd, *(temperature({entry.path: value}) - middle for value in _around(entry)))
        for entry in inputs
    ]
    return Spread(*interval(drawn), tuple(sorted(alone, key=lambda entry: -entry.reach)))


def peak_spread(setting: Setting, wall: WallHeat) -> Spread:
    """Spread of a wall's peak, linear in each input: one solve tells how the peak follows heat gained anywhere."""
    problem, values, memory = wall.problem, wall.values, {}
    hottest = int(np.argmax(values))
    per_watt = influence(problem, values, hottest)
    before = problem.gain(values)

    def change(entry: Ranged, value: float) -> float:
        varied = _varied_problem(setting, problem, {entry.path: value}, memory)
        return float(per_watt @ (varied.gain(values) - before))

    inputs = list(setting.inputs())
    if "filling" in problem.sinks:
        given = Uncertain(value=1.0, sd=INSIDE_SPREAD)
        inputs.append(Ranged(INSIDE, "coefficient inside (assumed)", given, 0.1, 10.0))
    alone = [Influence(entry.name, entry.sd, *(change(entry, value) for value in _around(entry))) for entry in inputs]
    if wall.peak_k.se is not None:
        alone.append(Influence("flux (tracing)", wall.peak_k.se, -wall.peak_k.se, wall.peak_k.se))
    reach = MIDDLE_90 * float(np.sqrt(sum(0.25 * (entry.above_k - entry.below_k) ** 2 for entry in alone)))
    peak = wall.peak_k.value
    return Spread(peak - reach, peak + reach, tuple(sorted(alone, key=lambda entry: -entry.reach)))


def _around(entry: Ranged) -> tuple[float, float]:
    """One standard deviation below and above, kept within what the key allows."""
    return tuple(float(np.clip(entry.middle + sign * entry.sd, entry.low, entry.high)) for sign in (-1.0, 1.0))


def _varied(setting: Setting, values: Mapping[Path, float], memory: dict) -> tuple[float, Losses]:
    """Heat absorbed [W] and losses with some inputs changed."""
    scene = with_values(setting.result.scene, {path: value for path, value in values.items() if path[0] != "assumed"})
    absorbed = setting.absorbed_in(scene).value
    key = (scene.air, scene.parts[setting.number])
    if key not in memory:
        memory[key] = setting.losses_in(scene)
    losses = changed(memory[key], convection=values.get(CONVECTION, 1.0), emittance=values.get(EMITTANCE, 0.0))
    return absorbed, losses


def _varied_problem(setting: Setting, problem: Problem, values: Mapping[Path, float], memory: dict) -> Problem:
    """The wall's problem with some inputs changed; its filling, and what it sees of other parts, stay."""
    absorbed, losses = _varied(setting, values, memory)
    scene = with_values(setting.result.scene, {path: value for path, value in values.items() if path[0] != "assumed"})
    wall = scene.parts[setting.number].wall
    plate = Plate(problem.plate.shell, solid_of(wall), float(nominal(wall.thickness_m)))
    air, radiation = outer_sinks(losses, plate.shell)
    _, unvaried = outer_sinks(setting.losses, plate.shell)
    seen = problem.sinks["radiation"].back - unvaried.back
    sinks = {**problem.sinks, "air": air, "radiation": type(radiation)(radiation.strength, radiation.back + seen)}
    for name in ("filling", "vapour"):
        if name in sinks:
            sinks[name] = replace(sinks[name], area=sinks[name].area * values.get(INSIDE, 1.0))
    whole = setting.absorbed.value
    return Problem(plate, problem.load * (absorbed / whole if whole > 0.0 else 1.0), sinks)
