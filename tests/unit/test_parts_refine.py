"""Splitting large triangles changes neither shape nor closedness."""

import numpy as np
import pytest

from dishtrace.parts.refine import LARGEST_BIN_M2, MOST_TRIANGLES, refine, split
from dishtrace.parts.triangles import area_vectors, areas_of, is_closed, volume

CORNERS = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
TETRAHEDRON = CORNERS[np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])]


@pytest.mark.parametrize("stretch", [(0.1, 0.1, 0.1), (0.3, 0.02, 0.1), (1.0, 2.0, 0.5)])
def test_solid_stays_closed_with_its_volume_and_fronts(stretch):
    solid = TETRAHEDRON * stretch
    fine = refine(solid)
    assert len(fine) > len(solid)
    assert is_closed(fine)
    assert volume(fine) == pytest.approx(volume(solid), rel=1e-12)
    assert areas_of(fine).sum() == pytest.approx(areas_of(solid).sum(), rel=1e-12)
    assert len(fine) <= MOST_TRIANGLES
    unit = area_vectors(fine) / areas_of(fine)[:, np.newaxis]
    faces = area_vectors(solid) / areas_of(solid)[:, np.newaxis]
    assert (unit @ faces.T).max(axis=1) == pytest.approx(np.ones(len(fine)), abs=1e-9)


def test_bins_of_a_pot_are_below_the_patch():
    assert areas_of(refine(TETRAHEDRON * 0.3)).max() <= LARGEST_BIN_M2


def test_fine_meshes_come_back_as_they_were():
    small = TETRAHEDRON * 0.01
    assert refine(small) is small


@pytest.mark.parametrize("marks", [[m & 1 > 0, m & 2 > 0, m & 4 > 0] for m in range(8)])
def test_every_pattern_of_marked_edges(marks):
    triangle = np.array([[[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [1.0, 2.0, 0.0]]])
    pieces = split(triangle, np.array([marks]))
    assert len(pieces) == 1 + sum(marks)
    assert area_vectors(pieces)[:, 2].min() > 0.0
    assert area_vectors(pieces).sum(axis=0) == pytest.approx([0.0, 0.0, 3.0])
    corners = {tuple(corner) for corner in pieces.reshape(-1, 3)}
    middles = 0.5 * (triangle[0] + np.roll(triangle[0], -1, axis=0))
    assert [tuple(middle) in corners for middle in middles] == marks
