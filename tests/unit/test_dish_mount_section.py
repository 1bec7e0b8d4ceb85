"""The section with a stationary focus: surface, rim, signs, and what stays where on the ground."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish import paraboloid
from dishtrace.dish.facets import skin
from dishtrace.dish.mount import has_sun_behind, plan_vector_area
from dishtrace.dish.polar import equatorial_direction, visible_pole
from dishtrace.dish.section import (
    carried,
    least_opening,
    mirror_of_day,
    rim_outline,
    section_about,
    vector_area,
)
from dishtrace.errors import InputError
from tests.support.mounts import placed, sun_at

LOW = 'kind = "stationary-focus"\nside = "low"\nset_declination_deg = {}\nclock_error_min = {}'
RECTANGLE = 'shape = "rectangle"\nsize_m = [1.2, 1.6]\ncenter_m = [0, 2]'
POLYGON = 'shape = "polygon"\nvertices_m = [[0, 1], [0.8, 1.5], [0.5, 2.8], [-0.5, 2.8], [-0.8, 1.5]]'
SHAPES = [
    outlines.circle(0.8, center=(0.0, 2.0)),
    outlines.circle(0.3, center=(0.0, -0.7)),
    outlines.rectangle((1.2, 1.6), center=(0.0, 1.7)),
    outlines.polygon(np.array([[0.0, 1.0], [0.8, 1.5], [0.5, 2.8], [-0.5, 2.8], [-0.8, 1.5]])),
]


def section_of(outline, focal_length=1.1):
    return section_about(float(outline.center[1]), focal_length=focal_length)


def at(mirror, uv):
    places, normals = mirror.surface(0, uv)
    return places, normals / np.linalg.norm(normals, axis=1, keepdims=True)


@pytest.mark.parametrize("outline", SHAPES)
def test_at_equinox_it_is_the_plain_skin_over_the_outline(outline):
    """Same surface and same edge; exact for the circle, to 1e-5 of the size for curved edges."""
    section = section_of(outline)
    rim = rim_outline(outline, section)
    mirror = mirror_of_day(section, rim, 0.0, is_flexed=True, slope=0.0)
    plain = skin(outline, focal_length=1.1, slope=0.0)
    is_exact = outline.kind == outlines.CIRCLE
    tolerance = 1e-13 if is_exact else 1.01e-5 * outline.span
    edge, _ = mirror.surface(0, rim.boundary(300))
    for point in edge:
        assert distance_to_edge(outline, point[:2]) < tolerance
    inside, normals = at(mirror, rim.map_unit_square(*np.random.default_rng(1).random((2, 500))))
    height = paraboloid.height(inside[:, 0], inside[:, 1], focal_length=1.1)
    assert inside[:, 2] == pytest.approx(height, abs=1e-14)
    assert normals == pytest.approx(at(plain, inside[:, :2])[1], abs=1e-13)
    plain_area = plan_vector_area(outline, 1.1)
    assert vector_area(mirror) == pytest.approx(plain_area, rel=1e-12 if is_exact else 2e-5, abs=1e-12)
    assert mirror.surface_areas()[0] == pytest.approx(plain.surface_areas()[0], rel=1e-9 if is_exact else 2e-5)


def distance_to_edge(outline, point):
    if outline.kind == outlines.CIRCLE:
        return abs(np.hypot(*(point - outline.center)) - outline.params[2])
    corners = outline.corners()
    sides = np.roll(corners, -1, axis=0) - corners
    along = np.clip(np.sum((point - corners) * sides, axis=1) / np.sum(sides**2, axis=1), 0.0, 1.0)
    return np.hypot(*(point - corners - along[:, np.newaxis] * sides).T).min()


@pytest.mark.parametrize("declination_deg", [-23.5, -9.0, 0.0, 14.0, 23.5])
@pytest.mark.parametrize("outline", SHAPES)
def test_flexed_it_is_a_paraboloid_about_the_fixed_focus_and_the_suns_axis(outline, declination_deg):
    """Every point is as far from the focus as from the directrix plane z = -f."""
    section, day = section_of(outline), np.radians(declination_deg)
    rim = rim_outline(outline, section)
    mirror = mirror_of_day(section, rim, day, is_flexed=True, slope=0.0)
    places, normals = at(mirror, rim.map_unit_square(*np.random.default_rng(2).random((2, 200))))
    focus = np.array([0.0, 0.0, section.focal_length(day)])
    to_focus = np.linalg.norm(places - focus, axis=1)
    assert to_focus == pytest.approx(places[:, 2] + focus[2], abs=1e-13)
    bisector = (focus - places) / to_focus[:, np.newaxis] + [0.0, 0.0, 1.0]
    assert normals == pytest.approx(bisector / np.linalg.norm(bisector, axis=1, keepdims=True), abs=1e-13)


@pytest.mark.parametrize("center_y", [2.0, 0.9, -2.0, -0.9])
@pytest.mark.parametrize("declination_deg", [-20.0, 23.44])
def test_centre_and_focus_stay_and_the_reflector_turns_by_half(center_y, declination_deg):
    """In axes that do not move with the season: turned back by delta about x, C and F are where they were."""
    section, day = section_about(center_y, focal_length=1.0), np.radians(declination_deg)
    cosine, sine = np.cos(day), np.sin(day)
    back = np.array([[1.0, 0.0, 0.0], [0.0, cosine, sine], [0.0, -sine, cosine]])  # day's axes to equinox axes
    from_focus = [section.center(d) - [0.0, 0.0, section.focal_length(d)] for d in (0.0, day)]
    assert back @ from_focus[1] == pytest.approx(from_focus[0], abs=1e-14)
    turn = (section.axes(day) @ back.T).T @ section.axes(0.0)
    half = 0.5 * day
    expected = [[1.0, 0.0, 0.0], [0.0, np.cos(half), np.sin(half)], [0.0, -np.sin(half), np.cos(half)]]
    assert turn == pytest.approx(np.array(expected), abs=1e-14)


@pytest.mark.parametrize("frame", ["flexed", "stiff"])
@pytest.mark.parametrize("latitude_deg", [35.0, -20.0])
def test_focus_and_centre_stay_put_on_the_ground_through_a_day(latitude_deg, frame):
    """The receiver's place is the focus at every hour; C goes round the polar axis and light follows it."""
    pole, reach = visible_pole(np.radians(latitude_deg)), []
    outline = 'shape = "circle"\nradius_m = 0.5\ncenter_m = [0, 1.2]'
    for hour in (-60.0, 0.0, 45.0):
        sun = sun_at(hour, 11.0, latitude_deg=latitude_deg)
        there = placed(LOW.format(11, 0) + f'\nframe = "{frame}"', sun=sun, latitude_deg=latitude_deg, outline=outline)
        focus = [0.0, 0.0, there.focal_length]
        assert there.pose.points_to_dish([0.0, 0.0, 0.0], "ground", there.focal_length).tolist() == focus
        assert there.pose.sun == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
        reach.append(there.pose.rotation.T @ (there.facets.origin[0] - focus))
        turn = np.degrees(np.arctan2(*(reach[-1] @ axis for axis in around(pole, latitude_deg))))
        assert turn == pytest.approx(hour, abs=1e-9)
    lengths = np.linalg.norm(reach, axis=1)
    assert lengths == pytest.approx(np.full(3, 1.0 + 1.2**2 / 4.0), rel=1e-14)
    assert np.ptp(np.array(reach) @ pole) == pytest.approx(0.0, abs=1e-14)
    assert reach[0] != pytest.approx(reach[1], abs=0.1)


def around(pole, latitude_deg):
    """Directions opposite to west and to the meridian on the equator: C lies below the focus, away from the sun."""
    meridian = equatorial_direction(0.0, 0.0, latitude=np.radians(latitude_deg))
    return np.array([1.0, 0.0, 0.0]), -meridian


def test_low_side_stands_on_the_pole_side_and_grows_flat_in_summer():
    """The focus lies towards the equator and below; in summer the light meets the mirror more aslant."""
    sun = sun_at(0.0, 15.0, latitude_deg=35.0)
    there = placed(LOW.format(15, 0), sun=sun)
    from_focus = there.pose.rotation.T @ (there.facets.origin[0] - [0.0, 0.0, there.focal_length])
    assert from_focus == pytest.approx(2.0 * visible_pole(np.radians(35.0)), abs=1e-12)  # psi_0 = 90 deg
    assert from_focus[1] > 0.0
    assert from_focus[2] > 0.0
    assert there.focal_length == pytest.approx(1.0 + np.cos(np.radians(105.0)), rel=1e-14)
    assert "cannot" not in there.pose.notes[1]
    assert "turned by +7.50 deg" in there.pose.notes[1]


def test_high_side_lies_on_the_equator_side_with_the_signs_turned():
    sun = sun_at(0.0, 15.0, latitude_deg=35.0)
    high = LOW.replace("low", "high").format(15, 0)
    there = placed(high, sun=sun, outline='shape = "circle"\nradius_m = 0.8\ncenter_m = [0, -2]')
    from_focus = there.pose.rotation.T @ (there.facets.origin[0] - [0.0, 0.0, there.focal_length])
    assert from_focus == pytest.approx(-2.0 * visible_pole(np.radians(35.0)), abs=1e-12)
    assert there.focal_length == pytest.approx(1.0 + np.cos(np.radians(75.0)), rel=1e-14)


def principal(there):
    """Where the sun's central ray, mirrored at C, crosses the plane through the focus square to FC, from the focus."""
    center, normal = there.facets.origin[0], there.facets.axes[0, 2]
    focus = np.array([0.0, 0.0, there.focal_length])
    ray = 2.0 * (normal @ there.pose.sun) * normal - there.pose.sun
    square = focus - center
    return center + (square @ square) / (ray @ square) * ray - focus


@pytest.mark.parametrize(("latitude_deg", "west"), [(35.0, -1.0), (-35.0, 1.0)])
@pytest.mark.parametrize("minutes", [4.0, -8.0])
def test_clock_ahead_moves_the_spot_west_by_the_whole_distance(latitude_deg, west, minutes):
    """psi_0 = 90 deg: C lies on the polar axis, its normal turns about it, and the ray by as much."""
    sun = sun_at(10.0, 0.0, latitude_deg=latitude_deg)
    there = placed(LOW.format(0, minutes), sun=sun, latitude_deg=latitude_deg)
    moved = west * 2.0 * np.tan(np.radians(minutes / 4.0))
    assert principal(there) == pytest.approx([moved, 0.0, 0.0], abs=1e-12)
    ground = there.pose.rotation.T @ principal(there)
    assert ground[0] * minutes < 0.0


@pytest.mark.parametrize(("latitude_deg", "season"), [(35.0, 1.0), (-35.0, -1.0)])
def test_stale_setting_moves_the_spot_along_the_meridian(latitude_deg, season):
    """Set to 10 deg while the sun has gone on to 12 (summer positive): the ray from C leans by 2 deg to the ground
    side of the focus, away from the sun, over the distance rho; nothing moves east or west."""
    sun = sun_at(-15.0, season * 12.0, latitude_deg=latitude_deg)
    there = placed(LOW.format(season * 10.0, 0), sun=sun, latitude_deg=latitude_deg)
    psi = np.radians(100.0)
    lean = -2.0 * np.tan(np.radians(2.0)) * np.array([0.0, np.cos(psi), np.sin(psi)])
    assert principal(there) == pytest.approx(lean, abs=1e-12)
    assert there.focal_length == pytest.approx(1.0 + np.cos(psi), rel=1e-14)
    assert "34.91 mrad from the dish axis" in there.pose.notes[0]


@pytest.mark.parametrize("frame", ["flexed", "stiff"])
@pytest.mark.parametrize("outline", [RECTANGLE, POLYGON, 'shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 2]'])
def test_southern_hemisphere_is_the_mirror_image(frame, outline):
    """Latitude and declinations with the other sign: x turns round, since y and z are mirrored and x is y cross z."""
    poses = []
    for side in (1.0, -1.0):
        sun = sun_at(25.0, side * 8.0, latitude_deg=side * 30.0)
        mount = LOW.format(side * 12.0, 3.0) + f'\nframe = "{frame}"'
        poses.append(placed(mount, sun=sun, latitude_deg=side * 30.0, outline=outline))
    north, south = poses
    assert south.pose.sun == pytest.approx(north.pose.sun * [-1.0, 1.0, 1.0], abs=1e-12)
    mirror = np.diag([1.0, -1.0, 1.0])  # on the ground, north for south
    turned = np.diag([-1.0, 1.0, 1.0]) @ north.pose.rotation @ mirror
    assert south.pose.rotation == pytest.approx(turned, abs=1e-12)
    assert south.focal_length == pytest.approx(north.focal_length, rel=1e-14)
    assert south.facets.quadric == pytest.approx(north.facets.quadric, abs=1e-14)
    assert south.facets.axes == pytest.approx(north.facets.axes, abs=1e-14)
    assert south.vector_area == pytest.approx(north.vector_area, abs=1e-14)


@pytest.mark.parametrize("outline", [RECTANGLE, POLYGON, 'shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 2]'])
def test_outline_of_the_day_has_the_exact_area_and_nearly_the_exact_moments(outline):
    """The vector area is that of the paraboloid of the day over the outline of the day."""
    there = placed(LOW.format(20, 0), sun=sun_at(0.0, 20.0, latitude_deg=35.0), outline=outline)
    assert there.outline.area == pytest.approx(there.vector_area[2], rel=1e-12)
    by_outline = plan_vector_area(there.outline, there.focal_length)
    assert by_outline == pytest.approx(there.vector_area, rel=1e-5, abs=1e-9)
    assert there.outline.area == pytest.approx(there.facets.aperture_areas()[0], rel=1e-9)


def test_on_other_mounts_mirror_and_focal_length_are_those_of_the_scene():
    for mount in ('kind = "two-axis"', 'kind = "polar-axis"'):
        there = placed(mount, sun=sun_at(0.0, 5.0, latitude_deg=35.0))
        assert there.facets is None
        assert there.focal_length == there.pose.focal_length == 1.0
        assert there.outline.params[:3].tolist() == [0.0, 2.0, 0.8]
        assert there.vector_area == pytest.approx(np.pi * 0.64 * np.array([0.0, -1.0, 1.0]), rel=1e-15)
        assert there.reset is None


@pytest.mark.parametrize("is_flexed", [True, False])
@pytest.mark.parametrize("declination_deg", [-20.0, 17.0])
def test_tiles_are_carried_along(declination_deg, is_flexed):
    """Tiles that touch the mirror at equinox touch that of the day at the same place of the rim plane."""
    outline, day = SHAPES[0], np.radians(declination_deg)
    section = section_about(2.0, focal_length=1.0)
    rim = rim_outline(outline, section)
    before = mirror_of_day(section, rim, 0.0, is_flexed=True, slope=0.0)
    after = mirror_of_day(section, rim, day, is_flexed=is_flexed, slope=0.0)
    uv = np.array([[0.0, 0.0], [0.5, 0.1], [-0.3, 0.7], [0.1, -0.6]])
    tiles = tiles_on(before, uv)
    moved = carried(tiles, before, after)
    places, normals = at(after, uv)
    assert moved.origin == pytest.approx(places, abs=1e-14)
    assert moved.axes[:, 2] == pytest.approx(normals, abs=1e-14)
    assert moved.axes @ moved.axes.transpose(0, 2, 1) == pytest.approx(np.tile(np.eye(3), (4, 1, 1)), abs=1e-14)
    assert np.linalg.det(moved.axes) == pytest.approx(np.ones(4), abs=1e-14)
    assert moved.quadric is tiles.quadric
    spread = [np.linalg.norm(t.origin[:, None] - t.origin, axis=2) for t in (tiles, moved)]
    if is_flexed:
        assert np.abs(spread[0] - spread[1]).max() > 3e-4
    else:
        assert spread[1] == pytest.approx(spread[0], abs=1e-14)
        together = moved.axes.transpose(0, 2, 1) @ tiles.axes
        assert together == pytest.approx(np.tile(together[0], (4, 1, 1)), abs=1e-14)


def tiles_on(mirror, uv):
    places, normals = at(mirror, uv)
    east = np.cross([0.0, 1.0, 0.0], normals)
    east = east / np.linalg.norm(east, axis=1, keepdims=True)
    axes = np.stack([east, np.cross(normals, east), normals], axis=1)
    tile = skin(outlines.rectangle((0.1, 0.1)), focal_length=1.0, slope=0.0).taken(np.zeros(len(uv), dtype=int))
    return type(tile)(
        number=np.arange(1, len(uv) + 1),
        origin=places,
        axes=axes,
        quadric=np.zeros((len(uv), 6)),
        outlines=tile.outlines,
        slope=tile.slope,
        brightness=tile.brightness,
    )


def test_canting_and_height_of_a_tile_are_carried_along():
    """A tile 5 mm above the mirror and 10 mrad aslant stays so."""
    section = section_about(2.0, focal_length=1.0)
    rim = rim_outline(SHAPES[0], section)
    before = mirror_of_day(section, rim, 0.0, is_flexed=True, slope=0.0)
    after = mirror_of_day(section, rim, np.radians(17.0), is_flexed=True, slope=0.0)
    tiles = tiles_on(before, np.array([[0.4, 0.3]]))
    raised = tiles.turned(np.eye(3), np.zeros(3)).turned(turn_about_x(10e-3), tiles.origin[0])
    lift = 5e-3 * before.axes[0, 2]
    raised = type(raised)(**{**vars(raised), "origin": raised.origin + lift})
    moved = carried(raised, before, after)
    places, normals = at(after, np.array([[0.4, 0.3]]))
    assert moved.origin[0] - places[0] == pytest.approx(5e-3 * after.axes[0, 2], abs=1e-14)
    aslant = [np.arccos(w @ n) for w, n in ((raised.axes[0, 2], tiles.axes[0, 2]), (moved.axes[0, 2], normals[0]))]
    assert aslant[0] == pytest.approx(10e-3, rel=0.02)
    assert aslant[1] == pytest.approx(aslant[0], rel=1e-9)


def turn_about_x(angle):
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


@pytest.mark.parametrize(
    ("side", "outline", "message"),
    [
        (
            "high",
            'shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 2]',
            r"center_m = \[0, 2\] puts the outline's centre at \(0, 2\), but mount\.side = \"high\" needs y < 0: "
            r"y looks to the celestial pole, and the focus lies on the high side of the mirror; move the outline",
        ),
        ("low", RECTANGLE.replace("[0, 2]", "[0, -2]"), r"at \(0, -2\), but mount\.side = \"low\" needs y > 0"),
        ("low", 'shape = "circle"\nradius_m = 0.8', r"center_m puts .* at \(0, 0\), .* needs y > 0"),
        (
            "low",
            'shape = "circle"\nradius_m = 0.8\ncenter_m = [0.01, 2]',
            r'at \(0\.01, 2\), but mount\.kind = "stationary-focus" needs it on the y axis, .*, to 1e-06 m; give',
        ),
        (
            "low",
            'shape = "polygon"\nvertices_m = [[0, 1], [1, 1], [0, 3]]',
            r"vertices_m = \[.*\] puts the outline's centre at \(0\.333333, 1\.66667\), .* on the y axis",
        ),
        (
            "low",
            'shape = "circle"\nradius_m = 0.1\ncenter_m = [0, 0.2]',
            r"makes a section that cannot be flexed: from the focus its centre is seen 11\.4 deg off the axis at "
            r"equinox and would be seen at -8\.6 deg at the declination set, outside 0 to 180",
        ),
        (
            "low",
            'shape = "circle"\nradius_m = 5.5\ncenter_m = [0, 4]',
            r"cannot be flexed: at equinox its edge bends past square",
        ),
    ],
)
def test_sections_that_do_not_suit_the_mount(side, outline, message):
    mount = f'kind = "stationary-focus"\nside = "{side}"\nset_declination_deg = -20'
    with pytest.raises(InputError, match=message):
        placed(mount, sun=sun_at(0.0, -20.0, latitude_deg=35.0), outline=outline)


def test_section_that_folds_only_in_summer():
    outline = 'shape = "circle"\nradius_m = 3.2\ncenter_m = [0, 4]'
    placed(LOW.format(-20, 0), sun=sun_at(0.0, -20.0, latitude_deg=35.0), outline=outline)
    with pytest.raises(InputError, match="cannot be flexed: at the declination set its edge bends past square"):
        placed(LOW.format(20, 0), sun=sun_at(0.0, 20.0, latitude_deg=35.0), outline=outline)


def test_angle_beyond_180_deg_is_refused():
    with pytest.raises(InputError, match=r"seen 161\.1 deg .* would be seen at 181\.1 deg"):
        placed(
            LOW.format(20, 0),
            sun=sun_at(0.0, 20.0, latitude_deg=35.0),
            outline='shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 12]',
        )


def test_sun_behind_the_section_is_refused():
    with pytest.raises(InputError, match=r'mount\.kind = "stationary-focus" leaves the sun .* behind'):
        placed(LOW.format(0, 365), sun=sun_at(0.0, 0.0, latitude_deg=35.0))


@pytest.mark.parametrize("declination_deg", [-20.0, 20.0])
def test_sun_is_behind_a_small_section_when_it_is_square_to_its_middle(declination_deg):
    """The middle's normal leans by half of the angle at which the focus sees it, so 90 deg from it the sun is behind
    half. Catches a section taken for a dish that looks along its axis, and one taken for that of equinox: 10 deg."""
    outline = 'shape = "circle"\nradius_m = 0.01\ncenter_m = [0, 2]'
    sun = sun_at(0.0, declination_deg, latitude_deg=35.0)
    mirror = placed(LOW.format(declination_deg, 0), sun=sun, latitude_deg=35.0, outline=outline)
    lean = np.radians(45.0 + 0.5 * declination_deg)
    for beyond, is_behind in ((-0.01, False), (0.01, True)):
        angle = 0.5 * np.pi - lean + beyond
        assert has_sun_behind(mirror, np.array([0.0, np.sin(angle), np.cos(angle)])) is is_behind


def test_discriminant_is_least_on_the_rim_and_zero_where_the_sheet_folds():
    """For a paraboloid seen square to its tangent at C: D = 1 + 4 k s c v - 4 k^2 s^2 u^2, k = cos / 4f."""
    section = section_about(2.0, focal_length=1.0)
    quadric = section.quadric(0.0)
    for radius in (0.3, 0.9):
        rim = outlines.circle(radius)
        k, s, c = np.cos(np.pi / 4) / 4.0, np.sin(np.pi / 4), np.cos(np.pi / 4)
        u, v = rim.boundary(2048).T
        least = np.min(1.0 + 4.0 * k * s * c * v - (2.0 * k * s * u) ** 2)
        assert least_opening(quadric, rim) == pytest.approx(least, rel=1e-12)
    assert least_opening(quadric, outlines.circle(0.1, center=(0.0, -10.0))) < 0.0
