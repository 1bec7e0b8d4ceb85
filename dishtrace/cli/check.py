"""The command `check`: every fault of a scene at once, or the schema of scene files."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import dishtrace
from dishtrace.cli.exits import told
from dishtrace.cli.files import load
from dishtrace.cli.options import AsJson
from dishtrace.cli.printing import print_json, print_lines
from dishtrace.errors import COMMAND_LINE, Fault, InputError

CHECK_HELP = """Read a scene with all files that it names, and tell every fault at once.

\b
Example:
  dishtrace check scenes/schoolyard-pot.toml
  dishtrace check --schema > scene.schema.json
"""


def check_command(
    scene: Annotated[
        Path | None, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)
    ] = None,
    schema: Annotated[bool, typer.Option("--schema", help="Print the JSON Schema of scene files for editors.")] = False,
    as_json: AsJson = False,
) -> None:
    """Read a scene and tell every fault."""
    with told(as_json):
        if schema:
            from dishtrace.scene.schema import scene_schema

            print_json(scene_schema())
            return
        if scene is None:
            raise InputError(Fault(COMMAND_LINE, "SCENE", "", "is missing", "name a scene file, or ask for --schema"))
        from dishtrace.report.overview import overview, overview_lines

        facts = overview(load(scene))
        if as_json:
            print_json({"dishtrace": dishtrace.__version__, "ok": True, "faults": [], **facts})
        else:
            print_lines(overview_lines(str(scene), facts))
