"""A scene placed under its sun, with the paths of a few rays: what a drawing of it needs before it is traced."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import metadata
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.trace.cpu import ray_path
from dishtrace.trace.optics import no_screens

if TYPE_CHECKING:
    from dishtrace.dish.facets import Facets
    from dishtrace.dish.layouts import Fits
    from dishtrace.dish.mount import PlacedMirror, Pose
    from dishtrace.flux.prepared import Prepared
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

N_SAMPLE_RAYS = 48


@dataclass(frozen=True, eq=False)
class Sketch:
    """What a `Result` holds too: see there.

    Parameters
    ----------
    scene : Scene
    version : str
    sun : SunState
    mirror : PlacedMirror
    facets : Facets
    fits : Fits
    meshes : tuple of PartMesh
    sample_rays : tuple of (k, 3) float64
        [m]
    """

    scene: Scene
    version: str
    sun: SunState
    mirror: PlacedMirror
    facets: Facets
    fits: Fits
    meshes: tuple[PartMesh, ...]
    sample_rays: tuple[np.ndarray, ...]

    @property
    def pose(self) -> Pose:
        """How the dish stands under the sun."""
        return self.mirror.pose


def sketch_of(prepared: Prepared) -> Sketch:
    """The sketch of a prepared scene."""
    return Sketch(
        scene=prepared.scene,
        version=metadata.version("dishtrace"),
        sun=prepared.sun,
        mirror=prepared.mirror,
        facets=prepared.facets,
        fits=prepared.fits,
        meshes=prepared.meshes,
        sample_rays=sample_rays(prepared),
    )


def sample_rays(prepared: Prepared, *, n_rays: int = N_SAMPLE_RAYS) -> tuple[np.ndarray, ...]:
    """Paths of the first rays of the run, for pictures. [m]"""
    tally = prepared.tally()
    paths = [ray_path(prepared.assembly.optics, no_screens(), tally, ray=ray) for ray in range(n_rays)]
    return tuple(path for path in paths if len(path) > 1)
