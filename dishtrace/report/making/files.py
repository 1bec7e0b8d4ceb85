"""Writes the making documents into a folder."""

from __future__ import annotations

from pathlib import Path

from dishtrace.report.csv_rows import write_columns
from dishtrace.report.making.aligning import mark_columns, target_sketch
from dishtrace.report.making.cut_sheets import MOST_PATTERNS, pattern_sketches, sheets_sketch
from dishtrace.report.making.drawing_dxf import write_dxf
from dishtrace.report.making.drawing_svg import write_svg
from dishtrace.report.making.facet_table import facet_columns, shim_columns
from dishtrace.report.making.gather import Making
from dishtrace.report.making.moulds import MOST_DRAWN, mould_columns, mould_sketches
from dishtrace.report.making.plan import plan_sketch
from dishtrace.report.making.rib_drawing import rib_sketch, stacked
from dishtrace.report.making.ribs import rib_columns, run_columns
from dishtrace.report.making.sketch import Sketch, plain_text
from dishtrace.report.making.tiles_pdf import page_count, write_tiles
from dishtrace.report.making.tiling import tiling_of

MOST_PAGES = 200
"""Pages of a PDF file at most; what needs more is left to the DXF file [–]."""
FRAME_WORDS = (
    "frame_a, frame_b, frame_height: place on the flat frame [mm]: the plane behind the mirror that is parallel to it "
    "under the outline's centre; origin there, a along x, height towards the mirror"
)
DISH_WORDS = "x, y, z: dish frame, origin at the vertex of the paraboloid, z along the axis towards the sun [mm]"


def heading(making: Making, version: str) -> tuple[str, ...]:
    """Lines that every document carries."""
    title = plain_text(making.title)
    return (title, f"Millimetres, scale 1:1. Made by dishtrace {version}.")


def write_documents(making: Making, folder: Path, *, paper: str, version: str) -> tuple[list[str], list[str]]:
    """Write tables and drawings.

    Parameters
    ----------
    making : Making
        What they show.
    folder : Path
        Exists and can be written.
    paper : str
        Of the PDF files.
    version : str
        Of the program.

    Returns
    -------
    names : list of str
        Of the files written.
    notes : list of str
        Of what was left out.
    """
    lines = heading(making, version)
    names = _write_tables(making, folder, lines)
    notes: list[str] = []
    facets = None if making.is_skin else making.mirror
    plan = plan_sketch(
        facets, making.outline, making.frame, making.ribs, focal_length=making.focal_length, heading=lines
    )
    ribs = tuple(rib_sketch(rib, lines, f"rib-{k}") for k, rib in enumerate(making.ribs, start=1))
    what = "Rib profiles: black: paraboloid and facets; grey: flat frame; blue: heights over it and ways along it"
    names += _write_both(plan, folder) + _write_both(stacked(ribs, (*lines, what), "ribs"), folder)
    names += _write_pages(ribs, folder / "ribs.pdf", paper, notes)
    if making.nest is not None:
        names += _write_both(sheets_sketch(making.kinds, making.nest, lines), folder)
    if making.kinds:
        patterns = pattern_sketches(making.kinds, lines)
        names += _write_both(_one_of_each(patterns, lines), folder)
        names += _write_pages(patterns, folder / "patterns.pdf", paper, notes)
    if len(making.kinds) > MOST_PATTERNS:
        notes.append(f"Only the first {MOST_PATTERNS} of {len(making.kinds)} kinds of pieces have a pattern drawing.")
    if making.moulds:
        moulds = mould_sketches(making.moulds, lines)
        names += _write_both(stacked(moulds, (*lines, "Mould curves, mirror side"), "moulds"), folder)
        names += _write_pages(moulds, folder / "moulds.pdf", paper, notes)
    if len(making.moulds) > MOST_DRAWN:
        notes.append(f"Only the first {MOST_DRAWN} of {len(making.moulds)} moulds are drawn; moulds.csv has all.")
    for marks in making.boards:
        if marks.is_reached.any():
            target = target_sketch(marks, lines)
            names += _write_both(target, folder)
            names += _write_pages((target,), folder / f"{target.name}.pdf", paper, notes)
    return names, notes


def _one_of_each(patterns: tuple[Sketch, ...], lines: tuple[str, ...]) -> Sketch:
    return stacked(patterns, (*lines, "Patterns: one of each kind of piece, mirror side up"), "patterns")


def _write_both(sketch: Sketch, folder: Path) -> list[str]:
    write_dxf(sketch, folder / f"{sketch.name}.dxf")
    write_svg(sketch, folder / f"{sketch.name}.svg")
    return [f"{sketch.name}.dxf", f"{sketch.name}.svg"]


def _write_pages(sketches: tuple[Sketch, ...], path: Path, paper: str, notes: list[str]) -> list[str]:
    tilings = tuple(tiling_of(sketch, paper) for sketch in sketches)
    pages = page_count(tilings)
    if pages > MOST_PAGES:
        notes.append(f"{path.name} would have {pages} pages and was not written: use the DXF or SVG file.")
        path.unlink(missing_ok=True)
        return []
    write_tiles(sketches, tilings, path)
    return [path.name]


def _write_tables(making: Making, folder: Path, lines: tuple[str, ...]) -> list[str]:
    ribs = ("way: along the rib from the point nearest the outline's centre; height: over the flat frame [mm]",)
    names = [write_columns(rib_columns(making.ribs), folder / "ribs.csv", (*lines, *ribs))]
    if making.is_skin:
        return names
    letters = {number: kind.letter for kind in making.kinds for number in kind.numbers}
    facets = (
        DISH_WORDS,
        FRAME_WORDS,
        "normal: unit vector; aim: direction of light from along the axis after the facet's middle; tilt: of the "
        "normal from the axis; leans_to: from x towards y; radius: of curvature in the middle; cut: kind of piece",
    )
    shims = (FRAME_WORDS, "height: of the mirror's corner over the frame; corners run counter-clockwise")
    runs = (*ribs, "over_rib: height over a rib that has the paraboloid's curve, negative: the rib must be lower [mm]")
    marks = (
        "board: height of the target board over the vertex; x, y: on the board, from the dish axis [mm]; way: of the "
        "ray from the facet's middle; moves: at most, of the mark across the ray when the facet turns by 1 mrad [mm]",
    )
    tables = [
        ("facets.csv", facets, facet_columns(making.mirror, making.frame, letters)),
        ("shims.csv", shims, shim_columns(making.mirror, making.frame)),
        ("rib-facets.csv", runs, run_columns(making.ribs)),
        ("aligning.csv", marks, mark_columns(making.boards)),
    ]
    if making.moulds:
        words = "way: from the facet's middle along u or v; height: over the tangent plane there [mm]"
        tables.append(("moulds.csv", (words,), mould_columns(making.moulds)))
    return names + [write_columns(columns, folder / name, (*lines, *words)) for name, words, columns in tables]
