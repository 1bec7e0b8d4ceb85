"""A traced part made ready for heat: its light, its losses, its wall, and how these change with uncertain numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.air import Ambient, ambient_of
from dishtrace.heat.balance import absorbed_of
from dishtrace.heat.behind import insulated
from dishtrace.heat.convection import SPREAD
from dishtrace.heat.faces import Face, part_faces, volume_of
from dishtrace.heat.inside import Inside, inside_of
from dishtrace.heat.losses import Losses, losses_of
from dishtrace.heat.part_heat import PartHeat
from dishtrace.heat.ranges import Path, Ranged, ranged
from dishtrace.heat.shell import Shell, shell_of
from dishtrace.heat.wall import Lit, lit_of
from dishtrace.scene.materials import surface_of
from dishtrace.scene.uncertain import Uncertain, nominal
from dishtrace.scene.wall import solid_of
from dishtrace.stats import Estimate
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult, Result
    from dishtrace.scene.model import Part, Scene

CONVECTION: Path = ("assumed", "coefficient to air")
EMITTANCE: Path = ("assumed", "emittance of a named surface")
INSIDE: Path = ("assumed", "coefficient inside")
INSIDE_SPREAD = 0.4
"""Relative standard deviation of coefficients to fillings: good to a factor of two, two deviations off. [–]"""


@dataclass(frozen=True, eq=False)
class Setting:
    """One part of a traced scene.

    Parameters
    ----------
    result : Result
    number : int
        Of the part in the scene. [–]
    up : (3,) float64
        Upwards, in the dish frame. [–]
    """

    result: Result
    number: int
    up: np.ndarray

    @property
    def part(self) -> Part:
        """The part's table."""
        return self.result.scene.parts[self.number]

    @property
    def traced(self) -> PartResult:
        """What the part gets."""
        return self.result.parts[self.part.name]

    @cached_property
    def ambient(self) -> Ambient:
        """Around the part."""
        return ambient_of(self.result.scene)

    @cached_property
    def absorbed(self) -> Estimate:
        """Light absorbed. [W]"""
        return absorbed_of(self.traced)

    @cached_property
    def faces(self) -> tuple[Face, ...]:
        """That give off heat."""
        return part_faces(self.part, self.traced.mesh, self.up)

    @cached_property
    def losses(self) -> Losses | None:
        """Of its outer surface; None where its emittance is not known."""
        return self.losses_in(self.result.scene)

    def losses_in(self, scene: Scene) -> Losses | None:
        """The same by the numbers of another scene."""
        part = scene.parts[self.number]
        losses = losses_of(scene, part, self.traced.mesh, ambient=ambient_of(scene), up=self.up, faces=self.faces)
        return None if losses is None else insulated(losses, part)

    @cached_property
    def shell(self) -> Shell:
        """Its triangles with shared corners."""
        return shell_of(self.traced.mesh.triangles)

    @cached_property
    def volume(self) -> float | None:
        """Enclosed by a closed part. [m3]"""
        mesh = self.traced.mesh
        return volume_of(mesh.triangles) if mesh.is_closed else None

    @cached_property
    def lit(self) -> Lit:
        """Light on its triangles."""
        axis = None
        if self.part.spins:
            mesh = self.traced.mesh
            axis = normalise(np.array([float(nominal(value)) for value in self.part.axis])) @ mesh.frame_rotation
        return lit_of(self.traced, axis=axis)

    @cached_property
    def inside(self) -> Inside | None:
        """What the back of its wall touches."""
        return inside_of(self.part, self.shell, ambient=self.ambient, up=self.up, volume=self.volume)

    def part_heat(self, scene: Scene | None = None) -> PartHeat | None:
        """For models of its filling, by the numbers of the scene or of another; None without a known emittance."""
        own = self.result.scene
        scene = own if scene is None else scene
        part = scene.parts[self.number]
        losses = self.losses if scene is own else self.losses_in(scene)
        if losses is None:
            return None
        wall, mass, capacity = part.wall, None, None
        if wall is not None:
            solid = solid_of(wall)
            mass = solid.density * float(nominal(wall.thickness_m)) * self.traced.area_m2
            capacity = float(np.interp(373.15, solid.temperature, solid.heat_capacity))
        return PartHeat(
            name=part.name,
            role=part.role,
            part=part,
            absorbed_w=self.absorbed if scene is own else self.absorbed_in(scene),
            area_m2=self.traced.area_m2,
            volume_m3=self.volume,
            wall_mass_kg=mass,
            wall_heat_capacity_j_kgk=capacity,
            loss_w=losses.total,
            ambient_k=losses.ambient.temperature,
            pressure_pa=losses.ambient.pressure,
        )

    def absorbed_in(self, scene: Scene) -> Estimate:
        """Light absorbed by the numbers of another scene, to first order. [W]"""
        mirror, direct = self.light_factors(scene)
        value = mirror * self.traced.absorbed_w.value + direct * self.traced.direct_absorbed_w.value
        return Estimate(value, self.absorbed.se)

    def inputs(self) -> tuple[Ranged, ...]:
        """Uncertain numbers that bear on this part: those of the scene, and two that are assumed."""
        of_scene = [
            entry
            for entry in ranged(self.result.scene)
            if entry.path[0] in ("air", "sun")
            or entry.path[:2] in (("dish", "reflectance"), ("dish", "cleanliness"), ("parts", self.number))
        ]
        spread = max(SPREAD[face.kind] for face in self.losses.faces)
        assumed = [Ranged(CONVECTION, "coefficient to air (assumed)", Uncertain(value=1.0, sd=spread), 0.2, 3.0)]
        if isinstance(self.part.surface, str):
            sd = 0.05 if self.losses.emittance[0] > 0.5 else 0.3 * float(self.losses.emittance[0])
            assumed.append(
                Ranged(EMITTANCE, f"emittance of {self.part.surface} (assumed)", Uncertain(value=0.0, sd=sd))
            )
        return (*of_scene, *assumed)

    def light_factors(self, scene: Scene) -> tuple[float, float]:
        """Factors on absorbed mirror light and direct sun by the numbers of another scene, to first order.

        Sunlight, reflectance and cleanliness scale the light; the share that a side absorbs follows its absorptance.
        """
        own = self.result.scene
        sun = _number(scene.sun.dni_w_m2, 1.0) / _number(own.sun.dni_w_m2, 1.0)
        mirror = _number(scene.dish.cleanliness, 1.0) / _number(own.dish.cleanliness, 1.0)
        if not isinstance(own.dish.reflectance, str):
            mirror *= _number(scene.dish.reflectance, 1.0) / _number(own.dish.reflectance, 1.0)
        taken, shares = 0.0, 0.0
        for side in ("front", "back"):
            light = self.traced.sides[side].absorbed_w.value + self.traced.sides[side].direct_absorbed_w.value
            before = surface_of(own, self.number, side).absorptance
            now = surface_of(scene, self.number, side).absorptance
            taken += light * (now / before if before > 0.0 else 1.0)
            shares += light
        absorbs = taken / shares if shares > 0.0 else 1.0
        return sun * mirror * absorbs, sun * absorbs


def settings_of(result: Result, up: np.ndarray) -> dict[str, Setting]:
    """All parts of a traced scene, by name."""
    return {part.name: Setting(result, number, up) for number, part in enumerate(result.scene.parts)}


def changed(losses: Losses, *, convection: float = 1.0, emittance: float = 0.0) -> Losses:
    """Losses with all coefficients to air times a factor and all emittances shifted, within 0.01 to 1.

    Faces that do not radiate, such as those behind insulation, stay so.
    """
    shifted = np.where(losses.emittance > 0.0, np.clip(losses.emittance + emittance, 0.01, 1.0), 0.0)
    return replace(losses.with_convection(convection), emittance=shifted if emittance else losses.emittance)


def _number(value: float | Uncertain | None, otherwise: float) -> float:
    return otherwise if value is None else float(nominal(value))
