"""DXF files read back by the library that wrote them, SVG files read as XML, PDF pages unpacked."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import ezdxf
import numpy as np
import pytest

from dishtrace.report.making.drawing_dxf import write_dxf
from dishtrace.report.making.drawing_svg import svg_text
from dishtrace.report.making.files import write_documents
from dishtrace.report.making.gather import Wishes, gather
from dishtrace.report.making.ribs import Section
from dishtrace.report.making.sketch import LAYERS, Label, Line, Round, Sketch, number_ranges, plain_text
from dishtrace.report.making.tiles_pdf import BLEED, page_count, page_name, write_tiles
from dishtrace.report.making.tiling import FOOT, MARGIN, PAPERS, tiling_of
from tests.support.making_scenes import DISCS, HOLLOW, PETALS, STRIPS, TILES, mirror_scene, pdf_pages, shoelace

RING = 'shape = "circle"\nradius_m = 0.72\nhole_radius_m = 0.08'
SVG = "{http://www.w3.org/2000/svg}"


def documents(folder, table, wishes=None, **how):
    making = gather(mirror_scene(table, **how), wishes or Wishes())
    names, notes = write_documents(making, folder, paper="a4", version="0")
    assert sorted(names) == sorted(path.name for path in folder.iterdir())
    return making, notes


def cut_area(path):
    """Area on the layer CUT of a DXF file, holes taken off. [m2]"""
    document = ezdxf.readfile(path)
    assert document.header["$INSUNITS"] == 4
    assert document.audit().errors == []
    total = 0.0
    for entity in document.modelspace().query('*[layer=="CUT"]'):
        if entity.dxftype() == "LWPOLYLINE":
            assert entity.closed
            total += abs(shoelace(np.array(list(entity.get_points("xy")))))
        elif entity.dxftype() == "CIRCLE":
            total += np.pi * entity.dxf.radius**2
        else:
            raise AssertionError(entity.dxftype())
    return total / 1e6


@pytest.mark.parametrize("table", [TILES, DISCS, PETALS, STRIPS], ids=["tiles", "discs", "petals", "strips"])
def test_the_cut_pattern_has_the_area_of_the_mirror(tmp_path, table):
    making, _ = documents(tmp_path, table, outline=RING)
    assert cut_area(tmp_path / "cutting.dxf") == pytest.approx(making.mirror.surface_areas().sum(), rel=1e-6)
    one_each = sum(kind.pattern.area for kind in making.kinds)
    assert cut_area(tmp_path / "patterns.dxf") == pytest.approx(one_each, rel=1e-9)
    polygons = ET.parse(tmp_path / "cutting.svg").getroot().find(f".//{SVG}g[@id='CUT']")
    total = 0.0
    for shape in polygons:
        if shape.tag == f"{SVG}circle":
            total += np.pi * float(shape.get("r")) ** 2
        else:
            total += abs(shoelace([[float(x) for x in pair.split(",")] for pair in shape.get("points").split()]))
    assert total / 1e6 == pytest.approx(making.mirror.surface_areas().sum(), rel=1e-6)


def test_every_facet_is_numbered_once_in_plan_and_cut_pattern(tmp_path):
    making, _ = documents(tmp_path, TILES, outline=RING)
    expected = sorted(str(number) for number in making.mirror.number)
    for name in ("plan", "cutting"):
        space = ezdxf.readfile(tmp_path / f"{name}.dxf").modelspace()
        assert sorted(text.dxf.text for text in space.query('TEXT[layer=="NUMBER"]')) == expected
        root = ET.parse(tmp_path / f"{name}.svg").getroot()
        assert sorted(text.text for text in root.find(f".//{SVG}g[@id='NUMBER-text']")) == expected


def test_plan_shows_each_facet_at_its_place(tmp_path):
    making, _ = documents(tmp_path, TILES, outline=RING)
    space = ezdxf.readfile(tmp_path / "plan.dxf").modelspace()
    rims = [np.array(list(line.get_points("xy"))) for line in space.query('LWPOLYLINE[layer=="FACET"]')]
    middles = np.array([rim.mean(axis=0) for rim in rims])
    assert middles == pytest.approx(1e3 * making.mirror.origin[:, :2], abs=1e-6)
    seen = 1e6 * making.mirror.aperture_areas()
    assert [shoelace(rim) for rim in rims] == pytest.approx(seen.tolist(), rel=1e-9)


def test_ribs_drawn_lie_on_the_parabola(tmp_path):
    documents(tmp_path, "", Wishes(sections=(Section(20.0), Section(90.0, 0.3))), outline=RING)
    space = ezdxf.readfile(tmp_path / "ribs.dxf").modelspace()
    chains = [np.array(list(line.get_points("xy"))) for line in space.query('LWPOLYLINE[layer=="RIB"]')]
    feet = sorted(next(iter(line.get_points("xy")))[1] for line in space.query('LWPOLYLINE[layer=="AXIS"]'))
    assert len(chains) == 3
    for chain, foot, aside in zip(chains, [feet[1], feet[1], feet[0]], [0.0, 0.0, 300.0], strict=True):
        assert chain[:, 1] - foot == pytest.approx((chain[:, 0] ** 2 + aside**2) / 3600.0, abs=1e-9)
    assert chains[0][[0, -1], 0] == pytest.approx([-720.0, -80.0], abs=1e-6)


def test_a_skin_has_ribs_and_plan_and_nothing_to_cut(tmp_path):
    making, _ = documents(tmp_path, "")
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["plan.dxf", "plan.svg", "ribs.csv", "ribs.dxf", "ribs.pdf", "ribs.svg"]
    assert any("no cut pattern" in note for note in making.notes)


def test_hollow_facets_get_mould_curves_instead_of_a_pattern(tmp_path):
    making, _ = documents(tmp_path, HOLLOW)
    assert not (tmp_path / "cutting.dxf").exists()
    [mould] = making.moulds
    assert mould.numbers == tuple(making.mirror.number.tolist())
    for curve in (mould.along_u, mould.along_v):
        assert curve[[0, -1], 0] == pytest.approx([-0.1, 0.1])
        assert curve[:, 1] == pytest.approx(1.8 - np.sqrt(1.8**2 - curve[:, 0] ** 2), abs=1e-12)
    assert any("No facet can be unrolled" in note for note in making.notes)
    space = ezdxf.readfile(tmp_path / "moulds.dxf").modelspace()
    assert len(space.query('LWPOLYLINE[layer=="RIB"]')) == 2


SHAPES = Sketch(
    "all",
    ('A <dish> & "more" (invented)', "Millimetres"),
    (
        Line(np.array([[0.0, 0.0], [400.0, 10.0], [200.0, 300.0]]), "CUT", True),
        Round(np.array([50.0, 60.0]), (20.0, 20.0), "CUT"),
        Round(np.array([150.0, 60.0]), (20.0, 35.0), "CUT", 0.5),
        Label("7", np.array([100.0, 100.0]), 8.0, "NUMBER", True, 30.0),
    ),
)


def test_dxf_keeps_every_shape(tmp_path):
    write_dxf(SHAPES, tmp_path / "all.dxf")
    document = ezdxf.readfile(tmp_path / "all.dxf")
    space = document.modelspace()
    [triangle] = space.query('LWPOLYLINE[layer=="CUT"]')
    assert list(triangle.get_points("xy")) == [(0.0, 0.0), (400.0, 10.0), (200.0, 300.0)]
    [ring] = space.query("CIRCLE")
    assert (ring.dxf.center.x, ring.dxf.center.y, ring.dxf.radius) == (50.0, 60.0, 20.0)
    [oval] = space.query("ELLIPSE")
    axis = oval.dxf.major_axis
    assert np.hypot(axis.x, axis.y) == pytest.approx(35.0)
    assert np.arctan2(axis.y, axis.x) == pytest.approx(0.5 + 0.5 * np.pi)
    assert oval.dxf.ratio == pytest.approx(20.0 / 35.0)
    texts = [text.dxf.text for text in space.query("TEXT")]
    assert texts == ["7", *SHAPES.heading]
    assert document.layers.get("CUT").dxf.lineweight == 25


def test_svg_is_sound_xml_at_scale_one():
    root = ET.fromstring(svg_text(SHAPES))
    _, _, width, height = (float(value) for value in root.get("viewBox").split())
    assert root.get("width") == f"{width:.3f}mm"
    assert root.get("height") == f"{height:.3f}mm"
    assert root.find(f"{SVG}title").text == SHAPES.heading[0]
    triangle = root.find(f".//{SVG}polygon")
    assert triangle.get("points") == "0.000000,0.000000 400.000000,-10.000000 200.000000,-300.000000"


def test_headings_and_layers():
    whole = SHAPES.with_heading()
    _, high = SHAPES.extent()
    added = whole.shapes[len(SHAPES.shapes) :]
    assert [label.text for label in added] == list(SHAPES.heading)
    assert all(label.place[1] > high[1] for label in added)
    assert plain_text(" two\nlines\x07 ") == "two lines"
    assert number_ranges([3, 1, 2, 9, 7, 10]) == "1-3, 7, 9-10"
    assert {shape.layer for shape in SHAPES.shapes} <= set(LAYERS)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_have_the_papers_size_and_a_bar_of_100_mm(tmp_path, paper):
    tiling = tiling_of(SHAPES, paper)
    write_tiles((SHAPES,), (tiling,), tmp_path / "all.pdf")
    sizes, texts = pdf_pages(tmp_path / "all.pdf")
    assert len(sizes) == len(texts) == page_count((tiling,)) == 1 + len(tiling.pages)
    for size in sizes:
        assert sorted(size) == pytest.approx(sorted(PAPERS[paper]), abs=1e-3)
    scale = 72.0 / 25.4
    for text in texts:
        assert f"{scale:.6f} 0 0 {scale:.6f} 0 0 cm" in text
        lines = np.array(re.findall(r"n ([\d.-]+) ([\d.-]+) m ([\d.-]+) ([\d.-]+) l S", text), dtype=float)
        lengths = np.hypot(lines[:, 2] - lines[:, 0], lines[:, 3] - lines[:, 1])
        assert np.sum(np.isclose(lengths, 100.0, atol=1e-3)) == 1


def test_registration_marks_of_neighbours_lie_on_the_same_place_of_the_drawing():
    tiling = tiling_of(SHAPES, "a4")
    assert tiling.tile == (tiling.paper[0] - 2.0 * MARGIN, tiling.paper[1] - 2.0 * MARGIN - FOOT)
    for column, row in tiling.pages:
        right_edge = tiling.low((column, row)) + [tiling.tile[0], 0.0]
        assert right_edge == pytest.approx(tiling.low((column + 1, row)), abs=1e-9)
    assert BLEED < MARGIN


def test_pages_cover_all_that_is_drawn_and_leave_out_empty_tiles():
    """A frame of lines around an empty middle: the tiles inside are not printed, every point of the frame is."""
    side = 1500.0
    frame = Line(np.array([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]]), "CUT", True)
    guide = Line(np.array([[0.0, 0.5 * side], [side, 0.5 * side]]), "AXIS")
    tiling = tiling_of(Sketch("frame", ("t",), (frame, guide)), "a4")
    assert 0 < len(tiling.pages) < tiling.columns * tiling.rows
    t = np.linspace(0.0, side, 3001)
    rim = np.vstack([np.column_stack(pair) for pair in ((t, 0 * t), (t, 0 * t + side), (0 * t, t), (0 * t + side, t))])
    lows = np.array([tiling.low(page) for page in tiling.pages])
    inside = (rim[:, np.newaxis] >= lows - 1e-9) & (rim[:, np.newaxis] <= lows + np.array(tiling.tile) + 1e-9)
    assert inside.all(axis=2).any(axis=1).all()


def test_pages_are_named_like_the_squares_of_a_map():
    assert [page_name(page, 3) for page in ((0, 2), (1, 0), (26, 1))] == ["A1", "B3", "AA2"]


def test_a_file_of_too_many_pages_is_left_out_and_said_so(tmp_path):
    wishes = Wishes(sections=tuple(Section(4.0 * k) for k in range(40)))
    _, notes = documents(tmp_path, "", wishes)
    assert not (tmp_path / "ribs.pdf").exists()
    assert any(re.match(r"ribs\.pdf would have \d+ pages", note) for note in notes)
