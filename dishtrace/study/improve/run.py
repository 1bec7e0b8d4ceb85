"""Improve a scene: search chosen keys within bounds for an aim, and check what was gained with fresh random points."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from importlib import metadata
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate
from dishtrace.study.asked import asked
from dishtrace.study.improve.aims import Aim
from dishtrace.study.improve.memory import Memory
from dishtrace.study.improve.outcome import Improvement
from dishtrace.study.improve.search import OutOfTrialsError, search
from dishtrace.study.improve.task import Task
from dishtrace.study.progress import shifted, whole_rays
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep.keys import Varied
from dishtrace.study.sweep.points import Job, Point, traced_point

SHARE_OF_RAYS = 4
"""A trial is traced with one in so many of the scene's rays, unless the user says otherwise. [–]"""
TRIALS_A_KEY, FEWEST_TRIALS = 15, 30
FRESH_POINTS = 24301
"""Offset of the random points of the check, which the search has not used. [–]"""


def improve(
    scene: Scene,
    vary: Sequence[str | Varied],
    *,
    aim: str,
    keep: Sequence[str] = (),
    trials: int | None = None,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    folder: str | Path | None = None,
    fresh: bool = False,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Improvement:
    """Search keys of a scene within bounds for the best of a figure, while others keep to limits.

    Parameters
    ----------
    scene : Scene
    vary : sequence of str or Varied
        ``"part.pot.center_m.z=0.0:0.1"``.
    aim : str
        ``"most receiver_w"`` or ``"least receiver_peak_w_m2"``.
    keep : sequence of str
        Limits: ``"stand_w < 50"``.
    trials : int, optional
        Scenes to trace in the search; left out, 15 a key, at least 30. [–]
    rays : int, optional
        Rays of each trial; left out, a quarter of the scene's. The check takes four times as many. [–]
    seed, threads, progress, announce
        As for `trace`.
    folder : str or Path, optional
        Where what was traced is kept, scene by scene. A search makes the same steps from the same figures, so one that
        was stopped goes on there; one with another aim or more trials uses what it can.
    fresh : bool
        Begin anew even if there is something in the folder.

    Returns
    -------
    Improvement
        With `stopped` set when the user pressed Ctrl-C; it then holds the best of the trials until then, not checked.

    Raises
    ------
    InputError
        If a key or figure does not exist, or a range, the aim or a limit is not sound, or no trial could be traced, or
        the folder holds a search of another scene.
    RunError
        If rays were lost, or the folder cannot be used.
    KeyboardInterrupt
        If the user stopped it before anything was traced.
    """
    rays, seed, threads = asked("improve", scene, rays=rays, seed=seed, threads=threads, one_in=SHARE_OF_RAYS)
    task = Task(scene, vary, aim=aim, keep=keep)
    effort = _Effort(_trials(task, trials), rays, seed)
    version = metadata.version("dishtrace")
    memory = Memory(None if folder is None else Path(folder), scene, version=version, is_fresh=fresh)
    if memory.n_old and announce is not None:
        announce(f"going on with {memory.n_old} traces of an earlier run")
    watch = _Watch(progress, [*([effort.rays] * effort.n_trials), effort.check_rays, effort.check_rays])
    with Presses() as presses:
        tracer = _Tracer(scene, memory, presses, watch, {"threads": threads, "announce": announce})
        found = _searched(task, effort, tracer)
        return found if found.stopped or found.best is None else _checked(found, effort, tracer)


class _Effort(NamedTuple):
    """What a search may spend: trials, rays and seed of each of them. [–]"""

    n_trials: int
    rays: int
    seed: int

    @property
    def check_rays(self) -> int:
        """Of each trace of the check. [–]"""
        return SHARE_OF_RAYS * self.rays

    @property
    def check_seed(self) -> int:
        """Of the check, whose random points the search has not used. [–]"""
        return (self.seed + FRESH_POINTS) % 2**63


def _trials(task: Task, trials: int | None) -> int:
    """Trials as given, as many as usual where left out; too few are refused. [–]"""
    n_keys = len(task.varied)
    n_trials = max(TRIALS_A_KEY * n_keys, FEWEST_TRIALS) if trials is None else trials
    if n_trials < 2 * n_keys + 3:
        raise InputError(
            Fault(COMMAND_LINE, "--trials", str(n_trials), f"must be {2 * n_keys + 3} or more for {n_keys} keys")
        )
    return n_trials


def _searched(task: Task, effort: _Effort, tracer: _Tracer) -> Improvement:
    """The search: its trials, the best of them, and the gain that they show, which flatters it.

    Raises
    ------
    KeyboardInterrupt
        If the user stopped it before anything was traced.
    """
    start, stopped = task.start(), False
    runner = _Runner(task, tracer, effort)
    try:
        search(runner.trial, start, n_keys=len(task.varied), n_trials=effort.n_trials, seed=effort.seed)
    except (StoppedError, KeyboardInterrupt):
        stopped = True
    points = tuple(runner.points)
    if stopped and not points:
        raise KeyboardInterrupt
    best = task.best_of(points)
    first = None if start is None or points[0].fault else points[0]
    return Improvement(
        scene=task.scene,
        varied=task.varied,
        aim=task.aim,
        limits=task.limits,
        trials=points,
        start=first,
        best=best,
        gain=_gain(task.aim, first, best),
        is_checked=False,
        rays=whole_rays(effort.rays),
        check_rays=whole_rays(effort.check_rays),
        seed=effort.seed,
        version=metadata.version("dishtrace"),
        stopped=stopped,
        n_resumed=tracer.memory.n_used,
        is_kept=tracer.memory.is_kept,
    )


def _checked(found: Improvement, effort: _Effort, tracer: _Tracer) -> Improvement:
    """What was found, its start and best traced again with random points that the search has not seen.

    As it was, but `stopped`, where the user stops it meanwhile.
    """
    tracer.watch.skip_to_last(2 if found.start is not None else 1)

    def again(point: Point) -> Point:
        return tracer.point(Job(point.number, point.values), rays=effort.check_rays, seed=effort.check_seed)

    try:
        start = None if found.start is None else again(found.start)
        best = again(found.best)
    except (StoppedError, KeyboardInterrupt):
        return replace(found, stopped=True)
    return replace(found, start=start, best=best, gain=_gain(found.aim, start, best), is_checked=True)


def _gain(aim: Aim, start: Point | None, best: Point | None) -> Estimate | None:
    if start is None or best is None:
        return None
    return best.figures[aim.figure].minus(start.figures[aim.figure])


class _Tracer:
    """Traces points that are not known yet, and keeps them."""

    def __init__(self, scene: Scene, memory: Memory, presses: Presses, watch: _Watch, options: dict[str, Any]) -> None:
        self.scene, self.memory, self.presses = scene, memory, presses
        self.watch, self.options = watch, options

    def point(self, job: Job, *, rays: int, seed: int) -> Point:
        """A point, traced or known.

        Raises
        ------
        StoppedError
            If the user stopped it.
        """
        if self.presses.is_set:
            raise StoppedError
        run = {"rays": whole_rays(rays), "seed": seed}
        point = self.memory.known(job, **run)
        if point is None:
            point = traced_point(self.scene, job, progress=self.watch.of_next(), rays=rays, seed=seed, **self.options)
            self.memory.keep(point, **run)
        self.watch.finished()
        return point


class _Runner:
    """Makes the trials of a search."""

    def __init__(self, task: Task, tracer: _Tracer, effort: _Effort) -> None:
        self.task, self.tracer, self.effort = task, tracer, effort
        self.points: list[Point] = []

    def trial(self, place: np.ndarray) -> tuple[float, np.ndarray]:
        """Trace a place of the unit cube; one whose values differ by nothing from an earlier one's is no new trial."""
        values = self.task.values(place)
        for point in self.points:
            if point.values == values:
                return self.task.told(point)
        if len(self.points) >= self.effort.n_trials:
            raise OutOfTrialsError
        job = Job(len(self.points), values)
        self.points.append(self.tracer.point(job, rays=self.effort.rays, seed=self.effort.seed))
        return self.task.told(self.points[-1])


class _Watch:
    """Progress of one trace as progress of all, by their rays."""

    def __init__(self, progress: Callable[[int, int], None] | None, rays: Sequence[int]) -> None:
        self.progress = progress
        self.sizes = [whole_rays(one) for one in rays]
        self.n_done = 0

    def of_next(self) -> Callable[[int, int], None] | None:
        """What the next trace calls with its progress."""
        return shifted(self.progress, sum(self.sizes[: self.n_done]), sum(self.sizes))

    def finished(self) -> None:
        """A trace is done."""
        self.n_done += 1

    def skip_to_last(self, number: int) -> None:
        """The search ended before its last trial."""
        self.n_done = len(self.sizes) - number
