"""The flat frame, shims over it, and ribs."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.layouts import designed_facets
from dishtrace.dish.outline import circle, outline_of, polygon, rectangle
from dishtrace.dish.paraboloid import normal
from dishtrace.report.making.facet_table import aim_directions, facet_columns, shim_columns
from dishtrace.report.making.frame import Frame, corners, frame_of
from dishtrace.report.making.ribs import Section, rib_columns, rib_of, run_columns
from tests.support.making_scenes import HOLLOW, PETALS, TILES, mirror_scene

LATERAL = 'shape = "circle"\nradius_m = 0.7\ncenter_m = [0.3, -1.1]'
EVEN = 'layout = "square-grid"\nsize_m = 0.2\npitch_m = 0.21'


def built(table, **how):
    scene = mirror_scene(table, **how)
    outline = outline_of(scene)
    mirror = designed_facets(scene, outline)
    focal_length = how.get("focal_length", 0.9)
    return mirror, outline, frame_of(outline, mirror, focal_length=focal_length)


def numbers(columns, key):
    return np.array([float(value) for value in columns[key]])


def test_the_frame_of_a_centred_dish_is_square_to_its_axis():
    _, _, frame = built("")
    assert frame.axes == pytest.approx(np.eye(3), abs=1e-15)
    assert frame.origin == pytest.approx(np.zeros(3), abs=1e-15)
    assert frame.tilt == 0.0


def test_the_frame_of_a_lateral_section_is_parallel_to_its_rim():
    _, outline, frame = built("", outline=LATERAL)
    rim = outline.boundary(64)
    places = frame.places(np.column_stack([rim, np.sum(rim**2, axis=1) / 3.6]))
    assert np.ptp(places[:, 2]) < 1e-12
    assert frame.axes @ frame.axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(frame.axes) == pytest.approx(1.0)
    assert frame.axes[2] == pytest.approx(normal(0.3, -1.1, focal_length=0.9))
    assert frame.points(places)[:, :2] == pytest.approx(rim, abs=1e-12)


@pytest.mark.parametrize("outline", ['shape = "rectangle"\nsize_m = [1.2, 1.2]', LATERAL], ids=["centred", "lateral"])
def test_corners_of_flat_tiles_lie_in_tangent_planes(outline):
    """A tile that sends light from the axis to the focus touches the paraboloid where its middle stands on it."""
    mirror, _, frame = built(EVEN, outline=outline)
    columns = shim_columns(mirror, frame)
    places = np.column_stack([numbers(columns, key) for key in ("frame_a_mm", "frame_b_mm", "height_mm")]) / 1e3
    points = frame.points(places)
    middles = {n: origin for n, origin in zip(mirror.number.tolist(), mirror.origin, strict=True)}
    for number, (x, y, z) in zip(columns["facet"], points, strict=True):
        x0, y0, z0 = middles[number]
        assert z0 == pytest.approx((x0**2 + y0**2) / 3.6, abs=1e-12)
        assert z == pytest.approx(z0 + ((x - x0) * x0 + (y - y0) * y0) / 1.8, abs=2e-6)
    assert places[:, 2].min() >= -1e-9
    assert columns["corner"][:4] == [1, 2, 3, 4]
    assert len(points) == 4 * len(mirror)


def test_the_frame_goes_down_to_the_lowest_corner():
    """A tile square to the axis, turned by 0.2 rad about y, hangs below the vertex by half its side times sin 0.2."""
    mirror, outline, _ = built(TILES)
    middle = mirror.taken(np.array([int(np.argmin(np.hypot(*mirror.origin[:, :2].T)))]))
    assert middle.origin[0] == pytest.approx(np.zeros(3), abs=1e-12)
    c, s = np.cos(0.2), np.sin(0.2)
    leaning = middle.turned(np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]), np.zeros(3))
    frame = frame_of(outline, leaning, focal_length=0.9)
    assert frame.origin == pytest.approx([0.0, 0.0, -0.075 * s], abs=1e-12)
    heights = frame.places(leaning.surface(0, corners(leaning.outlines[0]))[0])[:, 2]
    assert np.sort(heights) == pytest.approx([0.0, 0.0, 0.15 * s, 0.15 * s], abs=1e-12)


def test_the_facet_table_tells_place_normal_aim_and_curve():
    mirror, _, frame = built(f"{TILES}\naim_m = [0.05, 0.0, 0.1]")
    columns = facet_columns(mirror, frame, {1: "A"})
    aims = np.column_stack([numbers(columns, f"aim_{axis}") for axis in "xyz"])
    expected = np.array([0.05, 0.0, 1.0]) - mirror.origin
    assert aims == pytest.approx(expected / np.linalg.norm(expected, axis=1)[:, np.newaxis], abs=1e-6)
    assert aim_directions(mirror) == pytest.approx(aims, abs=1e-6)
    normals = np.column_stack([numbers(columns, f"normal_{axis}") for axis in "xyz"])
    assert np.degrees(np.arccos(normals[:, 2])) == pytest.approx(numbers(columns, "tilt_deg"), abs=1e-2)
    assert numbers(columns, "x_mm") == pytest.approx(1e3 * mirror.origin[:, 0], abs=1e-3)
    assert numbers(columns, "mirror_m2").sum() == pytest.approx(len(mirror) * 0.0225)
    assert set(columns["curve"]) == {"flat"}
    assert columns["cut"][:2] == ["A", ""]


def test_curves_are_told_with_their_radii():
    mirror, _, frame = built(HOLLOW)
    columns = facet_columns(mirror, frame, {})
    assert set(zip(columns["curve"], columns["radius_mm"], strict=True)) == {("hollow", "1800.00 and 1800.00")}
    petals, _, frame = built(PETALS, outline='shape = "circle"\nradius_m = 0.7\nhole_radius_m = 0.1')
    assert set(facet_columns(petals, frame, {})["curve"]) == {"bent"}


def test_corners_leave_out_the_steps_of_a_curved_edge():
    turn = np.linspace(-0.3, 0.3, 11)
    arc = np.column_stack([np.cos(turn), np.sin(turn)])
    petal = polygon(np.vstack([0.2 * arc[[0, -1]][::-1], arc]))
    assert len(corners(petal)) == 4
    box = [[-1.0, -0.5], [1.0, -0.5], [1.0, 0.5], [-1.0, 0.5]]
    assert corners(rectangle((2.0, 1.0))) == pytest.approx(np.array(box))
    assert corners(circle(0.5)) == pytest.approx(np.array([[0.5, 0.0], [0.0, 0.5], [-0.5, 0.0], [0.0, -0.5]]))


@pytest.mark.parametrize("outline", ['shape = "circle"\nradius_m = 0.8\nhole_radius_m = 0.1', LATERAL])
@pytest.mark.parametrize("section", [Section(0.0), Section(37.0, 0.21), Section(200.0, -0.4)])
def test_rib_points_lie_on_the_paraboloid_and_end_at_the_rim(outline, section):
    mirror, shape, frame = built("", outline=outline)
    rib = rib_of(section, frame, shape, None, focal_length=0.9)
    for chain in rib.stretches:
        places = frame.points(np.column_stack([section.feet(chain[:, 0]), chain[:, 1]]))
        assert places[:, 2] == pytest.approx(np.sum(places[:, :2] ** 2, axis=1) / 3.6, abs=1e-12)
        distance = np.hypot(*(places[[0, -1], :2] - shape.center).T)
        border = np.array([shape.params[2], shape.hole_radius])
        assert np.abs(distance[:, np.newaxis] - border).min(axis=1) == pytest.approx([0.0, 0.0], abs=1e-9)
        middle = 0.5 * (chain[1:] + chain[:-1])
        true = frame.parent_heights(section.feet(middle[:, 0]), focal_length=0.9)
        assert np.abs(true - middle[:, 1]).max() < 1.2e-6
    assert rib.runs == ()
    assert len(mirror) == 1


def test_a_rib_through_the_hole_has_two_stretches_and_its_lengths_are_arcs():
    mirror, outline, frame = built("", outline='shape = "circle"\nradius_m = 0.8\nhole_radius_m = 0.1')
    rib = rib_of(Section(64.0), frame, outline, None, focal_length=0.9)
    ends = [tuple(np.round(chain[[0, -1], 0], 9)) for chain in rib.stretches]
    assert ends == [(-0.8, -0.1), (0.1, 0.8)]
    table = rib_columns((rib,))
    ways, heights = numbers(table, "way_mm"), numbers(table, "height_mm")
    assert ways.tolist() == [*range(-800, -99, 50), *range(100, 801, 50)]
    assert heights == pytest.approx(ways**2 / 3600.0, abs=6e-4)


def test_a_section_beside_the_dish_has_no_stretch():
    _, outline, frame = built("")
    assert rib_of(Section(10.0, 0.81), frame, outline, None, focal_length=0.9).stretches == ()
    assert len(rib_of(Section(10.0, 0.79), frame, outline, None, focal_length=0.9).stretches) == 1


def test_facets_over_a_rib_start_and_end_at_their_edges():
    """The middle row of tiles 150 mm wide, 160 mm apart; a tile about x0 is cut out of the plane that touches there."""
    mirror, outline, frame = built(TILES)
    rib = rib_of(Section(0.0), frame, outline, mirror, focal_length=0.9)
    columns = run_columns((rib,))
    assert len(rib.runs) == sum(np.abs(mirror.origin[:, 1]) < 1e-9)
    for k, run in enumerate(rib.runs):
        x0 = mirror.origin[mirror.number == run.number][0, 0]
        slope = x0 / 1.8
        half = 0.075 / np.hypot(1.0, slope)
        assert run.curve[[0, -1], 0] == pytest.approx([x0 - half, x0 + half], abs=1e-9)
        height = x0**2 / 3.6 + slope * (run.curve[:, 0] - x0)
        assert run.curve[:, 1] == pytest.approx(height - frame.origin[2], abs=1e-12)
        assert run.over_rib == pytest.approx(-((run.curve[:, 0] - x0) ** 2) / 3.6, abs=1e-12)
        assert float(columns["over_rib_middle_mm"][k]) == pytest.approx(0.0, abs=1e-3)
    assert [float(way) for way in columns["way_start_mm"]] == sorted(float(way) for way in columns["way_start_mm"])


def test_heights_over_a_frame_agree_with_the_surface_of_every_curve():
    mirror, _, frame = built(PETALS, outline='shape = "circle"\nradius_m = 0.7\nhole_radius_m = 0.1')
    for i in (0, 5):
        places = frame.places(mirror.surface(i, mirror.outlines[i].boundary(40))[0])
        shape = {"quadric": mirror.quadric[i], "origin": mirror.origin[i], "axes": mirror.axes[i]}
        assert frame.heights(places[:, :2], **shape) == pytest.approx(places[:, 2], abs=1e-12)
    lean = Frame(np.array([0.1, 0.0, -0.2]), np.array([[0.8, 0.0, 0.6], [0.0, 1.0, 0.0], [-0.6, 0.0, 0.8]]))
    ab = np.array([[0.2, 0.1], [-0.3, 0.4]])
    points = lean.points(np.column_stack([ab, lean.parent_heights(ab, focal_length=0.9)]))
    assert points[:, 2] == pytest.approx(np.sum(points[:, :2] ** 2, axis=1) / 3.6, abs=1e-12)
