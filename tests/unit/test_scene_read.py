"""Reading scene files: what a sound one gives, and what stops before any key is looked at."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from dishtrace.errors import InputError
from dishtrace.scene.model import Scene, Uncertain, nominal
from dishtrace.scene.read import load_scene, scene_from_text

LEAST = """\
[sun]
dni_w_m2 = 900
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 1.2
"""

FULL = """\
title = "test yard"
[site]
latitude_deg = -33.5
longitude_deg = -70.5
altitude_m = 540
[sun]
time = 2026-03-21T12:30:00-04:00
dni_w_m2 = { value = 850, sd = 40 }
shape = { profile = "circumsolar", csr = 0.05 }
[mount]
kind = "fixed"
axis_azimuth_deg = 10
axis_elevation_deg = 55.5
pointing_offset_mrad = [1, -2]
[dish]
focal_length_m = 0.9
reflectance = { low = 0.8, high = 0.9 }
outline = { shape = "polygon", vertices_m = [[0, 0], [1, 0], [1, 1]] }
[[part]]
name = "pot"
role = "receiver"
shape = "cylinder"
radius_m = 0.1
height_m = 0.3
surface = "black-paint"
[[part]]
name = "trestle"
role = "stand"
frame = "ground"
shape = "rectangle"
size_m = [0.1, 0.2]
surface = { absorptance = 0.7, specular_share = 0.1 }
surface_back = "wood-bare"
[[part]]
name = "window"
role = "cover"
shape = "disc"
radius_m = 0.2
cover = { refractive_index = 1.526, extinction_per_m = 16, thickness_m = 0.004 }
[[screen]]
name = "focal plane"
offset_m = 0.0
half_width_m = 0.1
radii_m = [0.02, 0.05]
[air]
pressure_pa = 95000
[run]
rays = 1e6
seed = 7
"""


def test_the_least_scene_has_the_stated_defaults():
    scene = scene_from_text(LEAST)
    assert scene.title == "untitled"
    assert scene.site is None
    assert (scene.sun.time, scene.sun.azimuth_deg, scene.sun.dni, scene.sun.weather_file) == (None,) * 4
    assert (scene.sun.shape.profile, scene.sun.shape.half_angle_mrad) == ("pillbox", 4.65)
    assert (scene.mount.kind, scene.mount.pivot_m) == ("two-axis", None)
    assert (scene.mount.pointing_offset_mrad, scene.mount.pointing_jitter_mrad) == ((0.0, 0.0), 0.0)
    assert (scene.dish.cleanliness, scene.dish.slope_error_mrad, scene.dish.beam_spread_mrad) == (
        1.0,
        0.0,
        0.0,
    )
    assert (scene.dish.outline.hole_radius_m, scene.dish.outline.center_m) == (0.0, (0.0, 0.0))
    assert (scene.parts, scene.screens) == ((), ())
    assert (scene.air.temperature_c, scene.air.wind_m_s, scene.air.pressure_pa) == (20.0, 0.0, None)
    assert (scene.run.rays, scene.run.seed) == (2**20, 1)


def test_the_full_scene_reads_as_written():
    scene = scene_from_text(FULL)
    assert scene.sun.time == datetime(2026, 3, 21, 12, 30, tzinfo=timezone(timedelta(hours=-4)))
    assert scene.sun.dni_w_m2 == Uncertain(value=850.0, sd=40.0)
    assert nominal(scene.sun.dni_w_m2) == 850.0
    assert nominal(scene.dish.reflectance) == pytest.approx(0.85, abs=1e-15)
    assert nominal(0.5) == 0.5
    assert scene.sun.shape.csr == 0.05
    assert scene.mount.pointing_offset_mrad == (1.0, -2.0)
    assert scene.dish.outline.vertices_m == ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0))
    pot, trestle, window = scene.parts
    assert (pot.frame, pot.center_m, pot.axis, pot.surface_back) == (
        "dish",
        (0.0,) * 3,
        (0.0, 0.0, 1.0),
        None,
    )
    assert (trestle.surface.absorptance, trestle.surface.emittance) == (0.7, None)
    assert window.cover.extinction_per_m == 16.0
    screen = scene.screens[0]
    assert (screen.facing, screen.radii_m, screen.through_receivers) == (
        (0.0, 0.0, -1.0),
        (0.02, 0.05),
        False,
    )
    assert type(scene.run.rays) is int and scene.run.rays == 1_000_000


def test_a_scene_cannot_be_changed():
    scene = scene_from_text(LEAST)
    with pytest.raises(ValueError, match="frozen"):
        scene.title = "other"
    with pytest.raises(ValueError, match="frozen"):
        scene.dish.focal_length_m = 2.0


def test_files_are_relative_to_the_scene_file(tmp_path):
    (tmp_path / "yard").mkdir()
    (tmp_path / "mirror.csv").write_text("incidence_deg,reflectance\n0,0.9\n", encoding="utf-8")
    path = tmp_path / "yard" / "scene.toml"
    path.write_text(LEAST.replace("reflectance = 0.9", 'reflectance = "../mirror.csv"'), encoding="utf-8")
    scene = load_scene(path)
    assert scene.path("../mirror.csv") == tmp_path / "mirror.csv"
    assert scene.path(str(tmp_path / "x.stl")) == tmp_path / "x.stl"
    assert scene.file == str(path)


def test_a_byte_order_mark_and_windows_line_ends_are_fine(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_bytes(b"\xef\xbb\xbf" + LEAST.replace("\n", "\r\n").encode())
    scene = load_scene(path)
    assert scene.fault(("dish", "reflectance"), allowed="x").where == f"{path}:5"


def test_later_stages_can_point_at_a_key(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(FULL, encoding="utf-8")
    scene = load_scene(path)
    fault = scene.fault(("part", 0, "radius_m"), allowed="must be < 0.05 (metres)", remedy="make it smaller")
    assert str(fault) == f'{path}:23: part "pot" radius_m = 0.1 must be < 0.05 (metres); make it smaller'
    missing = scene.fault(("part", 2, "axis"), allowed="points away", found=(0.0, 0.0, 1.0))
    assert str(missing) == f'{path}:34: part "window" axis = [0, 0, 1] points away'
    assert str(scene.fault(("screen", 0), allowed="is odd")) == f'{path}:40: screen "focal plane" is odd'


def test_a_scene_can_be_made_in_python():
    scene = Scene.model_validate(
        {
            "sun": {"dni_w_m2": 900, "shape": {"profile": "gaussian", "sigma_mrad": 2.325}},
            "dish": {
                "focal_length_m": 1,
                "reflectance": Uncertain(low=0.8, high=0.9),
                "outline": {"shape": "rectangle", "size_m": (1, 2)},
            },
        }
    )
    assert scene.dish.outline.size_m == (1.0, 2.0)
    assert scene.fault(("dish", "focal_length_m"), allowed="x").where == "scene"
    assert Scene.model_validate(scene) is scene
    again = Scene.model_validate(scene.model_dump(by_alias=True, exclude_unset=True))
    assert again == scene


def test_a_wrong_scene_made_in_python_tells_its_faults_as_a_file_does():
    with pytest.raises(InputError) as caught:
        Scene.model_validate({"sun": {"dni_w_m2": 900}, "dish": {"focal_length_m": -1, "reflectance": 0.9}})
    assert str(caught.value).splitlines() == [
        "scene: dish.focal_length_m = -1 must be a number >= 0.01 and <= 100 (metres)",
        "scene: dish.outline is missing; add it: outline of the mirror seen along the axis",
    ]


def test_notes_tell_what_is_odd_but_not_wrong():
    assert scene_from_text(FULL).notes == ()
    (note,) = scene_from_text(LEAST).notes
    assert note == ('The scene has no part with role = "receiver": the focal spot is told, but nothing receives it.')
    (note,) = scene_from_text(FULL.replace("longitude_deg = -70.5", "longitude_deg = 70.5")).notes
    assert note.startswith("The zone of sun.time is 8.7 h behind what the longitude suggests")


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "{path}: is empty; a scene needs at least [sun] and [dish]; see the README"),
        (b"\n# only a note\n", "{path}: is empty; a scene needs at least [sun] and [dish]; see the README"),
        (
            b"title = 'a'\n\ntitle = '\xe9'\n",
            "{path}:3: holds characters that are not UTF-8; save it as UTF-8 in the editor",
        ),
        (
            b"title = 'a'\n[dish\n",
            "{path}:2: is not valid TOML: expected ']' at the end of a table declaration",
        ),
        (
            b"[dish]\nradius_m = 1,2\n",
            "{path}:2: is not valid TOML: expected newline or end of document after a statement; "
            "write decimals with a point, not a comma",
        ),
        (b"[dish]\nshape = circle\n", "{path}:2: is not valid TOML: invalid value; put words in quotes"),
        (
            b"[part]\na = 1\n[part]\na = 2\n",
            "{path}:3: is not valid TOML: cannot declare part twice; "
            "a key or table may stand only once; several parts are written [[part]]",
        ),
    ],
)
def test_text_that_is_no_scene(tmp_path, content, message):
    path = tmp_path / "scene.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        load_scene(path)
    assert str(caught.value) == message.format(path=path)
    assert caught.value.exit_code == 2


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match=r"no\.toml: does not exist; check the name and the folder$"):
        load_scene(tmp_path / "no.toml")
    with pytest.raises(InputError, match=r": is a folder, not a scene file; name the \.toml file inside it$"):
        load_scene(tmp_path)
    with pytest.raises(InputError, match="does not exist|cannot be read"):
        load_scene(tmp_path / ("x" * 5000))
    with pytest.raises(InputError, match="cannot be read: embedded null"):
        load_scene("a\0b")
    deep = tmp_path / "deep.toml"
    deep.write_text("a = " + "[" * 100_000, encoding="utf-8")
    with pytest.raises(InputError, match=r"deep\.toml: nests lists or tables too deeply"):
        load_scene(deep)
    digits = tmp_path / "digits.toml"
    digits.write_text("a = " + "9" * 5000, encoding="utf-8")
    with pytest.raises(InputError, match=r"digits\.toml: holds a value that cannot be read"):
        load_scene(digits)
