"""Drives that turn about the polar axis and drives that move in steps, sign by sign."""

from datetime import datetime

import numpy as np
import pytest

from dishtrace.dish.polar import equatorial_direction, hour_angle_and_declination, visible_pole
from dishtrace.dish.two_axis import last_step
from dishtrace.errors import InputError
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.position import position_at_time
from tests.support.mounts import mount_scene, placed, sun_at

EAST, NORTH, UP = np.eye(3)
ROUND = 'shape = "circle"\nradius_m = 0.5'
POLAR = 'kind = "polar-axis"\nset_declination_deg = {}\nclock_error_min = {}'
EQUINOX = "time = 2026-03-20T13:07:30+01:00"


def spot(there) -> np.ndarray:
    """Where the sun's central ray, mirrored at the vertex, crosses the focal plane, (2,). [m]"""
    reflected = -there.pose.sun * [1.0, 1.0, -1.0]
    return there.focal_length * reflected[:2] / reflected[2]


@pytest.mark.parametrize("latitude_deg", [-60.0, 0.0, 35.0, 90.0])
def test_equatorial_directions(latitude_deg):
    """Meridian, west point and pole as they must stand, and back again."""
    latitude = np.radians(latitude_deg)
    noon = equatorial_direction(0.0, 0.0, latitude=latitude)
    assert noon == pytest.approx([0.0, -np.sin(latitude), np.cos(latitude)], abs=1e-15)
    assert equatorial_direction(np.pi / 2, 0.0, latitude=latitude) == pytest.approx(-EAST, abs=1e-15)
    pole = equatorial_direction(1.0, np.pi / 2, latitude=latitude)
    assert pole == pytest.approx([0.0, np.cos(latitude), np.sin(latitude)], abs=1e-15)
    for hour_angle, declination in [(-2.0, 0.3), (0.7, -0.4), (3.0, 0.1)]:
        direction = equatorial_direction(hour_angle, declination, latitude=latitude)
        assert np.linalg.norm(direction) == pytest.approx(1.0, abs=1e-15)
        found = hour_angle_and_declination(direction, latitude=latitude)
        assert found == pytest.approx((hour_angle, declination), abs=1e-14)


def test_the_pole_that_takes_the_place_of_up_stands_above_the_horizon():
    for latitude_deg, side in [(40.0, 1.0), (-40.0, -1.0)]:
        pole = visible_pole(np.radians(latitude_deg))
        assert pole[2] > 0.0
        assert pole[1] * side > 0.0
    assert visible_pole(0.0).tolist() == NORTH.tolist()


@pytest.mark.parametrize(("latitude_deg", "west"), [(35.0, -1.0), (-35.0, 1.0)])
def test_clock_ahead_moves_the_spot_west(latitude_deg, west):
    """4 min are 1 deg; at declination 0 the axis leans by it. x is east in the north at noon, west in the south."""
    sun = sun_at(0.0, 0.0, latitude_deg=latitude_deg)
    there = placed(POLAR.format(0, 4), sun=sun, latitude_deg=latitude_deg, outline=ROUND)
    assert spot(there) == pytest.approx([west * np.tan(np.radians(1.0)), 0.0], abs=1e-12)
    assert there.pose.rotation[2] @ EAST < 0.0
    ground = there.pose.rotation.T @ np.array([*spot(there), 0.0])
    assert ground @ EAST < 0.0


@pytest.mark.parametrize("hour_angle_deg", [-50.0, 0.0, 50.0])
@pytest.mark.parametrize("latitude_deg", [35.0, -35.0])
def test_stale_declination_moves_the_spot_to_the_pole_that_it_was_set_to(latitude_deg, hour_angle_deg):
    """Set 3 deg further north than the sun: the spot moves north on the meridian of the moment, at any hour."""
    sun = sun_at(hour_angle_deg, 7.0, latitude_deg=latitude_deg)
    there = placed(POLAR.format(10, 0), sun=sun, latitude_deg=latitude_deg, outline=ROUND)
    north = 1.0 if latitude_deg > 0 else -1.0
    assert spot(there) == pytest.approx([0.0, north * np.tan(np.radians(3.0))], abs=1e-12)
    assert there.pose.rotation.T @ np.array([*spot(there), 0.0]) @ NORTH > 0.0


def test_axis_points_to_hour_angle_and_declination_set():
    sun = sun_at(30.0, 12.0, latitude_deg=35.0)
    there = placed(POLAR.format(-5, -20), sun=sun, outline=ROUND)
    expected = equatorial_direction(np.radians(25.0), np.radians(-5.0), latitude=np.radians(35.0))
    assert there.pose.rotation[2] == pytest.approx(expected, abs=1e-12)
    x = there.pose.rotation[0]
    assert x @ visible_pole(np.radians(35.0)) == pytest.approx(0.0, abs=1e-15)
    assert "hour angle 25.00 deg (sun 30.00)" in there.pose.notes[0]
    assert "declination -5.00 deg (sun 12.00)" in there.pose.notes[0]


def test_declination_left_out_is_that_of_the_sun_and_only_refraction_is_left():
    scene = mount_scene('kind = "polar-axis"', sun="time = 2026-05-02T17:30:00+01:00", outline=ROUND)
    position = position_at_time(scene)
    there = placed('kind = "polar-axis"', sun="time = 2026-05-02T17:30:00+01:00", outline=ROUND)
    angle = np.degrees(np.arccos(min(1.0, there.pose.sun[2])))
    assert angle == pytest.approx(position.elevation_deg - position.true_elevation_deg, rel=1e-5)
    assert angle > 0.02
    raised = there.pose.rotation.T @ (there.pose.sun - [0.0, 0.0, 1.0])
    assert raised @ UP > 0.0


def test_pointing_offset_and_pivot_on_a_polar_mount():
    sun = sun_at(-20.0, 5.0, latitude_deg=35.0)
    more = "\npointing_offset_mrad = [6.0, -2.5]\npivot_m = [0.0, 0.1, -0.3]"
    there = placed(POLAR.format(5, 0) + more, sun=sun, outline=ROUND)
    assert spot(there) == pytest.approx(np.tan([6.0e-3, -2.5e-3]), rel=1e-9)
    assert there.pose.points_to_dish([0.0, 0.0, 0.0], "ground", 1.0) == pytest.approx([0.0, 0.1, -0.3])


def test_clock_that_turns_the_dish_away_is_refused():
    with pytest.raises(InputError, match=r'mount\.kind = "polar-axis" leaves the sun .* 90 deg from the axis, behind'):
        placed(POLAR.format(0, 360.1), sun=sun_at(0.0, 0.0, latitude_deg=35.0), outline=ROUND)


def test_sun_where_it_never_stands_is_refused():
    with pytest.raises(InputError, match=r"sun\.elevation_deg = .* at declination 40\.0 deg, where it never stands"):
        placed('kind = "polar-axis"', sun=sun_at(0.0, 40.0, latitude_deg=35.0), outline=ROUND)


@pytest.mark.parametrize(
    ("time", "step_s", "expected"),
    [
        ("2026-03-20T13:07:30+01:00", 120.0, "2026-03-20T13:06:00+01:00"),
        ("2026-03-20T13:06:00+01:00", 120.0, "2026-03-20T13:06:00+01:00"),
        ("2026-03-20T13:07:30+05:30", 7200.0, "2026-03-20T12:00:00+05:30"),
        ("2026-03-20T00:00:00.300000+00:00", 0.1, "2026-03-20T00:00:00.300000+00:00"),
        ("2026-03-20T13:07:30+01:00", 86400.0, "2026-03-20T00:00:00+01:00"),
    ],
)
def test_last_step_is_counted_from_local_midnight(time, step_s, expected):
    assert last_step(datetime.fromisoformat(time), step_s=step_s) == datetime.fromisoformat(expected)


def test_a_drive_in_steps_points_where_the_sun_was_at_the_last_one():
    stepped = placed('kind = "two-axis"\nencoder_step_s = 300', sun=EQUINOX, outline=ROUND)
    then = placed('kind = "two-axis"', sun="time = 2026-03-20T13:05:00+01:00", outline=ROUND)
    now = placed('kind = "two-axis"', sun=EQUINOX, outline=ROUND)
    assert stepped.pose.rotation == pytest.approx(then.pose.rotation, abs=1e-15)
    assert stepped.pose.rotation.T @ stepped.pose.sun == pytest.approx(now.pose.rotation[2], abs=1e-15)
    moved = np.degrees(np.arccos(stepped.pose.sun[2]))
    assert moved == pytest.approx(0.25 * 2.5, rel=1e-3)  # 15 deg/h on the equator; refraction moves 1e-4 of it
    assert spot(stepped)[0] > 0.0  # the dish stays behind the sun, to the east, and so does the spot
    assert "the drive last moved at 13:05:00, 150 s before" in stepped.pose.notes[0]


def test_a_step_without_waiting_is_no_step():
    on_time = "time = 2026-03-20T13:05:00+01:00"
    stepped = placed('kind = "two-axis"\nencoder_step_s = 300', sun=on_time, outline=ROUND)
    now = placed('kind = "two-axis"', sun=on_time, outline=ROUND)
    assert stepped.pose.sun == pytest.approx([0.0, 0.0, 1.0], abs=1e-15)
    assert stepped.pose.rotation == pytest.approx(now.pose.rotation, abs=1e-15)


def test_a_step_so_long_that_the_sun_is_behind_is_refused():
    with pytest.raises(InputError, match=r"mount\.encoder_step_s = 86400 leaves the sun .*; make the step shorter"):
        placed('kind = "two-axis"\nencoder_step_s = 86400', sun=EQUINOX, outline=ROUND)


@pytest.mark.parametrize(
    ("mount", "sun", "site", "message"),
    [
        ('kind = "polar-axis"', "", True, 'mount.kind = "polar-axis" needs the direction of the sun; add sun.time'),
        (
            'kind = "stationary-focus"\nside = "low"',
            "azimuth_deg = 180\nelevation_deg = 50",
            False,
            'mount.kind = "stationary-focus" needs the latitude; add [site] with latitude_deg and longitude_deg',
        ),
        (
            'kind = "two-axis"\nencoder_step_s = 60',
            "azimuth_deg = 180\nelevation_deg = 50",
            True,
            "mount.encoder_step_s = 60 needs the time; add sun.time and [site], since steps are counted from local",
        ),
        (
            'kind = "polar-axis"\nset_declination_deg = 24',
            EQUINOX,
            True,
            "mount.set_declination_deg = 24 must be a number >= -23.5 and <= 23.5 (degrees, north positive); "
            "the sun's declination is +23.44 in June",
        ),
        (
            'kind = "polar-axis"\nside = "low"',
            EQUINOX,
            True,
            'mount.side = "low" is not a known key; it belongs to kind = "stationary-focus"',
        ),
        ('kind = "stationary-focus"', EQUINOX, True, "mount.side is missing; add it: where the focus lies"),
        (
            'kind = "stationary-focus"\nside = "left"',
            EQUINOX,
            True,
            'mount.side = "left" must be "low" or "high"',
        ),
    ],
)
def test_faults_of_the_mount_as_written(mount, sun, site, message):
    with pytest.raises(InputError) as told:
        mount_scene(mount, sun=sun, latitude_deg=35.0 if site else None)
    (line,) = str(told.value).splitlines()
    assert message in line


def test_section_with_a_hole_is_refused():
    with pytest.raises(InputError, match=r'hole_radius_m = 0.1 must be 0 with mount\.kind = "stationary-focus"'):
        mount_scene(
            'kind = "stationary-focus"\nside = "low"',
            sun=EQUINOX,
            outline='shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 2]\nhole_radius_m = 0.1',
        )


def test_defaults():
    scene = mount_scene('kind = "stationary-focus"\nside = "high"', sun=EQUINOX)
    mount = scene.mount
    assert (mount.frame, mount.clock_error_min, mount.set_declination_deg) == ("flexed", 0.0, None)
    bare = scene_from_text(
        '[sun]\ndni_w_m2 = 900\n[mount]\nkind = "two-axis"\n'
        '[dish]\nfocal_length_m = 1\nreflectance = 1\n[dish.outline]\nshape = "circle"\nradius_m = 1\n'
    )
    assert bare.mount.encoder_step_s is None
