"""Keys of a scene as a sweep writes them. Shown to fail on: ends swapped in silence, a letter off by
one.
"""

from __future__ import annotations

import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.sweep.keys import Varied, current, current_number, refuse_ends, scene_with, varied_of
from tests.support.plate_scene import plate_scene


@pytest.fixture(scope="module")
def scene():
    return scene_from_text(plate_scene(arm=(0.5, "[0.0, 0.3, 0.0]")) + "[air]\nwind_m_s = { low = 1.0, high = 3.0 }\n")


def test_a_range_with_steps_has_both_ends_and_equal_steps():
    (one,) = varied_of(["dish.slope_error_mrad=1:6:11"])
    assert one == Varied("dish.slope_error_mrad", 1.0, 6.0, 11)
    assert one.grid(5) == pytest.approx([1.0 + 0.5 * k for k in range(11)], abs=1e-12)
    assert one.grid(5)[-1] == 6.0


def test_a_range_without_steps_takes_those_of_the_method():
    (one,) = varied_of([" dish.slope_error_mrad = 1 : 3 "])
    assert one.steps is None and one.grid(3) == [1.0, 2.0, 3.0]


def test_listed_values_keep_their_kind_and_order():
    one, two, three = varied_of(["a=0.2,0.1", 'b=disc,"sphere"', "c=true,false"])
    assert (one.values, one.low, one.high) == ((0.2, 0.1), 0.1, 0.2)
    assert two.values == ("disc", "sphere")
    assert three.values == (True, False)
    assert [two.at(share) for share in (0.0, 0.49, 0.5, 1.0)] == ["disc", "disc", "sphere", "sphere"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("dish.slope_error_mrad", "must be KEY=LOW:HIGH:STEPS"),
        ("=1:2", "must be KEY=LOW:HIGH:STEPS"),
        ("a=1:x:3", "must be KEY=LOW:HIGH:STEPS"),
        ("a=1:inf", "must be KEY=LOW:HIGH:STEPS"),
        ("a=6:1:3", "must have its low end below its high end; swap the two"),
        ("a=2:2", "give two different ends"),
        ("a=1:2:1", "must have 2 to 10000 steps"),
        ("a=1,1", "must list different values"),
        ("a=1,,2", "must list different values"),
    ],
)
def test_what_is_no_range_is_refused(text, said):
    with pytest.raises(dt.InputError, match=said):
        varied_of([text])


def test_all_faults_of_what_is_varied_come_at_once():
    with pytest.raises(dt.InputError) as caught:
        varied_of(["a=2:1", "b", "c=1:2", "c=1:3"])
    assert [fault.key for fault in caught.value.faults] == ["--vary a", "--vary", "--vary c"]
    with pytest.raises(dt.InputError, match="is missing; name at least one key"):
        varied_of([])


def test_a_search_takes_bounds_alone():
    with pytest.raises(dt.InputError, match='must be KEY=LOW:HIGH, for instance "dish.slope_error_mrad=1:6"'):
        varied_of(["a=1:2:3"], with_steps=False)


def test_what_a_scene_says_now_is_found_by_the_same_keys(scene):
    assert current(scene, "dish.slope_error_mrad") == 3.0
    assert current(scene, "dish.cleanliness") == 1.0
    assert current(scene, "part.arm.center_m.y") == 0.3
    assert current_number(scene, "air.wind_m_s") == 2.0
    assert current(scene, "part.plate.shape") == "disc" and current_number(scene, "part.plate.shape") is None
    for key in ("dish.none", "part.none.radius_m", "part.arm.center_m.w", "dish.slope_error_mrad.more"):
        assert current(scene, key) is None


def test_values_are_put_in_and_the_scene_is_checked_again(scene):
    other = scene_with(scene, {"dish.slope_error_mrad": 5.0, "part.arm.center_m.z": 0.02, "part.arm.center_m.x": 0.1})
    assert other.dish.slope_error_mrad == 5.0
    assert other.parts[1].center_m == (0.1, 0.3, 0.02)
    assert scene.parts[1].center_m == (0.0, 0.3, 0.0)
    assert scene_with(scene, {"part.plate.shape": "sphere"}).parts[0].shape == "sphere"


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("dish.slope_eror_mrad", "did you mean slope_error_mrad?"),
        ("part.plat.radius_m", 'names no part of the scene; did you mean "plate"?'),
        ("dsh.focal_length_m", "is not a known key; did you mean dish?"),
    ],
)
def test_a_key_that_does_not_exist_is_refused_with_the_nearest(scene, key, said):
    with pytest.raises(dt.InputError, match="command line: ") as caught:
        scene_with(scene, {key: 1.0})
    assert said in str(caught.value)


def test_both_ends_of_every_range_are_tried_before_anything_is_traced(scene):
    with pytest.raises(dt.InputError) as caught:
        refuse_ends(scene, varied_of(["dish.slope_error_mrad=1:200", "part.plate.radius_m=-1:0.1", "dish.seed=1,2.5"]))
    told = str(caught.value)
    assert "dish.slope_error_mrad = 200 must be" in told
    assert 'part "plate" radius_m = -1 must be' in told
    assert "dish.seed = 2.5 must be" in told
