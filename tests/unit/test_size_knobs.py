"""What is varied of a part and which keys that sets. Shown to fail on: the wrong end of a pot kept in place, an offset
along z where the dish leans, a scale that misses one size.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.size.knobs import Knob, dish_axis, knobs_of, main_knob, part_number, settings_for
from tests.support.plate_scene import GREY

PARTS = {
    "pot": 'shape = "cylinder"\nradius_m = 0.1\nheight_m = 0.2\ncenter_m = [0.0, 0.0, 0.12]',
    "upside": 'shape = "cylinder"\nradius_m = 0.1\nheight_m = 0.2\naxis = [0.0, 0.0, -1.0]',
    "plate": 'shape = "disc"\nradius_m = 0.05\naxis = [0.0, 0.0, -1.0]',
    "box": 'shape = "box"\nsize_m = [0.1, 0.2, 0.3]',
    "cave": 'shape = "cavity"\nradius_m = 0.1\ndepth_m = 0.15\nopening_radius_m = 0.04\naxis = [0.0, 0.0, -1.0]',
    "high pot": 'frame = "ground"\nshape = "cylinder"\nradius_m = 0.1\nheight_m = 0.2\ncenter_m = [0.0, 0.0, 0.5]',
}
SCENE = (
    "[sun]\nazimuth_deg = 180.0\nelevation_deg = 30.0\ndni_w_m2 = 900.0\n[dish]\nfocal_length_m = 0.9\n"
    'reflectance = 0.9\nslope_error_mrad = 3.0\noutline = { shape = "circle", radius_m = 1.0 }\n'
) + "".join(
    f'[[part]]\nname = "{name}"\nrole = "receiver"\nsurface = {GREY.format(0.9)}\n{text}\n'
    for name, text in PARTS.items()
)


@pytest.fixture(scope="module")
def scene():
    return scene_from_text(SCENE)


def keys(scene, name, **values):
    found = settings_for(scene, part_number(scene, name), values)
    return {key.removeprefix(f"part.{name}."): value for key, value in found.items()}


def test_a_taller_pot_keeps_the_end_nearer_the_mirror(scene):
    assert keys(scene, "pot", height=0.3) == {"height_m": 0.3, "center_m": pytest.approx([0.0, 0.0, 0.17])}
    assert keys(scene, "upside", height=0.3) == {"height_m": 0.3, "center_m": pytest.approx([0.0, 0.0, 0.05])}
    assert keys(scene, "pot", radius=0.2) == {"radius_m": 0.2}
    assert keys(scene, "pot", radius=0.1) == {}


def test_all_sizes_scale_together(scene):
    assert keys(scene, "box", scale=2.0) == {"size_m": [0.2, 0.4, 0.6], "center_m": pytest.approx([0.0, 0.0, 0.15])}
    assert keys(scene, "cave", scale=0.5) == {"radius_m": 0.05, "depth_m": 0.075, "opening_radius_m": 0.02}
    assert keys(scene, "plate", scale=3.0, offset=0.1) == {
        "radius_m": pytest.approx(0.15),
        "center_m": pytest.approx([0.0, 0.0, 0.1]),
    }


def test_a_cavity_keeps_its_opening_in_place(scene):
    assert keys(scene, "cave", height=0.3) == {"depth_m": 0.3}
    assert keys(scene, "cave", opening=0.06) == {"opening_radius_m": 0.06}


def test_offset_goes_along_the_dish_axis_in_either_frame(scene):
    """Sun in the south, 30 degrees high: the axis points south and up, (0, -cos 30, sin 30)."""
    along = np.array([0.0, -math.cos(math.radians(30.0)), 0.5])
    assert dish_axis(scene, "ground") == pytest.approx(along, abs=1e-6)
    assert dish_axis(scene, "dish") == pytest.approx([0.0, 0.0, 1.0])
    moved = keys(scene, "high pot", offset=0.1)
    assert moved == {"center_m": pytest.approx([0.0, 0.1 * along[1], 0.55], abs=1e-6)}


def test_main_size_goes_by_the_spot_and_holds_the_scene_s_own(scene):
    plate = main_knob(scene.parts[part_number(scene, "plate")], r50=0.01, r99=0.04)
    assert (plate.name, plate.low, plate.high, plate.steps) == ("radius", 0.005, pytest.approx(0.072), 20)
    cave = main_knob(scene.parts[part_number(scene, "cave")], r50=0.01, r99=0.4)
    assert (cave.name, cave.high) == ("opening", pytest.approx(0.098))
    assert main_knob(scene.parts[part_number(scene, "box")], r50=0.01, r99=0.4).name == "scale"


def test_values_have_equal_ratios_but_offsets_equal_distances():
    assert Knob("radius", 0.01, 0.04, 9).values[4] == pytest.approx(0.02)
    assert Knob("offset", -0.01, 0.03, 9).values[4] == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("name", "wanted", "said"),
    [
        ("plate", {"height": (0.1, 0.2)}, "is no size of part .plate.; a disc has --radius, --scale, --offset"),
        ("plate", {"radius": (0.2, 0.1)}, "swap the two"),
        ("plate", {"radius": (0.0, 0.1)}, "must be above 0"),
        ("plate", {"radius": (0.1,)}, "must be LOW:HIGH or LOW:HIGH:STEPS"),
        ("plate", {"radius": (0.1, 0.2, 3)}, "must have 8 to 200 steps"),
        ("cave", {"opening": (0.01, 0.2)}, "must stay below radius_m = 0.1 of the cavity"),
        ("cave", {"radius": (0.1, 0.2), "height": (0.1, 0.2), "offset": (0.0, 0.1)}, "are more than two"),
    ],
)
def test_bad_wishes_are_refused(scene, name, wanted, said):
    with pytest.raises(dt.InputError, match=said):
        knobs_of(scene.parts[part_number(scene, name)], wanted)


def test_a_part_that_does_not_exist_is_refused_with_the_nearest(scene):
    with pytest.raises(dt.InputError, match='names no part of the scene; did you mean "plate"?'):
        part_number(scene, "plat")
