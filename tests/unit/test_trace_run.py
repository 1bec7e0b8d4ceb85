"""Runs: units, stretches, the stop, one ray's path, and rays that never end.

Planted errors that these tests catch: a stop that leaves nothing traced; rounding down to units; the path of
ray i taken from scramble i // 32; lost light left out of the ledger.
"""

import numpy as np
import pytest

from dishtrace.cores import available_cores
from dishtrace.trace.cpu import Job, ray_path
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import LOST, OUTLINE, no_screens, triangle_rows
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import (
    STRETCH_POINTS,
    UNIT_POINTS,
    UNIT_RAYS,
    announce_compilation,
    points_for,
    run,
    run_together,
)
from tests.support.small_scenes import prepared, scene_text, tallied

BLACK_DISC = (
    '[[part]]\nname = "disc"\nrole = "receiver"\nshape = "disc"\nradius_m = 0.1\naxis = [0.0, 0.0, -1.0]\n'
    "surface = { absorptance = 1.0 }\n"
)


@pytest.fixture(scope="module")
def placed():
    return prepared(scene_text(BLACK_DISC))


@pytest.mark.parametrize(
    ("rays", "points"),
    [(1, UNIT_POINTS), (UNIT_RAYS, UNIT_POINTS), (UNIT_RAYS + 1, 2 * UNIT_POINTS), (10**6, 31488)],
)
def test_rays_are_rounded_up_to_units(rays, points):
    assert points_for(rays) == points
    assert points_for(rays) % UNIT_POINTS == 0


def test_run_traces_every_point_once(placed):
    """Two whole stretches and a part of a third, told as they are done."""
    told, n_points = [], 2 * STRETCH_POINTS + UNIT_POINTS
    tally = placed.tally()
    done = run(
        placed.assembly.optics,
        no_screens(),
        tally,
        n_points=n_points,
        threads=2,
        stop=StopFlag(),
        progress=lambda *rays: told.append(rays),
    )
    whole = n_points * N_SCRAMBLES
    assert done == n_points
    assert told == [(k * N_SCRAMBLES, whole) for k in (STRETCH_POINTS, 2 * STRETCH_POINTS, n_points)]
    assert np.allclose(tally.budget, tallied(placed.assembly.optics, count=n_points).budget, rtol=1e-12, atol=1e-9)


def test_stop_keeps_what_was_traced(placed):
    """Set during the first stretch, it ends the run after it."""
    stop, tally = StopFlag(), placed.tally()

    def press(*_):
        stop.is_set = True

    optics = placed.assembly.optics
    done = run(optics, no_screens(), tally, n_points=5 * STRETCH_POINTS, threads=1, stop=stop, progress=press)
    assert done == STRETCH_POINTS
    assert np.array_equal(tally.budget, tallied(optics, count=STRETCH_POINTS).budget)


def test_stop_before_the_start_still_gives_one_stretch(placed):
    stop = StopFlag()
    stop.is_set = True
    done = run(
        placed.assembly.optics,
        no_screens(),
        placed.tally(),
        n_points=2 * STRETCH_POINTS,
        threads=1,
        stop=stop,
    )
    assert done == STRETCH_POINTS


def test_there_is_at_least_one_thread():
    assert available_cores() >= 1


def test_compilation_is_announced_only_when_it_happens(monkeypatch):
    for has_code, expected in ((True, []), (False, 1)):
        said = []
        monkeypatch.setattr("dishtrace.trace.run.has_compiled_code", lambda has_code=has_code: has_code)
        assert announce_compilation(said.append) is not has_code
        assert said == expected or (len(said) == expected and "compiling" in said[0])


@pytest.mark.parametrize(("n", "rows"), [(1, 32), (93750, 32), (93751, 16), (10**6, 2), (10**7, 2)])
def test_rows_of_triangles_are_fewer_for_large_meshes(n, rows):
    assert triangle_rows(n) == rows


@pytest.mark.parametrize("ray", [0, 1, 31, 32, 777])
def test_path_of_one_ray(placed, ray):
    """In front of the mirror, on the mirror, on the disc; the same ray as the run's."""
    optics = placed.assembly.optics
    path = ray_path(optics, no_screens(), placed.tally(), ray=ray)
    legs = tallied(optics, count=32, n_legs=32).legs[ray % N_SCRAMBLES, ray // N_SCRAMBLES]
    assert path[1] == pytest.approx(legs[:3], abs=1e-14)
    assert path[1, 2] == pytest.approx(np.sum(path[1, :2] ** 2) / 4.0, abs=1e-15)
    assert len(path) == 3
    assert path[2, 2] == pytest.approx(1.0, abs=1e-12)
    assert np.hypot(*path[2, :2]) < 0.1
    towards_sun = (path[0] - path[1]) / np.linalg.norm(path[0] - path[1])
    assert towards_sun[2] > np.cos(4.66e-3)


def test_lost_light_is_booked_and_counted():
    """A white room with a pinhole: what enters bounces 10000 times before it finds the way out, and is lost."""
    room = (
        '[[part]]\nname = "room"\nrole = "receiver"\nshape = "cavity"\nradius_m = 1.0\ndepth_m = 1.0\n'
        "opening_radius_m = 0.003\naxis = [0.0, 0.0, -1.0]\nsurface = { absorptance = 0.0 }\n"
    )
    # A section beside the room, so that the room does not shade it.
    outline = 'shape = "circle"\nradius_m = 0.3\ncenter_m = [0.0, -1.8]'
    placed = prepared(scene_text(room, outline=outline))
    tally = tallied(placed.assembly.optics, count=16)
    budget = tally.budget.sum(axis=0)
    assert tally.n_lost.sum() >= 3
    assert budget[LOST] > 0.0
    assert budget[OUTLINE] == pytest.approx(budget[OUTLINE + 1 : LOST + 1].sum(), rel=1e-12)
    assert np.array_equal(tally.first_lost >= 0, tally.n_lost > 0)
    first = int(tally.first_lost[tally.first_lost >= 0].min())
    assert tally.n_lost[first % N_SCRAMBLES] > 0
    assert len(ray_path(placed.assembly.optics, no_screens(), placed.tally(), ray=first)) == 64


def test_scenes_that_differ_in_their_parts_share_the_rays_of_the_mirror():
    """To the last bit what each gives alone, over several stretches.

    Planted: rays kept from the stretch before; the columns of rays made changed while they are followed.
    """
    diffuse = BLACK_DISC.replace("absorptance = 1.0", "absorptance = 0.5")
    scenes = [prepared(scene_text(text)) for text in (BLACK_DISC, diffuse.replace("0.1\n", "0.05\n"), "")]
    jobs = [Job(scene.assembly.optics, no_screens(), scene.tally()) for scene in scenes]
    given = {"n_points": STRETCH_POINTS + 3 * UNIT_POINTS, "threads": 2, "stop": StopFlag()}
    run_together(jobs, **given)
    for scene, job in zip(scenes, jobs, strict=True):
        alone = scene.tally()
        run(scene.assembly.optics, no_screens(), alone, **given)
        for name, one, other in zip(alone._fields, alone, job.tally, strict=True):
            assert np.array_equal(one, other), name
