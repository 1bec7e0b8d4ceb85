"""Measures of triangle sets on sets small enough to know by heart."""

import numpy as np
import pytest

from dishtrace.parts.triangles import area_vectors, corner_numbers, edge_faults, is_closed, volume

CORNERS = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
TETRAHEDRON = CORNERS[np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])]


def test_tetrahedron():
    assert is_closed(TETRAHEDRON)
    assert volume(TETRAHEDRON) == pytest.approx(1.0 / 6.0, rel=1e-15)
    assert volume(TETRAHEDRON + 1e6) == pytest.approx(1.0 / 6.0, rel=1e-9)  # far from the origin too
    assert volume(TETRAHEDRON[:, ::-1]) == pytest.approx(-1.0 / 6.0, rel=1e-15)
    assert area_vectors(TETRAHEDRON).sum(axis=0) == pytest.approx(np.zeros(3), abs=1e-16)


def test_missing_and_turned_triangles_are_counted_by_their_edges():
    assert edge_faults(corner_numbers(TETRAHEDRON[1:])) == (3, 0)
    turned = TETRAHEDRON.copy()
    turned[0] = turned[0, ::-1]
    assert edge_faults(corner_numbers(turned)) == (0, 3)


def test_two_solids_that_share_an_edge_are_closed():
    other = TETRAHEDRON * [
        -1.0,
        -1.0,
        1.0,
    ]  # the point mirror in x and y keeps the fronts; they share the z edge
    assert is_closed(np.concatenate([TETRAHEDRON, other]))


def test_corners_merge_within_rounding_only():
    """The shift straddles any grid of rounded coordinates; 1e-6 of the size is a real gap."""
    shaken = TETRAHEDRON.copy()
    shaken[3, 0] += 5e-10
    assert is_closed(shaken)
    shaken[3, 0] += 1e-6
    assert not is_closed(shaken)
    assert corner_numbers(TETRAHEDRON).max() == 3


def test_nothing_is_not_closed():
    assert not is_closed(np.zeros((0, 3, 3)))
