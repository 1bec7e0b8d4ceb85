"""Facets one by one, from a csv file."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.outline import CIRCLE, POLYGON, RECTANGLE
from dishtrace.errors import InputError
from tests.support.facet_scenes import FOCAL_LENGTH, built, facet_scene

GOOD = """\
# invented
number,x_m,y_m,z_m,shape,size_m,vertices_m,turn_deg,curve,radius_m,bend,aim_x_m,aim_y_m,aim_z_m,slope_error_mrad,reflectance_factor
4,0.2,0,0.05,square,0.1 0.05,,0,flat,,,0,0,0,1,1
2,0.4,0,0.1,hexagon,0.1,,10,spherical,1.4,,0.01,0.02,0.03,2,0.9
7,0,0.3,0.04,trapezium,0.1 0.15 0.2,,90,bent,,around,0,0,0,0,1
9,-0.3,0,0.04,polygon,,-.1 -.1; .1 -.1; 0 .1,0,parent,,,0,0,0,0,0.5
11,0,-0.4,0.07,circle,0.1,,0,bent,2.5,y,0,0,0,0,1
"""


def listed(tmp_path, text, extra=""):
    (tmp_path / "tiles.csv").write_text(text, encoding="utf-8")
    return built(f'layout = "list"\nfile = "tiles.csv"\n{extra}', folder=tmp_path)[0]


def faults(tmp_path, text, extra=""):
    (tmp_path / "tiles.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        facet_scene(f'layout = "list"\nfile = "tiles.csv"\n{extra}', folder=tmp_path)
    return [str(fault) for fault in caught.value.faults]


def test_every_column_arrives(tmp_path):
    facets = listed(tmp_path, GOOD)
    assert facets.number.tolist() == [4, 2, 7, 9, 11]
    assert facets.origin[:, 2].tolist() == [0.05, 0.1, 0.04, 0.04, 0.07]
    assert [outline.kind for outline in facets.outlines] == [RECTANGLE, POLYGON, POLYGON, POLYGON, CIRCLE]
    areas = [0.005, np.sqrt(0.75) * 0.01, 0.025, 0.02, np.pi * 0.0025]
    assert facets.plan_areas() == pytest.approx(areas, rel=1e-12)
    assert facets.slope == pytest.approx([1e-3, 2e-3, 0.0, 0.0, 0.0])
    assert facets.brightness.tolist() == [1.0, 0.9, 1.0, 0.5, 1.0]
    assert not facets.quadric[0].any()
    assert facets.quadric[1] == pytest.approx(np.array([1, 1, 1, 0, 0, 0]) / 2.8)
    assert facets.quadric[4, 2] == pytest.approx(1.0 / 5.0)


def test_a_trapezium_widens_along_its_turn(tmp_path):
    facets = listed(tmp_path, GOOD)
    corners = facets.outlines[2].corners()
    assert np.ptp(corners[:, 0]) == pytest.approx(0.2)
    assert np.ptp(corners[corners[:, 0] > 0.0, 1]) == pytest.approx(0.15)
    assert facets.axes[2, 0, 1] > 0.9  # its u looks along y


def test_each_row_has_its_own_aim(tmp_path):
    facets = listed(tmp_path, GOOD)
    ray = np.array([0.0, 0.0, -1.0]) + 2.0 * facets.axes[:, 2, 2:] * facets.axes[:, 2]
    aims = np.array([0.0, 0.0, FOCAL_LENGTH]) + [[0, 0, 0], [0.01, 0.02, 0.03], [0, 0, 0], [0, 0, 0], [0, 0, 0]]
    path = aims - facets.origin
    assert np.linalg.norm(np.cross(path, ray), axis=1).max() < 1e-14
    assert np.all(np.sum(path * ray, axis=1) > 0.0)


def test_the_table_speaks_for_columns_that_are_not_there(tmp_path):
    text = "number,x_m,y_m\n1,0.3,0\n2,-0.3,0\n"
    extra = 'shape = "circle"\nsize_m = 0.1\ncurve = "spherical"\nradius_m = 1.5\naim_m = [0, 0, 0.1]'
    facets = listed(tmp_path, text, extra)
    assert [outline.kind for outline in facets.outlines] == [CIRCLE, CIRCLE]
    assert facets.quadric == pytest.approx(np.tile(np.array([1, 1, 1, 0, 0, 0]) / 3.0, (2, 1)))
    assert facets.origin[:, 2] == pytest.approx(0.09 / (4.0 * FOCAL_LENGTH))


def test_columns_may_stand_in_any_order_and_be_quoted(tmp_path):
    facets = listed(tmp_path, '"size_m","y_m","number","x_m"\n"0.1 0.2",0,3,0.1\n')
    assert facets.number.tolist() == [3]
    assert facets.outlines[0].extent() == pytest.approx((-0.05, 0.05, -0.1, 0.1))


def test_all_faults_of_the_rows_are_told_with_their_lines(tmp_path):
    text = """\
# invented
number,x_m,y_m,shape,size_m,curve,radius_m,slope_error_mrad
1,0.2,0,square,0.1,flat,1,1
1,0.4,,hexagon,0.1 0.2,spheric,1.4,2

7.5,0,0.3,trapezium,0.1,bent,,0
9,-0.3,0,square,0.1,flat
10,1000,nan,square,x,flat,,
"""
    assert faults(tmp_path, text) == [
        "tiles.csv:3: radius_m = 1 is not used with curve flat; empty the cell",
        "tiles.csv:4: y_m is empty; it must be a number >= -100 and <= 100 (metres); fill in the cell",
        "tiles.csv:4: curve = spheric must be flat, bent, spherical, parent, measured; did you mean spherical?",
        "tiles.csv:4: size_m = 0.1 0.2 must be 1 number for shape hexagon (metres)",
        "tiles.csv:4: number = 1 is used already (tiles.csv:3); give each facet its own number",
        "tiles.csv:6: number = 7.5 must be a whole number >= 1 and <= 1e+09",
        "tiles.csv:6: size_m = 0.1 must be 3 numbers for shape trapezium (metres); separate several by blanks",
        "tiles.csv:7: 9,-0.3,0,square,0.1,flat has 6 cells, but the header has 8; leave no hole in the table",
        "tiles.csv:8: x_m = 1000 must be a number >= -100 and <= 100 (metres); if this is in millimetres, write 1",
        "tiles.csv:8: y_m = nan must be a number >= -100 and <= 100 (metres)",
        "tiles.csv:8: slope_error_mrad is empty; it must be a number >= 0 and <= 100 (mrad); fill in the cell",
        "tiles.csv:8: size_m = x must be a number >= 0.001 and <= 100 (metres)",
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "tiles.csv: is empty; its first line names the columns: number,x_m,y_m"),
        ("# only a note\n", "tiles.csv: is empty; its first line names the columns: number,x_m,y_m"),
        ("number,x_m,y_m\n", "tiles.csv: has no rows below its header"),
        ("number,x_m\n1,0\n", "tiles.csv:1: has no column y_m; the header must name number, x_m, y_m"),
        ("number,x_m,y_m,y_m\n1,0,0,0\n", "tiles.csv:1: y_m names a column twice"),
        ("number,x_m,y_m,sizes_m\n1,0,0,0\n", "tiles.csv:1: sizes_m is not a known column; did you mean size_m?"),
        ("number,x_m,y_m,size_m\n1,0,0,1 2 3\n", "tiles.csv:2: size_m = 1 2 3 must be 1 or 2 numbers for shape square"),
        ("number,x_m,y_m\n1,0,0\n", "tiles.csv:2: size_m must be 1 or 2 numbers for shape square (metres)"),
        ("number,x_m,y_m,size_m\n1,0,5,0,1\n", "has 5 cells, but the header has 4; write decimals with a point"),
        ("number,x_m,y_m,size_m,aim_x_m\n1,0,0,1,0\n", "aim_x_m = 0 needs all of aim_x_m, aim_y_m and aim_z_m"),
        ("number,x_m,y_m,shape,vertices_m\n1,0,0,polygon,0 0; 1 1\n", "must be at least 3 corners u v; u v; u v"),
        ("number,x_m,y_m,shape,vertices_m\n1,0,0,polygon,0 0; 1 1; 1 z\n", "vertices_m = 0 0; 1 1; 1 z must be"),
        ("number,x_m,y_m,size_m,vertices_m\n1,0,0,1,0 0; 1 1; 1 0\n", "is not used with shape square; empty the cell"),
        ("number,x_m,y_m,shape,size_m\n1,0,0,polygon,1\n", "size_m = 1 is not used with shape polygon"),
    ],
)
def test_files_that_cannot_be(tmp_path, text, message):
    assert any(message in fault for fault in faults(tmp_path, text))


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(InputError, match='file = "gone.csv" does not exist; file names are relative to the scene file'):
        facet_scene('layout = "list"\nfile = "gone.csv"', folder=tmp_path)
    (tmp_path / "tiles.csv").write_bytes(b"number,x_m,y_m\n\xff")
    with pytest.raises(InputError, match="tiles.csv: holds characters that are not UTF-8; save it as UTF-8"):
        facet_scene('layout = "list"\nfile = "tiles.csv"', folder=tmp_path)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("polygon,,0 0; 0.1 0.1; 0.1 0; 0 0.1,flat,,0", "tiles.csv:2: vertices_m is no simple polygon"),
        ("square,0.3,,spherical,0.2,0", "tiles.csv:2: radius_m makes the surface of facet 5 end before the facet does"),
        ("square,0.3,,flat,,-1", r"tiles.csv:2: aim_x_m, aim_y_m, aim_z_m = \[0.0, 0.0, -1.0\] lies behind facet 5"),
        ("square,30,,flat,,0", "tiles.csv:2: size_m makes a facet that is larger than the dish"),
    ],
)
def test_rows_that_no_mirror_can_have(tmp_path, row, message):
    head = "number,x_m,y_m,aim_x_m,aim_y_m,shape,size_m,vertices_m,curve,radius_m,aim_z_m\n"
    with pytest.raises(InputError, match=message):
        listed(tmp_path, f"{head}5,0.1,0,0,0,{row}\n")
