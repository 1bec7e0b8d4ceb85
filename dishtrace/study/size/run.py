"""Size a receiver: trace it at many sizes with the same random points and weigh what it catches against its losses."""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from importlib import metadata
from typing import Any

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.flux.measure import trace
from dishtrace.flux.placed import common_of, light_key
from dishtrace.flux.prepared import Prepared, in_lots, prepare
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.scene.uncertain import nominal
from dishtrace.study.asked import asked
from dishtrace.study.progress import shifted, whole_rays
from dishtrace.study.size.best import Grid, best_at, smallest_for
from dishtrace.study.size.knobs import Knob, knobs_of, main_knob, part_number, settings_for
from dishtrace.study.size.light import Light, lights_on
from dishtrace.study.size.outcome import Sizing
from dishtrace.study.size.trial import Trial, trial_of
from dishtrace.study.sweep.keys import scene_with
from dishtrace.trace.run import announce_compilation

TEMPERATURES_C = (100.0, 200.0, 300.0, 400.0, 600.0)
"""Working temperatures that are told when nobody says otherwise. [degC]"""
BOILING_C, USUAL_C = 100.0, 200.0
CAPTURES = (0.90, 0.95, 0.99)
SHARE_OF_RAYS = 4
"""A size is traced with one in so many of the scene's rays, unless the user says otherwise. [–]"""
HOTTEST_C = 3000.0


def size(
    scene: Scene,
    part: str,
    *,
    radius: tuple[float, ...] | None = None,
    height: tuple[float, ...] | None = None,
    opening: tuple[float, ...] | None = None,
    scale: tuple[float, ...] | None = None,
    offset: tuple[float, ...] | None = None,
    temperatures_c: Sequence[float] | None = None,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Sizing:
    """Find the best size of a part, its place along the dish axis too.

    Parameters
    ----------
    scene : Scene
    part : str
        Name of a part, usually the receiver.
    radius, height, opening, scale, offset : (low, high) or (low, high, steps), optional
        What is varied, at most two of them; left out, the part's main size over a range by the size of the spot. In
        metres; the scale is a factor on all sizes, the offset a way along the dish axis from where the part is,
        positive away from the mirror.
    temperatures_c : sequence of float, optional
        Working temperatures, the first of them the one to recommend for. [degC]
    rays : int, optional
        Rays for each size; left out, a quarter of the scene's. [–]
    seed, threads, progress, announce
        As for `trace`.

    Returns
    -------
    Sizing
        With `stopped` set when the user pressed Ctrl-C; it then holds the sizes traced until then.

    Raises
    ------
    InputError
        If the part, a size or a range is not sound, or no size can be traced.
    RunError
        If rays were lost.
    KeyboardInterrupt
        If the user stopped it before any size was traced.
    """
    rays, seed, threads = asked("size", scene, rays=rays, seed=seed, threads=threads, one_in=SHARE_OF_RAYS)
    number = part_number(scene, part)
    wanted = {"radius": radius, "height": height, "opening": opening, "scale": scale, "offset": offset}
    knobs = knobs_of(scene.parts[number], wanted)
    warm = _temperatures(scene, number, temperatures_c)
    options = {"rays": rays, "seed": seed, "threads": threads}
    announce_compilation(announce)
    with Presses() as presses:
        knobs = knobs or (_knob_by_spot(scene, number, presses, **options),)
        traced = _Traced(scene, number, knobs, warm, progress=progress, each=whole_rays(rays))
        traced.run(presses, **options)
    return _sizing(traced, seed=seed)


def _knob_by_spot(scene: Scene, number: int, presses: Presses, **options: Any) -> Knob:
    """The main size of a part over a range that goes by the spot of a trace."""
    pilot = trace(scene, peak_points=False, **options)
    if pilot.stopped or presses.is_set:
        raise KeyboardInterrupt
    spot = pilot.best_focus.radius_m
    return main_knob(scene.parts[number], r50=spot["50"].value, r99=spot["99"].value)


class _Traced:
    """Traces the sizes of a part, as many together as fit in memory, until all are done or the user stops."""

    def __init__(
        self,
        scene: Scene,
        number: int,
        knobs: tuple[Knob, ...],
        warm: tuple[float, ...],
        *,
        progress: Callable[[int, int], None] | None,
        each: int,
    ) -> None:
        self.scene, self.number, self.part = scene, number, scene.parts[number].name
        self.knobs, self.warm = knobs, warm
        self.progress, self.rays, self.order = progress, each, list(_order(knobs))
        self.trials: dict[tuple[int, ...], Trial] = {}
        self.faults: dict[tuple[int, ...], list[Fault]] = {}
        self.notes: tuple[str, ...] = ()
        self.stopped = False

    def run(self, presses: Presses, *, seed: int, **options: Any) -> None:
        """Trace with the rays, seed and threads of `trace`."""
        placed: deque[tuple[int, ...]] = deque()
        try:
            for lot in in_lots(self._prepared(placed, seed=seed)):
                self.stopped = presses.is_set
                if self.stopped:
                    return
                show = shifted(self.progress, len(self.trials) * self.rays, len(self.order) * self.rays)
                lights = lights_on(lot, self.number, progress=show, **options)
                self.stopped = lights[0].stopped
                if self.stopped and self.trials:
                    return
                for light in lights:
                    place = placed.popleft()
                    self.trials[place] = trial_of(light, self.number, self._values(place), self.warm)
                self.notes = _trace_notes(lights[0])
                if self.stopped:
                    self.rays = lights[0].rays
                    return
        except KeyboardInterrupt:
            self.stopped = True

    def _values(self, place: tuple[int, ...]) -> dict[str, float]:
        return {knob.name: float(knob.values[k]) for knob, k in zip(self.knobs, place, strict=True)}

    def _prepared(self, placed: deque[tuple[int, ...]], *, seed: int) -> Iterator[Prepared]:
        """Scenes with the part at its sizes; the places of sound ones go to `placed`, the others' faults are kept."""
        common, key = common_of(self.scene), light_key(self.scene)
        for place in self.order:
            try:
                sized = scene_with(self.scene, settings_for(self.scene, self.number, self._values(place)))
                mine = common if light_key(sized) == key else None
                one = prepare(sized, seed=seed, common=mine, has_notes=False)
            except InputError as error:
                self.faults[place] = error.faults
                continue
            placed.append(place)
            yield one


def _sizing(traced: _Traced, *, seed: int) -> Sizing:
    """What the sizes that were traced say.

    Raises
    ------
    InputError
        If none could be traced.
    KeyboardInterrupt
        If the user stopped it before any was traced.
    """
    found, warm = traced.trials, traced.warm
    if traced.stopped and not found:
        raise KeyboardInterrupt
    if not found:
        raise InputError(list(dict.fromkeys(itertools.chain(*traced.faults.values()))))
    grid = _grid(traced.knobs, found)
    has_heat = grid is not None and all(trial.heat is not None for trial in grid.trials.flat)
    return Sizing(
        scene=traced.scene,
        part=traced.part,
        knobs=traced.knobs,
        temperatures_c=warm,
        trials=tuple(found[place] for place in sorted(found)),
        grid=grid,
        bests=tuple(best_at(grid, k, warm[k]) for k in range(len(warm))) if has_heat else (),
        captures={} if grid is None else {share: smallest_for(grid, share) for share in CAPTURES},
        rays=traced.rays,
        seed=seed,
        version=metadata.version("dishtrace"),
        stopped=traced.stopped,
        notes=(*_notes(traced, grid), *traced.notes),
    )


def _temperatures(scene: Scene, number: int, given: Sequence[float] | None) -> tuple[float, ...]:
    """Working temperatures; unless the user names them, 100 C first for what holds water, 200 C for all else."""
    if given is None:
        contents = scene.parts[number].contents
        first = BOILING_C if contents is not None and contents.kind == "water" else USUAL_C
        return (first, *(one for one in TEMPERATURES_C if one != first))
    coldest = float(nominal(scene.air.temperature_c))
    faults = [
        Fault(
            COMMAND_LINE, "--at", f"{one:g}", f"must be above {coldest:g}, the air's, and <= {HOTTEST_C:g} (degrees C)"
        )
        for one in given
        if not coldest < one <= HOTTEST_C
    ]
    if not given:
        faults.append(Fault(COMMAND_LINE, "--at", "", "names no temperature", "for instance --at 150"))
    if faults:
        raise InputError(faults)
    return tuple(dict.fromkeys(float(one) for one in given))


def _order(knobs: Sequence[Knob]) -> Iterator[tuple[int, ...]]:
    """Places of the grid: of one axis coarse before fine, so that an early stop leaves all of the range; of two, one
    line along the first after another.
    """
    if len(knobs) == 2:
        lines = _coarse_first(knobs[1].steps)
        yield from ((k, line) for line, k in itertools.product(lines, range(knobs[0].steps)))
    else:
        yield from ((k,) for k in _coarse_first(knobs[0].steps))


def _coarse_first(number: int) -> list[int]:
    """Numbers below `number`: the ends, then every eighth, every fourth, and so on."""
    found = dict.fromkeys([0, number - 1])
    step = 8
    while step:
        found |= dict.fromkeys(range(0, number, step))
        step //= 2
    return list(found)


def _grid(knobs: Sequence[Knob], found: dict[tuple[int, ...], Trial]) -> Grid | None:
    """The full grid of what was traced; None where fewer than four values along the first axis are left."""
    firsts = sorted({place[0] for place in found})
    if len(knobs) == 1:
        kept = [(k,) for k in firsts]
        axes = (knobs[0].values[firsts],)
        shape = (len(firsts),)
    else:
        firsts = [k for k in firsts if any(place[0] == k for place in found)]
        seconds = sorted({place[1] for place in found})
        seconds = [line for line in seconds if all((k, line) in found for k in firsts)]
        kept = list(itertools.product(firsts, seconds))
        axes = (knobs[0].values[firsts], knobs[1].values[seconds])
        shape = (len(firsts), len(seconds))
        if len(seconds) < 3:
            return None
    if len(firsts) < 4:
        return None
    trials = np.empty(shape, dtype=object)
    trials.flat[:] = [found[place] for place in kept]
    return Grid(tuple(knobs), axes, trials)


def _trace_notes(result: Light) -> tuple[str, ...]:
    """Notes that hold for every size: none that tell of one part."""
    return tuple(note for note in result.notes if not note.startswith('part "'))


def _notes(traced: _Traced, grid: Grid | None) -> Iterator[str]:
    part, faults = traced.part, list(traced.faults.values())
    n_left = len(traced.order) - len(traced.trials) - len(faults)
    if traced.stopped:
        left = f"{n_left} sizes were not traced" if n_left > 0 else f"each size has {traced.rays} rays only"
        yield f"stopped early: {left}"
    if grid is None:
        yield "too few sizes were traced to tell the best"
    elif grid.trials.flat[0].heat is None:
        yield f'the thermal emittance of "{part}" is not given: its losses, and so the best size, are not known'
    if faults:
        yield f"{len(faults)} sizes could not be traced, the first because: {faults[0][0]}"
    if any(other.name != part for other in traced.scene.parts):
        yield f'only "{part}" was changed: what holds it must be made to fit'
