"""The command `size`: how large to make a receiver, and where to put it."""

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

SIZE_HELP = """Tell how large to make a receiver: what it catches, what it loses.

Traces the part at many sizes with the same random points. Sizes are in
metres, as LOW:HIGH or LOW:HIGH:STEPS; at most two are varied. Without any, the
part's main size is, over a range that goes by the spot. Ctrl-C keeps what is
traced until then.

\b
Example:
  dishtrace size scenes/schoolyard-pot.toml --part pot
  dishtrace size yard.toml --part pot --radius 0.03:0.2 --offset -0.03:0.05
  dishtrace size yard.toml --part cavity --opening 0.01:0.06 --at 600,800
"""


def numbers(text: str) -> tuple[float, ...]:
    """Numbers with colons or commas between them.

    Raises
    ------
    typer.BadParameter
        If one of them is none.
    """
    try:
        return tuple(float(piece) for piece in text.replace(",", ":").split(":"))
    except ValueError:
        allowed = "numbers with commas or colons between them, such as 100,200 or 0.02:0.2"
        raise typer.BadParameter(f"{text!r} is not {allowed}") from None


def _ends(what: str) -> typer.models.OptionInfo:
    return typer.Option(metavar="LOW:HIGH[:N]", parser=numbers, show_default=False, help=what)


def size_command(
    scene: SceneFile,
    part: Annotated[str, typer.Option("--part", metavar="NAME", show_default=False, help="Name of the part.")],
    radius: Annotated[tuple | None, _ends("Its radius.")] = None,
    height: Annotated[tuple | None, _ends("Its height, or a cavity's depth.")] = None,
    opening: Annotated[tuple | None, _ends("Radius of a cavity's opening.")] = None,
    scale: Annotated[tuple | None, _ends("All its sizes, times those of the scene; for meshes and boxes.")] = None,
    offset: Annotated[
        tuple | None,
        _ends("Its place along the dish axis, from where the scene has it, away from the mirror positive."),
    ] = None,
    at: Annotated[
        tuple | None,
        typer.Option(
            metavar="C[,C...]",
            parser=numbers,
            show_default=False,
            help="Working temperatures in degrees C; the first is recommended for. Default: 100 first for water, "
            "200 first for all else, and others.",
        ),
    ] = None,
    rays: Annotated[
        int | None,
        count_option("Rays for each size, rounded up to whole units of work. Default: a quarter of the scene's."),
    ] = None,
    seed: Seed = None,
    threads: Threads = None,
    out: Annotated[Path | None, folder_option("size")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Size a part; print and write what was found."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads)
        from dishtrace.report.pictures.size import write_size_picture
        from dishtrace.report.size import recommendation, size_text, write_size
        from dishtrace.study.size import size

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="size")
        wishes = {"radius": radius, "height": height, "opening": opening, "scale": scale, "offset": offset}
        options = {"part": part, **wishes, "temperatures_c": at, "rays": rays, "seed": seed, "threads": threads}
        sizing = watched(size, described, quiet=quiet, **options)
        hand_over(
            as_object=lambda: {**sizing.to_dict(), "recommendation": recommendation(sizing)},
            text_for=lambda signs: size_text(sizing, signs),
            writers=[lambda place: write_size(sizing, place), lambda place: [write_size_picture(sizing, place)]],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=sizing.stopped,
        )
