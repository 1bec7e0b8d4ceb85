"""The command `sweep`: any keys of a scene over ranges, one table of figures."""

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

SWEEP_HELP = """Trace a scene over ranges of its keys; tell which key matters.

All points are traced with the same random points. A range is LOW:HIGH:STEPS
(5 steps where none are given), or values with commas between them; a number of
a list goes by its letter, as in part.pot.center_m.z. Finished points are kept in
the folder one by one: after Ctrl-C or a power cut the same command goes on.

\b
Example:
  dishtrace sweep scenes/schoolyard-pot.toml --vary dish.slope_error_mrad=2:8:4
  dishtrace sweep yard.toml --vary dish.slope_error_mrad=1:6 \\
    --vary part.pot.center_m.z=-0.02:0.02 --method latin --points 64
  dishtrace sweep yard.toml --vary part.pot.radius_m=0.05:0.2:7 \\
    --cluster tcp://10.0.0.5:8786
"""


Vary = Annotated[
    list[str] | None,
    typer.Option(metavar="KEY=RANGE", show_default=False, help="A key and its range or values. Repeatable."),
]
Method = Annotated[
    str,
    typer.Option(
        metavar="grid|latin|sobol|indices",
        help="All combinations; or points sampled by Latin hypercube or Sobol's sequence, or for Sobol indices.",
    ),
]
Points = Annotated[
    int | None,
    count_option(
        "Points to sample, 64 unless told; for indices N (keys + 2) of them, N = 32 unless told.", example="64"
    ),
]
Figures = Annotated[
    list[str] | None,
    typer.Option(
        metavar="FIGURE",
        show_default=False,
        help="Figures to print and draw, such as stand_w or part.pot.settled_c; files hold all. Repeatable.",
    ),
]
RaysEach = Annotated[
    int | None,
    count_option("Rays for each point, rounded up to whole units of work. Default: [run] rays of the scene."),
]
Cluster = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", show_default=False, help="Dask scheduler whose workers trace the points."),
]
Fresh = Annotated[bool, typer.Option("--fresh", help="Begin anew where the folder holds a sweep.")]


def sweep_command(
    scene: SceneFile,
    vary: Vary = None,
    method: Method = "grid",
    points: Points = None,
    figure: Figures = None,
    rays: RaysEach = None,
    seed: Seed = None,
    threads: Threads = None,
    cluster: Cluster = None,
    fresh: Fresh = False,
    out: Annotated[Path | None, folder_option("sweep")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Sweep keys; print and write what was found."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads, points=points)
        from dishtrace.report.pictures.sweep import write_sweep_pictures
        from dishtrace.report.sweep import sweep_text, write_sweep
        from dishtrace.study.sweep import sweep
        from dishtrace.study.sweep.figures import refuse_unknown

        described = load(scene)
        figures = figure or []
        refuse_unknown(dict.fromkeys(figures, "--figure"), [part.name for part in described.parts])
        folder = results_folder(scene, out, as_json, below="sweep")
        options = {"method": method, "points": points, "rays": rays, "seed": seed, "threads": threads}
        found = watched(
            sweep, described, quiet=quiet, vary=vary or [], cluster=cluster, folder=folder, fresh=fresh, **options
        )
        hand_over(
            as_object=found.to_dict,
            text_for=lambda signs: sweep_text(found, figures, signs),
            writers=[
                lambda place: write_sweep(found, place),
                lambda place: write_sweep_pictures(found, place, figures),
            ],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=found.stopped,
        )
