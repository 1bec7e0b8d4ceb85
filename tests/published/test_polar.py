"""Hour angle and declination against a worked example, and a clock drive against the two-axis dish."""

import numpy as np
import pytest

from dishtrace.dish.polar import HOUR_ANGLE_PER_MINUTE, hour_angle_and_declination
from dishtrace.sun.position import direction_of
from tests.support.mounts import placed, sun_at


def test_hour_angle_and_declination_of_the_solar_position_example():
    """I. Reda, A. Andreas, NREL/TP-560-34302 (2008), worked example: Golden, Colorado, 17 October 2003, 12:30:30.

    Latitude 39.742476, topocentric azimuth 194.340241 and true elevation 39.872046 deg belong to the topocentric
    hour angle 11.10629 and declination -9.316179 deg (from memory; to 1e-4 deg, as the azimuth was checked).
    """
    direction = direction_of(194.340241, 39.872046)
    found = hour_angle_and_declination(direction, latitude=np.radians(39.742476))
    assert np.degrees(found) == pytest.approx([11.10629, -9.316179], abs=1e-4)


def test_clock_turns_15_degrees_an_hour():
    assert 60.0 * np.degrees(HOUR_ANGLE_PER_MINUTE) == pytest.approx(15.0, rel=1e-15)


@pytest.mark.parametrize("latitude_deg", [52.0, 3.0, -3.0, -41.0])
def test_polar_dish_equals_the_two_axis_dish_at_equinox_noon(latitude_deg):
    sun = sun_at(0.0, 0.0, latitude_deg=latitude_deg)
    scene = {"sun": sun, "latitude_deg": latitude_deg, "outline": 'shape = "circle"\nradius_m = 0.5'}
    polar = placed('kind = "polar-axis"\nset_declination_deg = 0', **scene)
    two_axis = placed('kind = "two-axis"', **scene)
    assert polar.pose.rotation == pytest.approx(two_axis.pose.rotation, abs=1e-12)
    assert polar.pose.sun == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)
    assert polar.facets is None
    assert polar.focal_length == 1.0
