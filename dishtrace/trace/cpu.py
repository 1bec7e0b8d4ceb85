"""Run the kernels on the threads of this machine's processor."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from dishtrace.trace.kernels.populations import trace_direct_rays, trace_mirror_ray, trace_mirror_rays
from dishtrace.trace.optics import MIRROR_RAYS_PER_DIRECT, Mirror, Parts, Screens, Sun, Tally
from dishtrace.trace.points import N_DIMENSIONS_DIRECT, N_DIMENSIONS_MIRROR, N_SCRAMBLES, Points
from dishtrace.trace.tree import STACK_SIZE, Tree

BACKEND = "cpu-numba"
LONGEST_PATH = 64


class Optics(NamedTuple):
    """All that rays meet, with the sun and the points they start from."""

    mirror: Mirror
    sun: Sun
    parts: Parts
    tree_clear: Tree
    tree_solid: Tree
    mirror_points: Points
    direct_points: Points


def _scratch(longest_path: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    return (
        np.empty(STACK_SIZE, dtype=np.int32),
        np.empty(STACK_SIZE),
        np.empty((longest_path, 3)),
        np.zeros(1, dtype=np.int64),
    )


def _trace_row(optics: Optics, screens: Screens, tally: Tally, row: int, start: int, count: int) -> None:
    """All scrambles that write to one row, one after the other: so sums never depend on the number of threads."""
    rows = tally.incident.shape[0]
    scratch = _scratch(0)
    trees = (optics.tree_clear, optics.tree_solid)
    for scramble in range(row, N_SCRAMBLES, rows):
        trace_mirror_rays(
            optics.mirror,
            optics.sun,
            optics.parts,
            *trees,
            screens,
            tally,
            optics.mirror_points,
            scratch,
            scramble,
            row,
            start,
            count,
            np.empty(N_DIMENSIONS_MIRROR, dtype=np.uint32),
        )
        if len(optics.parts.part):
            trace_direct_rays(
                optics.mirror,
                optics.sun,
                optics.parts,
                *trees,
                screens,
                tally,
                optics.direct_points,
                scratch,
                scramble,
                row,
                start // MIRROR_RAYS_PER_DIRECT,
                count // MIRROR_RAYS_PER_DIRECT,
                np.empty(N_DIMENSIONS_DIRECT, dtype=np.uint32),
            )


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
        Multiples of 8 (one direct ray to eight mirror rays).
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
    from dishtrace.trace.kernels.sampling import first_point

    scratch = _scratch(LONGEST_PATH)
    scramble, index = ray % N_SCRAMBLES, ray // N_SCRAMBLES
    state = np.empty(N_DIMENSIONS_MIRROR, dtype=np.uint32)
    points = optics.mirror_points
    first_point(points.columns, points.shifts, scramble, index, state)
    trace_mirror_ray(
        optics.mirror,
        optics.sun,
        optics.parts,
        optics.tree_clear,
        optics.tree_solid,
        screens,
        tally,
        points,
        scratch,
        scramble,
        scramble % tally.incident.shape[0],
        ray,
        state,
    )
    return scratch[2][: scratch[3][0]].copy()
