"""Vectors and rotations.

Planted errors that these tests catch: a left-handed frame; a rotation that takes z to the axis but is not the smallest;
the transposed rotation; 1 / (1 + z) near the singular direction -z, where it stretches.
"""

import numpy as np
import pytest

from dishtrace.vec import normalise, perpendicular_axes, rotation_to

AXES = [
    np.array(axis) / np.linalg.norm(axis)
    for axis in (
        (0.0, 0.0, 1.0),
        (0.0, 0.0, -1.0),
        (1.0, 0.0, 0.0),
        (0.0, -1.0, 0.0),
        (1.0, 2.0, 3.0),
        (-0.3, 0.2, -0.9),
        (1e-8, 0.0, -1.0),
        (1e-6, -1e-6, -1.0),
        (1e-12, 1e-12, 1.0),
        (1.0, 1.0, -0.0),
    )
]


def test_normalise_keeps_directions_and_shapes():
    given = np.array([[[3.0, 0.0, 4.0]], [[0.0, -2.0, 0.0]]])
    assert normalise(given) == pytest.approx(np.array([[[0.6, 0.0, 0.8]], [[0.0, -1.0, 0.0]]]))
    assert normalise([0, 0, 5]).tolist() == [0.0, 0.0, 1.0]


@pytest.mark.parametrize("axis", AXES)
def test_perpendicular_axes_make_a_right_handed_frame(axis):
    frame = np.stack([*perpendicular_axes(axis), axis])
    assert np.allclose(frame @ frame.T, np.eye(3), rtol=0.0, atol=1e-15)
    assert np.cross(frame[0], frame[1]) == pytest.approx(axis, abs=1e-15)


def test_perpendicular_axes_of_z_are_x_and_y():
    e1, e2 = perpendicular_axes(np.array([0.0, 0.0, 1.0]))
    assert e1.tolist() == [1.0, 0.0, 0.0]
    assert e2.tolist() == [0.0, 1.0, 0.0]


@pytest.mark.parametrize("axis", AXES)
def test_rotation_takes_z_to_the_axis(axis):
    turn = rotation_to(axis)
    assert turn @ [0.0, 0.0, 1.0] == pytest.approx(axis, abs=1e-14)
    assert np.allclose(turn @ turn.T, np.eye(3), rtol=0.0, atol=4e-15)
    assert np.linalg.det(turn) > 0.0


@pytest.mark.parametrize("axis", [axis for axis in AXES if -0.999 < axis[2] < 0.999])
def test_rotation_is_the_smallest(axis):
    """It turns about z cross axis, by the angle between them."""
    turn = rotation_to(axis)
    about = normalise(np.cross([0.0, 0.0, 1.0], axis))
    assert turn @ about == pytest.approx(about, abs=1e-15)
    assert np.trace(turn) == pytest.approx(1.0 + 2.0 * axis[2], abs=1e-14)


def test_rotation_to_minus_z_is_a_half_turn_about_x():
    assert rotation_to(np.array([0.0, 0.0, -1.0])).tolist() == np.diag([1.0, -1.0, -1.0]).tolist()
