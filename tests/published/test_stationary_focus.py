"""The lateral section with a focus that stays put, against printed coefficients and a ray trace.

Sources
-------
Relations: derived from three conditions (axis to the sun, focus on the polar axis, surface through the
section's centre); the table for rho = 2 m, psi_0 = 90 deg was computed from them apart from this package.
Printed: A. Munir, O. Hensel, W. Scheffler, "Design principle and calculations of a Scheffler fixed focus
concentrator for medium temperature applications", Solar Energy 84 (2010) 1490-1502 (abstract; volume and pages
from memory): 8 m2, parabola coefficients 0.17 / 0.28 / 0.13 and y-intercepts 0 / 0.54 / -0.53 at declinations
0 / +23.5 / -23.5 deg. Its rim tilt of 43.23 deg is from memory of later papers of that group; the coefficient
0.1748 at equinox is fitted and prints as 0.17.
Curvature: abstract of "Mathematical modelling and analysis of variation in surface of solar Scheffler
concentrator for seasonal variations": changes of 22.4 and 18.2 % over the seasons for a 7 m2 reflector.
"""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish.facets import skin
from dishtrace.dish.section import mirror_of_day, rim_outline, section_about, vector_area

SYMMETRIC = section_about(2.0, focal_length=1.0)  # rho 2 m, psi_0 90 deg
# declination in deg, psi in deg, f in m, 1/(4f), tilt in deg, radii of curvature in m, cos(incidence)/equinox
BY_DECLINATION = [
    (-23.44, 66.56, 1.397789, 0.178854, -11.72, 4.78469, 3.34400, 1.18228),
    (-11.72, 78.28, 1.203129, 0.207792, -5.86, 5.15726, 3.10242, 1.09687),
    (0.0, 90.0, 1.0, 0.25, 0.0, 5.65685, 2.82843, 1.0),
    (11.72, 101.72, 0.796871, 0.313727, 5.86, 6.33696, 2.52487, 0.89268),
    (23.44, 113.44, 0.602211, 0.415137, 11.72, 7.28955, 2.19492, 0.77602),
]
# declination in deg, rms distance from the focus in m: unflexed, rim radius 0.8 m, point sun
UNFLEXED = [(10.0, 0.0537), (23.44, 0.1311), (-23.44, 0.1097)]


def tilt_from_equinox(section, declination):
    """Turn of the rim plane about the east-west axis, towards the pole, seen from the ground. [rad]"""
    turns = []
    for day in (0.0, declination):
        normal = section.axes(day)[2]
        turns.append(day + np.arctan2(normal[1], normal[2]))
    return turns[1] - turns[0]


def curvature_radii(section, declination):
    """Radii of the traced surface along the meridian and across it: near C it is w = u^2 uu + v^2 vv. [m]"""
    uu, vv, _, uv, _, _ = section.quadric(declination)
    assert uv == pytest.approx(0.0, abs=1e-16)
    return [0.5 / vv, 0.5 / uu]


@pytest.mark.parametrize(("declination", "psi", "focal", "bend", "tilt", "along", "across", "cosine"), BY_DECLINATION)
def test_seasonal_relations(declination, psi, focal, bend, tilt, along, across, cosine):
    day = np.radians(declination)
    assert np.degrees(SYMMETRIC.angle(day)) == pytest.approx(psi, abs=1e-9)
    assert SYMMETRIC.focal_length(day) == pytest.approx(focal, abs=1e-6)
    assert 0.25 / SYMMETRIC.focal_length(day) == pytest.approx(bend, abs=1e-6)
    assert np.degrees(tilt_from_equinox(SYMMETRIC, day)) == pytest.approx(tilt, abs=1e-9)
    radii = curvature_radii(SYMMETRIC, day)
    assert radii == pytest.approx([along, across], abs=6e-6)
    assert np.prod(radii) == pytest.approx(16.0, rel=1e-14)
    assert np.cos(SYMMETRIC.angle(day) / 2) / np.cos(SYMMETRIC.angle(0.0) / 2) == pytest.approx(cosine, abs=1e-5)


@pytest.mark.parametrize(
    ("declination", "coefficient", "intercept"), [(0.0, 0.17, 0.0), (23.5, 0.28, 0.54), (-23.5, 0.13, -0.53)]
)
def test_published_section_of_8_m2(declination, coefficient, intercept):
    """Printed to two digits; with psi_0 / 2 = 45 deg the summer intercept would be 0.59."""
    focal_length = 1.0 / (4.0 * 0.1748)
    section = section_about(2.0 * focal_length * np.tan(np.radians(43.23)), focal_length=focal_length)
    day = np.radians(declination)
    assert 0.25 / section.focal_length(day) == pytest.approx(coefficient, abs=0.005)
    assert focal_length - section.focal_length(day) == pytest.approx(intercept, abs=0.005)  # the vertex nears the focus


@pytest.mark.parametrize(("declination", "aperture"), [(0.0, 5.829), (23.5, 4.591), (-23.5, 6.823)])
def test_aperture_of_a_stiff_frame_of_8_m2(declination, aperture):
    """A plane rim of area A shows A cos(psi / 2) to the sun: 8 cos(43.23 deg + delta / 2)."""
    focal_length = 1.0 / (4.0 * 0.1748)
    section = section_about(2.0 * focal_length * np.tan(np.radians(43.23)), focal_length=focal_length)
    beta = 0.5 * section.equinox_angle
    radius = np.sqrt(8.0 * np.cos(beta) / np.pi)
    rim = rim_outline(outlines.circle(radius, center=(0.0, 2.0 * focal_length * np.tan(beta))), section)
    assert rim.area == pytest.approx(8.0, rel=1e-14)
    day = np.radians(declination)
    stiff = vector_area(mirror_of_day(section, rim, day, is_flexed=False, slope=0.0))
    assert stiff[2] == pytest.approx(8.0 * np.cos(0.5 * section.angle(day)), rel=1e-12)
    assert stiff[2] == pytest.approx(aperture, abs=5e-4)
    flexed = vector_area(mirror_of_day(section, rim, day, is_flexed=True, slope=0.0))
    assert flexed[2] == pytest.approx(stiff[2], rel=0.02)  # its edge leaves the plane a little


@pytest.mark.parametrize(("declination", "change"), [(23.45, -0.224), (-23.45, 0.182)])
def test_published_change_of_the_meridional_curvature(declination, change):
    along = [curvature_radii(SYMMETRIC, np.radians(day))[0] for day in (0.0, declination)]
    assert along[0] / along[1] - 1.0 == pytest.approx(change, abs=1e-3)


def test_section_cut_by_a_plane():
    """f = 1, x_c = 1.6, b = 0.7: closed forms, the surface by an independent quadrature."""
    section = section_about(1.6, focal_length=1.0)
    circle = outlines.circle(0.7, center=(0.0, 1.6))
    rim = rim_outline(circle, section)
    assert np.degrees(0.5 * section.equinox_angle) == pytest.approx(38.6598, abs=5e-5)
    assert section.distance == pytest.approx(1.64, rel=1e-15)
    assert rim.params[4:6] == pytest.approx([0.7, 0.896437], abs=1e-6)
    assert rim.area == pytest.approx(1.971369, abs=1e-6)
    mirror = mirror_of_day(section, rim, 0.0, is_flexed=True, slope=0.0)
    assert mirror.aperture_areas()[0] == pytest.approx(1.539380, abs=1e-6)
    assert mirror.surface_areas()[0] == pytest.approx(2.000942, abs=1e-6)
    whole = skin(circle, focal_length=1.0, slope=0.0)
    assert mirror.surface_areas()[0] == pytest.approx(whole.surface_areas()[0], rel=1e-9)
    places, _ = mirror.surface(0, rim.boundary(40))
    depth = (places - mirror.origin[0]) @ mirror.axes[0, 2]
    assert depth == pytest.approx(np.full(41, 0.095656), abs=1e-6)  # the rim is plane, and C the deepest point


def spot(mirror, focal_length, weights_of):
    """Rms distance from the focus of light that comes along the axis, on the plane through it square to C. [m]"""
    rim = mirror.outlines[0]
    uv, weights = rim.quadrature(30)
    places, normals = mirror.surface(0, uv)
    share = weights * weights_of.surface(0, uv)[1][:, 2]
    normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    rays = np.array([0.0, 0.0, -1.0]) + 2.0 * normals[:, 2:] * normals
    focus = np.array([0.0, 0.0, focal_length])
    square = (focus - mirror.origin[0]) / np.linalg.norm(focus - mirror.origin[0])
    hits = places + ((focus - places) @ square / (rays @ square))[:, np.newaxis] * rays - focus
    return np.sqrt(share @ np.sum(hits**2, axis=1) / share.sum())


@pytest.mark.parametrize(("declination", "rms"), UNFLEXED)
def test_spot_of_a_section_that_is_not_flexed(declination, rms):
    """Rays spread evenly over the equinox circle, as the reference trace had them, agree to its noise; rays spread
    as the sun of the day falls, to 1 %. A tilt of delta instead of delta / 2 gives ten times the spot."""
    day, rim = np.radians(declination), rim_outline(outlines.circle(0.8, center=(0.0, 2.0)), SYMMETRIC)
    equinox = mirror_of_day(SYMMETRIC, rim, 0.0, is_flexed=True, slope=0.0)
    stiff = mirror_of_day(SYMMETRIC, rim, day, is_flexed=False, slope=0.0)
    focal_length = SYMMETRIC.focal_length(day)
    assert spot(stiff, focal_length, equinox) == pytest.approx(rms, rel=3e-3)
    assert spot(stiff, focal_length, stiff) == pytest.approx(rms, rel=1e-2)
    flexed = mirror_of_day(SYMMETRIC, rim, day, is_flexed=True, slope=0.0)
    assert spot(flexed, focal_length, flexed) < 1e-14
    assert spot(equinox, 1.0, equinox) < 1e-14
