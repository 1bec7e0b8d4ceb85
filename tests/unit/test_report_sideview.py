from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from support.fake_result import FOCAL_LENGTH, make_pose, make_result

from dishtrace.dish.outline import circle, rectangle
from dishtrace.report.sideview import facet_sections, section_lines, side_view, up_direction
from tests.support.facet_scenes import built


@pytest.fixture(scope="module")
def view():
    return side_view(make_result())


def test_up_is_up(view):
    # the dish looks 52 degrees above the horizon: its axis rises by sin 52, its y axis by cos 52
    assert view.arrows["z"][1] == pytest.approx(np.sin(np.radians(52.0)))
    assert view.arrows["y"][1] == pytest.approx(np.cos(np.radians(52.0)))
    np.testing.assert_allclose(view.arrows["x"], 0.0, atol=1e-12)
    np.testing.assert_allclose(view.arrows["sun"], view.arrows["z"])


def test_lengths_are_kept(view):
    assert np.linalg.norm(view.marks["focus"] - view.vertex) == pytest.approx(FOCAL_LENGTH)


def test_seen_from_the_east_north_is_to_the_right(view):
    # the dish faces south, so the sun is to the left and the viewer stands east
    assert view.seen_from == "seen from the east (azimuth 90°)"
    assert view.arrows["sun"][0] < 0.0


def test_vertex_and_ground_origin_share_a_mark_where_they_meet(view):
    assert set(view.marks) == {"vertex, ground origin", "focus"}
    pose = make_pose()
    pose.ground_origin = np.array([0.0, 0.4, 0.0])
    marks = side_view(SimpleNamespace(**vars(make_result()) | {"pose": pose})).marks
    assert set(marks) == {"vertex", "focus", "ground origin"}
    np.testing.assert_allclose(marks["ground origin"], 0.0, atol=1e-12)


def test_without_a_sun_direction_the_dish_frame_is_drawn():
    result = make_result()
    sun = SimpleNamespace(**vars(result.sun) | {"has_direction": False})
    pose = SimpleNamespace(rotation=np.eye(3), sun=np.array([0.0, 0.0, 1.0]), ground_origin=np.zeros(3))
    view = side_view(SimpleNamespace(**vars(result) | {"sun": sun, "pose": pose}))
    assert view.labels == ("y of the dish frame (m)", "z of the dish frame (m)")
    np.testing.assert_allclose(view.marks["focus"], [0.0, FOCAL_LENGTH])
    assert "ground origin" not in view.marks


def test_everything_but_rays_lies_within_the_limits(view):
    left, right, bottom, top = view.limits
    for points in (*view.mirror, view.rim, *(part.uv.reshape(-1, 2) for part in view.parts)):
        assert np.all((points[:, 0] > left) & (points[:, 0] < right) & (points[:, 1] > bottom) & (points[:, 1] < top))


def test_a_hole_breaks_the_section_in_two():
    lines = section_lines(circle(1.0, hole_radius=0.2), 0.9)
    assert len(lines) == 2
    for line in lines:
        np.testing.assert_allclose(line[:, 2], (line[:, 0] ** 2 + line[:, 1] ** 2) / 3.6)
        assert np.all(np.abs(line[:, 1]) >= 0.2)
    assert lines[1][-1, 1] == pytest.approx(1.0)


def test_a_lateral_section_is_cut_through_its_own_middle():
    (line,) = section_lines(rectangle((0.6, 1.0), center=(0.5, 0.8)), 0.9)
    np.testing.assert_allclose(line[:, 0], 0.5)
    assert (line[0, 1], line[-1, 1]) == pytest.approx((0.3, 1.3))


def test_facets_are_cut_where_they_stand():
    """Flat tiles in the middle column of a grid: each line lies in its tile's plane and is as long as the tile."""
    facets, _ = built('layout = "square-grid"\nsize_m = 0.1\npitch_m = 0.12')
    lines = facet_sections(facets, 0.0)
    middle = np.flatnonzero(np.abs(facets.origin[:, 0]) < 0.05)
    assert len(lines) == len(middle) > 5
    for i, line in zip(middle, lines, strict=True):
        np.testing.assert_allclose(line[:, 0], 0.0, atol=1e-12)
        np.testing.assert_allclose((line - facets.origin[i]) @ facets.axes[i, 2], 0.0, atol=1e-12)
        assert np.linalg.norm(line[-1] - line[0]) == pytest.approx(0.1, abs=4e-3)


def test_up_direction_is_the_third_column_of_the_turn():
    np.testing.assert_allclose(up_direction(make_result()), [0.0, np.cos(np.radians(52.0)), np.sin(np.radians(52.0))])
