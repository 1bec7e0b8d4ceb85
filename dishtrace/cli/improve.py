"""The command `improve`: search keys of a scene for a stated aim."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.cli.ending import hand_over
from dishtrace.cli.exits import told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import (
    AsJson,
    Quiet,
    SceneFile,
    Seed,
    Threads,
    check_numbers,
    count_option,
    folder_option,
)
from dishtrace.cli.progress import watched

IMPROVE_HELP = """Search keys of a scene within bounds for the best of a figure.

All trials share their random points, so that small changes show; the best is
traced again with fresh ones, and the gain told with its error. Finished trials
are kept in the folder one by one: after Ctrl-C or a power cut the same command
goes on, and one with another aim or more trials uses what it can.

\b
Example:
  dishtrace improve yard.toml --vary part.pot.center_m.z=-0.05:0.10 \\
    --aim "most receiver_w" --keep "stand_w < 40"
  dishtrace improve yard.toml --vary dish.focal_length_m=0.5:0.9 \\
    --aim "least receiver_peak_w_m2" --keep "receiver_w > 500"
"""


def improve_command(
    scene: SceneFile,
    vary: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=LOW:HIGH", show_default=False, help="A key and its bounds. Repeatable."),
    ] = None,
    aim: Annotated[
        str, typer.Option(metavar='"most FIGURE"', show_default=False, help="What to raise (most) or lower (least).")
    ] = "",
    keep: Annotated[
        list[str] | None,
        typer.Option(metavar='"FIGURE < NUMBER"', show_default=False, help="A limit, < or >, in SI units. Repeatable."),
    ] = None,
    trials: Annotated[
        int | None,
        count_option("Scenes to try at most. Default: 15 a key, at least 30.", example="30"),
    ] = None,
    rays: Annotated[
        int | None,
        count_option("Rays for each trial; the check takes four times as many. Default: a quarter of the scene's."),
    ] = None,
    seed: Seed = None,
    threads: Threads = None,
    fresh: Annotated[bool, typer.Option("--fresh", help="Begin anew where the folder holds a search.")] = False,
    out: Annotated[Path | None, folder_option("improve")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Search keys; print and write what was found."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads, trials=trials)
        from dishtrace.report.improve import conclusion, improve_text, write_improvement
        from dishtrace.report.pictures.improve import write_improvement_picture
        from dishtrace.study.improve import improve

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="improve")
        options = {"trials": trials, "rays": rays, "seed": seed, "threads": threads}
        kept = {"folder": folder, "fresh": fresh}
        found = watched(improve, described, quiet=quiet, vary=vary or [], aim=aim, keep=keep or [], **kept, **options)
        hand_over(
            as_object=lambda: {**found.to_dict(), "conclusion": conclusion(found)},
            text_for=lambda signs: improve_text(found, signs),
            writers=[
                lambda place: write_improvement(found, place),
                lambda place: [write_improvement_picture(found, place)],
            ],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=found.stopped,
        )
