"""Flat, bent, spherical and parent facets."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.facets import form_matrix
from dishtrace.errors import InputError
from tests.support.facet_scenes import FOCAL_LENGTH, HOLED, LATERAL, built, drawn


def sampled(facets, i, order=5):
    """Places on a facet and its unit normals there."""
    places, normals = facets.surface(i, facets.outlines[i].quadrature(order)[0])
    return places, normals / np.linalg.norm(normals, axis=1, keepdims=True)


def parent_normals(places):
    x, y = places[:, 0], places[:, 1]
    normals = np.stack([-x, -y, np.full(len(x), 2.0 * FOCAL_LENGTH)], axis=-1)
    return normals / np.linalg.norm(normals, axis=1, keepdims=True)


@pytest.mark.parametrize("outline", [HOLED, LATERAL])
@pytest.mark.parametrize(
    "lines",
    [
        'layout = "square-grid"\nsize_m = 0.2\ngap_m = 0.05\nturn_deg = 20',
        'layout = "hex-grid"\nsize_m = 0.2\ngap_m = 0.05',
        'layout = "rings"\nsize_m = 0.2\nturn_deg = 5',
        'layout = "petals"\ncount = 12\nturn_deg = 5',
        'layout = "strips"\nwidth_m = 0.2\nalong = "y"',
    ],
)
def test_parent_facets_are_pieces_of_the_parent(lines, outline):
    """Heights and normals, exactly. Fails when the quadric is taken without its uw and vw terms."""
    facets, _ = drawn(lines + '\ncurve = "parent"', outline=outline)
    for i in range(len(facets)):
        places, normals = sampled(facets, i)
        height = np.sum(places[:, :2] ** 2, axis=1) / (4.0 * FOCAL_LENGTH)
        assert np.abs(places[:, 2] - height).max() < 1e-12
        assert np.abs(normals - parent_normals(places)).max() < 1e-12


def test_flat_facets_are_flat():
    facets, _ = drawn('layout = "petals"\ncount = 8\ncurve = "flat"')
    assert not facets.quadric.any()
    places, normals = sampled(facets, 3)
    assert np.abs((places - facets.origin[3]) @ facets.axes[3, 2]).max() < 1e-15
    assert np.abs(normals - facets.axes[3, 2]).max() < 1e-15


@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_bent_petals_lie_on_the_parabola_of_their_middle_line(turn):
    """z = s^2 / (4 f), s along the middle line, whatever the place across. Fails for z = (s^2 + t^2) / (4 f)."""
    facets, _ = drawn(f'layout = "petals"\ncount = 10\nturn_deg = {turn}', outline=HOLED)
    for i in range(len(facets)):
        angle = np.radians(turn) + 2.0 * np.pi * i / 10
        places, normals = sampled(facets, i)
        s = places[:, :2] @ [np.cos(angle), np.sin(angle)]
        assert np.abs(places[:, 2] - s * s / (4.0 * FOCAL_LENGTH)).max() < 1e-12
        slope = s / (2.0 * FOCAL_LENGTH)
        wanted = np.column_stack([-slope * np.cos(angle), -slope * np.sin(angle), np.ones(len(s))])
        assert np.abs(normals - wanted / np.linalg.norm(wanted, axis=1, keepdims=True)).max() < 1e-12


@pytest.mark.parametrize("cut", ["fitted", "straight"])
@pytest.mark.parametrize(("along", "axis"), [("x", 0), ("y", 1)])
def test_bent_strips_touch_the_parent_all_along_their_middle(along, axis, cut):
    lines = f'layout = "strips"\nwidth_m = 0.05\ngap_m = 0.2\nalong = "{along}"\ncut = "{cut}"'
    facets, _ = drawn(lines, outline=LATERAL)
    for i in range(len(facets)):
        c = facets.origin[i]
        places, _ = sampled(facets, i)
        along_s, across = places[:, axis], places[:, 1 - axis]
        height = (along_s**2 + c[1 - axis] ** 2) / (4.0 * FOCAL_LENGTH)
        height += (across - c[1 - axis]) * c[1 - axis] / (2.0 * FOCAL_LENGTH)
        assert np.abs(places[:, 2] - height).max() < 1e-12


def test_bend_directions_of_a_grid():
    """A facet bent around the axis is straight towards it, and so on: second differences along plan lines."""
    for bend, straight in (("radial", "around"), ("around", "radial"), ("x", "y"), ("y", "x")):
        lines = f'layout = "square-grid"\nsize_m = 0.05\npitch_m = 0.2\ncurve = "bent"\nbend = "{bend}"'
        facets, _ = drawn(lines)
        for i in np.flatnonzero(np.hypot(*facets.origin[:, :2].T) > 0.1):
            radial = facets.origin[i, :2] / np.hypot(*facets.origin[i, :2])
            plan = {"x": [1.0, 0.0], "y": [0.0, 1.0], "radial": radial, "around": [-radial[1], radial[0]]}
            matrix = form_matrix(facets.quadric[i])
            in_plan = facets.axes[i, :, :2].T @ matrix @ facets.axes[i, :, :2]
            assert np.abs(in_plan @ plan[straight]).max() < 1e-14
            steepness = 1.0 / facets.axes[i, 2, 2]
            assert plan[bend] @ in_plan @ plan[bend] == pytest.approx(1.0 / (4.0 * FOCAL_LENGTH * steepness), rel=1e-12)


def test_circular_bend_has_its_radius():
    """Every place lies at the radius from a line square to the bend. Fails when ww is left out (a parabola)."""
    facets, _ = drawn('layout = "strips"\nwidth_m = 0.2\nradius_m = 1.5\ncut = "straight"')
    for i in range(len(facets)):
        places, normals = sampled(facets, i)
        center = facets.origin[i] + 1.5 * facets.axes[i, 2]
        from_axis = places - center
        from_axis = from_axis - np.outer(from_axis @ facets.axes[i, 1], facets.axes[i, 1])
        assert np.linalg.norm(from_axis, axis=1) == pytest.approx(1.5, rel=1e-12)
        assert np.abs(normals + from_axis / 1.5).max() < 1e-12


def test_spherical_facets_default_to_twice_their_distance_from_the_focus():
    facets, _ = drawn('layout = "hex-grid"\nsize_m = 0.1\ncurve = "spherical"', outline=LATERAL)
    for i in range(len(facets)):
        radius = 2.0 * np.linalg.norm(facets.origin[i] - [0.0, 0.0, FOCAL_LENGTH])
        places, _ = sampled(facets, i)
        center = facets.origin[i] + radius * facets.axes[i, 2]
        assert np.linalg.norm(places - center, axis=1) == pytest.approx(radius, rel=1e-12)


def test_spherical_radius_as_given():
    facets, _ = drawn('layout = "square-grid"\nsize_m = 0.1\ncurve = "spherical"\nradius_m = 2')
    assert np.allclose(facets.quadric, np.array([1, 1, 1, 0, 0, 0]) / 4.0)


def test_a_radius_below_the_reach_of_a_facet_is_refused():
    lines = 'layout = "square-grid"\nsize_m = 0.3\npitch_m = 0.4\ncurve = "spherical"\nradius_m = '
    text = r"radius_m = 0.2 makes the surface of facet \d+ end before the facet does; a larger radius"
    with pytest.raises(InputError, match=text):
        built(lines + "0.2")
    assert len(built(lines + "0.22")[0])
