"""Run the kernels on the threads of this machine's processor."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from dishtrace.trace.kernels.batch import BATCH, N_COLUMNS
from dishtrace.trace.kernels.going import N_GOING, N_MARKS
from dishtrace.trace.kernels.populations import trace_rays
from dishtrace.trace.optics import MIRROR_RAYS_PER_DIRECT, Mirror, Parts, Screens, Sun, Tally, World
from dishtrace.trace.points import N_SCRAMBLES, Points
from dishtrace.trace.tree import Tree, new_flock, new_stack

BACKEND = "cpu-numba"
LONGEST_PATH = 64


class Optics(NamedTuple):
    """All that rays meet, with the sun and the points they start from."""

    mirror: Mirror
    sun: Sun
    parts: Parts
    facets: Tree
    triangles: Tree
    roots: np.ndarray
    mirror_points: Points
    direct_points: Points


def _world(optics: Optics, screens: Screens, tally: Tally, points: Points, longest_path: int) -> World:
    return World(
        mirror=optics.mirror,
        sun=optics.sun,
        parts=optics.parts,
        facets=optics.facets,
        triangles=optics.triangles,
        roots=optics.roots,
        screens=screens,
        tally=tally,
        points=points,
        stack=new_stack(),
        flock=new_flock(),
        batch=np.zeros((1, N_COLUMNS * BATCH)),
        words=np.empty((1, points.shifts.shape[1], BATCH), dtype=np.uint32),
        starts=np.zeros((1, BATCH), dtype=np.int64),
        going=np.zeros(N_GOING * BATCH),
        marks=np.zeros(N_MARKS * BATCH, dtype=np.int64),
        path=np.empty((longest_path, 3)),
        n_path=np.zeros(1, dtype=np.int64),
    )


def _trace_row(optics: Optics, screens: Screens, tally: Tally, row: int, start: int, count: int) -> None:
    """All scrambles that write to one row, one after the other: so sums never depend on the number of threads."""
    from_mirror = _world(optics, screens, tally, optics.mirror_points, 0)
    from_sun = _world(optics, screens, tally, optics.direct_points, 0)
    start_direct, count_direct = start // MIRROR_RAYS_PER_DIRECT, count // MIRROR_RAYS_PER_DIRECT
    for scramble in range(row, N_SCRAMBLES, tally.incident.shape[0]):
        trace_rays(from_mirror, False, False, scramble, row, start, count)
        if len(optics.parts.part):
            trace_rays(from_sun, True, False, scramble, row, start_direct, count_direct)


def trace_points(
    optics: Optics, screens: Screens, tally: Tally, *, start: int, count: int, pool: ThreadPoolExecutor
) -> None:
    """Trace points `start .. start + count - 1` of all 32 scrambles into the tally.

    Parameters
    ----------
    optics, screens : Optics, Screens
        What the rays meet.
    tally : Tally
        Changed in place.
    start, count : int
        Multiples of 16 (one direct ray to sixteen mirror rays).
    pool : ThreadPoolExecutor
        Its threads share the rows; each row is written by one thread at a time, in a fixed order.
    """
    rows = range(tally.incident.shape[0])
    for done in [pool.submit(_trace_row, optics, screens, tally, row, start, count) for row in rows]:
        done.result()


def ray_path(optics: Optics, screens: Screens, tally: Tally, *, ray: int) -> np.ndarray:
    """Places at which one ray of the mirror population turns or ends, from in front of the mirror on.

    Parameters
    ----------
    optics, screens, tally
        As for a run; the tally is a throw-away.
    ray : int
        Number of the ray.

    Returns
    -------
    (k, 3) float64
        Places, dish frame; the first 64 at most. [m]
    """
    world = _world(optics, screens, tally, optics.mirror_points, LONGEST_PATH)
    scramble, index = ray % N_SCRAMBLES, ray // N_SCRAMBLES
    trace_rays(world, False, False, scramble, scramble % tally.incident.shape[0], index, 1)
    return world.path[: world.n_path[0]].copy()
