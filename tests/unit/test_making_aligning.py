"""Targets: against mirror images and straight lines, worked out apart from the law of reflection in the package."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.layouts import designed_facets
from dishtrace.dish.outline import outline_of
from dishtrace.report.making.aligning import mark_columns, marks_of, target_sketch
from dishtrace.report.making.sketch import Label, Line
from tests.support.making_scenes import HOLLOW, PETALS, TILES, mirror_scene


def built(table, **how):
    scene = mirror_scene(table, **how)
    return designed_facets(scene, outline_of(scene))


def image_of(lamp, point, normal):
    """The lamp's mirror image in the plane through a point: light seems to come from there."""
    return lamp - 2.0 * np.dot(lamp - point, normal) * normal


@pytest.mark.parametrize("lamp", [(0.0, 0.0, 1.8), (0.4, -0.3, 3.0)])
def test_lamp_marks_lie_on_the_line_from_the_lamps_mirror_image(lamp):
    mirror, board = built(TILES), 1.5
    marks = marks_of(mirror, board_z=board, lamp=np.array(lamp))
    for place, distance, origin, normal in zip(
        marks.places, marks.distance, mirror.origin, mirror.axes[:, 2], strict=True
    ):
        image = image_of(np.array(lamp), origin, normal)
        t = (board - image[2]) / (origin[2] - image[2])
        expected = image + t * (origin - image)
        assert place == pytest.approx(expected[:2], abs=1e-12)
        assert distance == pytest.approx(np.linalg.norm(expected - origin), abs=1e-12)


@pytest.mark.parametrize("board", [0.7, 0.9, 1.3])
def test_sun_marks_lie_on_the_line_from_the_facet_to_its_aim(board):
    mirror = built(f"{TILES}\naim_m = [0.02, 0.01, 0.1]")
    marks = marks_of(mirror, board_z=board, lamp=None)
    aim = np.array([0.02, 0.01, 1.0])
    share = (board - mirror.origin[:, 2:]) / (aim[2] - mirror.origin[:, 2:])
    expected = mirror.origin + share * (aim - mirror.origin)
    assert marks.places == pytest.approx(expected[:, :2], abs=1e-12)


def test_a_lamp_at_the_centre_of_a_hollow_facet_is_imaged_on_itself():
    """Facet in the middle, sphere of 1.8 m: light from its centre returns there from every point of the rim."""
    mirror = built(HOLLOW)
    middle = int(np.argmin(np.hypot(*mirror.origin[:, :2].T)))
    marks = marks_of(mirror.taken(np.array([middle])), board_z=1.8, lamp=np.array([0.0, 0.0, 1.8]))
    assert marks.places[0] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.abs(marks.images[0]).max() < 1e-12


def test_a_petal_images_the_sun_to_a_line_across_its_middle():
    """Bent along the meridian only: at the focus its middle line meets on the axis, and no point strays along it."""
    petals = built(PETALS, outline='shape = "circle"\nradius_m = 0.7\nhole_radius_m = 0.1')
    marks = marks_of(petals.taken(np.array([0])), board_z=0.9, lamp=None)
    assert marks.places[0] == pytest.approx([0.0, 0.0], abs=1e-12)
    assert np.ptp(marks.images[0][:, 1]) > 0.1
    assert np.abs(marks.images[0][:, 0]).max() < 1e-12


def test_light_that_never_meets_the_board_has_no_mark():
    mirror = built(TILES)
    behind = marks_of(mirror, board_z=-1.0, lamp=None)
    assert not behind.is_reached.any()
    columns = mark_columns((behind,))
    assert set(columns["x_mm"]) == {""}
    assert columns["facet"] == mirror.number.tolist()
    from_behind = marks_of(mirror, board_z=1.0, lamp=np.array([0.0, 0.0, -2.0]))
    assert not from_behind.is_reached.any()


def test_the_table_tells_how_far_a_turn_moves_the_mark():
    """Turn a tile by 1 mrad about the axis square to the plane of incidence and follow its ray again."""
    mirror = built(TILES)
    marks = marks_of(mirror, board_z=0.9, lamp=None)
    moves = float(mark_columns((marks,))["moves_mm_per_mrad"][0])
    normal = mirror.axes[0, 2]
    across = np.cross(normal, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    turned = normal + 1e-3 * np.cross(across, normal)
    way_out = np.array([0.0, 0.0, -1.0]) + 2.0 * turned[2] * turned / np.dot(turned, turned)
    ray = np.array([0.0, 0.0, 0.9]) - mirror.origin[0]
    beside = np.linalg.norm(np.cross(ray, way_out / np.linalg.norm(way_out)))
    assert moves == pytest.approx(1e3 * beside, rel=1e-3)


def test_the_target_shows_every_facet_where_the_mirror_sees_it():
    mirror = built(TILES)
    marks = marks_of(mirror, board_z=1.8, lamp=np.array([0.0, 0.0, 1.8]))
    sketch = target_sketch(marks, ("title",))
    crosses = [shape for shape in sketch.shapes if isinstance(shape, Line) and shape.layer == "MARK"]
    middles = np.array([cross.points.mean(axis=0) for cross in crosses[::2]])
    for number, place in zip(mirror.number, marks.places, strict=True):
        near = np.hypot(*(middles - place * [-1e3, 1e3]).T).min()
        assert near < 0.75, number
    labels = " ".join(shape.text for shape in sketch.shapes if isinstance(shape, Label))
    assert "1800.0 mm from the vertex" in sketch.heading[-1]
    assert all(str(number) in labels.replace("-", " ") for number in (1, 2, len(mirror)))


def test_marks_that_fall_together_share_a_label():
    sketch = target_sketch(marks_of(built(TILES), board_z=0.9, lamp=None), ("title",))
    words = [shape.text for shape in sketch.shapes if isinstance(shape, Label) and shape.layer == "NUMBER"]
    assert len(words) == 1
    assert words[0].startswith("all facets (1-")
