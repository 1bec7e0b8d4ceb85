"""Where the mount puts the dish axes and the sun, sign by sign."""

from types import SimpleNamespace

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish.mount import axes_for, direction_of, pose
from dishtrace.dish.pose import is_behind, normals_over, share_turned_away
from dishtrace.errors import InputError
from dishtrace.scene.read import scene_from_text

F = 0.9
SCENE = """
title = "t"
[sun]
{sun}
dni_w_m2 = 900
[mount]
{mount}
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 1.2
"""
EAST, NORTH, UP = np.eye(3)


def made(*, sun=(180.0, 40.0), mount='kind = "two-axis"'):
    """Pose of a dish under a sun at (azimuth, elevation) in deg; None for a scene without a direction."""
    keys = "" if sun is None else f"azimuth_deg = {sun[0]}\nelevation_deg = {sun[1]}"
    scene = scene_from_text(SCENE.format(sun=keys, mount=mount))
    state = SimpleNamespace(
        direction=UP if sun is None else direction_of(*sun),
        azimuth_deg=None if sun is None else sun[0],
        elevation_deg=None if sun is None else sun[1],
        has_direction=sun is not None,
    )
    return pose(scene, state)


@pytest.mark.parametrize(
    ("azimuth_deg", "elevation_deg", "expected"),
    [
        (0, 0, NORTH),
        (90, 0, EAST),
        (180, 0, -NORTH),
        (270, 0, -EAST),
        (33, 90, UP),
        (180, 45, (UP - NORTH) / 2**0.5),
    ],
)
def test_azimuth_runs_from_north_over_east(azimuth_deg, elevation_deg, expected):
    assert direction_of(azimuth_deg, elevation_deg) == pytest.approx(expected, abs=1e-15)


def test_x_is_east_when_the_dish_faces_south():
    x, y, z = axes_for(direction_of(180.0, 0.0))
    assert x == pytest.approx(EAST, abs=1e-15)
    assert y == pytest.approx(UP, abs=1e-15)
    assert z == pytest.approx(-NORTH, abs=1e-15)


def test_x_is_east_when_the_dish_looks_at_the_zenith():
    assert axes_for(UP) == pytest.approx(np.eye(3), abs=0.0)
    x, y, _ = axes_for(direction_of(180.0, 89.0))  # and near it, coming from the south
    assert x == pytest.approx(EAST, abs=1e-15)
    assert y == pytest.approx(NORTH, abs=0.02)


@pytest.mark.parametrize("azimuth_deg", [0.0, 75.0, 180.0, 291.0])
@pytest.mark.parametrize("elevation_deg", [-30.0, 0.0, 52.0, 89.999999, 90.0])
def test_axes_are_a_right_handed_turn_with_x_level(azimuth_deg, elevation_deg):
    axes = axes_for(direction_of(azimuth_deg, elevation_deg))
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-14)
    assert np.linalg.det(axes) == pytest.approx(1.0, abs=1e-14)
    assert axes[0, 2] == 0.0


def test_two_axis_dish_looks_at_the_sun():
    there = made(sun=(123.0, 34.0))
    assert there.sun == pytest.approx(UP, abs=1e-15)
    assert there.rotation[2] == pytest.approx(direction_of(123.0, 34.0), abs=1e-15)
    assert there.ground_origin.tolist() == [0.0, 0.0, 0.0]


def test_pointing_offset_moves_the_spot_of_a_narrow_dish_by_plus_f_times_offset():
    """Mirror the sun's central ray at the vertex and follow it to the focal plane; a turned sign fails."""
    there = made(mount='kind = "two-axis"\npointing_offset_mrad = [6.0, -2.5]')
    incoming = -there.sun
    reflected = incoming * [1.0, 1.0, -1.0]
    spot = F * reflected[:2] / reflected[2]
    assert spot == pytest.approx(F * np.tan([6.0e-3, -2.5e-3]), rel=1e-12)


def test_offset_leans_the_axis_towards_plus_x_and_plus_y():
    """Facing south, +x is east: the axis must stand east of the sun for ox > 0, above it for oy > 0."""
    sun = direction_of(180.0, 40.0)
    x, y, _ = axes_for(sun)
    axis = made(mount='kind = "two-axis"\npointing_offset_mrad = [6.0, 4.0]').rotation[2]
    assert axis @ x / (axis @ sun) == pytest.approx(np.tan(6e-3), rel=1e-4)
    assert axis @ y / (axis @ sun) == pytest.approx(np.tan(4e-3), rel=1e-4)
    assert axis[0] > 0.0
    assert axis[2] > sun[2]


def test_rotation_takes_the_ground_sun_to_the_dish_sun():
    for mount in (
        'kind = "two-axis"\npointing_offset_mrad = [50.0, -20.0]',
        'kind = "fixed"\naxis_azimuth_deg = 170\naxis_elevation_deg = 50\npointing_offset_mrad = [5.0, 0.0]',
    ):
        there = made(mount=mount)
        assert there.rotation @ direction_of(180.0, 40.0) == pytest.approx(there.sun, abs=1e-14)
        assert there.rotation @ there.rotation.T == pytest.approx(np.eye(3), abs=1e-14)
        assert np.linalg.det(there.rotation) == pytest.approx(1.0)


def test_frames_of_parts():
    """A two-axis dish facing south at 40 deg; its ground origin is the pivot, its dish origin the focus."""
    there = made(mount='kind = "two-axis"\npivot_m = [0.0, 0.0, -0.3]')
    assert there.points_to_dish([0.0, 0.0, 0.1], "dish", F) == pytest.approx([0.0, 0.0, F + 0.1])
    assert there.points_to_dish([0.0, 0.0, 0.0], "ground", F) == pytest.approx([0.0, 0.0, -0.3])
    up = there.vectors_to_dish(UP, "ground")
    assert up == pytest.approx([0.0, np.cos(np.radians(40.0)), np.sin(np.radians(40.0))], abs=1e-15)
    assert there.points_to_dish(2.0 * UP, "ground", F) == pytest.approx(2.0 * up + [0.0, 0.0, -0.3])
    assert there.vectors_to_dish(EAST, "ground") == pytest.approx([1.0, 0.0, 0.0], abs=1e-15)
    assert there.vectors_to_dish(EAST, "dish").tolist() == [1.0, 0.0, 0.0]
    for frame in ("dish", "ground"):
        rotation, origin = there.user_frame(frame, F)
        point = np.array([0.3, -0.2, 0.7])
        assert rotation @ (there.points_to_dish(point, frame, F) - origin) == pytest.approx(point, abs=1e-15)


def test_scene_without_a_direction_has_the_sun_at_the_zenith():
    there = made(sun=None)
    assert not there.has_direction
    assert there.rotation == pytest.approx(np.eye(3))


FIXED = 'kind = "fixed"\naxis_azimuth_deg = {}\naxis_elevation_deg = {}'


def test_fixed_dish_sees_the_sun_beside_its_axis():
    """Axis due south at 40 deg, sun 10 deg further west and as high: it stands towards -x."""
    there = made(sun=(190.0, 40.0), mount=FIXED.format(180, 40))
    expected = axes_for(direction_of(180.0, 40.0)) @ direction_of(190.0, 40.0)
    assert there.sun == pytest.approx(expected, abs=1e-15)
    assert there.sun[0] == pytest.approx(-np.cos(np.radians(40.0)) * np.sin(np.radians(10.0)), abs=1e-15)
    assert there.ground_origin.tolist() == [0.0, 0.0, F]
    assert "7.7 deg from the axis" in there.notes[0]
    assert made(sun=(180.0, 40.0), mount=FIXED.format(180, 41)).notes == ()


def test_sun_behind_a_fixed_dish_is_one_clear_message():
    with pytest.raises(
        InputError, match=r"mount\.axis_azimuth_deg = 0 .*180 deg from the axis, behind the dish"
    ) as told:
        made(sun=(180.0, 40.0), mount=FIXED.format(0, -40))
    assert len(told.value.faults) == 1


def test_sun_behind_most_of_the_mirror_is_refused():
    """A section about y = 3 leans by 59 deg towards -y; the sun stands 70 deg off the axis towards +y."""
    lateral = outlines.circle(0.5, center=(0.0, 2.0))  # leans 48 deg towards -y
    turned = np.array([0.0, np.sin(np.radians(60.0)), np.cos(np.radians(60.0))])
    assert share_turned_away(normals_over(lateral, focal_length=F), turned) == 1.0
    assert share_turned_away(normals_over(lateral, focal_length=F), UP) == 0.0
    scene = SCENE + "center_m = [0.0, 3.0]\n"
    text = scene.format(sun="azimuth_deg = 0\nelevation_deg = 40", mount=FIXED.format(180, 70))
    state = SimpleNamespace(direction=direction_of(0.0, 40.0), azimuth_deg=0.0, elevation_deg=40.0, has_direction=True)
    with pytest.raises(InputError, match=r"70 deg from the axis, behind \d+% of the mirror; turn the fixed axis"):
        pose(scene_from_text(text), state)


def test_share_turned_away_is_half_for_a_sun_in_the_plane_of_the_rim():
    """For a sun square to the axis the half beyond the axis, seen from it, is turned away."""
    normals = normals_over(outlines.circle(1.0), focal_length=F)
    assert share_turned_away(normals, EAST) == pytest.approx(0.5, abs=1e-3)


def test_many_suns_are_told_like_each_of_them(seed):
    """Behind are those below the dish's horizon, and those behind more than half; catches axes that are swapped."""
    suns = np.random.default_rng(seed).normal(size=(500, 3))
    suns /= np.linalg.norm(suns, axis=1)[:, np.newaxis]
    normals = normals_over(outlines.circle(0.5, center=(0.0, 2.0)), focal_length=F)
    behind, shares = is_behind(suns, normals), share_turned_away(normals, suns)
    assert list(behind) == [bool(is_behind(sun, normals)) for sun in suns]
    assert shares == pytest.approx([share_turned_away(normals, sun) for sun in suns], abs=1e-12)
    assert np.array_equal(behind, (suns[:, 2] <= 0.0) | (shares > 0.5))
    assert behind[suns[:, 2] > 0.0].any()


def test_offset_leans_a_fixed_dish_as_it_leans_a_tracking_one():
    offset = "\npointing_offset_mrad = [6.0, -2.5]"
    fixed, tracking = made(mount=FIXED.format(180, 40) + offset), made(mount='kind = "two-axis"' + offset)
    assert fixed.sun == pytest.approx(tracking.sun, abs=1e-15)
    assert fixed.rotation == pytest.approx(tracking.rotation, abs=1e-15)
    assert fixed.sun[0] == pytest.approx(-np.tan(6e-3), rel=1e-4)
