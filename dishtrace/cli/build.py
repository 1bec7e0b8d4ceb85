"""The command `build`: the making documents of a mirror."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.cli.exits import told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import AsJson, SceneFile
from dishtrace.cli.printing import print_json, print_lines

BUILD_HELP = """Write the making documents: facet table, shims, plan, cut pattern, ribs, targets.

Drawings are in millimetres at scale 1:1, as DXF and SVG; ribs, patterns and
targets also as PDF pages for any printer, with a map and marks to glue by.

\b
Example:
  dishtrace build scenes/schoolyard-pot.toml
  dishtrace build yard.toml --section 0 --section 90@0.25 --paper letter
  dishtrace build yard.toml --sheet 1.0x2.0 --board -0.1 --lamp 0,0,3
"""


def build_command(
    scene: SceneFile,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: making below the results folder; with --json none unless it is named.",
        ),
    ] = None,
    section: Annotated[
        list[str] | None,
        typer.Option(
            metavar="DEG[@M]",
            show_default=False,
            help="A rib: direction on the flat frame in degrees, and metres beside the middle. May be repeated.",
        ),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="Paper of the PDF files.")] = "a4",
    sheet: Annotated[
        str | None,
        typer.Option(metavar="WxH", show_default=False, help="Sheets to cut from, in metres. Default: 1.25x2.5."),
    ] = None,
    board: Annotated[
        float | None,
        typer.Option(
            metavar="M",
            show_default=False,
            help="Place of the target board on the dish axis, from the focus in metres, towards the sun positive. "
            "Default: at the focus in sunlight, at the lamp in its light.",
        ),
    ] = None,
    lamp: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,Z",
            show_default=False,
            help="Place of a lamp to align by, from the focus in metres. Default: two focal lengths from the vertex.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write what a mirror is made by."""
    with told(as_json):
        from dishtrace.report.build import build, build_lines, wishes_of

        wishes = wishes_of(sections=section or [], paper=paper, sheet=sheet, board=board, lamp=lamp)
        described = load(scene)
        folder = results_folder(scene, out, as_json, below="making")
        facts = build(described, folder, wishes)
        if as_json:
            print_json(facts)
        else:
            print_lines(build_lines(facts, folder))
