"""The main job: trace a scene and measure what arrives where."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from importlib import metadata
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.layouts import facet_figures, measured_figures
from dishtrace.dish.outline import outline_of
from dishtrace.dish.paraboloid import rim_angle
from dishtrace.errors import Fault, InputError, RunError
from dishtrace.flux.agreement import Traced, with_peak_points
from dishtrace.flux.focus import highest_peak, smallest_spot
from dishtrace.flux.goal import (
    LONGEST_SECONDS,
    MOST_RAYS,
    SHORTEST_SECONDS,
    Clock,
    Goal,
    GoalReached,
    Watch,
    parsed_goal,
    trace_on,
)
from dishtrace.flux.ledger import hole_power, ledger
from dishtrace.flux.look import looking
from dishtrace.flux.part import part_results
from dishtrace.flux.planes import Plane, framed, kernel_screens, spot_plane, user_planes
from dishtrace.flux.prepared import Prepared, prepare
from dishtrace.flux.result import Result
from dishtrace.flux.screen import ScreenResult, radii_of, screen_result
from dishtrace.scene.quantity import nominal
from dishtrace.stats import Estimate, jackknife, total
from dishtrace.trace.cpu import BACKEND, Optics, ray_path
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import (
    FIRST_RECEIVER,
    FIRST_STAND,
    MIRROR_RAYS_PER_DIRECT,
    Tally,
    no_screens,
)
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import (
    MOST_POINTS,
    UNIT_RAYS,
    announce_compilation,
    available_threads,
    points_for,
    run,
)

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

PILOT_POINTS = 1024
N_SAMPLE_RAYS = 48
MOST_LOST_SHARE = 1e-6


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
        Whether to find the flux at the parts' brightest points, and how it agrees with the rays.
    progress : callable, optional
        Called with (rays done, rays wanted) between stretches of work.
    announce : callable, optional
        Called with a line of text when something slow is about to happen (kernels compile).

    Returns
    -------
    Result
        With `stopped` set when the user pressed Ctrl-C; it then holds what was traced until then.

    Raises
    ------
    InputError
        If the scene cannot be traced as described.
    RunError
        If more than one ray in a million was lost.
    """
    goal = None if until is None else parsed_goal(until)
    is_open = goal is not None or seconds is not None
    if rays is None:
        rays = MOST_RAYS if is_open else nominal(scene.run.rays)
    seed = scene.run.seed if seed is None else seed
    threads = available_threads() if threads is None else threads
    n_points = _checked_points(rays, seed, threads, seconds)
    with StopFlag() as stop:
        prepared, compile_seconds = _compiled(scene, seed, announce, stop)
        optics = prepared.assembly.optics
        started = time.perf_counter()
        pilot = prepared.tally(n_legs=min(n_points, PILOT_POINTS))
        run(optics, no_screens(), pilot, n_points=pilot.legs.shape[1], threads=threads, stop=stop)
        spots, offsets = _spot_planes(pilot.legs, prepared.mirror.focal_length)
        planes, centers, scales = _framed(
            (*spots, *user_planes(scene, prepared.mirror.pose)), pilot.legs, prepared.mirror.focal_length
        )
        screens = kernel_screens(planes, centers, scales)
        tally = prepared.tally(n_screens=len(planes), n_radii=screens.radii.shape[1])
        watch = Watch(goal, lambda points: _wanted(goal, prepared, tally, points * N_SCRAMBLES, scale=scales[0]))
        clock = Clock(started, seconds)
        done, ended_by = trace_on(
            lambda start, end: run(
                optics,
                screens,
                tally,
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
    _refuse_lost(scene, tally, n_rays, seed)
    shown = [
        screen_result(plane, tally, k, scale=scales[k], n_rays=n_rays, offset=offset)
        for k, (plane, offset) in enumerate(zip(planes, (*offsets, *(p.offset for p in planes[3:])), strict=True))
    ]
    stopped = stop.is_set and done < n_points and ended_by == "Ctrl-C"
    result = _result(
        prepared,
        tally,
        shown,
        n_rays=n_rays,
        rays_wanted=n_rays if is_open and not stopped else rays,
        seed=seed,
        threads=threads,
        stopped=stopped,
        seconds=seconds_taken,
        compile_seconds=compile_seconds,
        goal=watch.reached(seconds=seconds, ended_by=ended_by) if is_open else None,
    )
    return _with_peak_points(result, prepared, tally, pilot) if peak_points and not stopped else result


def _wanted(goal: Goal, prepared: Prepared, tally: Tally, n_rays: int, *, scale: float) -> Estimate:
    """What a goal speaks of, from the rays so far."""
    if goal.quantity in ("receiver", "stand"):
        column = FIRST_RECEIVER if goal.quantity == "receiver" else FIRST_STAND
        return total(tally.budget[:, column] / n_rays)
    if goal.quantity == "R90":
        return jackknife(lambda sums: radii_of(sums, scale)[:, 1:2], tally.radial[:, 0])[0]
    parts = part_results(prepared.meshes, tally, prepared.assembly.order, n_rays=n_rays).values()
    peaks = [part.peak_w_m2 for part in parts if part.role == "receiver"]
    return max(peaks, key=lambda peak: peak.value, default=Estimate(0.0, None))


def _with_peak_points(result: Result, prepared: Prepared, tally: Tally, pilot: Tally) -> Result:
    """The result with the flux at the parts' brightest points, and how that way to it agrees with the rays."""
    optics, order = prepared.assembly.optics, prepared.assembly.order
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))

    def trace_first(other: Optics, n_points: int) -> Traced:
        counted = prepared.tally()
        with StopFlag() as stop:
            n_points = min(n_points, result.rays // N_SCRAMBLES)
            done = run(other, no_screens(), counted, n_points=n_points, threads=result.threads, stop=stop)
        return Traced(counted, done * N_SCRAMBLES, position)

    parts, agreement = with_peak_points(
        result.parts,
        look=looking(optics, sun=prepared.sun, facets=prepared.facets, seed=result.seed, threads=result.threads),
        traced=Traced(tally, result.rays, position),
        pilot=Traced(pilot, pilot.legs.shape[1] * N_SCRAMBLES, position),
        trace_first=trace_first,
    )
    notes = result.notes
    if agreement is not None and not agreement.is_good:
        notes = (*notes, agreement.warning())
    return replace(result, parts=parts, agreement=agreement, notes=notes)


def _checked_points(rays: int, seed: int, threads: int, seconds: float | None) -> int:
    for name, value, low, high in (
        ("seconds", 1.0 if seconds is None else seconds, SHORTEST_SECONDS, LONGEST_SECONDS),
        ("rays", rays, 1, MOST_POINTS * N_SCRAMBLES),
        ("seed", seed, 0, 2**64 - 1),
        ("threads", threads, 1, 1024),
    ):
        if not low <= value <= high:
            raise InputError(
                Fault("command", name, str(value), f"must be from {low} to {high}", f"give another {name}")
            )
    return points_for(rays)


def _compiled(
    scene: Scene, seed: int, announce: Callable[[str], None] | None, stop: StopFlag
) -> tuple[Prepared, float | None]:
    """The scene prepared and the kernels compiled by tracing a handful of rays, with the time that compiling took.

    The time is None when the kernels lay ready. [s]
    """
    will_compile = announce_compilation(announce)
    started = time.perf_counter()
    prepared = prepare(scene, seed=seed)
    run(prepared.assembly.optics, no_screens(), prepared.tally(), n_points=MIRROR_RAYS_PER_DIRECT, threads=1, stop=stop)
    if not will_compile:
        return prepared, None
    seconds = time.perf_counter() - started
    if announce is not None:
        announce(f"compiled in {seconds:.0f} s")
    return prepared, seconds


def _spot_planes(legs: np.ndarray, focal_length: float) -> tuple[tuple[Plane, ...], tuple[Estimate | float, ...]]:
    """Focal plane, smallest spot and highest peak, and their offsets from the focus."""
    smallest = smallest_spot(legs, focal_length=focal_length)
    peak = highest_peak(legs, focal_length=focal_length)
    planes = (
        spot_plane("focal plane", focal_length=focal_length, offset=0.0),
        spot_plane("best focus", focal_length=focal_length, offset=smallest.value),
        spot_plane("highest peak", focal_length=focal_length, offset=peak.value),
    )
    return planes, (0.0, smallest, peak)


def _framed(
    planes: tuple[Plane, ...], legs: np.ndarray, focal_length: float
) -> tuple[tuple[Plane, ...], np.ndarray, np.ndarray]:
    frames = [framed(plane, legs, focal_length=focal_length) for plane in planes]
    return tuple(f[0] for f in frames), np.stack([f[1] for f in frames]), np.array([f[2] for f in frames])


def _refuse_lost(scene: Scene, tally: Tally, n_rays: int, seed: int) -> None:
    n_lost = int(tally.n_lost.sum())
    if n_lost <= MOST_LOST_SHARE * n_rays:
        return
    first = int(tally.first_lost[tally.first_lost >= 0].min())
    raise RunError(
        f"{scene.file}: {n_lost} of {n_rays} rays were lost, more than one in a million: they bounced between parts "
        f"that absorb next to nothing, or left the numbers' range. Replay the first of them with\n"
        f"  dishtrace trace {scene.file} --seed {seed} --first-ray {first}"
    )


def _dish_figures(prepared: Prepared) -> dict[str, float]:
    facets, mirror, table = prepared.facets, prepared.mirror, prepared.scene.dish.facets
    figures = {
        "outline_m2": float(mirror.vector_area[2]),
        "aperture_m2": float(facets.aperture_areas().sum()),
        "mirror_m2": float(facets.surface_areas().sum()),
        "facets": len(np.unique(facets.number)),
        "rim_angle_deg": float(np.degrees(rim_angle(mirror.outline, focal_length=mirror.focal_length))),
        "focal_length_m": float(mirror.focal_length),
    }
    if table is not None and table.layout == "measured":
        figures["facets"] = 1
        outline = outline_of(prepared.scene)
        figures["measured"] = measured_figures(prepared.scene, outline, fits=prepared.fits, reset=mirror.reset)
    if prepared.fits.facets:
        figures["measured_facets"] = facet_figures(prepared.scene, facets, prepared.fits)
    return figures


def _notes(prepared: Prepared, *, n_rays: int, rays_wanted: int, stopped: bool, n_lost: int) -> tuple[str, ...]:
    notes = [*prepared.scene.notes, *prepared.sun.notes, *prepared.mirror.pose.notes]
    for mesh in prepared.meshes:
        notes += [f'part "{mesh.name}": {note}' for note in mesh.notes]
    if any(mesh.role == "cover" for mesh in prepared.meshes):
        notes.append(
            "light that goes through a cover has met the cover first: first hits and the intercept factor count it "
            "there, and what a receiver behind it gets is told by its incident and absorbed light"
        )
    if stopped:
        notes.append(f"stopped early: {n_rays} of {rays_wanted} rays were traced, and the figures are those of them")
    elif n_rays != rays_wanted:
        notes.append(f"{rays_wanted} rays were rounded up to {n_rays}, whole units of {UNIT_RAYS}")
    if n_lost:
        notes.append(f"{n_lost} rays were lost (told as lost in the budget)")
    return tuple(notes)


def _result(
    prepared: Prepared,
    tally: Tally,
    shown: list[ScreenResult],
    *,
    n_rays: int,
    rays_wanted: int,
    stopped: bool,
    goal: GoalReached | None,
    **about,
) -> Result:
    mirror, dni = prepared.mirror, prepared.sun.dni_w_m2
    outline_w = float(dni * (mirror.vector_area @ mirror.pose.sun))
    hole_w = hole_power(mirror.outline, mirror.pose.sun, dni=dni, focal_length=mirror.focal_length)
    is_skin = prepared.scene.dish.facets is None
    return Result(
        scene=prepared.scene,
        version=metadata.version("dishtrace"),
        rays=n_rays,
        rays_wanted=rays_wanted,
        backend=BACKEND,
        stopped=stopped,
        sun=prepared.sun,
        mirror=mirror,
        facets=prepared.facets,
        fits=prepared.fits,
        dish=_dish_figures(prepared),
        ledger=ledger(tally.budget / n_rays, outline_w=outline_w, hole_w=hole_w, is_skin=is_skin),
        focal_plane=shown[0],
        best_focus=shown[1],
        highest_peak=shown[2],
        parts=part_results(prepared.meshes, tally, prepared.assembly.order, n_rays=n_rays),
        screens={screen.name: screen for screen in shown[3:]},
        sample_rays=sample_rays(prepared),
        notes=(
            *_notes(prepared, n_rays=n_rays, rays_wanted=rays_wanted, stopped=stopped, n_lost=int(tally.n_lost.sum())),
            *(() if goal is None else (goal.told(),)),
        ),
        goal=goal,
        **about,
    )


def sample_rays(prepared: Prepared, *, n_rays: int = N_SAMPLE_RAYS) -> tuple[np.ndarray, ...]:
    """Paths of the first rays of the run, for pictures. [m]"""
    tally = prepared.tally()
    paths = [ray_path(prepared.assembly.optics, no_screens(), tally, ray=ray) for ray in range(n_rays)]
    return tuple(path for path in paths if len(path) > 1)


def replay(scene: Scene, *, seed: int, ray: int) -> np.ndarray:
    """Path of one ray of a run, as it was traced there.

    Parameters
    ----------
    scene : Scene
    seed : int
        Seed of the run.
    ray : int
        Number of the ray.

    Returns
    -------
    (k, 3) float64
        Places, dish frame, the first 64. [m]

    Raises
    ------
    InputError
        If there is no ray of that number.
    """
    last = MOST_POINTS * N_SCRAMBLES - 1
    if not 0 <= ray <= last:
        fault = Fault("command", "first ray", str(ray), f"must be from 0 to {last}", "give a ray that a run can have")
        raise InputError(fault)
    prepared = prepare(scene, seed=seed)
    return ray_path(prepared.assembly.optics, no_screens(), prepared.tally(), ray=ray)
