"""The paraboloid against its textbook relations and printed tables.

Sources: focal ratio, depth, rim distance, surface and arc are closed forms of the parabola found in any
textbook on concentrators (for instance Duffie, Beckman, *Solar Engineering of Thermal Processes*, chapter 7,
from memory); the numbers were computed from them and checked by quadrature. The off-axis section is derived:
a plane cuts the paraboloid in an ellipse whose projection along the axis is a circle; its surface is checked
by an independent quadrature.
"""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish import paraboloid
from dishtrace.dish.facets import skin
from tests.support.surfaces import cap_area, meridian_arc

# rim angle in deg, f/D, depth/D, distance of the rim from the focus over f; printed to 6 decimals
BY_RIM_ANGLE = [
    (15.0, 1.898939, 0.032913, 1.017332),
    (30.0, 0.933013, 0.066987, 1.071797),
    (45.0, 0.603553, 0.103553, 1.171573),
    (60.0, 0.433013, 0.144338, 1.333333),
    (75.0, 0.325806, 0.191832, 1.588791),
    (90.0, 0.250000, 0.250000, 2.000000),
    (120.0, 0.144338, 0.433013, 4.000000),
]
# f and D in m, rim angle in deg, depth in m, aperture and surface in m2, arc from rim to rim in m
BY_SIZE = [
    (0.50, 1.0, 53.1301, 0.125000, 0.785398, 0.832611, 1.040229),
    (0.60, 1.5, 64.0108, 0.234375, 1.767146, 1.929867, 1.592608),
    (1.20, 3.0, 64.0108, 0.468750, 7.068583, 7.719466, 3.185216),
    (0.25, 1.0, 90.0000, 0.250000, 0.785398, 0.957362, 1.147794),
]


@pytest.mark.parametrize(("rim_deg", "ratio", "depth", "distance"), BY_RIM_ANGLE)
def test_dish_by_its_rim_angle(rim_deg, ratio, depth, distance):
    focal_length = 0.25 / np.tan(np.radians(0.5 * rim_deg))  # D = 1, tan(rim / 2) = D / (4 f)
    assert focal_length == pytest.approx(ratio, abs=5e-7)
    rim = outlines.circle(0.5)
    assert np.degrees(paraboloid.rim_angle(rim, focal_length=focal_length)) == pytest.approx(rim_deg, rel=1e-14)
    height = paraboloid.height(0.5, 0.0, focal_length=focal_length)
    assert height == pytest.approx(depth, abs=5e-7)
    assert np.hypot(0.5, focal_length - height) / focal_length == pytest.approx(distance, abs=5e-7)


@pytest.mark.parametrize(("focal_length", "diameter", "rim_deg", "depth", "aperture", "surface", "arc"), BY_SIZE)
def test_dish_by_its_size(focal_length, diameter, rim_deg, depth, aperture, surface, arc):
    rim = outlines.circle(0.5 * diameter)
    assert np.degrees(paraboloid.rim_angle(rim, focal_length=focal_length)) == pytest.approx(rim_deg, abs=5e-5)
    assert paraboloid.height(0.5 * diameter, 0.0, focal_length=focal_length) == pytest.approx(depth, abs=5e-7)
    assert rim.area == pytest.approx(aperture, abs=5e-7)
    assert skin(rim, focal_length=focal_length, slope=0.0).surface_areas()[0] == pytest.approx(surface, abs=5e-7)
    assert cap_area(0.5 * diameter, focal_length=focal_length) == pytest.approx(surface, abs=5e-7)
    assert 2.0 * meridian_arc(0.5 * diameter, focal_length=focal_length) == pytest.approx(arc, abs=5e-7)


def test_lateral_section():
    """f = 1, circle of radius 0.7 about (1.6, 0): printed surface 2.000942 m2, aperture 1.539380 m2."""
    section = outlines.circle(0.7, center=(1.6, 0.0))
    assert section.area == pytest.approx(1.539380, abs=5e-7)
    assert skin(section, focal_length=1.0, slope=0.0).surface_areas()[0] == pytest.approx(2.000942, abs=5e-7)
    assert np.hypot(1.6, 1.0 - paraboloid.height(1.6, 0.0, focal_length=1.0)) == pytest.approx(1.64, abs=1e-12)
    assert np.degrees(paraboloid.focus_angle(1.6, focal_length=1.0)) == pytest.approx(77.3196, abs=5e-5)
    # the plane z = -0.5175 + 0.8 x carries the rim
    rim = section.boundary(360)
    heights = paraboloid.height(rim[:, 0], rim[:, 1], focal_length=1.0)
    assert heights == pytest.approx(-0.5175 + 0.8 * rim[:, 0], abs=1e-12)
