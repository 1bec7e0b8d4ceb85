"""What studies may be asked for: as with `trace`, one clear fault for all that is wrong, before any tracing.

Errors caught: figures that are not numbers from no rays, a bare ValueError or ZeroDivisionError from no threads, a
message about something else.
"""

from __future__ import annotations

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.asked import asked
from tests.support.optics import part_text, scene_text

SCENE = scene_from_text(scene_text(more=part_text("plate", "disc", radius_m=0.008, axis=[0.0, 0.0, -1.0])))
VARY = ["dish.slope_error_mrad=1:2"]
STUDIES = {
    "compare": lambda **options: dt.compare([SCENE, SCENE], **options),
    "size": lambda **options: dt.size(SCENE, "plate", **options),
    "sweep": lambda **options: dt.sweep(SCENE, VARY, **options),
    "improve": lambda **options: dt.improve(SCENE, VARY, aim="most receiver_w", **options),
    "day": lambda **options: dt.day(SCENE, date="2026-06-21", **options),
    "year": lambda **options: dt.year(SCENE, year=2026, **options),
    "fit": lambda **options: dt.fit(SCENE, target="31,33,30 mm", **options),
}


@pytest.mark.parametrize("study", STUDIES)
@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"rays": 0}, "rays = 0 must be a whole number from 1 to "),
        ({"rays": "many"}, "rays = 'many' must be a whole number from 1 to "),
        ({"seed": -1}, "seed = -1 must be a whole number from 0 to 18446744073709551615"),
        ({"threads": 0}, "threads = 0 must be a whole number from 1 to 1024"),
        ({"threads": 1.5}, "threads = 1.5 must be a whole number from 1 to 1024"),
    ],
)
def test_numbers_that_are_at_fault(study, options, said):
    with pytest.raises(dt.InputError) as caught:
        STUDIES[study](**options)
    (fault,) = caught.value.faults
    assert str(fault).startswith(f"{study}: {said}")


@pytest.mark.parametrize("study", STUDIES)
def test_all_of_them_are_told_at_once(study):
    with pytest.raises(dt.InputError) as caught:
        STUDIES[study](rays=0, seed=-1, threads=0)
    assert [fault.key for fault in caught.value.faults] == ["rays", "seed", "threads"]


@pytest.mark.parametrize("call", [lambda scene: dt.sweep(scene, VARY), lambda scene: dt.size(scene, "plate")])
def test_a_path_is_no_scene(call):
    with pytest.raises(dt.InputError, match="scene = 'yard.toml' must be a scene; read the file first"):
        call("yard.toml")


def test_numbers_left_out_are_those_of_the_scene():
    rays, seed = SCENE.run.rays, SCENE.run.seed
    nothing = {"rays": None, "seed": None, "threads": None}
    assert asked("sweep", SCENE, **nothing) == (rays, seed, None)
    assert asked("size", SCENE, one_in=4, **nothing).rays == rays // 4
    assert asked("size", SCENE, one_in=2 * rays, **nothing).rays == 1
    assert asked("day", SCENE, most_rays=rays - 1, **nothing).rays == rays - 1
    assert asked("day", SCENE, most_rays=1, **{**nothing, "rays": 1e5}).rays == 100_000
    assert asked("sweep", SCENE, rays=1e5, seed=np.int64(3), threads=2.0) == (100_000, 3, 2)
