"""A scene placed under its sun: the mirror as built, the parts, and the arrays that the kernels see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import Fits, facets_of, fits_of
from dishtrace.dish.mount import PlacedMirror, placed_mirror
from dishtrace.dish.outline import outline_of
from dishtrace.parts.assemble import PartMesh, part_meshes
from dishtrace.sun.state import SunState, sun_state
from dishtrace.trace.assembly import Assembly, assemble
from dishtrace.trace.optics import Tally, empty_tally

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False)
class Prepared:
    """A scene placed under its sun and ready to trace; facets as they are built, parts in the dish frame."""

    scene: Scene
    sun: SunState
    mirror: PlacedMirror
    facets: Facets
    fits: Fits
    meshes: tuple[PartMesh, ...]
    assembly: Assembly

    def tally(self, *, n_screens: int = 0, n_radii: int = 0, n_legs: int = 0) -> Tally:
        """An empty tally for this scene."""
        return empty_tally(
            n_parts=len(self.meshes),
            n_triangles=len(self.assembly.order),
            n_screens=n_screens,
            n_radii=n_radii,
            n_legs=n_legs,
        )


def prepare(scene: Scene, *, seed: int) -> Prepared:
    """Place the sun, the dish and the parts.

    Raises
    ------
    InputError
        With every fault that the sun, the mount or the parts have.
    """
    sun = sun_state(scene)
    mirror = placed_mirror(scene, sun)
    facets, outline = mirror.facets, outline_of(scene)
    fits = fits_of(scene, outline)
    if facets is None or scene.dish.facets is not None:
        facets = facets_of(scene, outline, fits=fits, reset=mirror.reset)
    meshes = part_meshes(scene, mirror.pose, mirror.outline)
    assembly = assemble(scene, sun_state=sun, mirror=mirror, facets=facets, meshes=meshes, seed=seed)
    return Prepared(scene, sun, mirror, facets, fits, meshes, assembly)
