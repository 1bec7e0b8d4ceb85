"""The command `sweep`: any keys of a scene over ranges, one table of figures."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dishtrace.cli.exits import STOPPED, told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import AsJson, Quiet, SceneFile, Seed, Threads, check_numbers, count
from dishtrace.cli.printing import print_json, print_lines, print_text
from dishtrace.cli.progress import watched
from dishtrace.errors import RunError

if TYPE_CHECKING:
    from dishtrace.study.sweep import Sweep

SWEEP_HELP = """Trace a scene over ranges of its keys; tell which key matters.

All points are traced with the same random points. A range is LOW:HIGH:STEPS, or
values with commas between them; a number of a list goes by its letter, as in
part.pot.center_m.z. Finished points are kept in the folder one by one: after
Ctrl-C or a power cut the same command goes on.

\b
Example:
  dishtrace sweep scenes/schoolyard-pot.toml --vary dish.slope_error_mrad=2:8:4
  dishtrace sweep yard.toml --vary dish.slope_error_mrad=1:6 \\
    --vary part.pot.center_m.z=-0.02:0.02 --method latin --points 64
  dishtrace sweep yard.toml --vary part.pot.radius_m=0.05:0.2:7 \\
    --cluster tcp://10.0.0.5:8786
"""


def sweep_command(
    scene: SceneFile,
    vary: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=RANGE", show_default=False, help="A key and its range or values. Repeatable."),
    ] = None,
    method: Annotated[
        str,
        typer.Option(
            metavar="grid|latin|sobol|indices",
            help="All combinations; or points sampled by Latin hypercube or Sobol's sequence, or for Sobol indices.",
        ),
    ] = "grid",
    points: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            parser=count,
            show_default=False,
            help="Points to sample, 64 unless told; for indices N (keys + 2) of them, N = 32 unless told.",
        ),
    ] = None,
    figure: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FIGURE",
            show_default=False,
            help="Figures to print and draw, such as stand_w or part.pot.settled_c; files hold all. Repeatable.",
        ),
    ] = None,
    rays: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            parser=count,
            show_default=False,
            help="Rays for each point, rounded up to whole units of work. Default: [run] rays of the scene.",
        ),
    ] = None,
    seed: Seed = None,
    threads: Threads = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", show_default=False, help="Dask scheduler whose workers trace the points."),
    ] = None,
    fresh: Annotated[bool, typer.Option("--fresh", help="Begin anew where the folder holds a sweep.")] = False,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: sweep below the scene's results folder; with --json none unless named.",
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Sweep keys; print and write what was found."""
    with told(as_json):
        least = {"--rays": (rays, 1), "--seed": (seed, 0), "--threads": (threads, 1), "--points": (points, 1)}
        check_numbers(least)
        from dishtrace.report.sweep import sweep_text
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
        if as_json:
            print_json(found.to_dict())
        elif not quiet:
            print_text(lambda signs: sweep_text(found, figures, signs))
        if folder is not None:
            _write(found, folder, figures, is_told=not (as_json or quiet))
        if found.stopped:
            raise typer.Exit(STOPPED)


def _write(found: Sweep, folder: Path, figures: list[str], *, is_told: bool) -> None:
    """Write tables and pictures and say where."""
    from dishtrace.report.pictures.sweep import write_sweep_pictures
    from dishtrace.report.sweep import write_sweep

    try:
        written = [*write_sweep(found, folder), *write_sweep_pictures(found, folder, figures)]
    except OSError as error:
        raise RunError(f"{folder}: writing failed: {error.strerror or error}") from error
    if is_told:
        print_lines(["", *textwrap.wrap(f"Written to {folder}: {', '.join(written)}", 80, break_on_hyphens=False)])
