"""Improve a scene: search chosen keys within bounds for an aim, and check what was gained with fresh random points."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.model import Scene
from dishtrace.scene.quantity import nominal
from dishtrace.stats import Estimate
from dishtrace.study.improve.aims import Aim, Limit
from dishtrace.study.improve.memory import Memory
from dishtrace.study.improve.search import OutOfTrialsError, search
from dishtrace.study.improve.task import Task, keeps
from dishtrace.study.stopping import Interrupts, StoppedError
from dishtrace.study.sweep.figures import unit_of
from dishtrace.study.sweep.keys import WHERE, Varied
from dishtrace.study.sweep.points import Job, Point, traced_point
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import points_for

SHARE_OF_RAYS = 4
"""A trial is traced with one in so many of the scene's rays, unless the user says otherwise. [–]"""
TRIALS_A_KEY, FEWEST_TRIALS = 15, 30
FRESH_POINTS = 24301
"""Offset of the random points of the check, which the search has not used. [–]"""


@dataclass(frozen=True, eq=False)
class Improvement:
    """What a search found.

    Parameters
    ----------
    scene : Scene
        As written.
    varied : tuple of Varied
    aim : Aim
    limits : tuple of Limit
    trials : tuple of Point
        All scenes tried, in order, with the figures of the search.
    start, best : Point or None
        The scene as written, and the best that keeps all limits; with the figures of the check where there was one.
        None where the scene's own values are not numbers, or where nothing keeps the limits.
    gain : Estimate or None
        Of the aim's figure, best less start, with its paired error. [unit of the figure]
    is_checked : bool
        Whether start and best were traced again with fresh random points.
    rays, check_rays, seed : int
        Of each trial and of the check. [–]
    version : str
        Of dishtrace.
    stopped : bool
        Whether the user stopped it early.
    n_resumed : int
        Trials that an earlier run had traced. [–]
    is_kept : bool
        Whether its trials are kept in a folder, where the same call goes on.
    """

    scene: Scene
    varied: tuple[Varied, ...]
    aim: Aim
    limits: tuple[Limit, ...]
    trials: tuple[Point, ...]
    start: Point | None
    best: Point | None
    gain: Estimate | None
    is_checked: bool
    rays: int
    check_rays: int
    seed: int
    version: str
    stopped: bool
    n_resumed: int = 0
    is_kept: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that vary."""
        return tuple(one.key for one in self.varied)

    def at_ends(self) -> dict[str, str]:
        """Keys whose best value lies at an end of its range: "low" or "high"."""
        found = {}
        for one in self.varied if self.best else ():
            share = (self.best.values[one.key] - one.low) / (one.high - one.low)
            if share < 0.01 or share > 0.99:
                found[one.key] = "low" if share < 0.5 else "high"
        return found

    def rows(self) -> list[dict[str, Any]]:
        """The tidy table: one row a trial with its keys, the aim's and the limits' figures and errors, `keeps` and
        `fault`.
        """
        figures = list(dict.fromkeys([self.aim.figure, *(limit.figure for limit in self.limits)]))
        rows = []
        for point in self.trials:
            row: dict[str, Any] = {"trial": point.number, **point.values}
            for key in figures:
                told = point.figures[key].to_dict() if key in point.figures else {"value": None, "se": None}
                row[key], row[f"{key}_se"] = told["value"], told["se"]
            row["keeps"] = None if point.fault else keeps(point, self.limits)
            rows.append({**row, "fault": point.fault or None})
        return rows

    def to_dict(self) -> dict[str, Any]:
        """As in improve.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "aim": str(self.aim),
            "unit": unit_of(self.aim.figure),
            "limits": [str(limit) for limit in self.limits],
            "varied": [{"key": one.key, "low": one.low, "high": one.high} for one in self.varied],
            "rays": self.rays,
            "check_rays": self.check_rays if self.is_checked else None,
            "seed": self.seed,
            "stopped": self.stopped,
            "resumed": self.n_resumed,
            "start": self._point(self.start),
            "best": self._point(self.best),
            "gain": None if self.gain is None else self.gain.to_dict(),
            "checked": self.is_checked,
            "at_ends": self.at_ends(),
            "trials": self.rows(),
            "notes": self.notes(),
        }

    def _point(self, point: Point | None) -> dict[str, Any] | None:
        if point is None:
            return None
        return {
            "values": point.values,
            "figures": {key: figure.to_dict() for key, figure in point.figures.items()},
            "limits": {
                str(limit): {"keeps": limit.room(point.figures[limit.figure]) >= 0.0, "chance": _chance(limit, point)}
                for limit in self.limits
            },
        }

    def notes(self) -> list[str]:
        """What the user should know."""
        found = []
        if self.stopped:
            not_kept = "no folder keeps them, so the same command begins anew"
            on = "the same command goes on" if self.is_kept else not_kept
            found.append(f"stopped early: the best of the {len(self.trials)} trials until then; {on}")
        if self.n_resumed:
            found.append(f"{self.n_resumed} trials were there from an earlier run")
        if not self.is_checked:
            found.append("not checked with fresh random points: the gain is what the search saw, which flatters it")
        if self.start is None:
            found.append("the scene's own values are not numbers within the ranges: there is no start to gain from")
        faulty = [point for point in self.trials if point.fault]
        if faulty:
            found.append(f"{len(faulty)} trials could not be traced, the first because: {faulty[0].fault}")
        found += [f"{key} is best at the {end} end of its range, or beyond" for key, end in self.at_ends().items()]
        return found


def _chance(limit: Limit, point: Point) -> float | None:
    return limit.chance(point.figures[limit.figure])


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
    task = Task(scene, vary, aim=aim, keep=keep)
    n_trials = max(TRIALS_A_KEY * len(task.varied), FEWEST_TRIALS) if trials is None else trials
    if n_trials < 2 * len(task.varied) + 3:
        said = f"must be {2 * len(task.varied) + 3} or more for {len(task.varied)} keys"
        raise InputError(Fault(WHERE, "--trials", str(n_trials), said))
    rays = max(nominal(scene.run.rays) // SHARE_OF_RAYS, 1) if rays is None else rays
    seed = scene.run.seed if seed is None else seed
    version = metadata.version("dishtrace")
    memory = Memory(None if folder is None else Path(folder), scene, version=version, is_fresh=fresh)
    if memory.n_old and announce is not None:
        announce(f"going on with {memory.n_old} traces of an earlier run")
    watch = _Watch(progress, [*([rays] * n_trials), SHARE_OF_RAYS * rays, SHARE_OF_RAYS * rays])
    start, stopped, checked = task.start(), False, None
    with Interrupts() as interrupts:
        tracer = _Tracer(task.scene, memory, interrupts, watch, {"threads": threads, "announce": announce})
        runner = _Runner(task, tracer, n_trials=n_trials, rays=rays, seed=seed)
        try:
            search(runner.trial, start, n_keys=len(task.varied), n_trials=n_trials, seed=seed)
        except (StoppedError, KeyboardInterrupt):
            stopped = True
        if stopped and not runner.points:
            raise KeyboardInterrupt
        n_resumed = memory.n_used
        best = task.best_of(runner.points)
        first = runner.points[0] if start is not None and not runner.points[0].fault else None
        if best is not None and not stopped:
            watch.skip_to_last(2)
            fresh_seed = (seed + FRESH_POINTS) % 2**63
            try:
                checked = _checked(tracer, first, best, rays=SHARE_OF_RAYS * rays, seed=fresh_seed)
            except (StoppedError, KeyboardInterrupt):
                stopped = True
    if checked is not None:
        first, best = checked
    return Improvement(
        scene=scene,
        varied=task.varied,
        aim=task.aim,
        limits=task.limits,
        trials=tuple(runner.points),
        start=first,
        best=best,
        gain=_gain(task.aim, first, best),
        is_checked=checked is not None,
        rays=points_for(rays) * N_SCRAMBLES,
        check_rays=points_for(SHARE_OF_RAYS * rays) * N_SCRAMBLES,
        seed=seed,
        version=version,
        stopped=stopped,
        n_resumed=n_resumed,
        is_kept=folder is not None,
    )


def _gain(aim: Aim, start: Point | None, best: Point | None) -> Estimate | None:
    if start is None or best is None:
        return None
    return best.figures[aim.figure].minus(start.figures[aim.figure])


class _Tracer:
    """Traces points that are not known yet, and keeps them."""

    def __init__(
        self, scene: Scene, memory: Memory, interrupts: Interrupts, watch: _Watch, options: dict[str, Any]
    ) -> None:
        self.scene, self.memory, self.interrupts = scene, memory, interrupts
        self.watch, self.options = watch, options

    def point(self, job: Job, *, rays: int, seed: int) -> Point:
        """A point, traced or known.

        Raises
        ------
        StoppedError
            If the user stopped it.
        """
        if self.interrupts.is_set:
            raise StoppedError
        run = {"rays": points_for(rays) * N_SCRAMBLES, "seed": seed}
        point = self.memory.known(job, **run)
        if point is None:
            point = traced_point(self.scene, job, progress=self.watch.within, rays=rays, seed=seed, **self.options)
            self.memory.keep(point, **run)
        self.watch.finished()
        return point


class _Runner:
    """Makes the trials of a search."""

    def __init__(self, task: Task, tracer: _Tracer, *, n_trials: int, rays: int, seed: int) -> None:
        self.task, self.tracer = task, tracer
        self.n_trials, self.rays, self.seed = n_trials, rays, seed
        self.points: list[Point] = []

    def trial(self, place: np.ndarray) -> tuple[float, np.ndarray]:
        """Trace a place of the unit cube; one whose values differ by nothing from an earlier one's is no new trial."""
        values = self.task.values(place)
        for point in self.points:
            if point.values == values:
                return self.task.told(point)
        if len(self.points) >= self.n_trials:
            raise OutOfTrialsError
        job = Job(len(self.points), values)
        self.points.append(self.tracer.point(job, rays=self.rays, seed=self.seed))
        return self.task.told(self.points[-1])


def _checked(tracer: _Tracer, start: Point | None, best: Point, *, rays: int, seed: int) -> tuple[Point | None, Point]:
    """Start and best again, with points that the search has not seen."""
    if start is None:
        tracer.watch.finished()
        return None, tracer.point(Job(best.number, best.values), rays=rays, seed=seed)
    first, last = (tracer.point(Job(one.number, one.values), rays=rays, seed=seed) for one in (start, best))
    return first, last


class _Watch:
    """Progress of one trace as progress of all, by their rays."""

    def __init__(self, progress: Callable[[int, int], None] | None, rays: Sequence[int]) -> None:
        self.progress = progress
        self.sizes = [points_for(one) * N_SCRAMBLES for one in rays]
        self.n_done = 0

    def within(self, done: int, _: int) -> None:
        """Rays done of the trace in hand."""
        if self.progress is not None:
            self.progress(sum(self.sizes[: self.n_done]) + done, sum(self.sizes))

    def finished(self) -> None:
        """A trace is done."""
        self.n_done += 1

    def skip_to_last(self, number: int) -> None:
        """The search ended before its last trial."""
        self.n_done = len(self.sizes) - number


def sureness(gain: Estimate) -> float | None:
    """How likely a gain has the sign it shows, by the error of the tracing; None where that is unknown. [–]"""
    if gain.se is None:
        return None
    if gain.se == 0.0:
        return 1.0
    return 0.5 * math.erfc(-abs(gain.value) / (gain.se * math.sqrt(2.0)))
