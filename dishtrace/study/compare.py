"""Compare scenes and variants: all traced with the same random points, so that differences are sharper than values."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from dishtrace.flux.placed import Common, light_key
from dishtrace.flux.result import Result
from dishtrace.flux.together import trace_together
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate
from dishtrace.study.asked import asked
from dishtrace.study.comparison import SAME, Case, Comparison, Dishes
from dishtrace.study.dishes import has_chance, scatter, with_dish_seed
from dishtrace.study.figures import figures_of, receiver_peak
from dishtrace.study.progress import shifted, whole_rays
from dishtrace.study.variants import named_scenes, shared_of
from dishtrace.trace.run import UNIT_RAYS, points_for

DISHES = 8


def compare(
    scenes: Scene | Mapping[str, Scene] | Iterable[Scene],
    *,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    dishes: int = DISHES,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Comparison:
    """Trace scenes and their variants with common random points and tell the differences from the first.

    Parameters
    ----------
    scenes : Scene, mapping of str to Scene, or iterable of Scene
        Two at least, or one with variants; a scene comes before its variants.
    rays, seed : int, optional
        The same for all; left out, those of the first scene's [run]. [–]
    threads : int, optional
        Threads; left out, all cores. [–]
    dishes : int
        Dishes to draw where chance sets the facets, with `dish.seed` from the scene's own on and rays / dishes rays
        each; below 2, none. [–]
    progress : callable, optional
        Called with (rays done, rays wanted), of all traces together.
    announce : callable, optional
        Called with a line of text when something slow is about to happen.

    Returns
    -------
    Comparison
        With `stopped` set when the user pressed Ctrl-C; it then holds the traces finished until then, or what there
        is of the first.

    Raises
    ------
    InputError
        With the faults of all scenes, before anything is traced.
    RunError
        If rays were lost.
    KeyboardInterrupt
        If the user stopped it before anything was traced.
    """
    named = named_scenes(scenes)
    first = next(iter(named.values()))
    rays, seed, threads = asked("compare", first, rays=rays, seed=seed, threads=threads)
    shared = shared_of(named.values())
    lucky = [name for name, scene in named.items() if dishes >= 2 and has_chance(scene)]
    share = -(-rays // max(dishes, 1))
    jobs = [(scene, rays) for scene in named.values()]
    for name in lucky:
        jobs += [(with_dish_seed(named[name], named[name].dish.seed + k), share) for k in range(dishes)]
    results, draws, stopped = _traced(
        jobs, shared, n_kept=len(named), progress=progress, seed=seed, threads=threads, announce=announce
    )
    spreads = _spreads(lucky, named, draws, n_dishes=dishes, rays=whole_rays(share))
    traced = [(name, results[place]) for place, name in enumerate(named) if place in results]
    cases = tuple(
        Case(letters(number), name, result, figures_of(result), spreads.get(name))
        for number, (name, result) in enumerate(traced)
    )
    notes = tuple(_notes(list(named.values()), cases, rays=rays))
    left = tuple(name for place, name in enumerate(named) if place not in results)
    return Comparison(cases, left, cases[0].result.rays, seed, stopped, notes)


def letters(number: int) -> str:
    """A, B, ... Z, AA, AB, ... for 0, 1, ..."""
    text = ""
    number += 1
    while number > 0:
        number, place = divmod(number - 1, 26)
        text = chr(ord("A") + place) + text
    return text


def _traced(
    jobs: Sequence[tuple[Scene, int]],
    shared: Mapping[str, Common],
    *,
    n_kept: int,
    progress: Callable[[int, int], None] | None,
    **options: Any,
) -> tuple[dict[int, Result], dict[int, dict[str, Estimate]], bool]:
    """Trace until all are done or the user stops: results of the first jobs and figures of the rest, by their places.

    Those whose mirrors send out the same rays are traced together. After a stop all that is left has the same rays.
    """
    whole = sum(whole_rays(rays) for _, rays in jobs)
    results: dict[int, Result] = {}
    draws: dict[int, dict[str, Estimate]] = {}
    done = 0
    with Presses() as presses:
        try:
            for places in _alike(jobs):
                if presses.is_set:
                    return results, draws, True
                scenes, rays = [jobs[place][0] for place in places], jobs[places[0]][1]
                show = shifted(progress, done, whole)
                common = shared.get(light_key(scenes[0]))
                found = trace_together(scenes, rays=rays, common=common, progress=show, **options)
                is_whole = len(found) == len(places) and not found[-1].stopped
                if results or not found[0].stopped:
                    found = [result for result in found if not result.stopped]
                for place, result in zip(places, found, strict=False):
                    if place < n_kept:
                        results[place] = result
                    else:
                        draws[place - n_kept] = figures_of(result)
                if not is_whole:
                    return results, draws, True
                done += whole_rays(rays) * len(places)
        except KeyboardInterrupt:
            if not results:
                raise
            return results, draws, True
    return results, draws, False


def _alike(jobs: Sequence[tuple[Scene, int]]) -> list[list[int]]:
    """Places of jobs with the same mirror rays, in the order of the first of them."""
    found: dict[tuple[str, int], list[int]] = {}
    for place, (scene, rays) in enumerate(jobs):
        found.setdefault((light_key(scene), points_for(rays)), []).append(place)
    return list(found.values())


def _spreads(
    lucky: Sequence[str],
    named: Mapping[str, Scene],
    draws: Mapping[int, dict[str, Estimate]],
    *,
    n_dishes: int,
    rays: int,
) -> dict[str, Dishes]:
    """What the dishes drawn say, by name; of those that an early stop left with fewer than two, nothing."""
    spreads = {}
    for place, name in enumerate(lucky):
        mine = [draws[k] for k in range(place * n_dishes, (place + 1) * n_dishes) if k in draws]
        if len(mine) >= 2:
            keys = [key for key in mine[0] if all(key in one for one in mine)]
            figures = {key: scatter([one[key] for one in mine]) for key in keys}
            spreads[name] = Dishes(len(mine), named[name].dish.seed, rays, figures)
    return spreads


def _notes(scenes: Sequence[Scene], cases: Sequence[Case], *, rays: int) -> Iterator[str]:
    first = cases[0].result
    if first.stopped:
        yield f"stopped early: {first.rays} of {rays} rays were traced"
    elif first.rays != rays:
        yield f"{rays} rays were rounded up to {first.rays}, whole units of {UNIT_RAYS}"
    if any(scene.run != scenes[0].run for scene in scenes):
        yield "all scenes are traced with the same rays and seed; [run] of the others is not used"
    suns = [case.result.sun.dni_w_m2 for case in cases]
    if max(suns) - min(suns) > SAME * max(suns):
        yield f"the scenes have different suns, {min(suns):.0f} to {max(suns):.0f} W/m2: watts differ by that, too"
    for case in cases:
        part = receiver_peak(case.result)
        patch = part.peak_patch_m2 if part else 1e-4
        if not 0.95e-4 < patch < 1.05e-4:
            yield f'the peak on the receiver of "{case.name}" is over {1e4 * patch:.2g} cm2, not 1 cm2'
