"""A scene placed under its sun: the mirror as built, the parts, and the arrays that the kernels see."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import Fits
from dishtrace.dish.mount import PlacedMirror
from dishtrace.flux.placed import Common, placed
from dishtrace.flux.second_compiler import compiling_beside
from dishtrace.parts.assemble import PartMesh
from dishtrace.sun.state import SunState
from dishtrace.trace.assembly import Assembly, assemble
from dishtrace.trace.optics import MIRROR_RAYS_PER_DIRECT, Tally, empty_tally, no_screens
from dishtrace.trace.run import announce_compilation, run

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.trace.interrupt import StopFlag

MOST_BYTES = 250e6
"""Memory of scenes and tallies that are traced together. [B]"""


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

    def n_bytes(self, *, n_screens: int) -> int:
        """Memory of the scene's triangles and a tally. [B]"""
        optics = self.assembly.optics
        arrays = (*optics.parts, *optics.triangles, *self.tally(n_screens=n_screens))
        return sum(array.nbytes for array in arrays)


def prepare(scene: Scene, *, seed: int, common: Common | None = None, has_notes: bool = True) -> Prepared:
    """Place the sun, the dish and the parts.

    Parameters
    ----------
    scene : Scene
    seed : int
    common : Common, optional
        Of a scene with the same `light_key`.
    has_notes : bool
        Whether the notes of parts will be told.

    Raises
    ------
    InputError
        With every fault that the sun, the mount or the parts have.
    """
    common, meshes = placed(scene, common=common, has_notes=has_notes)
    sun, mirror, facets = common.sun, common.mirror, common.facets
    assembly = assemble(scene, sun_state=sun, mirror=mirror, facets=facets, meshes=meshes, seed=seed)
    return Prepared(scene, sun, mirror, facets, common.fits, meshes, assembly)


def in_lots(
    scenes: Iterable[Prepared], *, n_screens: int = 0, most_bytes: float | None = None
) -> Iterator[list[Prepared]]:
    """Scenes in order, as many at a time as fit in memory with their tallies; one at least."""
    most_bytes = MOST_BYTES if most_bytes is None else most_bytes
    lot: list[Prepared] = []
    size = 0
    for one in scenes:
        mine = one.n_bytes(n_screens=n_screens)
        if lot and size + mine > most_bytes:
            yield lot
            lot, size = [], 0
        lot.append(one)
        size += mine
    if lot:
        yield lot


def compiled(
    prepared: Callable[[], Prepared], *, announce: Callable[[str], None] | None, stop: StopFlag
) -> tuple[Prepared, float | None]:
    """A scene, prepared here, and the kernels compiled by tracing a handful of rays in it, with the time that took.

    The time is None when the kernels lay ready. [s]
    """
    will_compile = announce_compilation(announce)
    started = time.perf_counter()
    found = prepared()
    with compiling_beside(found, is_wanted=will_compile, stop=stop):
        run(found.assembly.optics, no_screens(), found.tally(), n_points=MIRROR_RAYS_PER_DIRECT, threads=1, stop=stop)
    if not will_compile:
        return found, None
    seconds = time.perf_counter() - started
    if announce is not None:
        announce(f"compiled in {seconds:.0f} s")
    return found, seconds
