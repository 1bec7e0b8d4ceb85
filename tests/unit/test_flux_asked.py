"""What calls from Python may hand over: whole numbers of any kind; all else is one clear fault, before any tracing.

Errors planted and caught: a bare AttributeError, OverflowError or TypeError; faults that blame the command line;
another range than the one that points can have.
"""

from __future__ import annotations

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.flux.measure import replay
from dishtrace.flux.numbers import RANGES
from dishtrace.scene.read import scene_from_text
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import MOST_POINTS
from tests.support.optics import part_text, scene_text

PLATE = part_text("plate", "disc", radius_m=0.008, axis=[0.0, 0.0, -1.0])
STAND = part_text("arm", "disc", role="stand", radius_m=0.008, axis=[0.0, 0.0, -1.0])
SCENE = scene_from_text(scene_text(more=PLATE))
AT = {"points": [[0.0, 0.0, 0.0]], "normals": [[0.0, 0.0, -1.0]]}
MOST = str(RANGES["rays"][1])


def test_the_most_rays_are_those_that_points_are_numbered_for():
    assert RANGES["rays"] == (1, MOST_POINTS * N_SCRAMBLES)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"rays": "x"}, f"trace: rays = 'x' must be a whole number from 1 to {MOST}"),
        ({"rays": 0}, f"trace: rays = 0 must be a whole number from 1 to {MOST}"),
        ({"rays": 1.5}, f"trace: rays = 1.5 must be a whole number from 1 to {MOST}"),
        ({"rays": 10**400}, f" must be a whole number from 1 to {MOST}"),
        ({"rays": float("nan")}, "trace: rays = nan must be a whole number"),
        ({"rays": float("inf")}, "trace: rays = inf must be a whole number"),
        ({"seed": -1}, "trace: seed = -1 must be a whole number from 0 to 18446744073709551615"),
        ({"threads": 0}, "trace: threads = 0 must be a whole number from 1 to 1024"),
        ({"threads": [2]}, "trace: threads = [2] must be a whole number"),
        ({"seconds": "3"}, "trace: seconds = '3' must be a number from 0.01 to 1000000 (seconds)"),
        ({"seconds": -1}, "trace: seconds = -1 must be a number from 0.01"),
        ({"seconds": float("nan")}, "trace: seconds = nan must be a number from 0.01"),
        ({"until": 3}, "trace: until = 3 must be a quantity and its relative standard error in percent"),
        ({"until": "reciever 1%"}, "trace: until = 'reciever 1%' must be a quantity"),
    ],
)
def test_arguments_of_trace_that_are_at_fault(options, said):
    with pytest.raises(dt.InputError) as caught:
        dt.trace(SCENE, **options)
    (fault,) = caught.value.faults
    assert said in str(fault)


def test_all_faults_of_a_call_are_told_at_once():
    with pytest.raises(dt.InputError) as caught:
        dt.trace(SCENE, rays=0, seed=-1, threads=0, until="soon", seconds=0)
    assert [fault.key for fault in caught.value.faults] == ["until", "rays", "seed", "threads", "seconds"]


@pytest.mark.parametrize("call", [dt.trace, lambda scene: dt.flux_at(scene, **AT)])
@pytest.mark.parametrize("scene", ["yard.toml", None])
def test_a_path_is_no_scene(call, scene):
    with pytest.raises(dt.InputError, match=r"scene = .* must be a scene; read the file first: load_scene"):
        call(scene)


def test_whole_numbers_may_be_of_any_kind():
    plain = dt.trace(SCENE, rays=8192, seed=3, threads=1)
    assert plain.first_hit_w == dt.trace(SCENE, rays=8192.0, seed=np.int64(3), threads=np.float64(1.0)).first_hit_w
    value = dt.flux_at(SCENE, **AT, rays=1e3, seed=2.0, threads=1)
    np.testing.assert_array_equal(value.value, dt.flux_at(SCENE, **AT, rays=1000, seed=2, threads=1).value)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"rays": "x"}, "rays = 'x' must be a whole number from 1 to 2147483648"),
        ({"seed": -1}, "seed = -1 must be a whole number from 0 to"),
        ({"frame": ["dish"]}, r'frame = ["dish"] must be "dish" or "ground"'.replace('["dish"]', "['dish']")),
        (
            {"points": [[0.0, 0.0, 0.0], [0.0, np.nan, 1.0], [np.inf, 0.0, 0.0]]},
            "points[1] = (0, nan, 1) must be three",
        ),
        ({"points": [[0.0, 0.0]]}, "points = shape (1, 2) must be an array (n, 3)"),
        ({"points": [[0.0, 0.0, 0.0], [1.0]]}, "points must be an array (n, 3) of finite numbers, but holds"),
        ({"points": "here"}, "points must be an array (n, 3) of finite numbers, but holds"),
        ({"normals": [[0.0, 0.0, 0.0]]}, "normals[0] = (0, 0, 0) must not be zero"),
        ({"normals": [[0.0, 0.0, 1.0]] * 2}, "normals = 2 for 1 points must be as many as points"),
    ],
)
def test_arguments_of_flux_at_that_are_at_fault(options, said):
    with pytest.raises(dt.InputError) as caught:
        dt.flux_at(SCENE, **{**AT, **options})
    (fault,) = caught.value.faults
    assert str(fault).startswith("flux_at: ")
    assert said in str(fault)


@pytest.mark.parametrize(
    ("parts", "goal", "said"),
    [
        (PLATE, "stand 1%", 'no part with role = "stand"; give it one, or ask for receiver or peak or R90'),
        (STAND, "receiver 1%", 'no part with role = "receiver"; give it one, or ask for stand or R90'),
        ("", "peak 1%", 'no part with role = "receiver"; give it one, or ask for R90'),
    ],
)
def test_a_goal_that_the_scene_cannot_have_is_refused(parts, goal, said):
    with pytest.raises(dt.InputError) as caught:
        dt.trace(scene_from_text(scene_text(more=parts)), until=goal)
    assert str(caught.value) == f"trace: until = {goal!r} cannot be reached: the scene has {said}"


def test_a_goal_that_the_scene_has_is_taken():
    assert dt.trace(scene_from_text(scene_text()), until="R90 5%", rays=8192).goal.is_reached
    assert dt.trace(scene_from_text(scene_text(more=STAND)), until="stand 5%", rays=8192).goal.is_reached


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"first_ray": -1}, "first_ray = -1 must be a whole number from 0 to"),
        ({"first_ray": 1.5}, "first_ray = 1.5 must be a whole number"),
        ({"first_ray": RANGES["rays"][1]}, f"first_ray = {MOST} must be a whole number from 0 to"),
        ({"first_ray": 0, "seed": -1}, "seed = -1 must be a whole number from 0 to 18446744073709551615"),
        ({"first_ray": 0, "rays": 0}, f"rays = 0 must be a whole number from 1 to {MOST}"),
        ({"first_ray": RANGES["rays"][1] - 2, "rays": 3}, "rays = 3 must be 2 or less from ray"),
    ],
)
def test_arguments_of_replay_that_are_at_fault(options, said):
    with pytest.raises(dt.InputError) as caught:
        replay(SCENE, **options)
    (fault,) = caught.value.faults
    assert str(fault).startswith(f"replay: {said}")


def test_rays_replayed_together_are_those_replayed_alone():
    together = list(replay(SCENE, seed=3, first_ray=70, rays=3))
    for ray, path in enumerate(together, start=70):
        (alone,) = replay(SCENE, seed=3, first_ray=ray)
        np.testing.assert_array_equal(path, alone)
