from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from support.fake_result import lump_mesh, make_part, make_result, plate_mesh, pot_mesh

from dishtrace.report import fluxmap
from dishtrace.report.layout import LEAST_BAR, SMALLEST, one_drawing, rows_of_drawings
from dishtrace.report.projection import front_most, is_hidden, lit_direction, project, three_quarter, view_axes
from dishtrace.stats import Estimate

UP = np.array([0.0, 0.0, 1.0])


def test_only_certain_flux_is_shown():
    flux = np.array([0.0, 10.0, 10.0, 10.0, 10.0])
    error = np.array([0.0, 5.0, 5.01, np.nan, np.inf])
    np.testing.assert_array_equal(fluxmap.is_certain(flux, error), [False, True, False, False, False])


def test_a_closed_part_shows_its_lit_charts_and_names_the_others():
    drawings, dark = fluxmap.panels(make_part(pot_mesh(), 60e3, 0.0), UP)
    assert [panel.title for panel in drawings] == ["bottom"]
    assert dark == ["wall, unrolled", "top"]


def test_an_open_sheet_shows_both_sides_and_the_peak_on_its_own():
    part = make_part(plate_mesh(), 9e3, 2e3)
    drawings, dark = fluxmap.panels(part, UP)
    assert [panel.title for panel in drawings] == ["front", "back"]
    assert dark == []
    assert drawings[1].peak is None
    hottest = part.mesh.charts[0].uv[np.argmax(part.sides["front"].flux_w_m2)].mean(axis=0)
    np.testing.assert_allclose(drawings[0].peak, hottest, atol=1e-12)


TURN = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
ORIGIN = np.array([0.3, -0.2, 0.7])
WEIGHTS = np.array([0.7, 0.25, 0.05])
"""Of the corners of a triangle: a place far from its middle."""


def with_peak(part, triangle, weights=WEIGHTS):
    """The part with its peak at a place in a triangle, told in a turned frame; and that place in the dish frame."""
    place = weights @ part.mesh.triangles[triangle]
    part.mesh.frame_rotation, part.mesh.frame_origin = TURN, ORIGIN
    part.peak_at_m, part.peak_triangle = TURN @ (place - ORIGIN), triangle
    return part, place


def test_the_peak_of_a_chart_stands_where_it_is_in_its_triangle():
    """Catches the middle of the triangle, corners taken in another order, and a frame turned the wrong way."""
    for part, triangle in ((make_part(plate_mesh(), 9e3, 2e3), 17), (make_part(pot_mesh(), 60e3, 0.0), 1700)):
        part, _ = with_peak(part, triangle)
        peaks = [panel.peak for panel in fluxmap.panels(part, UP)[0] if panel.peak is not None]
        chart = next(chart for chart in part.mesh.charts if triangle in chart.index)
        assert len(peaks) == 1
        np.testing.assert_allclose(peaks[0], WEIGHTS @ chart.uv[list(chart.index).index(triangle)], atol=1e-12)


@pytest.mark.parametrize(
    "weights", [WEIGHTS, np.array([0.6, 0.4, 0.0]), np.array([1.0, 0.0, 0.0]), np.array([0.7, 0.4, -0.1])]
)
def test_the_peak_of_a_view_stands_where_it_is_in_its_triangle(weights):
    """Also on an edge or a corner, where other triangles are as near, and a little beside it.

    Errors planted and caught: the middle of the triangle, a peak seen only where its own triangle is drawn last.
    """
    part = make_part(lump_mesh(), 8e4, 0.0)
    part, place = with_peak(part, part.peak_triangle, np.array(weights))
    whole, close, _ = fluxmap.panels(part, UP)[0]
    np.testing.assert_allclose(close.peak, close.window.mean(axis=0), atol=1e-12)
    lit = lit_direction(
        part.mesh.normals, part.mesh.areas, part.sides["front"].flux_w_m2, np.zeros(len(part.mesh.areas))
    )
    middle = 0.5 * (part.mesh.triangles.min(axis=(0, 1)) + part.mesh.triangles.max(axis=(0, 1)))
    expected = project(place - middle, *view_axes(three_quarter(lit, UP), UP))
    np.testing.assert_allclose(whole.peak, expected, atol=1e-12)


def test_a_closed_mesh_shows_only_what_faces_the_viewer():
    part = make_part(lump_mesh(), 8e4, 0.0)
    drawings, _ = fluxmap.panels(part, UP)
    whole = drawings[0]
    assert whole.is_view
    assert 0 < len(whole.flux) < len(part.mesh.areas)
    lit = lit_direction(
        part.mesh.normals, part.mesh.areas, part.sides["front"].flux_w_m2, np.zeros(len(part.mesh.areas))
    )
    faces = np.count_nonzero(part.mesh.normals @ three_quarter(lit, UP) > 0.0)
    assert len(whole.flux) == faces


def inside_out(mesh):
    """The same body with its fronts inward."""
    mesh.normals = -mesh.normals
    mesh.triangles = mesh.triangles[:, ::-1]
    return mesh


def test_a_closed_mesh_that_is_inside_out_shows_its_outside():
    """Its light is on the backs; showing fronts only left nothing to draw, and the colour scale without an end."""
    right = make_part(lump_mesh(), 8e4, 0.0)
    wrong = make_part(lump_mesh(), 8e4, 0.0)
    inside_out(wrong.mesh)
    wrong.sides = {"front": wrong.sides["back"], "back": wrong.sides["front"]}
    wrong.peak_side = "back"
    for panel, expected in zip(fluxmap.panels(wrong, UP)[0], fluxmap.panels(right, UP)[0], strict=True):
        np.testing.assert_allclose(panel.flux, expected.flux)
        assert (panel.peak is None) == (expected.peak is None)
    assert fluxmap.scale_of(fluxmap.panels(wrong, UP)[0]) == fluxmap.scale_of(fluxmap.panels(right, UP)[0])


def test_a_closed_mesh_always_has_a_drawing():
    """One lit triangle that all other views turn their backs on is looked at from before it."""
    part = make_part(lump_mesh(), 8e4, 0.0)
    for turned in range(0, len(part.mesh.areas), 37):
        for side, normals in (("front", part.mesh.normals), ("back", -part.mesh.normals)):
            for figures in part.sides.values():
                figures.flux_w_m2 = np.where(normals @ UP > 0.0, 1e-9, 0.0)
                figures.flux_se_w_m2 = np.full(len(part.mesh.areas), np.nan)
            part.sides[side].flux_w_m2[turned], part.sides[side].flux_se_w_m2[turned] = 5.0, 1.0
            drawings, _ = fluxmap.panels(part, UP)
            assert fluxmap.scale_of(drawings)[1] == 5.0


def test_dark_parts_cannot_be_mapped():
    result = make_result()
    assert not fluxmap.can_be_mapped(result.parts["foot"])
    assert fluxmap.can_be_mapped(result.parts["pot"])


def panel_of(flux, error, uv=None):
    uv = np.zeros((len(flux), 3, 2)) if uv is None else uv
    window = np.array([[0.0, 0.0], [1.0, 1.0]])
    ones = np.ones(len(flux))
    return fluxmap.Panel(
        "", ("", ""), uv, np.array(flux), np.array(error), ones, None, window, ones, 0.0 * ones, is_view=False
    )


def test_the_scale_turns_logarithmic_when_most_of_the_light_is_in_a_small_spot():
    assert fluxmap.scale_of([panel_of([100.0, 60.0, 50.0], [1.0, 1.0, 1.0])]) == (0.0, 100.0)
    assert fluxmap.scale_of([panel_of([100.0, 2.0, 1.0], [1.0, 0.1, 0.1])]) == (pytest.approx(0.1), 100.0)


def test_an_uncertain_triangle_does_not_set_the_scale():
    assert fluxmap.scale_of([panel_of([1000.0, 60.0, 50.0], [900.0, 1.0, 1.0])])[1] == 60.0


def test_the_typical_error_is_the_median_over_what_is_shown():
    panel = panel_of([10.0, 10.0, 10.0, 10.0, 0.0], [1.0, 2.0, 3.0, 9.0, np.nan])
    assert fluxmap.typical_error([panel]) == pytest.approx(0.2)
    assert np.isnan(fluxmap.typical_error([panel_of([0.0], [np.nan])]))


@pytest.mark.parametrize(
    ("low", "high", "levels"),
    [
        (0.0, 100.0, [20, 40, 60, 80]),
        (0.0, 9.0, [2, 4, 6, 8]),
        (0.0, 60.0, [10, 20, 30, 40, 50]),
        (0.5, 30.0, [1, 2, 5, 10, 20]),
        (0.0, 0.0, []),
    ],
)
def test_contour_levels_are_round_and_stay_below_the_top(low, high, levels):
    np.testing.assert_allclose(fluxmap.round_levels(low, high), levels)


def test_corner_values_keep_an_even_flux_and_share_corners():
    uv = plate_mesh().charts[0].uv
    corners, triangles, values = fluxmap.corner_values(panel_of(np.full(len(uv), 7.0), np.ones(len(uv)), uv))
    assert len(corners) == 25 * 17
    np.testing.assert_allclose(values, 7.0)
    np.testing.assert_allclose(corners[triangles], uv, atol=1e-8)


def test_corner_values_of_a_sloping_flux_slope_alike_inside():
    uv = plate_mesh().charts[0].uv
    flux = 100.0 + 300.0 * uv.mean(axis=1)[:, 0]
    corners, _, values = fluxmap.corner_values(panel_of(flux, np.ones(len(uv)), uv))
    inside = np.all(np.abs(corners) < [0.11, 0.07], axis=1)
    np.testing.assert_allclose(values[inside], 100.0 + 300.0 * corners[inside, 0], atol=1.0)


def test_view_axes_are_right_handed_and_keep_up_up():
    toward = np.array([0.6, 0.0, 0.8])
    right, top = view_axes(toward, UP)
    np.testing.assert_allclose(np.cross(right, top), toward, atol=1e-12)
    assert top @ UP > 0.0 and abs(right @ UP) < 1e-12
    right, top = view_axes(UP, UP)
    np.testing.assert_allclose(np.cross(right, top), UP, atol=1e-12)


def test_project_measures_along_the_axes():
    np.testing.assert_allclose(project(np.array([[1.0, 2.0, 3.0]]), np.eye(3)[1], np.eye(3)[2]), [[2.0, 3.0]])


def test_light_from_all_around_has_no_direction_of_its_own():
    normals, areas = np.array([[1.0, 0, 0], [-1.0, 0, 0]]), np.ones(2)
    np.testing.assert_array_equal(lit_direction(normals, areas, np.ones(2), np.zeros(2)), [0.0, 0.0, -1.0])
    np.testing.assert_allclose(lit_direction(normals, areas, np.array([3.0, 1.0]), np.zeros(2)), [1.0, 0.0, 0.0])
    np.testing.assert_allclose(lit_direction(normals, areas, np.zeros(2), np.array([3.0, 1.0])), [-1.0, 0.0, 0.0])


def test_the_nearest_triangle_hides_the_others():
    triangle = np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    uv = np.stack([triangle, triangle[::-1], triangle + 5.0])
    points = np.array([[0.5, 0.5], [5.5, 5.5], [3.0, 3.0]])
    np.testing.assert_array_equal(front_most(uv, np.array([1.0, 2.0, 0.0]), points), [1, 2, -1])


@pytest.mark.parametrize(
    ("depths", "is_behind"),
    [((0.0,), False), ((0.0, -1.0), False), ((1.0,), True), ((0.0, 1.0), True), ((), False)],
)
def test_a_point_is_hidden_by_what_is_nearer_and_not_by_its_own_triangle(depths, is_behind):
    corners = np.array([[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]])
    triangles = np.array([np.column_stack([corners, np.full(3, depth)]) for depth in depths]).reshape(-1, 3, 3)
    normals = np.tile([0.0, 0.0, 1.0], (len(depths), 1))
    for point in ([0.5, 0.5, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 0.0]):
        assert is_hidden(np.array(point), triangles, normals, right=np.eye(3)[0], top=np.eye(3)[1]) is is_behind
    assert not is_hidden(np.array([3.0, 3.0, 0.0]), triangles, normals, right=np.eye(3)[0], top=np.eye(3)[1])


def test_a_sloping_triangle_hides_by_its_height_at_the_point():
    """Catches the height of its middle; the same seen from its back."""
    triangle = np.array([[[0.0, 0.0, -1.0], [4.0, 0.0, 3.0], [0.0, 4.0, -1.0]]])  # z = x - 1
    for normal in (np.array([[-1.0, 0.0, 1.0]]), np.array([[1.0, 0.0, -1.0]])):
        for x, expected in ((0.5, False), (0.9, False), (1.1, True), (2.0, True)):
            point = np.array([x, 0.5, 0.0])
            seen = is_hidden(point, triangle, normal / np.sqrt(2.0), right=np.eye(3)[0], top=np.eye(3)[1])
            assert seen is expected


def test_drawings_of_one_picture_keep_one_scale_and_stay_apart():
    spans = np.array([[0.7, 0.14], [0.3, 0.3], [0.3, 0.3], [0.001, 0.001]])
    layout = rows_of_drawings(spans)
    sizes = np.array([(width * layout.size[0], height * layout.size[1]) for _, _, width, height in layout.boxes])
    np.testing.assert_allclose(sizes[:3] / spans[:3], sizes[0, 0] / spans[0, 0])
    np.testing.assert_allclose(sizes[3], SMALLEST)
    for left, bottom, width, height in (*layout.boxes, layout.bar):
        assert left > 0.0 and bottom > 0.0 and left + width < 1.0 and bottom + height < 1.0
    for number, one in enumerate(layout.boxes):
        for other in (*layout.boxes[number + 1 :], layout.bar):
            is_beside = one[0] + one[2] <= other[0] or other[0] + other[2] <= one[0]
            assert is_beside or one[1] + one[3] <= other[1] or other[1] + other[3] <= one[1]


@pytest.mark.parametrize("spans", [[[0.45, 0.04], [0.45, 0.04]], [[0.7, 0.04]], [[0.7, 0.1], [0.23, 0.1]]])
def test_low_drawings_stand_at_the_middle_of_the_lowest_bar(spans):
    """Catches a picture whose lower half is empty."""
    layout = rows_of_drawings(np.array(spans))
    _, low, _, tall = layout.bar
    assert tall * layout.size[1] == pytest.approx(LEAST_BAR)
    ends = np.array([(bottom, bottom + height) for _, bottom, _, height in layout.boxes])
    assert 0.5 * (ends.min() + ends.max()) == pytest.approx(low + 0.5 * tall)


def test_a_single_drawing_has_the_size_asked_for():
    layout = one_drawing((5.0, 4.0), has_bar=True)
    _, _, width, height = layout.boxes[0]
    assert (width * layout.size[0], height * layout.size[1]) == pytest.approx((5.0, 4.0))


def test_a_peak_of_unknown_error_is_no_obstacle():
    part = make_part(plate_mesh(), 9e3, 0.0)
    changed = SimpleNamespace(**vars(part) | {"peak_w_m2": Estimate(1.0, None)})
    assert fluxmap.panels(changed, UP)[1] == ["back"]
