"""Outlines: areas, moments, containment and the maps that the rays start from."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish.outline import outline_of
from dishtrace.errors import InputError
from dishtrace.scene.read import scene_from_text

ELL = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 3.0], [0.0, 3.0]])  # 2 x 1 and 1 x 2
EACH = {
    "circle": outlines.circle(1.2, center=(0.3, -0.1)),
    "annulus": outlines.circle(1.2, hole_radius=0.3, center=(0.3, -0.1)),
    "rectangle": outlines.rectangle((2.0, 0.8), center=(-0.2, 0.5)),
    "ell": outlines.polygon(ELL),
}


def test_areas_and_moments_of_plain_shapes():
    ring = EACH["annulus"]
    assert ring.area == pytest.approx(np.pi * (1.44 - 0.09), rel=1e-15)
    assert ring.hole_area == pytest.approx(np.pi * 0.09, rel=1e-15)
    moment, hole = ring.moments()
    assert moment == pytest.approx(np.pi * 1.35 * np.array([0.3, -0.1]), rel=1e-14)
    assert hole == pytest.approx(np.pi * 0.09 * np.array([0.3, -0.1]), rel=1e-14)
    assert ring.params == pytest.approx([0.3, -0.1, 1.2, 0.3, 0, 0, 0, 0])
    plain = EACH["rectangle"]
    assert plain.area == pytest.approx(1.6, rel=1e-15)
    assert plain.params == pytest.approx([-0.2, 0.5, 0, 0, 1.0, 0.4, 0, 0])
    assert plain.moments()[0] == pytest.approx([-0.32, 0.8], rel=1e-14)


def test_concave_polygon_is_exact():
    """An L of a 2 x 1 and a 1 x 2 rectangle: area 4, moments 2 (1, 0.5) + 2 (0.5, 2)."""
    ell = EACH["ell"]
    assert ell.area == pytest.approx(4.0, rel=1e-15)
    assert ell.moments()[0] == pytest.approx([3.0, 5.0], rel=1e-14)
    assert ell.center == pytest.approx([0.75, 1.25], rel=1e-14)
    assert ell.triangles.shape == (4, 3, 2)
    assert ell.triangle_cdf[-1] == 1.0
    assert np.all(np.diff(ell.triangle_cdf) > 0.0)
    assert ell.hole_area == 0.0


def test_corners_come_counter_clockwise_whatever_way_they_were_given():
    for given in (ELL, ELL[::-1], np.vstack([ELL, ELL[:1]])):
        x, y = outlines.polygon(given).vertices.T
        assert 0.5 * np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) == pytest.approx(4.0)


@pytest.mark.parametrize("name", EACH)
def test_map_lands_inside_and_preserves_area(name):
    """Means of x, y and x y over a midpoint grid against the quadrature; a map with r ~ u fails."""
    shape = EACH[name]
    n = 400
    u, v = np.meshgrid((np.arange(n) + 0.5) / n, (np.arange(n) + 0.5) / n)
    points = shape.map_unit_square(u, v)
    assert points.shape == (n, n, 2)
    assert shape.contains(points).all()
    nodes, weights = shape.quadrature(16)
    for integrand in (lambda p: p[..., 0], lambda p: p[..., 1], lambda p: p[..., 0] * p[..., 1] ** 2):
        expected = weights @ integrand(nodes) / shape.area
        assert integrand(points).mean() == pytest.approx(expected, abs=2e-3)


@pytest.mark.parametrize("name", EACH)
def test_quadrature_weights_sum_to_area_and_moments(name):
    shape = EACH[name]
    points, weights = shape.quadrature(8)
    assert weights.sum() == pytest.approx(shape.area, rel=1e-13)
    assert weights @ points == pytest.approx(shape.moments()[0], rel=1e-12)


def test_map_by_its_formulas():
    ring = outlines.circle(1.0, hole_radius=0.5, center=(2.0, 0.0))
    assert ring.map_unit_square(0.0, 0.0) == pytest.approx([2.5, 0.0])
    assert ring.map_unit_square(0.5, 0.25) == pytest.approx([2.0, np.sqrt(0.625)])
    triangle = outlines.polygon(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    a, b, c = triangle.triangles[0]
    assert triangle.map_unit_square(0.25, 0.5) == pytest.approx(0.5 * a + 0.25 * b + 0.25 * c)
    assert triangle.map_unit_square(0.0, 0.3) == pytest.approx(a)


def test_map_at_the_last_number_below_one_stays_inside():
    last = np.nextafter(1.0, 0.0)
    for shape in EACH.values():
        low, high = shape.boundary().min(axis=0) - 1e-12, shape.boundary().max(axis=0) + 1e-12
        point = shape.map_unit_square(last, last)
        assert np.all((point >= low) & (point <= high))


def test_contains():
    ring = EACH["annulus"]
    inside = ring.contains(np.array([[0.3, -0.1], [0.3, 0.19], [0.3, 0.21], [1.49, -0.1], [1.51, -0.1]]))
    assert inside.tolist() == [False, False, True, True, False]
    ell = EACH["ell"]
    inside = ell.contains(np.array([[0.5, 2.5], [1.5, 0.5], [1.5, 1.5], [-0.1, 0.5], [0.5, 3.1]]))
    assert inside.tolist() == [True, True, False, False, False]
    plain = EACH["rectangle"]
    assert plain.contains(np.array([[0.79, 0.89], [0.81, 0.5], [-0.2, 0.05]])).tolist() == [
        True,
        False,
        False,
    ]


def test_boundary_is_closed_and_has_the_corners():
    for name, shape in EACH.items():
        line = shape.boundary(100)
        assert line[0] == pytest.approx(line[-1]), name
        for corner in shape.corners():
            assert np.hypot(*(line - corner).T).min() == 0.0
    assert len(EACH["circle"].boundary(100)) == 101


def test_nearest_and_farthest_distance_from_the_axis():
    assert EACH["circle"].smallest_radius == 0.0
    assert outlines.circle(1.0, hole_radius=0.4).smallest_radius == 0.4
    assert outlines.circle(0.7, center=(1.6, 0.0)).smallest_radius == pytest.approx(0.9)
    assert outlines.rectangle((1.0, 2.0), center=(2.0, 0.0)).smallest_radius == pytest.approx(1.5)
    assert outlines.rectangle((1.0, 2.0), center=(2.0, 0.0)).largest_radius == pytest.approx(np.hypot(2.5, 1.0))
    assert outlines.polygon(ELL + 1.0).smallest_radius == pytest.approx(np.sqrt(2.0))
    assert EACH["ell"].span == 3.0
    assert EACH["circle"].span == 2.4


@pytest.mark.parametrize(
    ("vertices", "text"),
    [
        ([[0, 0], [1, 1], [1, 0], [0, 1]], "is no simple polygon"),
        ([[0, 0], [1, 1], [2, 2]], "no simple polygon|has no area"),
        ([[0, 0], [1, 1], [0, 0]], "fewer than three"),
    ],
)
def test_bad_polygons_are_refused(vertices, text):
    with pytest.raises(ValueError, match=text):
        outlines.polygon(np.array(vertices, dtype=float))


SCENE = """
title = "t"
[sun]
dni_w_m2 = 900
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
"""


def test_outline_of_a_scene():
    ring = outline_of(scene_from_text(SCENE + 'shape = "circle"\nradius_m = 1.2\nhole_radius_m = 0.1\n'))
    assert (ring.kind, ring.hole_radius) == (0, 0.1)
    plain = outline_of(scene_from_text(SCENE + 'shape = "rectangle"\nsize_m = [2, 1]\ncenter_m = [0.1, 0]\n'))
    assert (plain.kind, plain.area) == (1, 2.0)
    assert plain.center == pytest.approx([0.1, 0.0])
    shape = outline_of(scene_from_text(SCENE + 'shape = "polygon"\nvertices_m = [[0, 0], [1, 0], [0, 1]]\n'))
    assert (shape.kind, shape.area) == (2, 0.5)


def test_crossing_sides_name_file_line_and_remedy():
    text = SCENE + 'shape = "polygon"\nvertices_m = [[0, 0], [1, 1], [1, 0], [0, 1]]\n'
    with pytest.raises(InputError, match=r":10: dish\.outline\.vertices_m .*(cross|simple)"):
        outline_of(scene_from_text(text))
