"""The command `compare`: scenes and variants traced with the same random points, and their differences."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dishtrace.cli.exits import STOPPED, told
from dishtrace.cli.files import load_all, results_folder
from dishtrace.cli.options import AsJson, Quiet, Rays, Seed, Threads, check_numbers, count
from dishtrace.cli.printing import print_json, print_lines, print_text
from dishtrace.cli.progress import watched
from dishtrace.errors import RunError

if TYPE_CHECKING:
    from dishtrace.study.compare import Comparison

COMPARE_HELP = """Trace scenes and variants with the same random points; tell the differences.

A scene with [[variant]] tables stands first, its variants after it. Every
difference is from the first of all, with its own standard error. Ctrl-C keeps
the traces that are finished.

\b
Example:
  dishtrace compare yard.toml
  dishtrace compare flat-tiles.toml petals.toml film.toml --rays 4e6
  dishtrace compare yard.toml --json > comparison.json
"""


def compare_command(
    scenes: Annotated[list[Path], typer.Argument(metavar="SCENE...", help="Scene files (TOML).", show_default=False)],
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    dishes: Annotated[
        int,
        typer.Option(
            metavar="K",
            parser=count,
            help="Dishes to draw where chance sets the facets, N / K rays each, for the scatter between them; 1: none.",
        ),
    ] = 8,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: comparison below the first scene's results folder; with --json none "
            "unless it is named.",
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Trace scenes and variants, print and write the differences."""
    with told(as_json):
        numbers = {"--rays": (rays, 1), "--seed": (seed, 0), "--threads": (threads, 1), "--dishes": (dishes, 1)}
        check_numbers(numbers)
        from dishtrace.report.comparison import comparison_text
        from dishtrace.study import compare as study

        described = load_all(scenes)
        folder = results_folder(scenes[0], out, as_json, below="comparison")
        options = {"rays": rays, "seed": seed, "threads": threads, "dishes": dishes}
        comparison = watched(study.compare, described, quiet=quiet, **options)
        if as_json:
            print_json(comparison.to_dict())
        elif not quiet:
            print_text(lambda signs: comparison_text(comparison, signs))
        if folder is not None:
            _write_comparison(comparison, folder, is_told=not (as_json or quiet))
        if comparison.stopped:
            raise typer.Exit(STOPPED)


def _write_comparison(comparison: Comparison, folder: Path, *, is_told: bool) -> None:
    """Write the tables and the picture of a comparison and say where."""
    from dishtrace.report.comparison import write_comparison
    from dishtrace.report.pictures import write_comparison_picture

    try:
        written = [*write_comparison(comparison, folder), write_comparison_picture(comparison, folder)]
    except OSError as error:
        raise RunError(f"{folder}: writing failed: {error.strerror or error}") from error
    if is_told:
        print_lines(["", *textwrap.wrap(f"Written to {folder}: {', '.join(written)}", 80, break_on_hyphens=False)])
