"""Drive a run: units of work, threads, progress, and the stop between units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from dishtrace.trace.compiling import has_compiled_code
from dishtrace.trace.cpu import Job, Optics, trace_points
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import Screens, Tally
from dishtrace.trace.points import N_SCRAMBLES

# Points of one scramble in a unit of work; ray counts are rounded up to whole units.
UNIT_POINTS = 256
UNIT_RAYS = N_SCRAMBLES * UNIT_POINTS
# Points between two looks at the clock and at Ctrl-C: enough that a scramble's tallies are fetched into the nearest
# cache for many rays at once.
STRETCH_POINTS = 64 * UNIT_POINTS
# Most points of one scramble: the index is a 32-bit number.
MOST_POINTS = 2**32 - UNIT_POINTS


def points_for(rays: int) -> int:
    """Points of each of the 32 scrambles for a wanted number of rays, rounded up to whole units."""
    return -(-rays // UNIT_RAYS) * UNIT_POINTS


def run(optics: Optics, screens: Screens, tally: Tally, **options: Any) -> int:
    """Trace points of all scrambles into one tally; options and result are those of `run_together`."""
    return run_together([Job(optics, screens, tally)], **options)


def run_together(
    jobs: Sequence[Job],
    *,
    n_points: int,
    threads: int,
    stop: StopFlag,
    progress: Callable[[int, int], None] | None = None,
    start: int = 0,
    is_time_up: Callable[[], bool] | None = None,
) -> int:
    """Trace points `start .. n_points - 1` of all scrambles into the tallies of jobs that differ in their parts alone.

    Parameters
    ----------
    jobs : sequence of Job
        What the rays meet, and tallies, which are changed in place and hold the points before `start`. Mirror, sun and
        points are the same in all: their rays are made once.
    n_points : int
        Points of each scramble in the end, a multiple of 256.
    threads : int
        Threads; the result does not depend on it.
    stop : StopFlag
        Looked at between stretches of work; the first stretch is always done.
    progress : callable, optional
        Called with (rays done, rays wanted), of all jobs together.
    start : int
        Points of each scramble that were traced before, a multiple of 256.
    is_time_up : callable, optional
        Looked at between stretches of work, too.

    Returns
    -------
    int
        Points traced of each scramble, with those before.
    """
    done = start
    with ThreadPoolExecutor(max_workers=threads) as pool:
        while done < n_points and not (done > 0 and (stop.is_set or (is_time_up is not None and is_time_up()))):
            count = min(STRETCH_POINTS, n_points - done)
            trace_points(jobs, start=done, count=count, pool=pool)
            done += count
            if progress is not None:
                progress(done * N_SCRAMBLES * len(jobs), n_points * N_SCRAMBLES * len(jobs))
    return done


def announce_compilation(announce: Callable[[str], None] | None) -> bool:
    """Say that the first run compiles; returns whether it will."""
    will_compile = not has_compiled_code()
    if will_compile and announce is not None:
        announce("compiling the ray kernels for this machine (only on the first run, about half a minute) ...")
    return will_compile
