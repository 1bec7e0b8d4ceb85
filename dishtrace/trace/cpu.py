"""Run the kernels on the threads of this machine's processor."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from dishtrace.trace.kernels.batch import BATCH, N_COLUMNS
from dishtrace.trace.kernels.going import N_GOING, N_MARKS
from dishtrace.trace.kernels.populations import trace_rays
from dishtrace.trace.optics import MIRROR_RAYS_PER_DIRECT, Mirror, Parts, Screens, Sun, Tally, World
from dishtrace.trace.points import FACET_DIMENSION, N_SCRAMBLES, ORDER_BITS, Points, neighbours_in_turn
from dishtrace.trace.tree import Tree, new_flock, new_stack
from dishtrace.trace.turned import Bodies

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
    balls: np.ndarray
    bodies: Bodies
    mirror_points: Points
    direct_points: Points


class Job(NamedTuple):
    """What rays meet, and where they count."""

    optics: Optics
    screens: Screens
    tally: Tally


class Made(NamedTuple):
    """Memory for rays that are made, of World's batch, words and starts."""

    batch: np.ndarray
    words: np.ndarray
    starts: np.ndarray


def _memory(points: Points, n_batches: int) -> Made:
    return Made(
        batch=np.zeros((n_batches, N_COLUMNS * BATCH)),
        words=np.empty((n_batches, points.shifts.shape[1], BATCH), dtype=np.uint32),
        starts=np.zeros((n_batches, BATCH), dtype=np.int64),
    )


def world_of(
    optics: Optics, screens: Screens, tally: Tally, points: Points, longest_path: int, made: Made | None = None
) -> World:
    """What a kernel is handed: a scene, where rays count, points, and scratch for one thread."""
    return World(
        mirror=optics.mirror,
        sun=optics.sun,
        parts=optics.parts,
        facets=optics.facets,
        triangles=optics.triangles,
        roots=optics.roots,
        balls=optics.balls,
        bodies=optics.bodies,
        screens=screens,
        tally=tally,
        points=points,
        stack=new_stack(),
        flock=new_flock(),
        **(made or _memory(points, 1))._asdict(),
        going=np.zeros(N_GOING * BATCH),
        marks=np.zeros(N_MARKS * BATCH, dtype=np.int64),
        path=np.empty((longest_path, 3)),
        n_path=np.zeros(1, dtype=np.int64),
    )


def _in_order(points: Points, start: int, count: int, *, has_facets: bool) -> Points:
    """Points put in order within the largest blocks that a stretch is made of: by facet, or by place on a skin."""
    dimensions = (FACET_DIMENSION,) if has_facets else (0, 1)
    n_bits = min(((start | count) & -(start | count)).bit_length() - 1, ORDER_BITS)
    return neighbours_in_turn(points, n_bits=n_bits, dimensions=dimensions) if 2**n_bits >= BATCH else points


def _trace_scrambles(jobs: Sequence[Job], points: Points, scrambles: range, start: int, count: int) -> None:
    """Some scrambles, one after the other: so sums never depend on the number of threads."""
    n_batches = 1 if len(jobs) == 1 else -(-(start % BATCH + count) // BATCH)
    made = _memory(points, n_batches)
    from_mirror = [world_of(*job, points, 0, made) for job in jobs]
    from_sun = [world_of(*job, job.optics.direct_points, 0) for job in jobs]
    start_direct, count_direct = start // MIRROR_RAYS_PER_DIRECT, count // MIRROR_RAYS_PER_DIRECT
    for scramble in scrambles:
        for k, job in enumerate(jobs):
            row = scramble % job.tally.incident.shape[0]
            trace_rays(from_mirror[k], False, k > 0, scramble, row, start, count)
            if len(job.optics.parts.part):
                trace_rays(from_sun[k], True, False, scramble, row, start_direct, count_direct)


def trace_points(jobs: Sequence[Job], *, start: int, count: int, pool: ThreadPoolExecutor) -> None:
    """Trace points `start .. start + count - 1` of all 32 scrambles into the tally of each job.

    Parameters
    ----------
    jobs : sequence of Job
        One, or several with the same mirror, sun and points: mirror rays are then made once for all of them. The
        result of each is that of a run of its own, to the last bit. Tallies are changed in place.
    start, count : int
        Multiples of 16 (one direct ray to sixteen mirror rays).
    pool : ThreadPoolExecutor
        Its threads share the rows of the tallies; each row is written by one thread at a time, in a fixed order.
    """
    rows = min(job.tally.incident.shape[0] for job in jobs)
    shares = [range(row, N_SCRAMBLES, rows) for row in range(rows)]
    first = jobs[0].optics
    points = _in_order(first.mirror_points, start, count, has_facets=len(first.mirror.kind) > 1)
    for done in [pool.submit(_trace_scrambles, jobs, points, share, start, count) for share in shares]:
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
    world = world_of(optics, screens, tally, optics.mirror_points, LONGEST_PATH)
    scramble, index = ray % N_SCRAMBLES, ray // N_SCRAMBLES
    trace_rays(world, False, False, scramble, scramble % tally.incident.shape[0], index, 1)
    return world.path[: world.n_path[0]].copy()
