"""Planes: where rays cross them, how they are framed, and how the user's screens are placed.

Shown to fail on planted errors: front and back swapped, the end without receivers used for an opaque screen, half width
about the spot instead of about the screen's middle, a ground screen placed in the dish frame.
"""

import numpy as np
import pytest

from dishtrace.dish.mount import pose
from dishtrace.flux.planes import crossings, framed, kernel_screens, pilot_figures, spot_plane, user_planes
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.state import sun_state
from tests.support.optics import scene_text, screen_text


def legs_of(rows):
    """Legs of one block from (origin, direction, power, end, end without receivers)."""
    return np.array(
        [[[*origin, *direction, power, end, clear] for origin, direction, power, end, clear in rows]], dtype=float
    )


UP, SLANT = (0.0, 0.0, 1.0), (0.6, 0.0, 0.8)


def test_crossings_by_hand():
    plane = spot_plane("spot", focal_length=1.0, offset=0.2)
    legs = legs_of(
        [
            ((0.1, 0.0, 0.0), UP, 1.0, 9.0, 9.0),
            ((0.0, 0.3, 0.4), SLANT, 2.0, 0.5, 9.0),
            ((0.0, 0.0, 0.0), UP, 4.0, 9.0, 1.1),
            ((0.0, 0.0, 2.0), (0.0, 0.0, -1.0), 8.0, 9.0, 9.0),
            ((0.0, 0.0, 2.0), UP, 16.0, 9.0, 9.0),
        ]
    )
    places, power = crossings(plane, legs)
    # receivers are transparent to the spot; the third ends before, the fourth comes to the back, the fifth is past
    assert power.tolist() == [[1.0, 2.0, 0.0, 0.0, 0.0]]
    assert places[0, :2] == pytest.approx(np.array([[0.1, 0.0], [0.6, 0.3]]))


def test_opaque_screen_stops_at_receivers():
    (plane,) = planes_of(screen_text(offset=0.2).replace("through_receivers = true", "through_receivers = false"))
    legs = legs_of([((0.0, 0.3, 0.4), SLANT, 2.0, 0.5, 9.0), ((0.0, 0.3, 0.4), SLANT, 3.0, 1.5, 9.0)])
    assert crossings(plane, legs)[1].tolist() == [[0.0, 3.0]]


def planes_of(more, **scene):
    scene = scene_from_text(scene_text(more=more, **scene))
    return user_planes(scene, pose(scene, sun_state(scene)))


def test_screen_on_the_axis_keeps_the_dish_axes():
    (plane,) = planes_of(screen_text(offset=-0.1, half_width=0.05, radii=[0.01, 0.02]), focal_length=2.0)
    assert plane.origin == pytest.approx([0.0, 0.0, 1.9])
    assert plane.facing == pytest.approx([0.0, 0.0, -1.0])
    assert plane.axis_x == pytest.approx([1.0, 0.0, 0.0])
    assert plane.axis_y == pytest.approx([0.0, 1.0, 0.0])
    assert (plane.offset, plane.half_width, plane.radii, plane.is_clear) == (-0.1, 0.05, (0.01, 0.02), True)


def test_screen_on_the_ground_is_turned_into_the_dish_frame():
    """Sun due south at 30 deg: dish x is east, y is (0, sin 30, cos 30) and z (0, -cos 30, sin 30) in ground terms."""
    sun = "azimuth_deg = 180.0\nelevation_deg = 30.0"
    more = screen_text(center=[0.3, 0.0, 0.8], facing=[0.0, 0.0, -1.0], frame="ground")
    (plane,) = planes_of(more, sun=sun)
    assert plane.facing == pytest.approx([0.0, -np.cos(np.pi / 6), -0.5])
    assert plane.origin == pytest.approx([0.3, 0.8 * np.cos(np.pi / 6), 0.4])
    assert plane.axis_x == pytest.approx([1.0, 0.0, 0.0])
    assert plane.axis_y == pytest.approx([0.0, 0.5, -np.cos(np.pi / 6)])


def beam(center, radius, n=4000):
    """Parallel light going up, even over a disc."""
    r, turn = radius * np.sqrt((np.arange(n) + 0.5) / n), np.arange(n) * 2.399963
    return legs_of(
        [
            ((center[0] + a * np.cos(t), center[1] + a * np.sin(t), 0.0), UP, 1.0, 9.0, 9.0)
            for a, t in zip(r, turn, strict=True)
        ]
    )


def test_figures_and_frame_of_an_even_disc():
    """R50 and R99 of an even disc are sqrt(0.5) and sqrt(0.99) of its radius; the map reaches 1.3 R99 past the
    centroid."""
    legs, plane = beam((0.3, -0.5), 0.04), spot_plane("spot", focal_length=1.0, offset=0.0)
    center, r50, r99 = pilot_figures(plane, legs)
    assert center == pytest.approx([0.3, -0.5], abs=1e-4)
    assert r50 == pytest.approx(0.04 * np.sqrt(0.5), rel=2e-3)
    assert r99 == pytest.approx(0.04 * np.sqrt(0.99), rel=2e-3)
    found, middle, scale = framed(plane, legs, focal_length=1.0)
    assert found.half_width == 0.56  # 0.5 + 1.3 * 0.0398 = 0.5517, rounded up to two digits
    assert middle == pytest.approx(center)
    assert scale == r50
    given, _, _ = framed(spot_plane("spot", focal_length=1.0, offset=0.0, half_width=0.07), legs, focal_length=1.0)
    assert given.half_width == 0.07


def test_plane_without_light_is_framed_all_the_same():
    found, center, scale = framed(
        spot_plane("dark", focal_length=3.0, offset=9.5), beam((0.0, 0.0), 0.1), focal_length=3.0
    )
    assert found.half_width == pytest.approx(0.3)
    assert center.tolist() == [0.0, 0.0]
    assert scale == found.half_width


def test_kernel_screens_pad_the_radii_with_circles_that_hold_nothing():
    planes = planes_of(
        screen_text("one", offset=0.0, radii=[0.01]) + screen_text("two", offset=0.1, radii=[0.02, 0.03])
    )
    screens = kernel_screens(planes, np.zeros((2, 2)), np.ones(2))
    assert screens.radii.tolist() == [[0.01, -1.0], [0.02, 0.03]]
    assert screens.axes[0].tolist() == [1.0, 0.0, 0.0, 0.0, 1.0, 0.0]
    assert kernel_screens((), np.zeros((0, 2)), np.zeros(0)).origin.shape == (0, 3)
