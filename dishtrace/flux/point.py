"""Flux at points: `flux_at` of a scene, by looking back from each over the mirror."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from dishtrace.cores import available_cores
from dishtrace.flux.look import looking
from dishtrace.flux.measure import prepare
from dishtrace.flux.numbers import Checks
from dishtrace.stats import Estimates, totals
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import announce_compilation
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from collections.abc import Callable

    from dishtrace.scene.model import Scene

MOST_RAYS = 2**31
FRAMES = ("dish", "ground")


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
    checks = Checks("flux_at")
    checks.scene(scene)
    points, normals = _arrays(points, normals, checks)
    rays = checks.whole("rays", rays, low=1, high=MOST_RAYS)
    threads = checks.whole("threads", available_cores() if threads is None else threads)
    seed = checks.whole("seed", scene.run.seed if seed is None else seed)
    if not isinstance(frame, str) or frame not in FRAMES:
        checks.add("frame", repr(frame), 'must be "dish" or "ground"')
    checks.end()
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


def _arrays(points: ArrayLike, normals: ArrayLike, checks: Checks) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals as arrays (n, 3), with all that is wrong with them told to the checks."""
    n_before = len(checks.faults)
    arrays = tuple(_rows(key, value, checks) for key, value in (("points", points), ("normals", normals)))
    if len(checks.faults) > n_before:
        return arrays
    if len(arrays[0]) != len(arrays[1]):
        found = f"{len(arrays[1])} for {len(arrays[0])} points"
        checks.add("normals", found, "must be as many as points", "give one normal for each point")
    zero = np.flatnonzero(np.linalg.norm(arrays[1], axis=1) == 0.0)
    if len(zero):
        checks.add(f"normals[{zero[0]}]", "(0, 0, 0)", "must not be zero", "give the direction that it faces")
    return arrays


def _rows(key: str, value: ArrayLike, checks: Checks) -> np.ndarray:
    """An array (n, 3) of finite numbers; no rows where it is none."""
    allowed = "must be an array (n, 3) of finite numbers"
    try:
        array = np.atleast_2d(np.asarray(value, dtype=float))
    except (TypeError, ValueError):
        checks.add(key, "", f"{allowed}, but holds something else or rows of unequal length")
        return np.zeros((0, 3))
    if array.ndim != 2 or array.shape[1] != 3:
        checks.add(key, f"shape {np.shape(value)}", allowed)
        return np.zeros((0, 3))
    bad = np.flatnonzero(~np.all(np.isfinite(array), axis=1))
    if len(bad):
        row = ", ".join(f"{number:g}" for number in array[bad[0]])
        checks.add(f"{key}[{bad[0]}]", f"({row})", "must be three finite numbers", f"{len(bad)} such rows were found")
    return array
