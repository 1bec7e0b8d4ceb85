"""Flux at points: `flux_at` of a scene, by looking back from each over the mirror."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from dishtrace.errors import Fault, InputError
from dishtrace.flux.look import looking
from dishtrace.flux.measure import prepare
from dishtrace.stats import Estimates, totals
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import announce_compilation, available_threads
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from collections.abc import Callable

    from dishtrace.scene.model import Scene

MOST_RAYS = 2**31


def flux_at(
    scene: Scene,
    points: ArrayLike,
    normals: ArrayLike,
    *,
    rays: int = 65536,
    seed: int | None = None,
    threads: int | None = None,
    frame: str = "dish",
    through_receivers: bool = False,
    announce: Callable[[str], None] | None = None,
) -> Estimates:
    """Flux of mirror light at points, without bins: looked back from each point over the mirror.

    Counted is light that arrives for the first time, by one reflection from the mirror. Shade on the way in, parts and
    facets in the way out, slope error, beam spread, jitter, reflectance and sunshape are those of `trace`. Covers
    are handled: light goes straight through them, weakened by what they reflect and absorb. What is left out is light
    that parts or covers have thrown back, and light that the mirror has reflected twice.

    Parameters
    ----------
    scene : Scene
        From `load_scene`.
    points : (n, 3) array_like
        Placed as parts are: from the focus for frame "dish", from the ground origin for "ground". A point on a part
        must lie on its triangles or in front of them: a place behind a surface is in its shade. [m]
    normals : (n, 3) array_like
        Towards the side that light is to arrive on, of any length. [–]
    rays : int
        Sample rays for each point, rounded up to 32 times a power of two. [–]
    seed : int, optional
        Left out, `run.seed` of the scene. [–]
    threads : int, optional
        Left out, all cores; the result is the same for any number. [–]
    frame : str
        "dish" or "ground".
    through_receivers : bool
        Whether reflected light passes through receivers and covers as if they were not there; sunlight on its way to
        the mirror never does.
    announce : callable, optional
        Called with a line of text when kernels are compiled.

    Returns
    -------
    Estimates
        Flux at each point and its standard error from 32 independent scrambles, (n,). [W/m2]

    Raises
    ------
    InputError
        If the scene, the points or the numbers are at fault.
    """
    points, normals = _checked(points, normals, rays=rays, threads=threads, frame=frame)
    threads = available_threads() if threads is None else threads
    seed = scene.run.seed if seed is None else seed
    announce_compilation(announce)
    prepared = prepare(scene, seed=seed)
    pose = prepared.mirror.pose
    look = looking(
        prepared.assembly.optics,
        sun=prepared.sun,
        facets=prepared.facets,
        seed=seed,
        threads=threads,
        has_receivers=not through_receivers,
    )
    places = pose.points_to_dish(points, frame, pose.focal_length)
    facing = normalise(pose.vectors_to_dish(normals, frame))
    count = samples_for(rays)
    rows = [
        look.aimed(place, normal).at(place[np.newaxis], normal[np.newaxis], count=count)[0]
        for place, normal in zip(places, facing, strict=True)
    ]
    value, se = totals(np.array(rows).reshape(-1, N_SCRAMBLES).T)
    return Estimates(value, se)


def samples_for(rays: int) -> int:
    """Samples of each of the 32 scrambles for a wanted number of rays: a power of two."""
    return 1 << max(0, (-(-rays // N_SCRAMBLES) - 1).bit_length())


def _checked(
    points: ArrayLike, normals: ArrayLike, *, rays: int, threads: int | None, frame: str
) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals as arrays (n, 3), or all that is wrong with them."""
    faults = []
    arrays = []
    for key, value in (("points", points), ("normals", normals)):
        array = np.atleast_2d(np.asarray(value, dtype=float))
        if array.ndim != 2 or array.shape[1] != 3 or not np.all(np.isfinite(array)):
            faults.append(Fault("flux_at", key, str(np.shape(value)), "must be an array (n, 3) of finite numbers", ""))
        arrays.append(array)
    if not faults and len(arrays[0]) != len(arrays[1]):
        found = f"{len(arrays[1])} for {len(arrays[0])} points"
        faults.append(Fault("flux_at", "normals", found, "must be as many as points", "give one normal for each point"))
    if not faults and not np.all(np.linalg.norm(arrays[1], axis=1) > 0.0):
        faults.append(Fault("flux_at", "normals", "(0, 0, 0)", "must not be zero", "give the direction that it faces"))
    if not 1 <= rays <= MOST_RAYS:
        faults.append(Fault("flux_at", "rays", str(rays), f"must be from 1 to {MOST_RAYS}", ""))
    if threads is not None and not 1 <= threads <= 1024:
        faults.append(Fault("flux_at", "threads", str(threads), "must be from 1 to 1024", ""))
    if frame not in ("dish", "ground"):
        faults.append(Fault("flux_at", "frame", repr(frame), 'must be "dish" or "ground"', ""))
    if faults:
        raise InputError(faults)
    return arrays[0], arrays[1]
