"""Every fault of a scene: place, key, value, what is allowed and what to do; all of them in one go."""

from __future__ import annotations

import pytest

from dishtrace.errors import InputError
from dishtrace.scene.read import load_scene, scene_from_text

SCENE = """\
title = "test yard"
[site]
latitude_deg = 40
longitude_deg = -70
[sun]
time = 2026-03-21T12:30:00-04:00
dni_w_m2 = 900
shape = { profile = "pillbox" }
[mount]
kind = "two-axis"
[dish]
focal_length_m = 0.9
reflectance = 0.9
slope_error_mrad = 2
[dish.outline]
shape = "circle"
radius_m = 1.2
[[part]]
name = "pot"
role = "receiver"
shape = "disc"
radius_m = 0.1
surface = "black-paint"
[[part]]
name = "leg"
role = "stand"
shape = "box"
size_m = [0.1, 0.1, 0.8]
surface = { absorptance = 0.7 }
[[screen]]
name = "focal plane"
offset_m = 0
half_width_m = 0.1
[air]
temperature_c = 25
[run]
rays = 1000
"""
RANGE_M = "must be a number >= 0.0001 and <= 100 (metres)"
DIRECTION = "add sun.time and [site], or sun.azimuth_deg and sun.elevation_deg"


def faults_of(text: str, **more) -> list[str]:
    with pytest.raises(InputError) as caught:
        scene_from_text(text, **more)
    return str(caught.value).splitlines()


def changed(*pairs: tuple[str, str]) -> str:
    text = SCENE
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def test_the_scene_itself_is_sound():
    assert scene_from_text(SCENE).title == "test yard"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("radius_m = 0.1\n", "radius_m = -0.1\n", f'22: part "pot" radius_m = -0.1 {RANGE_M}'),
        ("radius_m = 0.1\n", "radius_m = 0\n", f'22: part "pot" radius_m = 0 {RANGE_M}'),
        ("radius_m = 0.1\n", "radius_m = nan\n", f'22: part "pot" radius_m = nan {RANGE_M}'),
        ("radius_m = 0.1\n", "radius_m = -inf\n", f'22: part "pot" radius_m = -inf {RANGE_M}'),
        ("radius_m = 0.1\n", "radius_m = true\n", f'22: part "pot" radius_m = true {RANGE_M}'),
        (
            "radius_m = 0.1\n",
            'radius_m = "0.1"\n',
            f'22: part "pot" radius_m = "0.1" {RANGE_M}; write 0.1 without quotes',
        ),
        (
            "radius_m = 0.1\n",
            "radius = 0.1\n",
            '22: part "pot" radius = 0.1 is not a known key; did you mean radius_m?',
        ),
        ("radius_m = 0.1\n", "", '18: part "pot" radius_m is missing; add it: radius [m]'),
        (
            "radius_m = 0.1\n",
            "radius_m = 0.1\nheight_m = 1\n",
            '23: part "pot" height_m = 1 is not a known key; '
            'it belongs to shape = "cylinder", "tube" or "cone"',
        ),
        (
            'surface = { absorptance = 0.7 }',
            'surface = { absorptance = 0.7 }\nsurface_back = "soot"',
            '30: part "leg" surface_back = "soot" is not a known key; '
            'it belongs to shape = "disc", "rectangle", "tube", "cavity" or "mesh"',
        ),
        (
            "focal_length_m = 0.9",
            "focal_length_m = 900",
            "12: dish.focal_length_m = 900 must be a number >= 0.01 and <= 100 (metres); "
            "if this is in millimetres, write 0.9",
        ),
        (
            "reflectance = 0.9",
            "reflectance = 90",
            "13: dish.reflectance = 90 must be a number > 0 and <= 1 (share); if this is in percent, write 0.9",
        ),
        (
            "reflectance = 0.9",
            "reflectance = 0",
            "13: dish.reflectance = 0 must be a number > 0 and <= 1 (share)",
        ),
        (
            "reflectance = 0.9",
            'reflectance = "good"',
            '13: dish.reflectance = "good" must be a number > 0 and <= 1 (share), '
            "or the name of a csv file, or { value, sd } or { low, high }",
        ),
        (
            "reflectance = 0.9",
            "reflectance = { low = 0.9, high = 0.8 }",
            "13: dish.reflectance = { low = 0.9, high = 0.8 } must have low <= high; swap the two",
        ),
        (
            "reflectance = 0.9",
            "reflectance = { value = 0.9 }",
            "13: dish.reflectance = { value = 0.9 } must be a plain number, "
            "{ value = ..., sd = ... } or { low = ..., high = ... }",
        ),
        (
            "reflectance = 0.9",
            "reflectance = { value = 0.9, sd = -1 }",
            "13: dish.reflectance = { value = 0.9, sd = -1 } has an sd outside 0 to 1 (share)",
        ),
        (
            "slope_error_mrad = 2",
            "slope_error_mrad = 200",
            "14: dish.slope_error_mrad = 200 must be a number >= 0 and <= 100 (mrad); 1 degree is 17.45 mrad",
        ),
        (
            "radius_m = 1.2",
            "radius_m = 1.2\nhole_radius_m = 1.2",
            "18: dish.outline.hole_radius_m = 1.2 must be < radius_m = 1.2; the hole eats the dish",
        ),
        (
            "radius_m = 1.2",
            "radius_m = 1.2\ncenter_m = [0, 0, 0]",
            "18: dish.outline.center_m = [0, 0, 0] must be [x, y] (metres)",
        ),
        (
            "radius_m = 1.2",
            "radius_m = 1.2\ncenter_m = [0, nan]",
            "18: dish.outline.center_m = [0, nan] must be [x, y] (metres); each of them a plain number",
        ),
        (
            "radius_m = 1.2",
            "radius_m = 1.2\ncenter_m = [0, 1000]",
            "18: dish.outline.center_m = [0, 1000] has a y that must be a number >= -100 and <= 100 (metres); "
            "if this is in millimetres, write 1",
        ),
        (
            "dni_w_m2 = 900",
            "dni_w_m2 = 0",
            "7: sun.dni_w_m2 = 0 must be a number > 0 and <= 1500 (W/m2)",
        ),
        (
            "dni_w_m2 = 900",
            "",
            "5: sun needs the direct normal irradiance; "
            'give one of dni_w_m2 = 900, dni = "clear-sky", weather_file = "....epw"',
        ),
        (
            "dni_w_m2 = 900",
            'dni_w_m2 = 900\ndni = "clear-sky"',
            '8: sun.dni = "clear-sky" cannot stand beside sun.dni_w_m2; keep the one that is meant',
        ),
        (
            "dni_w_m2 = 900",
            'dni = "clearsky"',
            '7: sun.dni = "clearsky" must be "clear-sky"; did you mean "clear-sky"?',
        ),
        (
            "dni_w_m2 = 900",
            "dni_w_m2 = 900\nlinke_turbidity = 3",
            '8: sun.linke_turbidity = 3 is only used with dni = "clear-sky"; remove it, or add that',
        ),
        (
            "dni_w_m2 = 900",
            'weather_file = "none.epw"',
            '7: sun.weather_file = "none.epw" does not exist; file names are relative to the scene file',
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            "time = 2026-03-21T12:30:00",
            "6: sun.time = 2026-03-21T12:30:00 has no time zone; "
            "add the offset of your clock from UTC, for instance -04:00 or +05:30, or Z for UTC",
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            "time = 1600-03-21T12:30:00Z",
            "6: sun.time = 1600-03-21T12:30:00+00:00 must lie in the years 1800 to 2200; "
            "outside them the sun's position is not trustworthy",
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            "time = 2026-03-21",
            "6: sun.time = 2026-03-21 must be a date and time with its zone; "
            "for instance time = 2026-03-21T12:30:00-04:00",
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            'time = "noon"',
            '6: sun.time = "noon" must be a date and time with its zone; '
            "write it without quotes, for instance time = 2026-03-21T12:30:00-04:00",
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            "azimuth_deg = 180",
            "6: sun.azimuth_deg = 180 needs sun.elevation_deg too; give both or neither",
        ),
        (
            "time = 2026-03-21T12:30:00-04:00",
            "azimuth_deg = 180\nelevation_deg = -5",
            "7: sun.elevation_deg = -5 must be a number > 0 and <= 90 (degrees above the horizon)",
        ),
        (
            'shape = { profile = "pillbox" }',
            'shape = { profile = "pilbox" }',
            '8: sun.shape.profile = "pilbox" must be "pillbox", "gaussian", "limb-darkened", "circumsolar" '
            'or "table"; did you mean "pillbox"?',
        ),
        (
            'shape = { profile = "pillbox" }',
            'shape = { profile = "circumsolar" }',
            "8: sun.shape.csr is missing; give csr = 0.05, or the paper's chi",
        ),
        (
            'shape = { profile = "pillbox" }',
            'shape = { profile = "circumsolar", csr = 0.1, chi = 0.1 }',
            "8: sun.shape.chi = 0.1 cannot stand beside csr; keep the one that is meant",
        ),
        (
            'shape = { profile = "pillbox" }',
            'shape = { profile = "gaussian" }',
            "8: sun.shape.sigma_mrad is missing; "
            "add it: standard deviation per axis; 2.325 has the width of the pillbox [mrad]",
        ),
        (
            'shape = { profile = "pillbox" }',
            'shape = "pillbox"',
            '8: sun.shape = "pillbox" must be a table; write [sun.shape] and its keys below it',
        ),
        (
            'kind = "two-axis"',
            'kind = "fixed"\naxis_azimuth_deg = 180\naxis_elevation_deg = 50\npivot_m = [0, 0, 0]',
            '13: mount.pivot_m = [0, 0, 0] is not a known key; '
            'it belongs to kind = "two-axis" or "polar-axis"',
        ),
        (
            'kind = "two-axis"',
            "pointing_jitter_mrad = 1",
            '9: mount.kind is missing; it must be "two-axis", "fixed", "polar-axis" or "stationary-focus"',
        ),
        ("[mount]", "[mounts]", "9: mounts is not a known key; did you mean mount?"),
        ("[air]\ntemperature_c = 25", "[air]\ntemprature_c = 25", "35: air.temprature_c = 25 is not a known key; "
         "did you mean temperature_c?"),
        (
            "[air]\ntemperature_c = 25",
            "[air]\npressure_pa = 1013",
            "35: air.pressure_pa = 1013 must be a number >= 20000 and <= 110000 (pascal); 1 hPa = 1 mbar = 100 Pa",
        ),
        ("rays = 1000", "rays = 0", "37: run.rays = 0 must be a whole number >= 1 and <= 1e+12 (rays)"),
        ("rays = 1000", "rays = 2.5", "37: run.rays = 2.5 must be a whole number >= 1 and <= 1e+12 (rays)"),
        (
            'surface = "black-paint"',
            'surface = "Black-Paint "',
            '23: part "pot" surface = "Black-Paint " is not in the surface table; did you mean "black-paint"?',
        ),
        (
            'surface = "black-paint"',
            "surface = 5",
            '23: part "pot" surface = 5 must be the name of a surface or { absorptance, emittance, specular_share }',
        ),
        (
            'surface = "black-paint"',
            "",
            '18: part "pot" surface is missing; name one of the surface table, such as "black-paint", '
            '"stainless-polished", "steel-oxidised", "mirror-aluminium-sheet", '
            "or give { absorptance, specular_share }",
        ),
        (
            'surface = "black-paint"',
            'surface = "black-paint"\ncover = { refractive_index = 1.5, extinction_per_m = 4, thickness_m = 0.01 }',
            '24: part "pot" cover = { refractive_index = 1.5, extinction_per_m = 4, thickness... '
            'is only for role = "cover"; make it a part of its own',
        ),
        ("{ absorptance = 0.7 }", "{ absorptance = 1.7 }", '29: part "leg" surface.absorptance = 1.7 '
         "must be a number >= 0 and <= 1 (share); if this is in percent, write 0.017"),
        ("{ absorptance = 0.7 }", "{ emittance = 0.7 }", '29: part "leg" surface.absorptance is missing; '
         "add it: share of sunlight absorbed"),
        (
            'role = "receiver"',
            'role = "target"',
            '20: part "pot" role = "target" must be "receiver", "stand", "mirror" or "cover"',
        ),
        (
            'role = "receiver"',
            'role = "mirror"',
            '23: part "pot" surface = "black-paint" has a specular share of 0, but role = "mirror" needs >= 0.5; '
            "take one of mirror-glass-low-iron, mirror-glass-household, mirror-aluminium-sheet, "
            "mirror-aluminium-laminated-steel, mirror-aluminium-film, or another role",
        ),
        (
            'role = "stand"\nshape = "box"\nsize_m = [0.1, 0.1, 0.8]',
            'role = "stand"\nshape = "mesh"\nfile = "leg.step"\nunit = "mm"',
            '28: part "leg" file = "leg.step" does not exist; file names are relative to the scene file\n'
            'scene:28: part "leg" file = "leg.step" must end in .stl, .obj, .ply, .glb',
        ),
        (
            'role = "stand"\nshape = "box"\nsize_m = [0.1, 0.1, 0.8]',
            'role = "stand"\nshape = "mesh"\nfile = "."\nunit = "inch"',
            '28: part "leg" file = "." must name a file, but this is a folder\n'
            'scene:28: part "leg" file = "." must end in .stl, .obj, .ply, .glb\n'
            'scene:29: part "leg" unit = "inch" must be "m", "cm", "mm", "in" or "ft"; did you mean "in"?',
        ),
        (
            'shape = "box"\nsize_m = [0.1, 0.1, 0.8]',
            'shape = "cavity"\nradius_m = 0.1\ndepth_m = 0.2\nopening_radius_m = 0.1',
            '30: part "leg" opening_radius_m = 0.1 must be < radius_m = 0.1; '
            "a cavity without a lid is a tube and a disc",
        ),
        ('name = "leg"', 'name = "POT"', '25: part "POT" name = "POT" is used already (scene:19); '
         "give each its own name"),
        (
            'name = "leg"',
            'name = "a/b"',
            '25: part "a/b" name = "a/b" must be 1 to 40 letters, digits, spaces and . , ( ) + - _, '
            'first a letter or digit; for instance name = "pot"',
        ),
        ('name = "leg"', "", '24: part 2 name is missing; add it: name, used once'),
        ('shape = "disc"', 'shape = "disk"', '21: part "pot" shape = "disk" must be "disc", "rectangle", "box", '
         '"cylinder", "tube", "sphere", "cone", "cavity" or "mesh"; did you mean "disc"?'),
        ('shape = "disc"', 'shape = "disc"\naxis = [0, 0, 0]', '22: part "pot" axis = [0, 0, 0] '
         "must not be all zeros; give a direction, for instance [0, 0, 1]"),
        ("size_m = [0.1, 0.1, 0.8]", "size_m = [0.1, 0.1]", '28: part "leg" size_m = [0.1, 0.1] '
         "must be [x, y, z] (metres)"),
        ("offset_m = 0\n", "", '30: screen "focal plane" has no place; '
         "give offset_m along the axis from the focus, or center_m"),
        ("offset_m = 0\n", "offset_m = 0\ncenter_m = [0, 0, 0]\n", '33: screen "focal plane" '
         "center_m = [0, 0, 0] cannot stand beside offset_m; keep the one that is meant"),
        ("offset_m = 0\n", 'offset_m = 0\nframe = "ground"\n', '32: screen "focal plane" offset_m = 0 '
         'is only for frame = "dish"; give center_m in the ground frame'),
        ("offset_m = 0\n", 'offset_m = 0\nthrough_receivers = "yes"\n', '33: screen "focal plane" '
         'through_receivers = "yes" must be true or false; without quotes'),
        ("offset_m = 0\n", "offset_m = 0\nradii_m = [0.1, 0]\n", '33: screen "focal plane" '
         "radii_m = [0.1, 0] has a number 2 that must be a number > 0 and <= 100 (metres)"),
        ("[[screen]]", "[screen]", "30: screen must be a list of tables; "
         "write [[screen]] with double brackets, once for each"),
        ('title = "test yard"', "title = 5", "1: title = 5 must be a text in quotes"),
        ("[dish.outline]\n", "[dish.outlin]\n", "15: dish.outlin = "
         '{ shape = "circle", radius_m = 1.2 } is not a known key; did you mean outline?'),
    ],
)  # fmt: skip
def test_one_fault(old, new, message):
    assert "\n".join(faults_of(changed((old, new)))) == f"scene:{message}"


WATER_IN_TANK = 'contents = { kind = "water", mass_kg = 0.5, volume_m3 = 0.001 }\n'


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('contents = { kind = "watr", mass_kg = 1 }\n', 'contents.kind = "watr" must be "water", "oil", '),
        ('contents = { kind = "water", mass_kg = 1.2, volume_m3 = 0.001 }\n', "does not fit into volume_m3 = 0.001"),
        (
            'contents = { kind = "water", mass_kg = 1, volume_m3 = 0.002, temperature_c = 380 }\n',
            "the critical point at 373.9",
        ),
        (
            'contents = { kind = "water", mass_kg = 1, volume_m3 = 0.002, lid = true }\n',
            "lid = true is not a known key; it belongs to kind",
        ),
        (
            WATER_IN_TANK.replace(" }", ", height_m = 0.1 }") + "opening = [{ diameter_m = 0.002, height_m = 0.2 }]\n",
            "opening.1.height_m = 0.2 must be <= contents.height_m = 0.1",
        ),
        (WATER_IN_TANK + "opening = { diameter_m = 0.002 }\n", "write [[part.opening]] with double brackets"),
        ("opening = [{ diameter_m = 0.002 }]\n", 'is only used with contents of kind = "water"'),
        (
            WATER_IN_TANK.replace(" }", ", spin = { inertia_kg_m2 = 0.01 } }"),
            "needs an opening with a lever arm",
        ),
        (
            'contents = { kind = "melt", mass_kg = 1, melting_c = 232, heat_of_fusion_j_kg = 6e4, '
            "heat_capacity_j_kgk = 230, temperature_c = 240 }\n",
            "temperature_c = 240 must be below melting_c = 232",
        ),
    ],
)
def test_faults_of_contents_and_openings(lines, said):
    (message,) = faults_of(changed(("radius_m = 0.1\n", f"radius_m = 0.1\n{lines}")))
    assert said in message


def test_time_needs_a_site():
    text = changed(("[site]\nlatitude_deg = 40\nlongitude_deg = -70\n", ""))
    assert faults_of(text) == [
        "scene:3: sun.time = 2026-03-21T12:30:00-04:00 needs a place; add [site] with latitude_deg and longitude_deg"
    ]


def test_time_and_angles_exclude_each_other():
    text = changed(("dni_w_m2 = 900", "dni_w_m2 = 900\nazimuth_deg = 1\nelevation_deg = 2"))
    remedy = "cannot stand beside sun.time; the time gives it; remove one of them"
    assert faults_of(text) == [
        f"scene:8: sun.azimuth_deg = 1 {remedy}",
        f"scene:9: sun.elevation_deg = 2 {remedy}",
    ]


def test_clear_sky_needs_time_and_site():
    text = changed(
        ("[site]\nlatitude_deg = 40\nlongitude_deg = -70\n", ""),
        ("time = 2026-03-21T12:30:00-04:00\n", ""),
        ("dni_w_m2 = 900", 'dni = "clear-sky"'),
    )
    assert faults_of(text) == ['scene:3: sun.dni = "clear-sky" needs sun.time and site; or give dni_w_m2 as a number']


def test_what_needs_the_direction_of_the_sun():
    text = changed(
        ("time = 2026-03-21T12:30:00-04:00\n", ""),
        ('kind = "two-axis"', 'kind = "fixed"\naxis_azimuth_deg = 0\naxis_elevation_deg = 60'),
        ('shape = "box"', 'shape = "box"\nframe = "ground"'),
        ("offset_m = 0", 'center_m = [0, 0, 0]\nframe = "ground"'),
    )
    assert faults_of(text) == [
        f'scene:9: mount.kind = "fixed" needs the direction of the sun; {DIRECTION}',
        f'scene:29: part "leg" frame = "ground" needs the direction of the sun; {DIRECTION}',
        f'scene:35: screen "focal plane" frame = "ground" needs the direction of the sun; {DIRECTION}',
    ]


def test_covers_are_sheets_without_a_surface():
    text = changed(('role = "stand"', 'role = "cover"'))
    assert faults_of(text) == [
        'scene:24: part "leg" cover is missing; '
        "add cover = { refractive_index = 1.526, extinction_per_m = 16, thickness_m = 0.004 }",
        'scene:27: part "leg" shape = "box" must be "disc", "rectangle", "tube", "sphere" or "mesh" for a cover; '
        "put a vessel of glass together from sheets, or draw it as a mesh",
        'scene:29: part "leg" surface = { absorptance = 0.7 } is not used for role = "cover"; '
        "the sheet in cover says it all",
    ]


@pytest.mark.parametrize(
    ("vertices", "message"),
    [
        ("[[0, 0], [1, 0]]", "must be a list of at least 3 corners [[x, y], [x, y], [x, y], ...] (metres)"),
        ("[[0, 0], [1, 0], [1]]", "has a corner 3 that must be [x, y] (metres)"),
        (
            "[[0, 0], [1, 1], [1, 0], [0, 1]]",
            "must be a simple polygon, but its edges cross or touch near [0.5, 0.5]; "
            "list the corners in order around the outline",
        ),
        (
            "[[0, 0], [1, 1], [2, 2]]",
            "must enclose an area, but its corners lie on a line; list the corners in order around the outline",
        ),
    ],
)
def test_polygons(vertices, message):
    text = changed(('shape = "circle"\nradius_m = 1.2', f'shape = "polygon"\nvertices_m = {vertices}'))
    (told,) = faults_of(text)
    assert told.startswith("scene:17: dish.outline.vertices_m = [[")
    assert told.partition("]] ")[2] == message


def test_all_faults_in_one_go_in_the_order_of_the_file():
    text = changed(
        ("latitude_deg = 40", "latitude_deg = 140"),
        ("dni_w_m2 = 900", 'dni_w_m2 = 9000\ndni = "clear-sky"'),
        ("radius_m = 1.2", "radius_m = 1.2\nhole_radius_m = 2"),
        ('surface = "black-paint"', 'surface = "black-pain"'),
        ("rays = 1000", "rays = 0"),
    )
    assert [line.split(" ")[0] for line in faults_of(text)] == [
        "scene:3:", "scene:7:", "scene:8:", "scene:19:", "scene:25:", "scene:39:",
    ]  # fmt: skip


def test_faults_of_a_file_carry_its_name(tmp_path):
    path = tmp_path / "yard.toml"
    path.write_text(changed(("rays = 1000", "rays = 0")), encoding="utf-8")
    with pytest.raises(InputError, match=r"^.*yard\.toml:37: run\.rays = 0 must be a whole number >= 1"):
        load_scene(path)


def test_faults_inside_the_reflectance_file_are_told_with_the_others(tmp_path):
    (tmp_path / "mirror.csv").write_text("incidence_deg,reflectance\n0,0.9\n0,90\n", encoding="utf-8")
    text = changed(("reflectance = 0.9", 'reflectance = "mirror.csv"'), ("rays = 1000", "rays = 0"))
    assert faults_of(text, folder=tmp_path) == [
        "mirror.csv:3: reflectance = 90 must be a number > 0 and <= 1 (share); if this is in percent, write 0.9",
        "mirror.csv:3: incidence_deg = 0 must be above the row before, 0",
        "scene:37: run.rays = 0 must be a whole number >= 1 and <= 1e+12 (rays)",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("part = 5", "part = 5 must be a list of tables; write [[part]] with double brackets, once for each"),
        ("part = [7]", "part 1 = 7 must be a table; write [[part]] and its keys below it"),
        ('air = "cold"', 'air = "cold" must be a table; write [air] and its keys below it'),
        ("[[air]]", "air must be a single table; write its header in single brackets"),
        (
            'foo = "bar"',
            'foo = "bar" is not a known key; '
            "known here: title, site, sun, mount, dish, part, screen, air, horizon, obstacle, run, variant",
        ),
    ],
)  # fmt: skip
def test_tables_of_the_wrong_kind(text, message):
    assert set(faults_of(text)) == {
        "scene:1: sun is missing; add it: where the sun stands and how bright it is",
        "scene:1: dish is missing; add it: the mirror",
        f"scene:1: {message}",
    }
