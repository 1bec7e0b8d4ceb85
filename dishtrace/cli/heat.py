"""The command `heat`: how hot parts get, how soon, and what their fillings do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.cli.ending import hand_over
from dishtrace.cli.exits import told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import AsJson, Quiet, Rays, SceneFile, Seed, Threads, check_numbers, folder_option
from dishtrace.cli.progress import watched

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
            show_default=False,
            help="Follow each wall for so many minutes (0.01 to 10000) from the temperature of the air. "
            "Default: steady state alone.",
        ),
    ] = None,
    out: Annotated[Path | None, folder_option("heat")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell temperatures of receiver and stand; print and write them."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads)
        from dishtrace.heat.run import heat
        from dishtrace.report.heat import heat_text
        from dishtrace.report.heat_files import write_heat
        from dishtrace.report.pictures.heat import draw_heat

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="heat")
        options = {"rays": rays, "seed": seed, "threads": threads, "minutes": minutes}
        found = watched(heat, described, quiet=quiet, **options)
        hand_over(
            as_object=found.to_dict,
            text_for=lambda signs: heat_text(found, signs),
            writers=[lambda place: write_heat(found, place), lambda place: draw_heat(found, place)],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=found.result.stopped,
        )
