"""Several scenes traced together: of the same dish under the same sun, so that only what the light meets differs.

Their mirrors send out the same rays, which is what makes differences between such scenes sharp. What they share is
placed once, those rays are made once, and their tallies grow side by side, so that an early stop leaves all of them
with the same rays.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from itertools import chain
from typing import TYPE_CHECKING

from dishtrace.cores import available_cores
from dishtrace.errors import Fault, InputError
from dishtrace.flux.laid import laid_out
from dishtrace.flux.outcome import result_of, with_brightest
from dishtrace.flux.placed import Common, common_of, light_key
from dishtrace.flux.prepared import compiled, in_lots, prepare
from dishtrace.trace.cpu import Job
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import points_for, run_together

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.scene.model import Scene


def trace_together(
    scenes: Sequence[Scene],
    *,
    rays: int,
    seed: int,
    threads: int | None = None,
    peak_points: bool = True,
    common: Common | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> list[Result]:
    """Trace scenes of the same dish under the same sun; each result is that of `trace`, to the last bit.

    Parameters
    ----------
    scenes : sequence of Scene
        With the same `light_key`: all but title, parts, screens and [run] is alike.
    rays, seed, threads, peak_points, announce
        As for `trace`; the same for all.
    common : Common, optional
        What they share, where that was placed before.
    progress : callable, optional
        Called with (rays done, rays wanted), of all scenes together.

    Returns
    -------
    list of Result
        In the order of the scenes; `seconds` are an even share of what all took. With `stopped` set when the user
        pressed Ctrl-C: those that were in hand then hold the same number of rays, and those after them are missing.

    Raises
    ------
    InputError
        If the scenes differ in more, or one cannot be traced as described.
    RunError
        If more than one ray in a million was lost.
    """
    refuse_unlike(scenes)
    n_points = points_for(rays)
    threads = available_cores() if threads is None else threads
    common, results = common_of(scenes[0]) if common is None else common, []
    with StopFlag() as stop:
        placed = partial(prepare, seed=seed, common=common)
        first, compile_seconds = compiled(lambda: placed(scenes[0]), announce=announce, stop=stop)
        n_screens = 3 + max(len(scene.screens) for scene in scenes)
        for lot in in_lots(chain([first], map(placed, scenes[1:])), n_screens=n_screens):
            started = time.perf_counter()
            laid = [laid_out(one, n_points=n_points, threads=threads, stop=stop) for one in lot]
            done = run_together(
                [Job(one.prepared.assembly.optics, one.screens, one.tally) for one in laid],
                n_points=n_points,
                threads=threads,
                stop=stop,
                progress=of_all_scenes(progress, before=len(results), n_lot=len(lot), n_scenes=len(scenes)),
            )
            about = {"n_rays": done * N_SCRAMBLES, "rays_wanted": rays, "stopped": done < n_points}
            about |= {"seed": seed, "threads": threads, "seconds": (time.perf_counter() - started) / len(lot)}
            for one in laid:
                known = {"dish": results[0].dish} if results else {}
                result = result_of(one, compile_seconds=None if results else compile_seconds, **known, **about)
                wants_points = peak_points and not result.stopped
                results.append(with_brightest(result, one) if wants_points else result)
            if stop.is_set:
                break
    return results


def refuse_unlike(scenes: Sequence[Scene]) -> None:
    """Refuse scenes whose mirrors do not send out the same rays.

    Raises
    ------
    InputError
        With the scenes that differ from the first.
    """
    first = light_key(scenes[0])
    faults = [
        Fault(scene.file, "scene", scene.title, "has another dish, sun, mount, air or place than the first one")
        for scene in scenes[1:]
        if light_key(scene) != first
    ]
    if faults:
        raise InputError(faults)


def of_all_scenes(
    progress: Callable[[int, int], None] | None, *, before: int, n_lot: int, n_scenes: int
) -> Callable[[int, int], None] | None:
    """Progress of a lot as progress of all scenes."""
    if progress is None:
        return None
    return lambda done, whole: progress(whole // n_lot * before + done, whole // n_lot * n_scenes)
