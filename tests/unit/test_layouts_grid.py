"""Square and hexagonal grids: counts, areas, frames, numbers."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.layouts import layout_summary
from tests.support.facet_scenes import FOCAL_LENGTH, HOLED, LATERAL, built, drawn

GRIDS = ['layout = "square-grid"\nsize_m = 0.09', 'layout = "hex-grid"\nsize_m = 0.09']


def lattice(pitch, reach):
    """Whole-numbered nodes of a square lattice out to a distance."""
    n = int(reach / pitch) + 2
    return np.stack(np.meshgrid(np.arange(-n, n + 1), np.arange(-n, n + 1)), axis=-1).reshape(-1, 2)


def test_centres_are_the_nodes_inside_the_ring():
    facets, _ = drawn('layout = "square-grid"\nsize_m = 0.09\npitch_m = 0.1', outline=HOLED)
    nodes = lattice(0.1, 0.75)
    distance = np.sum(nodes**2, axis=1)
    wanted = nodes[(distance >= 1) & (distance <= 56.25)]
    assert len(facets) == len(wanted)
    found = {tuple(row) for row in np.round(facets.origin[:, :2] / 0.1).astype(int)}
    assert found == {tuple(row) for row in wanted}
    assert np.abs(facets.origin[:, :2] / 0.1 - np.round(facets.origin[:, :2] / 0.1)).max() < 1e-9


def test_pitch_may_differ_along_x_and_y_and_defaults_to_size_plus_gap():
    outline = 'shape = "rectangle"\nsize_m = [1.0, 0.6]'
    told, _ = drawn('layout = "square-grid"\nsize_m = [0.2, 0.1]\npitch_m = [0.21, 0.12]', outline=outline)
    gaps, _ = drawn('layout = "square-grid"\nsize_m = [0.2, 0.1]\ngap_m = 0.01', outline=outline)
    assert (len(told), len(gaps)) == (5 * 5, 5 * 5)
    assert np.ptp(told.origin[:, :2], axis=0) == pytest.approx([0.84, 0.48])
    assert np.ptp(gaps.origin[:, :2], axis=0) == pytest.approx([0.84, 0.44])


def test_a_node_stands_at_the_centre_of_a_lateral_section():
    for grid in GRIDS:
        facets, _ = drawn(grid + "\nturn_deg = 17", outline=LATERAL)
        assert np.hypot(*(facets.origin[:, :2] - [0.7, 0.2]).T).min() < 1e-12


def test_a_node_stands_at_the_centroid_of_a_polygon():
    corners = "[[0, 0], [1.2, 0], [1.2, 0.4], [0, 0.4]]"
    facets, _ = drawn(GRIDS[0], outline=f'shape = "polygon"\nvertices_m = {corners}')
    assert np.hypot(*(facets.origin[:, :2] - [0.6, 0.2]).T).min() < 1e-12


def test_turning_a_hexagonal_grid_by_a_sixth_changes_nothing_but_numbers():
    straight, _ = drawn(GRIDS[1])
    turned, _ = drawn(GRIDS[1] + "\nturn_deg = 60")
    order, other = (np.lexsort(np.round(f.origin[:, :2], 9).T) for f in (straight, turned))
    assert np.allclose(straight.origin[order], turned.origin[other], atol=1e-12)
    assert np.allclose(straight.axes[order, 2], turned.axes[other, 2], atol=1e-12)


def test_neighbours_of_a_honeycomb_share_their_sides():
    """A hexagon's flats face its six neighbours: at pitch = width a flat honeycomb has no gaps near the vertex."""
    facets, _ = drawn('layout = "hex-grid"\nsize_m = 0.01', outline='shape = "circle"\nradius_m = 0.02')
    distance = np.hypot(*facets.origin[:, :2].T)
    assert np.sum(np.abs(distance - 0.01) < 1e-12) == 6
    summary = layout_summary(facets, drawn(GRIDS[0])[1])
    assert summary["overlap_m2"] < 1e-9
    corners = facets.outlines[0].corners()
    assert corners[:, 0].max() == pytest.approx(0.005, abs=1e-15)


@pytest.mark.parametrize(
    ("lines", "area"),
    [
        ('layout = "square-grid"\nsize_m = 0.1', 0.01),
        ('layout = "square-grid"\nsize_m = [0.1, 0.05]', 0.005),
        ('layout = "square-grid"\nshape = "circle"\nsize_m = 0.1', np.pi * 0.0025),
        ('layout = "hex-grid"\nsize_m = 0.1', np.sqrt(0.75) * 0.01),
        ('layout = "hex-grid"\nshape = "circle"\nsize_m = 0.1', np.pi * 0.0025),
        (
            'layout = "hex-grid"\nshape = "polygon"\npitch_m = 0.11\nvertices_m = [[-0.05, 0], [0, -0.05], [0.05, 0]]',
            0.0025,
        ),
    ],
)
def test_flat_areas_are_exact(lines, area):
    facets, outline = built(lines)
    assert facets.surface_areas() == pytest.approx(area, rel=1e-12)
    assert facets.aperture_areas() == pytest.approx(area * facets.axes[:, 2, 2], rel=1e-12)
    summary = layout_summary(facets, outline)
    assert summary["mirror_m2"] == pytest.approx(area * len(facets), rel=1e-12)
    assert summary["facets"] == len(facets)
    covered = summary["aperture_m2"] - summary["overlap_m2"] - summary["overhang_m2"]
    assert summary["gaps_m2"] == pytest.approx(summary["outline_m2"] - covered, abs=2e-3)


@pytest.mark.parametrize("grid", GRIDS)
def test_frames_come_from_the_horizontal_by_the_smallest_rotation(grid):
    """A rotation is the smallest one that tilts by an angle when it is no larger than the angle: its trace is
    1 + 2 cos. Fails when frames are turned about their normal."""
    facets, _ = drawn(grid, outline=LATERAL)
    assert np.allclose(np.trace(facets.axes, axis1=1, axis2=2), 1.0 + 2.0 * facets.axes[:, 2, 2], atol=1e-14)
    identity = facets.axes @ facets.axes.transpose(0, 2, 1)
    assert np.abs(identity - np.eye(3)).max() < 1e-14
    assert np.allclose(np.linalg.det(facets.axes), 1.0)


def test_facets_stand_on_the_parent_and_touch_it():
    facets, _ = drawn(GRIDS[1], outline=LATERAL)
    x, y, z = facets.origin.T
    assert np.abs(z - (x * x + y * y) / (4.0 * FOCAL_LENGTH)).max() < 1e-15
    assert np.abs(facets.axes[:, 2, 0] / facets.axes[:, 2, 2] + x / (2.0 * FOCAL_LENGTH)).max() < 1e-14


def test_numbers_run_row_by_row():
    facets, _ = drawn('layout = "square-grid"\nsize_m = 0.4', outline='shape = "rectangle"\nsize_m = [1.2, 0.9]')
    assert facets.number.tolist() == list(range(1, 10))
    assert np.allclose(facets.origin[:, 0], [-0.4, 0, 0.4] * 3)
    assert np.allclose(facets.origin[:, 1], np.repeat([-0.4, 0, 0.4], 3))


def test_facets_cut_alike_share_one_outline():
    facets, _ = drawn(GRIDS[1])
    assert len({id(outline) for outline in facets.outlines}) == 1
