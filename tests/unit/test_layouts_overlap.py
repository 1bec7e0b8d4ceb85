"""Facets that overlap, layouts that cannot be, and the figures of those that can."""

from __future__ import annotations

import re
import time

import numpy as np
import pytest
import shapely

from dishtrace.dish.layouts import layout_summary
from dishtrace.dish.layouts.overlap import footprints, outline_polygon, overlaps
from dishtrace.dish.outline import circle, ellipse, polygon
from dishtrace.errors import InputError
from tests.support.facet_scenes import HOLED, built, drawn, facet_scene


def write(folder, text):
    (folder / "tiles.csv").write_text(text, encoding="utf-8")
    return 'layout = "list"\nfile = "tiles.csv"\n'


def test_an_overlap_names_the_two_deepest_and_its_depth(tmp_path):
    """Squares of 0.1 m: 7, tilted by atan(0.096 / 1.2), and 9 share 0.05 cos + 0.05 - 0.096 = 3.84 mm; 9 and 20 share
    2 mm, and 7 and 20 a corner."""
    rows = "number,x_m,y_m,size_m\n7,-0.096,0,0.1\n9,0,0,0.1\n20,0,0.098,0.1\n"
    text = (
        "tiles.csv:3: facet 9 overlaps facet 7 (tiles.csv:2) by 3.84 mm seen along the axis (and 2 more pairs); "
        "smaller facets, or wider apart"
    )
    with pytest.raises(InputError, match=re.escape(text)):
        built(write(tmp_path, rows), folder=tmp_path)


def test_a_missing_facet_overlaps_nothing(tmp_path):
    lines = write(tmp_path, "number,x_m,y_m,size_m\n7,-0.09,0,0.1\n9,0,0,0.1\n")
    with pytest.raises(InputError, match="facet 9 overlaps facet 7"):
        built(lines, folder=tmp_path)
    assert built(lines + "missing = [9]", folder=tmp_path)[0].number.tolist() == [7]


@pytest.mark.parametrize(
    ("lines", "key"),
    [
        ('layout = "square-grid"\nsize_m = 0.1\npitch_m = 0.095', "pitch_m = 0.095"),
        ('layout = "hex-grid"\nsize_m = 0.1\npitch_m = 0.095', "pitch_m = 0.095"),
        ('layout = "rings"\nsize_m = 0.1\nshape = "square"\nradii_m = [0.1, 0.2]\ncounts = [20]', "size_m = 0.1"),
    ],
)
def test_overlaps_name_the_key_to_change(lines, key):
    with pytest.raises(InputError, match=rf"dish.facets.{key} makes facets \d+ and \d+ overlap by [\d.]+ mm"):
        built(lines)


@pytest.mark.parametrize("size", [0.1, 0.03])
@pytest.mark.parametrize("layout", ["square-grid", "hex-grid"])
def test_tiles_that_touch_are_let_pass(layout, size):
    """Flat tiles of different tilt cover each other's corners by a little, which the summary tells."""
    facets, outline = built(f'layout = "{layout}"\nsize_m = {size}', outline='shape = "circle"\nradius_m = 0.5')
    summary = layout_summary(facets, outline)
    assert 0.0 < summary["overlap_m2"] < 1e-3 * summary["aperture_m2"]


def test_depth_is_the_short_side_of_what_two_share():
    shapes = np.array([shapely.box(0, 0, 1, 1), shapely.box(0.9, 0.5, 2, 2), shapely.box(3, 0, 4, 1)], dtype=object)
    (found,) = overlaps(shapes)
    assert (found.first, found.second) == (0, 1)
    assert found.depth == pytest.approx(0.1)
    assert found.area == pytest.approx(0.05)


def test_no_facet_inside():
    lines = 'layout = "square-grid"\nsize_m = 0.3\npitch_m = 0.5'
    outline = 'shape = "circle"\nradius_m = 0.45\nhole_radius_m = 0.1'
    text = r'scene:12: dish.facets.layout = "square-grid" has no facet whose centre lies inside the outline'
    with pytest.raises(InputError, match=text):
        built(lines, outline=outline)


def test_no_listed_facet_inside(tmp_path):
    lines = write(tmp_path, "number,x_m,y_m,size_m\n1,0.8,0,0.1\n2,0,0.9,0.1\n")
    with pytest.raises(InputError, match=r'file = "tiles.csv" has no facet whose centre lies inside the outline'):
        built(lines, folder=tmp_path)


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        ('layout = "square-grid"\nsize_m = 50', r"size_m = 50 makes a facet that is larger than the dish, 1.5 m wide"),
        ('layout = "square-grid"\nsize_m = 0.001', "size_m = 0.001 makes more than 200000 facets"),
        ('layout = "square-grid"\nsize_m = 0.5\npitch_m = 0.001', "pitch_m = 0.001 makes more than 200000 facets"),
        ('layout = "rings"\nsize_m = 0.001', "size_m = 0.001 makes more than 200000 facets"),
        ('layout = "rings"\nsize_m = 0.9', "size_m = 0.9 is more than the 0.75 m between"),
        ('layout = "rings"\nsize_m = 0.1\ncounts = [8]', r"counts = \[8\] must have 7 numbers, one for each ring"),
        ('layout = "rings"\ncounts = [2, 4]', r"counts = \[2, 4\] must be at least 3 in each ring of trapezia"),
        ('layout = "rings"\ncounts = [9, 9]\ngap_m = 0.8', "gap_m = 0.8 leaves nothing of the rings"),
        ('layout = "rings"\nradii_m = [0, 0.3, 0.4, 0.7]\ncounts = [5, 9, 9]\ngap_m = 0.1', "leaves nothing of a ring"),
        ('layout = "rings"\ncounts = [90]\ngap_m = 0.1', r"gap_m = 0.1|counts = \[90\] leaves nothing of a tile"),
        ('layout = "petals"\ncount = 12\ngap_m = 0.5', "gap_m = 0.5 leaves nothing of petals 0.3882 m wide"),
        ('layout = "petals"\ncount = 12\ninner_radius_m = 0.8', r"inner_radius_m = 0.8 leaves nothing between 0.8 and"),
        ('layout = "petals"\ncount = 9\nouter_radius_m = 5', "has no facet whose centre lies inside the outline"),
        ('layout = "strips"\nwidth_m = 0.1\nradius_m = 0.3', "radius_m = 0.3 is so small that the surface ends before"),
        ('layout = "square-grid"\nshape = "polygon"\npitch_m = 0.2\nvertices_m = [[0, 0], [1, 1], [1, 0], [0, 1]]',
         r"vertices_m = .* is no simple polygon"),
    ],
)  # fmt: skip
def test_layouts_that_cannot_be(lines, text):
    with pytest.raises(InputError, match=text):
        built(lines)


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        ("size_m = 0.1", "dish.facets.layout is missing; it must be"),
        ('layout = "square-gird"\nsize_m = 0.1', 'did you mean "square-grid"?'),
        ('layout = "square-grid"', "dish.facets.size_m is missing"),
        ('layout = "square-grid"\nsize_m = -0.1', "must be a number >= 0.001 and <= 100 (metres), or [x, y]"),
        ('layout = "square-grid"\nsize_m = [0.1, 0.1, 0.1]', "size_m = [0.1, 0.1, 0.1] must be [x, y] (metres)"),
        ('layout = "square-grid"\nsize_m = nan', "size_m = nan must be a number"),
        ('layout = "square-grid"\nsize_m = 0.1\nshape = "circle"\npitch_m = 1\ngap_m = 1', "cannot stand beside gap_m"),
        ('layout = "square-grid"\nsize_m = [1, 2]\nshape = "circle"', "must be one number, the diameter, for circles"),
        ('layout = "square-grid"\nsize_m = 0.1\nradius_m = 3', 'radius_m = 3 is not used with curve = "flat"'),
        ('layout = "square-grid"\nsize_m = 0.1\ncurve = "parent"\nbend = "x"', 'bend = "x" is not used with curve'),
        ('layout = "square-grid"\nsize_m = 0.1\nvertices_m = [[0, 0], [1, 0], [1, 1]]', "is only used with polygons"),
        ('layout = "square-grid"\nshape = "polygon"\npitch_m = 1', "vertices_m is missing"),
        ('layout = "hex-grid"\nshape = "polygon"\nvertices_m = [[0, 0], [1, 0], [1, 1]]', "pitch_m is missing"),
        ('layout = "hex-grid"\nshape = "square"\nsize_m = 1', 'must be "hexagon", "circle" or "polygon"'),
        ('layout = "hex-grid"\nsize_m = 0.1\ncount = 3', 'count = 3 is not a known key; it belongs to layout'),
        ('layout = "rings"', "counts is missing; give size_m of a tile, or counts"),
        ('layout = "rings"\nshape = "square"\ncounts = [3]', "size_m is missing"),
        ('layout = "rings"\ncounts = [3, 4]\nradii_m = [0, 1]', "must have 1 numbers, one for each ring"),
        ('layout = "rings"\ncounts = [3, 4]\nradii_m = [0, 1, 0.5]', "must rise from the inside to the outside"),
        ('layout = "rings"\ncounts = [3]\nradii_m = [0]', "must have at least 2 numbers"),
        ('layout = "rings"\ncounts = []', "counts = [] must not be empty"),
        ('layout = "rings"\ncounts = [9]\nradii_m = [0, 1]\ninner_radius_m = 0.2', "cannot stand beside radii_m"),
        ('layout = "petals"\ncount = 2', "must be a whole number >= 3 and <= 1000 (petals)"),
        ('layout = "petals"\ncount = 9\ninner_radius_m = 0.5\nouter_radius_m = 0.5', "must be < outer_radius_m = 0.5"),
        ('layout = "strips"\nwidth_m = [0.1, -1]', "has a number 2 that must be a number >= 0.001"),
        ('layout = "strips"\nwidth_m = []', "width_m = [] must be a number"),
        ('layout = "list"', "dish.facets.file is missing"),
    ],
)  # fmt: skip
def test_tables_that_cannot_be(lines, text):
    with pytest.raises(InputError) as caught:
        facet_scene(lines)
    assert text in str(caught.value)


def test_summary_closes():
    """Outline = covered + gaps, with overlap and overhang counted once, against shapely's union of all facets."""
    facets, outline = built('layout = "hex-grid"\nsize_m = 0.2\ncurve = "parent"\ngap_m = 0.015', outline=HOLED)
    summary = layout_summary(facets, outline)
    union, dish = shapely.union_all(footprints(facets)), outline_polygon(outline)
    assert summary["overhang_m2"] == pytest.approx(union.difference(dish).area, abs=1e-6)
    assert summary["gaps_m2"] == pytest.approx(dish.difference(union).area, abs=1e-6)
    assert summary["outline_m2"] == pytest.approx(np.pi * (0.75**2 - 0.1**2))


@pytest.mark.parametrize(
    "outline", [circle(0.7, hole_radius=0.2, center=(1.0, 0.5)), ellipse((0.7, 0.3), center=(0.1, 0.0))]
)
def test_round_outlines_keep_their_area(outline):
    assert outline_polygon(outline).area == pytest.approx(outline.area, rel=1e-12)


def test_polygonal_outlines_are_taken_as_they_are():
    corners = np.array([[0, 0], [1, 0], [1, 1], [0.5, 0.2], [0, 1]], dtype=float)
    assert outline_polygon(polygon(corners)).area == pytest.approx(0.6, rel=1e-12)


def test_twenty_thousand_facets_in_two_seconds():
    """Best of three, since the machine may be busy."""
    scene_lines = 'layout = "hex-grid"\nsize_m = 0.01\ncurve = "spherical"\ncanting_error_mrad = 1'
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        facets, _ = built(scene_lines)
        seconds.append(time.perf_counter() - start)
    assert len(facets) > 20_000
    assert min(seconds) < 2.0


def test_drawn_mirrors_may_overlap():
    assert len(drawn('layout = "square-grid"\nsize_m = 0.1\npitch_m = 0.09')[0])
