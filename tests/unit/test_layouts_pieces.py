"""Rings, petals and strips: where their pieces lie, how large they are, and the gaps between them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from dishtrace.dish.facets import form_matrix
from dishtrace.dish.layouts.overlap import footprints
from dishtrace.dish.layouts.petals import SAGITTA_M, gore
from dishtrace.dish.layouts.plan import LayoutError
from dishtrace.dish.layouts.rings import trapezium_cell
from dishtrace.dish.layouts.strips import chords
from dishtrace.dish.outline import circle, ellipse, polygon, rectangle
from dishtrace.errors import InputError
from tests.support.facet_scenes import FOCAL_LENGTH, HOLED, LATERAL, built, drawn


def gore_area(inner, outer, half_angle, gap):
    """Exact area of a gore with arcs about the axis, its sides half a gap from the radii."""
    shift = 0.5 * gap
    start = max(inner, shift / np.sin(half_angle), 1e-12)
    return quad(lambda r: 2.0 * r * (half_angle - np.arcsin(shift / r)), start, outer, epsabs=1e-14)[0]


@pytest.mark.parametrize(("inner", "gap"), [(0.0, 0.0), (0.1, 0.0), (0.1, 0.01), (0.02, 0.05)])
@pytest.mark.parametrize("count", [3, 7, 24, 400])
def test_a_gore_stays_in_its_ring_and_loses_little_to_its_chords(count, inner, gap):
    """The chords may lose up to the sagitta along both arcs. Fails when the inner corners lie on the inner circle."""
    half_angle, outer = np.pi / count, 0.75
    if gap > 2.0 * outer * np.sin(half_angle):
        with pytest.raises(LayoutError, match="leaves nothing of petals 0.01178 m wide"):
            gore(inner, outer, half_angle=half_angle, gap=gap)
        return
    _, corners = gore(inner, outer, half_angle=half_angle, gap=gap)
    shape = shapely.Polygon(corners)
    assert shape.is_valid
    assert shape.exterior.is_ccw
    assert np.hypot(*corners.T).max() <= outer + 1e-12
    assert shape.distance(shapely.Point(0.0, 0.0)) >= inner - 1e-12
    sides = corners @ np.array([-np.sin(half_angle), np.cos(half_angle)])
    assert sides.max() == pytest.approx(-0.5 * gap, abs=1e-12)
    exact = gore_area(inner, outer, half_angle, gap)
    assert exact - 2.0 * half_angle * (inner + outer) * SAGITTA_M - 1e-9 < shape.area <= exact + 1e-12


@pytest.mark.parametrize("curve", ["flat", "bent", "parent"])
def test_petals_stand_above_their_gores_with_the_gap_between_them(curve):
    """Seen along the axis: equal areas, no overlap, and the gap as given but for the chords along the sides."""
    facets, _ = drawn(f'layout = "petals"\ncount = 9\ngap_m = 0.012\ncurve = "{curve}"', outline=HOLED)
    _, corners = gore(0.1, 0.75, half_angle=np.pi / 9, gap=0.012)
    area = shapely.Polygon(corners).area
    assert facets.aperture_areas() == pytest.approx(area, rel=2e-4)
    shapes = footprints(facets)
    for shape, neighbour in zip(shapes, np.roll(shapes, -1), strict=True):
        assert shape.distance(neighbour) == pytest.approx(0.012, abs=1.5e-4)


def test_petals_are_all_cut_alike():
    facets, _ = drawn('layout = "petals"\ncount = 9\nturn_deg = 13')
    assert len({id(outline) for outline in facets.outlines}) == 1
    assert np.ptp(facets.quadric, axis=0).max() < 1e-15
    azimuth = np.degrees(np.arctan2(facets.origin[:, 1], facets.origin[:, 0])) % 360.0
    assert np.allclose(azimuth, 13.0 + 40.0 * np.arange(9))
    assert np.allclose(np.hypot(*facets.origin[:, :2].T), 0.375)


def test_petal_radii_as_given():
    facets, _ = drawn('layout = "petals"\ncount = 12\ninner_radius_m = 0.2\nouter_radius_m = 0.6')
    shape = shapely.union_all(footprints(facets))
    assert shape.distance(shapely.Point(0.0, 0.0)) == pytest.approx(0.2, abs=1e-9)
    assert shapely.hausdorff_distance(shape.envelope, shapely.box(-0.6, -0.6, 0.6, 0.6)) < 2.0 * SAGITTA_M


@pytest.mark.parametrize(("gap", "count"), [(0.0, 8), (0.02, 8), (0.0, 40)])
def test_trapezia_fill_their_part_of_the_ring(gap, count):
    """Inner edge touches the inner circle, outer corners lie on the outer one, neighbours a gap apart."""
    corners = trapezium_cell(0.3, 0.5, count=count, gap=gap)
    assert np.hypot(*corners[:2].T) == pytest.approx(0.5, abs=1e-14)
    assert corners[2:, 0] == pytest.approx(0.3, abs=1e-14)
    side = np.array([-np.sin(np.pi / count), np.cos(np.pi / count)])
    assert corners[1:3] @ side == pytest.approx(-0.5 * gap, abs=1e-14)
    assert np.allclose(corners[[0, 3]], corners[[1, 2]] * [1.0, -1.0])


@pytest.mark.parametrize("curve", ["flat", "parent", "bent"])
def test_trapezia_stand_above_their_cells(curve):
    """The exact area of a trapezium in plan; flat ones to rounding, curved ones but for their edges' chords."""
    lines = 'layout = "rings"\nradii_m = [0.1, 0.4, 0.7]\ncounts = [6, 12]\ngap_m = 0.01\n'
    facets, _ = drawn(lines + f'curve = "{curve}"')
    assert len(facets) == 18
    tolerance = 1e-12 if curve == "flat" else 3e-4
    for i, (inner, outer, count) in {0: (0.1, 0.395, 6), 6: (0.405, 0.7, 12)}.items():
        half_angle = np.pi / count
        top = outer * np.cos(half_angle - np.arcsin(0.005 / outer))
        middle = 0.5 * (inner + top)
        area = 2.0 * (middle * np.tan(half_angle) - 0.005 / np.cos(half_angle)) * (top - inner)
        assert facets.aperture_areas()[i] == pytest.approx(area, rel=tolerance)


def test_true_area_of_a_bent_tile():
    """int of width times sqrt(1 + (s / 2f)^2) over its middle line, the sheet that must be bought."""
    facets, _ = drawn('layout = "rings"\nradii_m = [0.2, 0.7]\ncounts = [6]\ncurve = "bent"')
    top = 0.7 * np.cos(np.pi / 6)
    width = 2.0 * np.tan(np.pi / 6)
    area = quad(lambda s: width * s * np.sqrt(1.0 + (0.5 * s / FOCAL_LENGTH) ** 2), 0.2, top)[0]
    assert facets.surface_areas() == pytest.approx(area, rel=2e-4)


def test_rings_from_counts_share_the_radius_and_from_size_hold_whole_tiles():
    counted, _ = drawn('layout = "rings"\ncounts = [5, 10, 15]\ngap_m = 0.01', outline=HOLED)
    depth = (0.65 - 0.02) / 3
    middles = 0.1 + 0.5 * depth + np.arange(3) * (depth + 0.01)
    assert np.allclose(np.hypot(*counted.origin[:, :2].T), np.repeat(middles, [5, 10, 15]))
    sized, _ = drawn('layout = "rings"\nsize_m = [0.2, 0.1]\ngap_m = 0.01', outline=HOLED)
    middles = np.array([0.2, 0.41, 0.62])
    counts = np.round(2.0 * np.pi * middles / 0.11).astype(int)
    assert np.allclose(np.hypot(*sized.origin[:, :2].T), np.repeat(middles, counts))


@pytest.mark.parametrize("shape", ["square", "circle"])
@pytest.mark.parametrize("curve", ["flat", "parent"])
def test_as_many_tiles_as_fit_in_each_ring(shape, curve):
    """They do not overlap, and one more in any ring would: what is free around the ring is less than a tile's width."""
    lines = f'layout = "rings"\nshape = "{shape}"\nsize_m = 0.1\ncurve = "{curve}"\ninner_radius_m = 0.05'
    facets, _ = built(lines)
    radius = np.round(np.hypot(*facets.origin[:, :2].T), 9)
    for middle in np.unique(radius):
        count = int(np.sum(radius == middle))
        nearest = middle if shape == "circle" else middle - 0.05
        half = np.arcsin(0.05 / nearest) if shape == "circle" else np.arctan(0.05 / nearest)
        assert count * half <= np.pi + 1e-9 < (count + 1) * half + 2e-9


def test_ring_of_a_lateral_section_keeps_the_tiles_whose_centre_is_inside():
    facets, outline = drawn('layout = "rings"\nsize_m = 0.1', outline=LATERAL)
    assert outline.contains(facets.origin[:, :2]).all()
    assert facets.number.tolist() == list(range(1, len(facets) + 1))
    assert np.hypot(*facets.origin[:, :2].T).min() > outline.smallest_radius


@pytest.mark.parametrize("curve", ["flat", "bent", "parent", "spherical"])
def test_fitted_strips_are_rectangles_seen_along_the_axis(curve):
    facets, outline = built(f'layout = "strips"\nwidth_m = 0.1\ngap_m = 0.01\ncurve = "{curve}"')
    assert len(facets) == 13
    for i, shape in enumerate(footprints(facets)):
        y = 0.11 * (i - 6)
        half = np.sqrt(0.75**2 - y * y)
        assert shapely.hausdorff_distance(shape, shapely.box(-half, y - 0.05, half, y + 0.05)) < 2e-4
    assert facets.origin[:, 1] == pytest.approx(0.11 * np.arange(-6, 7))


def test_straight_strips_are_rectangles_in_their_own_plane():
    facets, _ = built('layout = "strips"\nwidth_m = 0.1\ngap_m = 0.03\ncut = "straight"')
    for outline, y in zip(facets.outlines, facets.origin[:, 1], strict=True):
        u0, u1, v0, v1 = outline.extent()
        assert (v0, v1) == (-0.05, 0.05)
        assert u1 - u0 == pytest.approx(2.0 * np.sqrt(0.75**2 - y * y), rel=1e-12)


def test_straight_strips_side_by_side_overlap_at_their_ends():
    with pytest.raises(InputError, match=r"width_m = 0.1 makes facets \d+ and \d+ overlap by [\d.]+ mm seen along"):
        built('layout = "strips"\nwidth_m = 0.1\ncut = "straight"')


def test_strips_of_several_widths_lie_about_the_middle():
    facets, _ = drawn('layout = "strips"\nwidth_m = [0.1, 0.2, 0.05]\ngap_m = 0.01\nalong = "y"', outline=LATERAL)
    low = 0.7 - 0.5 * 0.37
    assert facets.origin[:, 0] == pytest.approx(low + np.array([0.05, 0.21, 0.345]))
    assert facets.origin[:, 1] == pytest.approx(0.2)


def test_a_strip_across_the_hole_becomes_two():
    facets, _ = drawn('layout = "strips"\nwidth_m = 0.1\ngap_m = 0.02', outline=HOLED)
    at_middle = np.abs(facets.origin[:, 1]) < 1e-12
    assert facets.origin[at_middle, 0] == pytest.approx([-0.425, 0.425])
    assert facets.outlines[int(np.flatnonzero(at_middle)[0])].area > 0.06


def test_length_of_strips_as_given():
    facets, _ = drawn('layout = "strips"\nwidth_m = [0.1]\nlength_m = 0.5')
    assert footprints(facets)[0].bounds == pytest.approx((-0.25, -0.05, 0.25, 0.05), abs=2e-4)


def test_chords_of_outlines():
    u_shape = polygon(np.array([[0, 0], [3, 0], [3, 2], [2, 2], [2, 1], [1, 1], [1, 2], [0, 2]], dtype=float))
    assert chords(u_shape, along=0, at=1.5) == [(0.0, 1.0), (2.0, 3.0)]
    assert chords(u_shape, along=1, at=1.5) == [(0.0, 1.0)]
    assert chords(rectangle((2.0, 1.0), center=(1.0, 0.5)), along=1, at=0.25) == [(0.0, 1.0)]
    assert chords(rectangle((2.0, 1.0)), along=0, at=0.75) == []
    assert chords(circle(5.0, hole_radius=1.0), along=0, at=3.0) == [(-4.0, 4.0)]
    assert chords(circle(5.0), along=1, at=5.5) == []
    assert chords(ellipse((2.0, 1.0), center=(1.0, 0.0)), along=0, at=0.6) == [pytest.approx((-0.6, 2.6))]
    assert chords(ellipse((2.0, 1.0)), along=1, at=1.2) == [pytest.approx((-0.8, 0.8))]
    assert chords(ellipse((2.0, 1.0)), along=0, at=1.2) == []


@pytest.mark.parametrize(("along", "axis"), [("x", 0), ("y", 1)])
def test_frames_of_strips_have_v_along_their_straight_lines(along, axis):
    """In a lateral section too, so that a straight strip's ends are square to it. Fails for frames from the smallest
    rotation."""
    lines = f'layout = "strips"\nwidth_m = 0.05\ngap_m = 0.1\ncut = "straight"\nalong = "{along}"'
    facets, _ = drawn(lines, outline=LATERAL)
    assert np.abs(facets.axes[:, 1, axis]).max() < 1e-15
    for i in range(len(facets)):
        assert np.abs(form_matrix(facets.quadric[i])[1]).max() < 1e-15
    assert np.allclose(np.linalg.det(facets.axes), 1.0)
