"""What the pieces of a mirror ray cost on the standard case, as shares of what a ray costs the NumPy + embreex script.

Each piece is run again and again on one batch of rays, so it finds its memory at hand. "Memory not at hand" is what a
real run takes beyond the pieces, mostly for the tallies; "all but what is met" what would be left if every ray knew for
nothing what it meets.

Run with ``python benchmarks/where_time_goes.py [--primitive]`` after ``pip install .[bench]``, on a quiet machine; with
--primitive the cylinder is a shape of dishtrace, which rays meet in closed form, in place of a mesh file.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import embree_script as script
import numba
import numpy as np
import speed_table
import standard_case

from dishtrace.flux.laid import laid_out
from dishtrace.flux.prepared import prepare
from dishtrace.scene.read import scene_from_text
from dishtrace.trace.cpu import world_of
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.kernels.batch import BATCH, batch_meets_skin, batch_rays
from dishtrace.trace.kernels.going import MAY_MEET, PX, VX
from dishtrace.trace.kernels.meeting import meet
from dishtrace.trace.kernels.populations import (
    PART_WORD_MIRROR,
    book_arrivals,
    find_meetings,
    look_at_way_in,
    set_out,
    trace_rays,
)
from dishtrace.trace.kernels.screens import record_batch
from dishtrace.trace.optics import MIRROR_RAYS_PER_DIRECT, World

TIMES, REPEATS, SCRAMBLE = 1024, 5, 3
POINTS = 16_384


def again(step: Callable) -> Callable:
    """A compiled loop over one step of a batch."""
    step = numba.njit(nogil=True, error_model="numpy", _nrt=False)(step)

    @numba.njit(nogil=True, error_model="numpy", _nrt=False)
    def loop(world, going, marks):
        for _ in range(TIMES):
            step(world, going, marks)

    return loop


def made(world, _going, _marks):
    """Rays: points, place, sun, slope, reflection."""
    b = world.batch[0]
    batch_rays(world.points, world.mirror, world.sun, SCRAMBLE, 0, world.words[0], world.starts[0], world.marks, b)


def way_in(world, _going, _marks):
    """Shade."""
    look_at_way_in(world, False, SCRAMBLE, 0, BATCH, world.starts[0], world.batch[0])


def leaving(world, _going, _marks):
    """First reflection booked, and what may meet the mirror again."""
    book_arrivals(world.mirror, world.tally.budget, world.going, SCRAMBLE, world.starts[0], world.batch[0])
    set_out(world.going, world.marks, False, world.starts[0], world.batch[0])
    batch_meets_skin(world.mirror, world.going, np.int64(PX), np.int64(VX), world.going, MAY_MEET)


def met(world, _going, _marks):
    """The tree, or the closed form."""
    find_meetings(world, BATCH)


def recorded(world, _going, _marks):
    """Spot planes."""
    record_batch(world.screens, world.tally, SCRAMBLE, world.going)


def restored(world, going, marks):
    """The columns as they were before a meeting."""
    for k in range(going.shape[0]):
        world.going[k] = going[k]
    for k in range(marks.shape[0]):
        world.marks[k] = marks[k]


def booked(world, going, marks):
    """The same, and what is met booked."""
    for k in range(going.shape[0]):
        world.going[k] = going[k]
    for k in range(marks.shape[0]):
        world.marks[k] = marks[k]
    meet(world, False, SCRAMBLE, SCRAMBLE, 0, BATCH, world.words[0], PART_WORD_MIRROR)


STEPS = {
    "rays made": made,
    "way in": way_in,
    "leaving the mirror": leaving,
    "what is met": met,
    "spot planes": recorded,
}


def seconds_of(call: Callable[[], object], *, rays: int) -> float:
    """Processor time of a ray, the median of some runs after one that is not counted. [s]"""
    call()
    taken = []
    for _ in range(REPEATS):
        started = time.process_time()
        call()
        taken.append(time.process_time() - started)
    return statistics.median(taken) / rays


def seconds_of_step(step: Callable, world: World, going: np.ndarray, marks: np.ndarray) -> float:
    """Processor time of a step for one ray. [s]"""
    loop = again(step)
    return seconds_of(lambda: loop(world, going, marks), rays=TIMES * BATCH)


def main() -> None:
    """Time the pieces and print them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--primitive", action="store_true", help="the cylinder as a shape in place of a mesh file")
    is_primitive = parser.parse_args().primitive
    with tempfile.TemporaryDirectory() as folder, StopFlag() as stop:
        text = standard_case.write_scene(Path(folder)).read_text(encoding="utf-8")
        text = text.replace(speed_table.MESH, speed_table.PRIMITIVE) if is_primitive else text
        prepared = prepare(scene_from_text(text, folder=folder), seed=1)
        laid = laid_out(prepared, n_points=POINTS, threads=1, stop=stop)
    optics = prepared.assembly.optics
    world, direct = (
        world_of(optics, laid.screens, laid.tally, points, 0) for points in (optics.mirror_points, optics.direct_points)
    )
    going, marks = world.going.copy(), world.marks.copy()
    theirs = seconds_of(lambda: script.run(1 << 20, seed=1), rays=1 << 20)
    pieces: dict[str, float] = {}
    for name, step in STEPS.items():
        pieces[name] = seconds_of_step(step, world, going, marks)
    going, marks = world.going.copy(), world.marks.copy()
    both = [seconds_of_step(step, world, going, marks) for step in (booked, restored)]
    pieces["booking what is met"] = both[0] - both[1]

    def all_scrambles(world, is_direct, count):
        for scramble in range(32):
            trace_rays(world, is_direct, False, scramble, scramble, 0, count)

    n_direct = POINTS // MIRROR_RAYS_PER_DIRECT
    pieces["direct sun, 1 ray in 16"] = seconds_of(lambda: all_scrambles(direct, True, n_direct), rays=32 * POINTS)
    whole = pieces["direct sun, 1 ray in 16"] + seconds_of(
        lambda: all_scrambles(world, False, POINTS), rays=32 * POINTS
    )
    pieces["memory not at hand, and the rest"] = whole - sum(pieces.values())
    print(f"| {'piece':<34} | time of a ray / the script's |\n|{'-' * 36}|{'-' * 29}:|")
    for name, seconds in pieces.items():
        print(f"| {name:<34} | {seconds / theirs:28.2f} |")
    print(f"| {'all':<34} | {whole / theirs:28.2f} |")
    print(f"| {'all but what is met':<34} | {(whole - pieces['what is met']) / theirs:28.2f} |")
    print(f"a ray of the script takes {theirs * 1e9:.0f} ns here")


if __name__ == "__main__":
    main()
