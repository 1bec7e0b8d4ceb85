"""The plain functions of the paraboloid."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish import paraboloid
from dishtrace.dish.facets import skin
from tests.support.surfaces import cap_area

F = 0.9


def test_normal_bisects_sun_and_focus():
    """An axial ray must be mirrored to the focus; fails when the normal's slope is off by any factor."""
    x, y = np.meshgrid(np.linspace(-2.0, 2.0, 9), np.linspace(-1.0, 3.0, 7))
    normal = paraboloid.normal(x, y, focal_length=F)
    point = np.stack([x, y, paraboloid.height(x, y, focal_length=F)], axis=-1)
    incoming = np.array([0.0, 0.0, -1.0])
    reflected = incoming - 2.0 * (normal @ incoming)[..., np.newaxis] * normal
    to_focus = np.array([0.0, 0.0, F]) - point
    to_focus /= np.linalg.norm(to_focus, axis=-1, keepdims=True)
    assert reflected == pytest.approx(to_focus, abs=1e-14)
    assert np.linalg.norm(normal, axis=-1) == pytest.approx(np.ones(x.shape), abs=1e-15)


def crossings(origin, direction):
    first, second = paraboloid.line_crossings(np.array([origin]), np.array([direction]), focal_length=F)
    return float(first[0]), float(second[0])


@pytest.mark.parametrize("up", [1.0, -1.0])
@pytest.mark.parametrize("origin", [(0.0, 0.0, 5.0), (0.3, -0.4, 7.0), (1.2, 0.0, 2.0), (0.3, 0.4, -1.0)])
def test_line_along_the_axis_crosses_once_and_exactly(origin, up):
    first, second = crossings(origin, (0.0, 0.0, up))
    height = paraboloid.height(*origin[:2], focal_length=F)
    assert first == pytest.approx(up * (height - origin[2]), rel=1e-15)
    assert np.isnan(second)


def test_nearly_axial_line_keeps_its_digits():
    """The textbook formula (-b + sqrt(D)) / 2a loses everything here: a = 1e-20."""
    _, second = crossings((0.5, 0.0, 3.0), (1e-10, 0.0, -1.0))
    assert second == pytest.approx(3.0 - 0.25 / (4.0 * F), abs=1e-9)


def test_misses_and_tangent_are_told_apart():
    assert np.isnan(crossings((-1.0, 0.0, -1e-3), (1.0, 0.0, 0.0))).all()
    assert np.isnan(crossings((5.0, 0.0, -1.0), (0.0, 1.0, 0.0))).all()
    assert crossings((-1.0, 0.0, 0.0), (1.0, 0.0, 0.0)) == (1.0, 1.0)


def test_oblique_line_has_both_crossings():
    half = np.sqrt(4.0 * F * 1.0 - 0.09)
    assert crossings((-2.0, 0.3, 1.0), (1.0, 0.0, 0.0)) == pytest.approx((2.0 - half, 2.0 + half), rel=1e-14)
    assert crossings((0.0, 0.3, 1.0), (1.0, 0.0, 0.0)) == pytest.approx((-half, half), rel=1e-14)


def test_line_through_the_vertex():
    assert crossings((0.0, 0.0, 0.0), (0.6, 0.0, 0.8)) == (0.0, pytest.approx(4.0 * F * 0.8 / 0.36, rel=1e-14))


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_bad_focal_length_is_refused(bad):
    with pytest.raises(ValueError, match=r"focal_length = .* must be > 0 and finite"):
        paraboloid.height(1.0, 0.0, focal_length=bad)


def area_over(outline):
    """Of one skin over an outline. [m2]"""
    return float(skin(outline, focal_length=F, slope=0.0).surface_areas()[0])


@pytest.mark.parametrize("center", [(0.0, 0.0), (1e-13, 0.0)])
def test_area_of_an_annulus_is_the_difference_of_two_caps(center):
    exact = cap_area(1.2, focal_length=F) - cap_area(0.2, focal_length=F)
    assert area_over(outlines.circle(1.2, hole_radius=0.2, center=center)) == pytest.approx(exact, rel=1e-11)


def test_polygon_and_rectangle_agree_and_meet_scipy():
    from scipy.integrate import dblquad

    plain = outlines.rectangle((2.0, 1.0), center=(0.4, -0.3))
    corners = outlines.polygon(plain.corners())
    exact = dblquad(
        lambda y, x: np.sqrt(1.0 + (x * x + y * y) / (4.0 * F * F)),
        -0.6,
        1.4,
        -0.8,
        0.2,
        epsabs=1e-13,
        epsrel=1e-13,
    )[0]
    assert area_over(plain) == pytest.approx(exact, rel=1e-11)
    assert area_over(corners) == pytest.approx(exact, rel=1e-11)


def test_many_sided_polygon_tends_to_the_circle():
    """Error of a polygon with n corners on the circle falls with n^-2."""
    exact = cap_area(1.0, focal_length=F)
    errors = []
    for n in (32, 64):
        angle = 2.0 * np.pi * np.arange(n) / n
        ring = outlines.polygon(np.stack([np.cos(angle), np.sin(angle)], axis=1))
        errors.append(exact - area_over(ring))
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.01)


def test_rim_angle_of_a_section_is_that_of_its_farthest_point():
    section = outlines.circle(0.7, center=(0.0, -1.6))
    assert paraboloid.rim_angle(section, focal_length=1.0) == pytest.approx(2.0 * np.arctan(2.3 / 2.0), rel=1e-14)
    square = outlines.rectangle((1.0, 1.0))
    assert paraboloid.rim_angle(square, focal_length=1.0) == pytest.approx(2.0 * np.arctan(np.sqrt(0.5) / 2.0))
