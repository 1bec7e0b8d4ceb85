"""The command `compare`: scenes and variants traced with the same random points, and their differences."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.cli.ending import hand_over
from dishtrace.cli.exits import told
from dishtrace.cli.files import load_all, results_folder
from dishtrace.cli.options import AsJson, Quiet, Rays, Seed, Threads, check_numbers, count_parser
from dishtrace.cli.progress import watched

COMPARE_HELP = """Trace scenes and variants with the same random points; tell the differences.

A scene with [[variant]] tables stands first, its variants after it. Every
difference is from the first of all, with its own standard error. Scenes with
the same mirror are traced in one go. Ctrl-C keeps what is traced until then.

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
            parser=count_parser("8"),
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
        check_numbers(rays=rays, seed=seed, threads=threads, dishes=dishes)
        from dishtrace.report.comparison import comparison_text, write_comparison
        from dishtrace.report.pictures import write_comparison_picture
        from dishtrace.study import compare as study

        described = load_all(scenes)
        folder = results_folder(scenes[0], out, as_json, below="comparison")
        options = {"rays": rays, "seed": seed, "threads": threads, "dishes": dishes}
        comparison = watched(study.compare, described, quiet=quiet, **options)
        hand_over(
            as_object=comparison.to_dict,
            text_for=lambda signs: comparison_text(comparison, signs),
            writers=[
                lambda place: write_comparison(comparison, place),
                lambda place: [write_comparison_picture(comparison, place)],
            ],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=comparison.stopped,
        )
