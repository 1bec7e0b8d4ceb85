"""One point of a sweep: a scene with some values put in, traced, and its figures."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from dishtrace.errors import InputError
from dishtrace.flux.together import trace_together
from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep.figures import all_figures
from dishtrace.study.sweep.keys import scene_with
from dishtrace.study.tracer import whole_trace

BESIDE_MIRROR = ("part.", "screen.")
"""How keys begin that leave the mirror's rays as they are."""


@dataclass(frozen=True)
class Job:
    """A point to be traced.

    Parameters
    ----------
    number : int
        Of the point, from 0. [–]
    values : dict
        By key.
    """

    number: int
    values: dict[str, Any]


@dataclass(frozen=True)
class Point:
    """A point that was traced, or could not be.

    Parameters
    ----------
    number : int
        From 0. [–]
    values : dict
        By key.
    figures : dict of Estimate
        By key; empty where the scene is not sound with these values.
    fault : str
        Why; empty for a sound scene.
    """

    number: int
    values: dict[str, Any]
    figures: dict[str, Estimate] = field(default_factory=dict)
    fault: str = ""

    def columns(self, figures: Iterable[str]) -> dict[str, Any]:
        """Its values and these figures, each beside its error (`..._se`), as columns of a table; None: not there."""
        row = dict(self.values)
        for key in figures:
            row |= self.figures[key].columns(key) if key in self.figures else {key: None, f"{key}_se": None}
        return row

    def to_json(self) -> dict[str, Any]:
        """As a line of the file that a sweep resumes from."""
        figures = {
            key: [one.value, one.se, None if one.left_out is None else one.left_out.tolist()]
            for key, one in self.figures.items()
        }
        return {"point": self.number, "values": self.values, "figures": figures, "fault": self.fault}

    @classmethod
    def from_json(cls, line: Mapping[str, Any]) -> Point:
        """From a line of that file."""
        figures = {
            key: Estimate(value, se, None if left_out is None else np.array(left_out))
            for key, (value, se, left_out) in line["figures"].items()
        }
        return cls(line["point"], line["values"], figures, line["fault"])


def traced_point(
    scene: Scene,
    job: Job,
    *,
    rays: int,
    seed: int,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Point:
    """Trace a scene with values put in.

    Parameters
    ----------
    scene : Scene
        That the values are put into.
    job : Job
    rays, seed, threads, progress, announce
        As for `trace`.

    Returns
    -------
    Point
        With a fault instead of figures where the scene is not sound with these values.

    Raises
    ------
    StoppedError
        If the user pressed Ctrl-C.
    RunError
        If rays were lost.
    """
    try:
        result = whole_trace(
            scene_with(scene, job.values),
            peak_points=True,
            rays=rays,
            seed=seed,
            threads=threads,
            progress=progress,
            announce=announce,
        )
    except InputError as error:
        return Point(job.number, job.values, fault="; ".join(str(fault) for fault in error.faults))
    return Point(job.number, job.values, all_figures(result))


def in_lots(jobs: Sequence[Job], *, most: int) -> list[tuple[Job, ...]]:
    """Jobs whose mirrors send out the same rays, as only keys of parts and screens differ; at most so many in a lot."""
    alike: dict[str, list[Job]] = {}
    for job in jobs:
        others = {key: value for key, value in job.values.items() if not key.startswith(BESIDE_MIRROR)}
        alike.setdefault(json.dumps(others, sort_keys=True), []).append(job)
    return [tuple(found[k : k + most]) for found in alike.values() for k in range(0, len(found), most)]


def traced_points(
    scene: Scene,
    jobs: Sequence[Job],
    *,
    rays: int,
    seed: int,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Iterator[Point]:
    """Trace the scenes of a lot together; the points are those of `traced_point`, to the last bit.

    Parameters
    ----------
    scene, rays, seed, threads, announce
        As for `traced_point`.
    jobs : sequence of Job
        A lot, see `in_lots`.
    progress : callable, optional
        Called with (rays done, rays wanted) of all of them together; of one after another where one is at fault.

    Raises
    ------
    StoppedError
        If the user pressed Ctrl-C; after the points that were finished.
    RunError
        If rays were lost.
    """
    options = {"rays": rays, "seed": seed, "threads": threads, "announce": announce}
    try:
        scenes = [scene_with(scene, job.values) for job in jobs]
        results = trace_together(scenes, progress=progress, **options)
    except InputError:
        for job in jobs:
            yield traced_point(scene, job, progress=progress, **options)
        return
    except KeyboardInterrupt as stop:
        raise StoppedError from stop
    finished = [result for result in results if not result.stopped]
    for job, result in zip(jobs, finished, strict=False):
        yield Point(job.number, job.values, all_figures(result))
    if len(finished) < len(jobs):
        raise StoppedError
