"""Horizon and obstacles: shares against plain geometry."""

from __future__ import annotations

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.scene.read import load_scene
from dishtrace.study.day.shade import SUN_RADIUS, blocked, horizon_of, share_above
from tests.support.day_scenes import PLATE, day_scene

SQUARE = np.array(
    [[[-1.0, 2.0, -1.0], [1.0, 2.0, -1.0], [1.0, 2.0, 1.0]], [[-1.0, 2.0, -1.0], [1.0, 2.0, 1.0], [-1.0, 2.0, 1.0]]]
)


def test_disc_is_covered_bit_by_bit():
    """Half at the edge; a segment of a circle in between: at half a radius above, 1/2 + (asin 0.5 + 0.5 sqrt 0.75)/pi."""
    horizon = np.radians([[0.0, 10.0], [180.0, 10.0]])
    elevations = np.radians(10.0) + SUN_RADIUS * np.array([-2.0, -1.0, 0.0, 0.5, 1.0, 3.0])
    expected = [0.0, 0.0, 0.5, 0.5 + (np.pi / 6.0 + 0.5 * np.sqrt(0.75)) / np.pi, 1.0, 1.0]
    assert share_above(horizon, np.full(6, 1.0), elevations) == pytest.approx(expected)


def test_profile_is_straight_between_its_points_and_closed_over_north():
    """Catches a profile that ends at its last azimuth: between 270 and 90 deg over north it goes from 20 to 0."""
    horizon = np.radians([[90.0, 0.0], [270.0, 20.0]])
    for azimuth, edge in ((180.0, 10.0), (0.0, 10.0), (315.0, 15.0), (45.0, 5.0)):
        around = np.radians(edge) + SUN_RADIUS * np.array([-1.001, 1.001])
        assert share_above(horizon, np.full(2, np.radians(azimuth)), around) == pytest.approx([0.0, 1.0])


def test_half_lines_meet_what_is_ahead_alone():
    points = np.array([[0.0, 0.0, 0.0], [0.9, 0.0, 0.9], [1.1, 0.0, 0.0], [0.0, 3.0, 0.0]])
    assert blocked(points, np.array([0.0, 1.0, 0.0]), SQUARE).tolist() == [True, True, False, False]


WALL = '[[obstacle]]\nname = "wall"\nsize_m = [8.0, 0.2, 4.0]\ncenter_m = [0.0, -6.0, 2.0]\n'


def shaded(scene, date="2026-12-21"):
    found = dt.day(scene, date=date, rays=8192, zone="+00:00", step_min=15.0)
    return found, np.degrees(found.table.path.elevation), found.table.facts["shaded_share"]


def test_a_wall_to_the_south_hides_the_low_sun():
    """A wall 4 m high and 6 m away, 8 m wide, rises to atan(4 / 6.1) = 33.3 deg due south as seen from the pivot: at
    latitude 40 the winter sun (26.6 deg at noon) stays behind it and is seen past its ends only; in summer at 73 deg
    it is not in the way. Catches north for south and heights from the wall's middle."""
    found, elevation, share = shaded(day_scene(PLATE, more=WALL))
    noon = int(np.argmax(elevation))
    assert share[noon] == 1.0
    assert found.table.columns["receiver_w"][0][noon] == 0.0
    _, elevation, share = shaded(day_scene(PLATE, more=WALL), "2026-06-21")
    assert share[int(np.argmax(elevation))] == 0.0


def test_part_of_the_mirror_in_shade_is_part_of_the_light():
    """An edge through the mirror's middle: a screen west of the axis that the zenith sun is behind takes half of the
    light. Equator, equinox, noon."""
    half = '[[obstacle]]\nname = "sheet"\nsize_m = [1.0, 2.0, 0.01]\ncenter_m = [-0.5, 0.0, 3.0]\n'
    scene = day_scene(PLATE, latitude_deg=0.0, more=half)
    found = dt.day(scene, date="2026-03-20", rays=8192, zone="+00:00", step_min=2.0)
    highest = int(np.argmax(found.table.path.elevation))
    tilt = np.pi / 2.0 - found.table.path.elevation[highest]
    assert tilt < 0.005
    assert found.table.facts["shaded_share"][highest] == pytest.approx(0.5, abs=0.15)


def test_horizon_cuts_the_day_and_its_energy():
    """With hills of 30 deg all around, only steps above count; energy falls with the irradiation."""
    open_day = dt.day(day_scene(PLATE), date="2026-06-21", rays=8192, zone="+00:00")
    hills = "[horizon]\nprofile_deg = [[0, 30], [180, 30]]\n"
    found = dt.day(day_scene(PLATE, more=hills), date="2026-06-21", rays=8192, zone="+00:00")
    power, elevation = found.table.columns["receiver_w"][0], np.degrees(found.table.path.elevation)
    assert np.all(power[elevation < 28.0] == 0.0)
    assert np.all(power[elevation > 32.0] > 0.0)
    lost = open_day.energy_kwh["receiver"].value - found.energy_kwh["receiver"].value
    low = np.degrees(open_day.table.path.elevation) < 30.0
    below = float(open_day.table.columns["receiver_w"][0][low].sum() / 6000.0)
    assert lost == pytest.approx(below, rel=0.05)


def test_hills_over_all_the_sky_are_refused():
    hills = "[horizon]\nprofile_deg = [[0, 80], [180, 80]]\n"
    with pytest.raises(InputError, match="horizon hides the sun all the time"):
        dt.day(day_scene(PLATE, more=hills), date="2026-12-21", rays=8192)


def test_horizon_and_obstacles_come_from_files(tmp_path):
    (tmp_path / "hills.csv").write_text("# invented\nazimuth_deg,elevation_deg\n0,3\n180,12.5\n")
    (tmp_path / "house.obj").write_text("v 0 0 0\nv 100 0 0\nv 0 0 100\nf 1 2 3\n")
    head = '[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = 1\nreflectance = 0.9\n[dish.outline]\nshape = "circle"\nradius_m = 0.5\n'
    more = '[horizon]\nfile = "hills.csv"\n[[obstacle]]\nname = "house"\nfile = "house.obj"\nunit = "cm"\ncenter_m = [5, 0, 0]\n'
    (tmp_path / "scene.toml").write_text(head + more)
    scene = load_scene(tmp_path / "scene.toml")
    from dishtrace.study.day.shade import obstacle_triangles

    assert np.degrees(horizon_of(scene)) == pytest.approx(np.array([[0.0, 3.0], [180.0, 12.5]]))
    assert obstacle_triangles(scene)[0] == pytest.approx(np.array([[5.0, 0, 0], [6.0, 0, 0], [5.0, 0, 1.0]]))


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ("[horizon]\n", "horizon needs profile_deg or file"),
        ("[horizon]\nprofile_deg = [[0, 5]]\n", "at least 2 pairs"),
        ("[horizon]\nprofile_deg = [[0, 5], [90, 95]]\n", "elevations from 0 to 90"),
        ('[[obstacle]]\nname = "a"\ncenter_m = [0, 0, 0]\n', 'obstacle "a" needs size_m or file'),
        ('[[obstacle]]\nname = "a"\nsize_m = [1, 1, 0]\ncenter_m = [0, 0, 0]\n', "has a up that must be a number > 0"),
        ('[[obstacle]]\nname = "a"\nsize_m = [1, 1, 1]\nunit = "m"\ncenter_m = [0, 0, 0]\n', "unit.*is only for file"),
        ('[[obstacle]]\nname = "a"\nsize_m = [1, 1, 1]\n', "center_m is missing"),
    ],
)
def test_faults_of_surroundings_are_told(more, message):
    with pytest.raises(InputError, match=message):
        day_scene(more=more)
