"""The command `heat`: how hot parts get, how soon, and what their fillings do."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dishtrace.cli.exits import STOPPED, told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import AsJson, Quiet, Rays, SceneFile, Seed, Threads, check_numbers
from dishtrace.cli.printing import print_json, print_lines, print_text
from dishtrace.cli.progress import watched
from dishtrace.errors import RunError

if TYPE_CHECKING:
    from dishtrace.heat.outcome import HeatResult

HEAT_HELP = """Trace a scene; tell how hot its parts get, how soon, and what fillings do.

Parts need an emittance; those with a wall get a temperature field, those with
contents a timeline.

\b
Example:
  dishtrace heat scenes/schoolyard-pot.toml
  dishtrace heat yard.toml --minutes 30 --out results/yard-heat
  dishtrace heat yard.toml --json > heat.json
"""


def heat_command(
    scene: SceneFile,
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    minutes: Annotated[
        float | None,
        typer.Option(
            metavar="M",
            min=0.01,
            max=10000.0,
            show_default=False,
            help="Follow each wall for so many minutes from the temperature of the air. Default: steady state alone.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: heat below the scene's results folder; with --json none unless named.",
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell temperatures of receiver and stand; print and write them."""
    with told(as_json):
        check_numbers({"--rays": (rays, 1), "--seed": (seed, 0), "--threads": (threads, 1)})
        from dishtrace.heat.run import heat
        from dishtrace.report.heat import heat_text

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="heat")
        options = {"rays": rays, "seed": seed, "threads": threads, "minutes": minutes}
        found = watched(heat, described, quiet=quiet, **options)
        if as_json:
            print_json(found.to_dict())
        elif not quiet:
            print_text(lambda signs: heat_text(found, signs))
        if folder is not None:
            _write(found, folder, is_told=not (as_json or quiet))
        if found.result.stopped:
            raise typer.Exit(STOPPED)


def _write(found: HeatResult, folder: Path, *, is_told: bool) -> None:
    """Write tables and pictures and say where."""
    from dishtrace.report.heat_files import write_heat
    from dishtrace.report.pictures.heat import draw_heat

    try:
        written = [*write_heat(found, folder), *draw_heat(found, folder)]
    except OSError as error:
        raise RunError(f"{folder}: writing failed: {error.strerror or error}") from error
    if is_told:
        print_lines(["", *textwrap.wrap(f"Written to {folder}: {', '.join(written)}", 80, break_on_hyphens=False)])
