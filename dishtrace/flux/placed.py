"""Sun, dish and parts in their places, before anything is made for the kernels."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import Fits, facets_of, fits_of
from dishtrace.dish.mount import PlacedMirror, placed_mirror
from dishtrace.dish.outline import outline_of
from dishtrace.parts.assemble import PartMesh, part_meshes
from dishtrace.sun.state import SunState, sun_state

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False)
class Common:
    """What scenes of the same dish under the same sun share: all but their parts and screens.

    Parameters
    ----------
    sun, mirror, facets, fits
        As in `Prepared`.
    meshes : dict of PartMesh
        Parts that were placed, by what is written of them.
    """

    sun: SunState
    mirror: PlacedMirror
    facets: Facets
    fits: Fits
    meshes: dict[str, PartMesh] = field(default_factory=dict)


def light_key(scene: Scene) -> str:
    """A text that is the same for scenes whose mirrors send out the same rays: all of them but parts and screens."""
    written = scene.model_dump_json(exclude={"title", "parts", "screens", "run", "variants"})
    return f"{scene.path('.')}: {written}"


def common_of(scene: Scene) -> Common:
    """Place the sun and the dish of a scene.

    Raises
    ------
    InputError
        With every fault that the sun or the mount have.
    """
    sun = sun_state(scene)
    mirror = placed_mirror(scene, sun)
    facets, outline = mirror.facets, outline_of(scene)
    fits = fits_of(scene, outline)
    if facets is None or scene.dish.facets is not None:
        facets = facets_of(scene, outline, fits=fits, reset=mirror.reset)
    return Common(sun, mirror, facets, fits)


def placed(
    scene: Scene, *, common: Common | None = None, has_notes: bool = True
) -> tuple[Common, tuple[PartMesh, ...]]:
    """Place the sun, the dish and the parts of a scene.

    Parameters
    ----------
    scene : Scene
    common : Common, optional
        Of a scene with the same `light_key`; parts of this scene are added to it.
    has_notes : bool
        Whether the notes of parts will be told.

    Raises
    ------
    InputError
        With every fault that the sun, the mount or the parts have.
    """
    common = common_of(scene) if common is None else common
    mirror = common.mirror
    return common, part_meshes(scene, mirror.pose, mirror.outline, known=common.meshes, has_notes=has_notes)
