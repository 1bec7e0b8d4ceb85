"""What a part loses to air, sky and surroundings, as one lump or triangle by triangle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.faces import Face, part_faces
from dishtrace.scene.materials import surface_of

if TYPE_CHECKING:
    from dishtrace.heat.air import Ambient
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.scene.model import Part, Scene

STEFAN_BOLTZMANN = 5.670374419e-8
"""Source: CODATA 2018, exact. [W/(m2 K4)]"""

GRID = np.geomspace(150.0, 6000.0, 72)
"""Wall temperatures at which coefficients are computed; straight lines between. [K]"""


@dataclass(frozen=True, eq=False)
class Losses:
    """Losses of the outer surface of one part.

    Parameters
    ----------
    faces : tuple of Face
    emittance : (f,) float64
        Thermal emittance of each face. [–]
    ambient : Ambient
    coefficients : (f, 72) float64
        Coefficient to air of each face at the temperatures of `GRID`. [W/(m2 K)]
    """

    faces: tuple[Face, ...]
    emittance: np.ndarray
    ambient: Ambient
    coefficients: np.ndarray

    def coefficient(self, number: int, wall: np.ndarray | float) -> np.ndarray:
        """Coefficient to air of a face at wall temperatures [K]; in W/(m2 K)."""
        return np.interp(wall, GRID, self.coefficients[number])

    def coefficient_slope(self, number: int, wall: np.ndarray) -> np.ndarray:
        """How that coefficient rises with the wall's temperature; in W/(m2 K2)."""
        cell = np.clip(np.searchsorted(GRID, wall, side="right") - 1, 0, len(GRID) - 2)
        row = self.coefficients[number]
        return (row[cell + 1] - row[cell]) / (GRID[cell + 1] - GRID[cell])

    def radiating(self, number: int) -> float:
        """Emittance of a face with what its hollow takes back. [–]"""
        emittance = float(self.emittance[number])
        return emittance * self.faces[number].openness(emittance)

    def split(self, wall: float) -> dict[str, float]:
        """Losses of a part of one temperature [K] by where they go: "air", "sky", "surroundings". [W]"""
        found = {"air": 0.0, "sky": 0.0, "surroundings": 0.0}
        for number, face in enumerate(self.faces):
            found["air"] += face.area * float(self.coefficient(number, wall)) * (wall - self.ambient.temperature)
            radiant = STEFAN_BOLTZMANN * self.radiating(number) * face.area
            sky = float(face.sky.mean())
            found["sky"] += radiant * sky * (wall**4 - self.ambient.sky**4)
            found["surroundings"] += radiant * (1.0 - sky) * (wall**4 - self.ambient.temperature**4)
        return found

    def total(self, wall: float) -> float:
        """Losses of a part of one temperature [K]; in W."""
        return sum(self.split(wall).values())

    def with_convection(self, factor: float) -> Losses:
        """The same with all coefficients to air times a factor."""
        return replace(self, coefficients=self.coefficients * factor)


def losses_of(
    scene: Scene,
    part: Part,
    mesh: PartMesh,
    *,
    ambient: Ambient,
    up: np.ndarray,
    faces: tuple[Face, ...] | None = None,
) -> Losses | None:
    """Losses of a part of a scene; None where its thermal emittance is not known.

    Parameters
    ----------
    scene : Scene
    part : Part
    mesh : PartMesh
        Its triangles.
    ambient : Ambient
    up : (3,) float64
        Upwards, in the dish frame. [–]
    faces : tuple of Face, optional
        Of the part, when they are there already.
    """
    known = {side: surface_of(scene, part, side).emittance for side in ("front", "back")}
    faces = part_faces(part, mesh, up) if faces is None else faces
    if any(known[face.side] is None for face in faces):
        return None
    emittance = np.array([known[face.side] for face in faces], dtype=float)
    return Losses(faces, emittance, ambient, coefficients_of(faces, ambient))


def coefficients_of(faces: tuple[Face, ...], ambient: Ambient) -> np.ndarray:
    """Coefficients to air of faces over `GRID`, (f, 72). [W/(m2 K)]"""
    return np.array([[face.coefficient(float(wall), ambient) for wall in GRID] for face in faces])
