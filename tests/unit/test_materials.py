"""The surface table, the surface of each side, and reflectance over incidence."""

from __future__ import annotations

import pytest

from dishtrace.errors import InputError
from dishtrace.scene.materials import Surface, known_surfaces, read_reflectance, reflectance_table, surface_of
from dishtrace.scene.read import scene_from_text

SCENE = """
[sun]
dni_w_m2 = 900
[dish]
focal_length_m = 0.9
reflectance = 0.9
outline = { shape = "circle", radius_m = 1 }
"""
PART = '[[part]]\nname = "p"\nrole = "receiver"\nshape = "disc"\nradius_m = 0.1\n'


@pytest.mark.parametrize(
    ("name", "absorptance", "emittance"),
    [
        # Mechanical Engineers' Handbook vol. 4, Table 19 (after Holman 1981)
        ("black-paint", 0.96, 0.95),
        ("copper-polished", 0.18, 0.03),
        ("copper-tarnished", 0.65, 0.75),
        ("aluminium-polished", 0.15, 0.04),
        # middle of the ranges 0.7-0.85 (common practice) to two digits, and a thermometer maker's table
        ("steel-oxidised", 0.78, 0.79),
        # middle of 0.12-0.16 and 0.89-0.97 (the same handbook; J. Thome, lecture tables, EPFL 2008)
        ("white-paint", 0.14, 0.93),
    ],
)
def test_values_of_the_table(name, absorptance, emittance):
    surface = known_surfaces()[name]
    assert (surface.absorptance, surface.emittance) == (absorptance, emittance)


def test_laminated_steel_mirror_has_the_measured_total_and_specular_reflectance():
    """Brogren et al., Solar Energy Mat. Solar Cells (2004) 387-412: total 0.82, specular 0.77."""
    surface = known_surfaces()["mirror-aluminium-laminated-steel"]
    assert 1.0 - surface.absorptance == pytest.approx(0.82, abs=1e-12)
    assert (1.0 - surface.absorptance) * surface.specular_share == pytest.approx(0.77, abs=0.005)


def test_every_row_is_complete_and_in_range():
    assert len(known_surfaces()) >= 20
    for name, surface in known_surfaces().items():
        assert name == name.lower() and " " not in name
        for share in (surface.absorptance, surface.emittance, surface.specular_share):
            assert 0.0 <= share <= 1.0
        assert surface.source and surface.status
        if surface.status != "definition":
            words = ("from source", "from memory", "common practice")
            assert any(word in surface.status for word in words), name
        if name.startswith("mirror-"):
            assert surface.specular_share >= 0.9 and surface.absorptance <= 0.2


def test_surface_by_name_on_both_sides():
    scene = scene_from_text(SCENE + PART + 'surface = "black-paint"')
    assert surface_of(scene, 0, "front") == surface_of(scene, scene.parts[0], "back") == known_surfaces()["black-paint"]


def test_the_back_can_have_its_own_surface():
    numbers = "{ absorptance = { low = 0.2, high = 0.4 }, emittance = 0.1, specular_share = 0.7 }"
    scene = scene_from_text(SCENE + PART + f'surface = "black-paint"\nsurface_back = {numbers}')
    assert surface_of(scene, 0, "front").absorptance == 0.96
    back = surface_of(scene, 0, "back")
    assert back.absorptance == pytest.approx(0.3, abs=1e-15)
    assert (back.emittance, back.specular_share, back.status) == (0.1, 0.7, "as given")


def test_a_solid_has_one_surface():
    text = PART.replace("disc", "sphere") + "surface = { absorptance = 0.5 }"
    scene = scene_from_text(SCENE + text)
    assert surface_of(scene, 0, "back") == surface_of(scene, 0, "front") == Surface(0.5, None, 0.0)


def test_a_cover_has_no_coating():
    sheet = "{ refractive_index = 1.5, extinction_per_m = 4, thickness_m = 0.01 }"
    text = PART.replace("receiver", "cover") + f"cover = {sheet}"
    surface = surface_of(scene_from_text(SCENE + text), 0, "front")
    assert (surface.absorptance, surface.specular_share) == (0.0, 1.0)


def test_a_plain_reflectance_is_the_same_at_every_angle():
    incidence, reflectance = reflectance_table(scene_from_text(SCENE))
    assert incidence.tolist() == [0.0, 90.0]
    assert reflectance.tolist() == [0.9, 0.9]


def test_reflectance_from_a_file(tmp_path):
    text = "# invented\nincidence_deg, reflectance\n0, 0.9\n\n# by eye\n60,0.85\n90,0.5\n"
    (tmp_path / "mirror.csv").write_text(text, encoding="utf-8")
    scene = scene_from_text(SCENE.replace("0.9\nout", '"mirror.csv"\nout'), folder=tmp_path)
    incidence, reflectance = reflectance_table(scene)
    assert incidence.tolist() == [0.0, 60.0, 90.0]
    assert reflectance.tolist() == [0.9, 0.85, 0.5]


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ("", ["m.csv: must start with the line incidence_deg,reflectance"]),
        ("angle,r\n0,1\n", ["m.csv:1: must start with the line incidence_deg,reflectance"]),
        ("incidence_deg,reflectance\n", ["m.csv: has no rows; give at least one: 0,0.9"]),
        (
            "incidence_deg,reflectance\n0\n10,x\n20,nan\n95,0.9\n50,0\n",
            [
                "m.csv:2: 0 must be two numbers, incidence_deg,reflectance",
                "m.csv:3: 10,x must be two numbers, incidence_deg,reflectance",
                "m.csv:4: 20,nan must be two numbers, incidence_deg,reflectance",
                "m.csv:5: incidence_deg = 95 must be a number >= 0 and <= 90 (degrees)",
                "m.csv:6: reflectance = 0 must be a number > 0 and <= 1 (share)",
                "m.csv:6: incidence_deg = 50 must be above the row before, 95",
            ],
        ),
    ],
)
def test_faults_of_a_reflectance_file(tmp_path, text, messages):
    path = tmp_path / "m.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_reflectance(path, "m.csv")
    assert str(caught.value).splitlines() == messages


def test_a_reflectance_file_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match=r"^m\.csv: cannot be read: No such file"):
        read_reflectance(tmp_path / "none", "m.csv")
    (tmp_path / "m.csv").write_bytes(b"\xff\xfe")
    with pytest.raises(InputError, match=r"^m\.csv: holds characters that are not UTF-8; save it as UTF-8"):
        read_reflectance(tmp_path / "m.csv", "m.csv")
