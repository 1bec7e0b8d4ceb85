"""The main job: trace a scene and measure what arrives where."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.asked import asked
from dishtrace.flux.goal import Clock, Goal, GoalReached, Watch, trace_on
from dishtrace.flux.laid import laid_out
from dishtrace.flux.numbers import LARGEST_RAYS, Checks
from dishtrace.flux.outcome import result_of, with_brightest
from dishtrace.flux.part import part_results
from dishtrace.flux.prepared import compiled, prepare
from dishtrace.flux.result import Result
from dishtrace.flux.screen import radii_of
from dishtrace.flux.sketch import Sketch, sketch_of
from dishtrace.stats import Estimate, jackknife, total
from dishtrace.trace.cpu import ray_path
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import FIRST_RECEIVER, FIRST_STAND, no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import run

if TYPE_CHECKING:
    from dishtrace.flux.laid import Laid
    from dishtrace.scene.model import Scene


def trace(
    scene: Scene,
    *,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    until: str | None = None,
    seconds: float | None = None,
    peak_points: bool = True,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
    placed: Callable[[Sketch], None] | None = None,
    rays_traced: Callable[[Result], None] | None = None,
) -> Result:
    """Trace a scene: where the light goes, how much of it, how large the spot is.

    Parameters
    ----------
    scene : Scene
        From `load_scene`.
    rays : int, optional
        Rays from the mirror, rounded up to units of 8192; left out, `run.rays` of the scene. With `until` or `seconds`
        the most rays; left out, 2^32. [–]
    seed : int, optional
        Seed of the rays; left out, `run.seed` of the scene. [–]
    threads : int, optional
        Threads; left out, all cores. The result is the same to the last bit for any number. [–]
    until : str, optional
        Go on until a relative standard error is reached: "receiver 0.1%", "stand 1%", "peak 1%" or "R90 0.1%".
        Looked at whenever the rays have doubled; the result says what was reached and what held it up.
    seconds : float, optional
        Go on for so long, without compiling and evaluating; how many rays that makes depends on the machine. [s]
    peak_points : bool
        Whether to look back from the parts' brightest points and discs, and how that agrees with the rays; else peaks
        are those of triangles taken whole.
    progress : callable, optional
        Called with (rays done, rays wanted) between stretches of work.
    announce : callable, optional
        Called with a line of text when something slow is about to happen (kernels compile).
    placed : callable, optional
        Called with the scene as it stands under its sun, before it is traced: what tells no flux can be drawn
        meanwhile.
    rays_traced : callable, optional
        Called with the result as the rays tell it, before it is looked back from the parts' brightest points: what
        tells no peak can be drawn meanwhile.

    Returns
    -------
    Result
        With `stopped` set when the user pressed Ctrl-C; it then holds what was traced until then.

    Raises
    ------
    InputError
        If the scene cannot be traced as described, or an argument is at fault.
    RunError
        If more than one ray in a million was lost.
    """
    wanted = asked(scene, rays=rays, seed=seed, threads=threads, until=until, seconds=seconds)
    goal, seed, threads, n_points = wanted.goal, wanted.seed, wanted.threads, wanted.n_points
    with StopFlag() as stop:
        prepared, compile_seconds = compiled(lambda: prepare(scene, seed=seed), announce=announce, stop=stop)
        if placed is not None:
            placed(sketch_of(prepared))
        started = time.perf_counter()
        laid = laid_out(prepared, n_points=n_points, threads=threads, stop=stop)
        watch = Watch(goal, lambda points: _wanted(goal, laid, points * N_SCRAMBLES))
        clock = Clock(started, wanted.seconds)
        done, ended_by = trace_on(
            lambda start, end: run(
                prepared.assembly.optics,
                laid.screens,
                laid.tally,
                start=start,
                n_points=end,
                threads=threads,
                stop=stop,
                progress=clock.progress(progress),
                is_time_up=clock.is_up,
            ),
            n_points=n_points,
            watch=watch,
            is_broken=lambda: "Ctrl-C" if stop.is_set else clock.told(),
        )
        seconds_taken = time.perf_counter() - started
    n_rays = done * N_SCRAMBLES
    stopped = stop.is_set and done < n_points and ended_by == "Ctrl-C"
    result = result_of(
        laid,
        n_rays=n_rays,
        rays_wanted=n_rays if wanted.is_open and not stopped and done < n_points else wanted.rays,
        seed=seed,
        threads=threads,
        stopped=stopped,
        seconds=seconds_taken,
        compile_seconds=compile_seconds,
    )
    if wanted.is_open:
        result = _with_goal(result, watch.reached(seconds=wanted.seconds, ended_by=ended_by))
    if rays_traced is not None:
        rays_traced(result)
    return with_brightest(result, laid) if peak_points and not stopped else result


def _with_goal(result: Result, reached: GoalReached) -> Result:
    """The result with how its run ended, first among the notes."""
    return replace(result, goal=reached, notes=(reached.told(), *result.notes))


def _wanted(goal: Goal, laid: Laid, n_rays: int) -> Estimate:
    """What a goal speaks of, from the rays so far."""
    prepared, tally = laid.prepared, laid.tally
    if goal.quantity in ("receiver", "stand"):
        column = FIRST_RECEIVER if goal.quantity == "receiver" else FIRST_STAND
        return total(tally.budget[:, column] / n_rays)
    if goal.quantity == "R90":
        return jackknife(lambda sums: radii_of(sums, laid.scales[0])[:, 1:2], tally.radial[:, 0])[0]
    parts = part_results(prepared.meshes, tally, prepared.assembly.order, n_rays=n_rays).values()
    peaks = [part.peak_w_m2 for part in parts if part.role == "receiver"]
    return max(peaks, key=lambda peak: peak.value, default=Estimate(0.0, None))


def replay(scene: Scene, *, seed: int | None = None, first_ray: int, rays: int = 1) -> Iterator[np.ndarray]:
    """Paths of single rays of a run, as they were traced there.

    Parameters
    ----------
    scene : Scene
    seed : int, optional
        Seed of the run; left out, `run.seed` of the scene. [–]
    first_ray : int
        Number of the first ray. [–]
    rays : int
        How many, from that one on. [–]

    Returns
    -------
    iterator of (k, 3) float64
        Places of each ray, dish frame, the first 64. [m]

    Raises
    ------
    InputError
        If there are no such rays; at once, with the faults where "replay" stands and the argument as key.
    """
    checks = Checks("replay")
    checks.scene(scene)
    seed = checks.whole("seed", scene.run.seed if seed is None else seed)
    first = checks.whole("first_ray", first_ray, low=0, high=LARGEST_RAYS - 1)
    number = checks.whole("rays", rays)
    if not checks.faults and first + number > LARGEST_RAYS:
        checks.add("rays", str(number), f"must be {LARGEST_RAYS - first} or less from ray {first} on")
    checks.end()
    prepared = prepare(scene, seed=seed)
    optics, tally = prepared.assembly.optics, prepared.tally()
    return (ray_path(optics, no_screens(), tally, ray=ray) for ray in range(first, first + number))
