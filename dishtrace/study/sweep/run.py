"""Sweep keys of a scene over ranges: every point traced with the same random points, one tidy table of figures."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from importlib import metadata
from pathlib import Path
from typing import Any

from dishtrace.cores import available_cores
from dishtrace.errors import COMMAND_LINE, Fault, InputError, gathered
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.study.asked import asked
from dishtrace.study.progress import whole_rays
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep.cluster import traced_on_cluster
from dishtrace.study.sweep.design import design_of
from dishtrace.study.sweep.keys import Varied, refuse_ends, varied_of
from dishtrace.study.sweep.outcome import Sweep
from dishtrace.study.sweep.points import Job, Point, in_lots, traced_point, traced_points
from dishtrace.study.sweep.side_by_side import Workers
from dishtrace.study.sweep.store import Store, task_of
from dishtrace.trace.compiling import has_compiled_code

MOST_TOGETHER = 4
"""Points with the same mirror rays that are traced together; those in hand are lost when the user stops. [–]"""
WORTH_S = 5.0
"""Time that a process for each core must save to be worth starting: about twice what one takes to start. [s]"""


def sweep(
    scene: Scene,
    vary: Sequence[str | Varied],
    *,
    method: str = "grid",
    points: int | None = None,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    cluster: str | None = None,
    folder: str | Path | None = None,
    fresh: bool = False,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Sweep:
    """Trace a scene at many values of some of its keys, all with the same random points.

    Parameters
    ----------
    scene : Scene
    vary : sequence of str or Varied
        ``"dish.slope_error_mrad=1:6:11"`` is 11 values from 1 to 6, ``"dish.facets.size_m=0.05,0.1"`` those listed.
    method : str
        "grid"; "latin" or "sobol" for points sampled in the ranges; "indices" for points arranged for Sobol indices.
    points : int, optional
        How many to sample; for "indices" in each of its two samples. [–]
    rays, seed : int, optional
        The same for all; left out, those of [run]. [–]
    threads : int, optional
        Cores to trace on; left out, all. Many short traces run side by side on them, a process for each. On a cluster
        the threads of each trace. [–]
    cluster : str, optional
        Address of a Dask scheduler whose workers trace the points.
    folder : str or Path, optional
        Where finished points are kept, one by one; a sweep that is found there goes on.
    fresh : bool
        Begin anew even if there is a sweep in the folder.
    progress : callable, optional
        Called with (rays done, rays wanted), of all points together.
    announce : callable, optional
        Called with a line of text when something slow is about to happen.

    Returns
    -------
    Sweep
        With `stopped` set when the user pressed Ctrl-C; it then holds the points finished until then.

    Raises
    ------
    InputError
        If a key does not exist, a range is bad, or the folder holds another sweep.
    RunError
        If rays were lost.
    KeyboardInterrupt
        If the user stopped it before any point was traced.
    """
    rays, seed, threads = asked("sweep", scene, rays=rays, seed=seed, threads=threads)
    varied = varied_of(vary)
    _, design = gathered(
        lambda: refuse_ends(scene, varied), lambda: design_of(varied, method=method, points=points, seed=seed)
    )
    version = metadata.version("dishtrace")
    store = None
    if folder is not None:
        task = task_of(scene, design, rays=rays, seed=seed, version=version)
        store = Store(Path(folder), task, is_fresh=fresh)
    found = {} if store is None else dict(store.points)
    n_wanted, n_resumed = len(design.values), len(found)
    if n_resumed and announce is not None:
        announce(f"going on with {n_resumed} of {n_wanted} points from an earlier run")
    jobs = [Job(number, values) for number, values in enumerate(design.values) if number not in found]
    options = {"rays": rays, "seed": seed, "threads": threads}
    watch = _Watch(progress, each=whole_rays(rays), before=n_resumed, n_points=n_wanted)
    if cluster is None:
        arriving = _traced_here(scene, jobs, watch, announce=announce, **options)
    else:
        arriving = traced_on_cluster(scene, jobs, cluster, **options)
    stopped = _collected(arriving, found, store, watch, n_wanted=n_wanted)
    ordered = tuple(found[number] for number in sorted(found))
    _refuse_all_faulty(ordered)
    return Sweep(scene, varied, design, ordered, watch.each, seed, version, stopped, n_resumed, store is not None)


def _collected(
    arriving: Iterator[Point], found: dict[int, Point], store: Store | None, watch: _Watch, *, n_wanted: int
) -> bool:
    """Add points to those found, as they come, by number; whether the user stopped it before all were there.

    Raises
    ------
    KeyboardInterrupt
        If that was before any point was there.
    """
    try:
        with Presses() as presses, closing(arriving):
            for point in arriving:
                found[point.number] = point
                if store is not None:
                    store.keep(point)
                watch.finished(len(found))
                if presses.is_set and len(found) < n_wanted:
                    raise StoppedError
    except (StoppedError, KeyboardInterrupt):
        if not found:
            raise KeyboardInterrupt from None
        return True
    return False


def _traced_here(
    scene: Scene,
    jobs: Sequence[Job],
    watch: _Watch,
    *,
    threads: int | None,
    announce: Callable[[str], None] | None,
    **options: Any,
) -> Iterator[Point]:
    """Trace points on this machine: one lot after another, on all threads, or side by side once that is faster."""
    cores = available_cores() if threads is None else threads
    is_alone, n_left = cores == 1, len(jobs)
    lots = in_lots(jobs, most=min(MOST_TOGETHER, max(n_left // (2 * cores), 1)))
    for n_lots, lot in enumerate(lots, 1):
        began, was_compiled = time.thread_time(), has_compiled_code()
        run = {"threads": cores, "progress": watch.within, "announce": announce, **options}
        for point in traced_points(scene, lot, **run) if len(lot) > 1 else [traced_point(scene, lot[0], **run)]:
            n_left -= 1
            yield point
        alone_s = (time.thread_time() - began) / len(lot)
        is_worth = n_left * alone_s * (1.0 - 1.0 / cores) >= WORTH_S
        # A lot whose time holds that of the compiler tells nothing.
        if is_alone or n_lots == len(lots) or not is_worth or not was_compiled:
            continue
        try:
            workers = Workers(scene, options, number=min(cores, len(lots) - n_lots))
        except OSError as error:
            is_alone = True
            if announce is not None:
                announce(f"one point after another: a process for another cannot be started ({error})")
            continue
        with closing(workers):
            yield from workers.traced(lots[n_lots:], cores=cores, progress=watch.within)
        return


class _Watch:
    """Progress of the points in hand as progress of all points, which never goes back."""

    def __init__(self, progress: Callable[[int, int], None] | None, *, each: int, before: int, n_points: int) -> None:
        self.progress, self.each, self.n_done, self.n_points = progress, each, before, n_points
        self.most = 0

    def within(self, done: int, _: int = 0) -> None:
        """Rays done of the points in hand."""
        self.most = max(self.most, self.n_done * self.each + done)
        if self.progress is not None:
            self.progress(self.most, self.n_points * self.each)

    def finished(self, n_done: int) -> None:
        """Points done."""
        self.n_done = n_done
        self.within(0)


def _refuse_all_faulty(points: Sequence[Point]) -> None:
    """A sweep of which no point is sound has nothing to tell."""
    if points and all(point.fault for point in points):
        said = f"has no point that could be traced; the first: {points[0].fault}"
        raise InputError(Fault(COMMAND_LINE, "--vary", "", said))
