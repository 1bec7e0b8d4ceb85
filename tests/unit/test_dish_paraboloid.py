"""The plain functions of the paraboloid."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish import paraboloid

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


def test_ray_along_the_axis_is_exact():
    origins = np.array([[0.0, 0.0, 5.0], [0.3, -0.4, 7.0], [1.2, 0.0, 2.0], [0.0, 0.0, -1.0], [0.3, 0.4, -1.0]])
    down, up = np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, 1.0])
    directions = np.array([down, down, down, up, up])
    t = paraboloid.intersect_paraboloid(origins, directions, focal_length=F)
    heights = paraboloid.height(origins[:, 0], origins[:, 1], focal_length=F)
    assert t.tolist() == pytest.approx(np.abs(origins[:, 2] - heights).tolist(), rel=1e-15)


def test_nearly_axial_ray_keeps_its_digits():
    """The textbook formula (-b + sqrt(D)) / 2a loses everything here: a = 1e-20."""
    direction = np.array([[1e-10, 0.0, -1.0]])
    t = paraboloid.intersect_paraboloid(np.array([[0.5, 0.0, 3.0]]), direction, focal_length=F)
    assert t[0] == pytest.approx(3.0 - 0.25 / (4.0 * F), abs=1e-9)


def test_misses_and_tangent_are_told_apart():
    origins = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0], [-1.0, 0.0, -1e-3], [5.0, 0.0, -1.0]])
    directions = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    assert np.isnan(paraboloid.intersect_paraboloid(origins, directions, focal_length=F)).all()
    tangent = paraboloid.intersect_paraboloid(np.array([[-1.0, 0, 0]]), np.array([[1.0, 0, 0]]), focal_length=F)
    assert tangent[0] == 1.0


def test_oblique_line_has_both_crossings():
    origins, directions = np.array([[-2.0, 0.3, 1.0]]), np.array([[1.0, 0.0, 0.0]])
    first, second = paraboloid.line_crossings(origins, directions, focal_length=F)
    half = np.sqrt(4.0 * F * 1.0 - 0.09)
    assert (first[0], second[0]) == pytest.approx((2.0 - half, 2.0 + half), rel=1e-14)
    inside = paraboloid.intersect_paraboloid(origins + [2.0, 0, 0], directions, focal_length=F)
    assert inside[0] == pytest.approx(half, rel=1e-14)


def test_ray_leaving_the_vertex_does_not_hit_it_again():
    t = paraboloid.intersect_paraboloid(np.zeros((1, 3)), np.array([[0.6, 0.0, 0.8]]), focal_length=F)
    assert t[0] == pytest.approx(4.0 * F * 0.8 / 0.36, rel=1e-14)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_bad_focal_length_is_refused(bad):
    with pytest.raises(ValueError, match=r"focal_length = .* must be > 0 and finite"):
        paraboloid.height(1.0, 0.0, focal_length=bad)


def test_annulus_is_the_difference_of_two_discs():
    whole = paraboloid.surface_area(outlines.circle(1.2), focal_length=F)
    hole = paraboloid.surface_area(outlines.circle(0.2), focal_length=F)
    ring = paraboloid.surface_area(outlines.circle(1.2, hole_radius=0.2), focal_length=F)
    assert ring == pytest.approx(whole - hole, rel=1e-14)


def test_quadrature_of_a_circle_meets_the_closed_form():
    """A circle moved by nothing to speak of takes the quadrature; the exact form is the oracle."""
    exact = paraboloid.surface_area(outlines.circle(1.2, hole_radius=0.2), focal_length=F)
    moved = outlines.circle(1.2, hole_radius=0.2, center=(1e-13, 0.0))
    assert not moved.is_centred_circle
    assert paraboloid.surface_area(moved, focal_length=F) == pytest.approx(exact, rel=1e-11)


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
    assert paraboloid.surface_area(plain, focal_length=F) == pytest.approx(exact, rel=1e-11)
    assert paraboloid.surface_area(corners, focal_length=F) == pytest.approx(exact, rel=1e-11)


def test_many_sided_polygon_tends_to_the_circle():
    """Error of a polygon with n corners on the circle falls with n^-2."""
    exact = paraboloid.surface_area(outlines.circle(1.0), focal_length=F)
    errors = []
    for n in (32, 64):
        angle = 2.0 * np.pi * np.arange(n) / n
        ring = outlines.polygon(np.stack([np.cos(angle), np.sin(angle)], axis=1))
        errors.append(exact - paraboloid.surface_area(ring, focal_length=F))
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.01)


def test_rim_angle_of_a_section_is_that_of_its_farthest_point():
    section = outlines.circle(0.7, center=(0.0, -1.6))
    assert paraboloid.rim_angle(section, focal_length=1.0) == pytest.approx(2.0 * np.arctan(2.3 / 2.0), rel=1e-14)
    low, high = paraboloid.height_range(section, focal_length=1.0)
    assert (low, high) == pytest.approx((0.9**2 / 4.0, 2.3**2 / 4.0), rel=1e-14)
    square = outlines.rectangle((1.0, 1.0))
    assert paraboloid.rim_angle(square, focal_length=1.0) == pytest.approx(2.0 * np.arctan(np.sqrt(0.5) / 2.0))
