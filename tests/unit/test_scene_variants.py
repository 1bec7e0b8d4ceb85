"""Variants of a scene: what they override, what gives way, and what is told of their faults."""

from __future__ import annotations

from datetime import datetime

import pytest

from dishtrace.errors import InputError
from dishtrace.scene.model import Scene
from dishtrace.scene.read import load_scene, scene_from_text
from dishtrace.scene.uncertain import Uncertain

BASE = """title = "Invented dish"
[sun]
azimuth_deg = 180.0
elevation_deg = 50.0
dni_w_m2 = { value = 900, sd = 40 }
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 1.0
hole_radius_m = 0.1
[[part]]
name = "pot"
role = "receiver"
shape = "cylinder"
radius_m = 0.1
height_m = 0.2
surface = "soot"
[[part]]
name = "arm 1.5"
role = "stand"
shape = "box"
size_m = [0.02, 0.6, 0.02]
surface = "steel-oxidised"
[[screen]]
name = "plane"
offset_m = 0.0
half_width_m = 0.1
"""
N_LINES = BASE.count("\n")


def variants(text: str) -> dict[str, Scene]:
    return scene_from_text(BASE + text).variant_scenes


def only(text: str) -> Scene:
    """The scene of a single variant given by its keys."""
    (scene,) = variants(f'[[variant]]\nname = "one"\n{text}').values()
    return scene


def faults(text: str, base: str = BASE) -> list[str]:
    with pytest.raises(InputError) as caught:
        scene_from_text(base + text)
    return [str(fault) for fault in caught.value.faults]


def test_a_scene_without_variants_has_none():
    scene = scene_from_text(BASE)
    assert scene.variants == () and scene.variant_scenes == {}


def test_variants_keep_their_order_and_leave_the_scene_as_it_is():
    scene = scene_from_text(
        BASE + '[[variant]]\nname = "rough"\ndish.slope_error_mrad = 4\n'
        '[[variant]]\nname = "dull"\ndish.reflectance = 0.8'
    )
    assert list(scene.variant_scenes) == ["rough", "dull"]
    assert [variant.name for variant in scene.variants] == ["rough", "dull"]
    assert (scene.dish.slope_error_mrad, scene.dish.reflectance) == (0.0, 0.9)
    rough, dull = scene.variant_scenes.values()
    assert (rough.dish.slope_error_mrad, rough.dish.reflectance) == (4.0, 0.9)
    assert (dull.dish.slope_error_mrad, dull.dish.reflectance) == (0.0, 0.8)
    assert rough.title == "Invented dish" and rough.variants == ()


@pytest.mark.parametrize(
    "text",
    [
        '"dish.outline.radius_m" = 0.7',
        "dish.outline.radius_m = 0.7",
        "[variant.dish.outline]\nradius_m = 0.7",
        "dish = { outline = { radius_m = 0.7 } }",
        '"dish.outline" = { radius_m = 0.7 }',
    ],
)
def test_every_way_to_write_a_dotted_key_means_the_same(text):
    scene = only(text)
    assert scene.dish.outline.radius_m == 0.7
    assert scene.dish.outline.hole_radius_m == 0.1
    assert scene == only("dish.outline.radius_m = 0.7")


@pytest.mark.parametrize(
    "text",
    [
        '"part.pot.radius_m" = 0.05',
        "part.pot.radius_m = 0.05",
        "[variant.part.pot]\nradius_m = 0.05",
        '[variant.part]\n"pot.radius_m" = 0.05',
    ],
)
def test_parts_go_by_their_name(text):
    pot, arm = only(text).parts
    assert (pot.radius_m, pot.height_m, arm.name) == (0.05, 0.2, "arm 1.5")


@pytest.mark.parametrize("text", ['"part.arm 1.5.size_m" = [1, 2, 3]', 'part."arm 1.5".size_m = [1, 2, 3]'])
def test_names_may_hold_dots_and_spaces_and_lists_are_replaced(text):
    assert only(text).parts[1].size_m == (1.0, 2.0, 3.0)


def test_the_longest_name_that_fits_is_meant():
    base = BASE.replace('name = "pot"', 'name = "arm 1"')
    (scene,) = scene_from_text(
        base + '[[variant]]\nname = "one"\n"part.arm 1.5.size_m" = [1, 1, 1]'
    ).variant_scenes.values()
    assert scene.parts[1].size_m == (1.0, 1.0, 1.0)


def test_screens_go_by_their_name_too():
    assert only("screen.plane.half_width_m = 0.3").screens[0].half_width_m == 0.3


def test_an_uncertain_number_is_replaced_as_a_whole():
    assert only("sun.dni_w_m2 = 800").sun.dni_w_m2 == 800.0
    assert only("sun.dni_w_m2 = { low = 700, high = 800 }").sun.dni_w_m2 == Uncertain(low=700.0, high=800.0)


def test_a_list_of_parts_replaces_all_parts():
    scene = only(
        '[[variant.part]]\nname = "ball"\nrole = "receiver"\nshape = "sphere"\nradius_m = 0.1\nsurface = "soot"'
    )
    assert [part.name for part in scene.parts] == ["ball"]


def test_another_shape_drops_the_keys_that_it_does_not_know_and_keeps_the_rest():
    pot = only('part.pot.shape = "sphere"').parts[0]
    assert (pot.shape, pot.radius_m, pot.surface) == ("sphere", 0.1, "soot")
    outline = only('dish.outline.shape = "rectangle"\ndish.outline.size_m = [1, 2]').dish.outline
    assert (outline.shape, outline.size_m) == ("rectangle", (1.0, 2.0))


def test_the_same_shape_again_drops_nothing():
    assert only('dish.outline.shape = "circle"').dish.outline.hole_radius_m == 0.1


def test_a_key_that_the_new_shape_does_not_know_is_still_a_fault_when_the_variant_gives_it():
    (told,) = faults('[[variant]]\nname = "one"\npart.pot.shape = "sphere"\npart.pot.height_m = 0.1')
    assert told.startswith(f'scene:{N_LINES + 4}: variant "one" part "pot" height_m = 0.1 is not a known key')


def test_one_way_to_say_a_thing_drops_the_other():
    sun = only("sun.time = 2026-03-21T12:00:00Z\nsite.latitude_deg = 10\nsite.longitude_deg = 20").sun
    assert isinstance(sun.time, datetime) and sun.azimuth_deg is None and sun.elevation_deg is None
    screen = only("screen.plane.center_m = [0, 0, 0.1]").screens[0]
    assert (screen.offset_m, screen.center_m) == (None, (0.0, 0.0, 0.1))


def test_half_of_a_pair_leaves_the_other_half():
    sun = only("sun.azimuth_deg = 170").sun
    assert (sun.azimuth_deg, sun.elevation_deg) == (170.0, 50.0)


def test_both_ways_in_one_variant_are_refused_on_its_line():
    told = faults('[[variant]]\nname = "one"\nscreen.plane.center_m = [0, 0, 0.1]\nscreen.plane.offset_m = 0.1')
    assert told == [
        f'scene:{N_LINES + 3}: variant "one" screen "plane" center_m = [0, 0, 0.1] cannot stand beside offset_m; '
        "keep the one that is meant"
    ]


def test_without_removes_keys_parts_and_tables():
    scene = only('without = ["part.arm 1.5", "dish.outline.hole_radius_m", "screen"]')
    assert [part.name for part in scene.parts] == ["pot"]
    assert scene.dish.outline.hole_radius_m == 0.0 and scene.screens == ()


def test_a_table_that_the_scene_does_not_write_can_be_added():
    assert only("air.wind_m_s = 3").air.wind_m_s == 3.0
    assert only("run.seed = 5").run.seed == 5


def test_all_faults_of_all_variants_are_told_at_once_on_their_lines():
    told = faults("""[[variant]]
name = "small"
"part.pott.radius_m" = 0.05
dish.slope_eror_mrad = 4
[[variant]]
name = "small"
[[variant]]
name = "square"
without = ["part.arm 1.6", "dish.reflectanse"]
dish.reflectance = -1
[variant.dish.outline]
shape = "rectangle"
[[variant]]
name = "ball"
part.pot.shape = "sfere"
dsh.x = 1
dish.outline.radius_m = 0.05
variant.x = 2
[[variant]]
dish.reflectance = 0.5
""")
    at = [f"scene:{N_LINES + line}: " for line in range(30)]
    assert told == [
        at[3] + 'variant "small" part.pott.radius_m = 0.05 names no part of the scene; did you mean "pot"?',
        at[4] + 'variant "small" dish.slope_eror_mrad = 4 is not a known key; did you mean slope_error_mrad?',
        at[6] + f'variant "small" name = "small" is used already (scene:{N_LINES + 2}); give each its own name',
        at[9] + 'variant "square" without.1 = "part.arm 1.6" names no part of the scene; did you mean "arm 1.5"?',
        at[9] + 'variant "square" without.2 = "dish.reflectanse" is not written in the scene; did you mean '
        "dish.reflectance?",
        at[10] + 'variant "square" dish.reflectance = -1 must be a number > 0 and <= 1 (share)',
        at[12] + 'variant "square" dish.outline.size_m is missing; add it: width along x and along y [m]',
        at[15] + 'variant "ball" part "pot" shape = "sfere" must be "disc", "rectangle", "box", "cylinder", "tube", '
        '"sphere", "cone", "cavity" or "mesh"; did you mean "sphere"?',
        at[16] + 'variant "ball" dsh is not a known key; did you mean dish?',
        at[17] + 'variant "ball" dish.outline.hole_radius_m = 0.1 must be < radius_m = 0.05; the hole eats the dish',
        at[18] + 'variant "ball" variant.x = 2 cannot stand inside a variant',
        at[19] + "variant 5 name is missing",
    ]


def test_a_fault_of_the_scene_is_told_once_and_not_for_every_variant():
    base = BASE.replace("focal_length_m = 0.9", "focal_length_m = -0.9")
    (told,) = faults('[[variant]]\nname = "one"\n[[variant]]\nname = "two"\ndish.reflectance = 0.5', base)
    assert place_of(told) == "scene:7" and "variant" not in told


def place_of(text: str) -> str:
    """File and line of a fault."""
    return ":".join(text.split(":")[:2])


def test_a_key_set_twice_is_refused():
    (told,) = faults('[[variant]]\nname = "one"\n"dish.reflectance" = 0.8\ndish.reflectance = 0.7')
    assert told.endswith('variant "one" dish.reflectance = 0.7 is set twice; keep one of them')


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('[variant]\nname = "one"', "must be a list of tables; write [[variant]] with double brackets, once for each"),
        ('[[variant]]\nname = "../x"', "must be 1 to 40 letters"),
        ('[[variant]]\nname = "one"\nwithout = "part"', "must be a list of keys, for instance without = ["),
        ('[[variant]]\nname = "one"\npart.cup.x = 1', 'names no part of the scene; its parts are "pot" or "arm 1.5"'),
    ],
)
def test_badly_written_variants(text, wanted):
    assert any(wanted in told for told in faults(text))


def test_a_variant_of_a_scene_without_parts_cannot_name_one():
    base = BASE[: BASE.index("[[part]]")]
    (told,) = faults('[[variant]]\nname = "one"\npart.pot.radius_m = 1', base)
    assert told.endswith('variant "one" part.pot.radius_m = 1 names no part of the scene')


def test_faults_that_show_later_name_the_variant_and_its_line():
    scene = only("part.pot.radius_m = 0.5")
    told = str(scene.fault(("part", 0, "radius_m"), allowed="is too large"))
    assert told == f'scene:{N_LINES + 3}: variant "one" part "pot" radius_m = 0.5 is too large'
    told = str(scene.fault(("part", 1, "size_m"), allowed="is too large"))
    assert told.startswith(f'scene:{N_LINES + 1}: variant "one" part "arm 1.5" size_m')


def test_files_are_found_from_the_scene_s_folder(tmp_path):
    (tmp_path / "mirror.csv").write_text("incidence_deg,reflectance\n0,0.9\n90,0.8\n", encoding="utf-8")
    path = tmp_path / "yard.toml"
    path.write_text(BASE + '[[variant]]\nname = "one"\ndish.reflectance = "mirror.csv"', encoding="utf-8")
    scene = load_scene(path).variant_scenes["one"]
    assert scene.path(scene.dish.reflectance) == tmp_path / "mirror.csv"


def test_a_scene_made_in_python_can_have_variants():
    data = {
        "sun": {"dni_w_m2": 900},
        "dish": {"focal_length_m": 1, "reflectance": 0.9, "outline": {"shape": "circle", "radius_m": 1}},
        "part": ({"name": "p", "role": "receiver", "shape": "disc", "radius_m": 0.1, "surface": "soot"},),
        "variant": ({"name": "one", "part.p.radius_m": 0.2},),
    }
    assert Scene.model_validate(data).variant_scenes["one"].parts[0].radius_m == 0.2
    assert data["part"][0]["radius_m"] == 0.1


def facet_variant(base: str, variant: str) -> Scene:
    """The scene of a variant that changes the facets of a scene."""
    text = f'{BASE}[dish.facets]\n{base}\n[[variant]]\nname = "one"\n[variant.dish.facets]\n{variant}\n'
    return scene_from_text(text).variant_scenes["one"]


@pytest.mark.parametrize(("layout", "curve", "radius"), [("hex-grid", "spherical", 1.8), ("petals", "bent", None)])
def test_another_layout_keeps_the_curve_of_tiles_but_not_of_sheets(layout, curve, radius):
    """Petals are bent unless told otherwise, so the tiles' curve and its radius go; numbers of tiles always go, while
    how well they are set stays."""
    base = (
        'layout = "square-grid"\nsize_m = 0.1\ncurve = "spherical"\nradius_m = 1.8\nmissing = [4]\n'
        "canting_error_mrad = 2"
    )
    keys = {"hex-grid": "gap_m = 0.002", "petals": "count = 24"}[layout]
    facets = facet_variant(base, f'layout = "{layout}"\n{keys}').dish.facets
    assert (facets.curve, facets.radius_m, facets.missing, facets.canting_error_mrad) == (curve, radius, (), 2.0)


def test_another_layout_drops_a_shape_that_it_has_not_and_keeps_what_the_variant_says():
    base = 'layout = "square-grid"\nsize_m = 0.1\nshape = "square"\nmissing = [4]'
    facets = facet_variant(base, 'layout = "hex-grid"\nmissing = [2]\ncurve = "parent"').dish.facets
    assert (facets.shape, facets.missing, facets.curve, facets.size_m) == ("hexagon", (2,), "parent", 0.1)
    assert facet_variant(base.replace('"square"', '"circle"'), 'layout = "hex-grid"').dish.facets.shape == "circle"


def test_the_same_layout_keeps_everything():
    base = 'layout = "square-grid"\nsize_m = 0.1\ncurve = "spherical"\nmissing = [4]'
    facets = facet_variant(base, 'layout = "square-grid"\nsize_m = 0.12').dish.facets
    assert (facets.curve, facets.missing, facets.size_m) == ("spherical", (4,), 0.12)
