"""Arguments and options that several commands share, and the numbers that they take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dishtrace.errors import COMMAND_LINE, Fault, InputError


def count(text: str) -> int:
    """A whole number as people write it: 500000, 2_000_000, 2e6.

    Raises
    ------
    typer.BadParameter
        If it is none.
    """
    try:
        return int(text)
    except ValueError:
        pass
    try:
        number = float(text)
    except ValueError:
        number = 0.5
    if not number.is_integer() or abs(number) > 1e15:
        raise typer.BadParameter(f"{text!r} is not a whole number, such as 500000 or 2e6")
    return int(number)


def check_numbers(given: dict[str, tuple[int | None, int]]) -> None:
    """Refuse numbers below their least, all at once."""
    faults = [
        Fault(COMMAND_LINE, name, str(value), f"must be {least} or more", "")
        for name, (value, least) in given.items()
        if value is not None and value < least
    ]
    if faults:
        raise InputError(faults)


def count_option(told: str, *, metavar: str = "N") -> typer.models.OptionInfo:
    """An option that takes a whole number and may be left out."""
    return typer.Option(metavar=metavar, parser=count, show_default=False, help=told)


def folder_option(below: str) -> typer.models.OptionInfo:
    """The option `--out` of a command whose files go below the scene's results folder by default."""
    told = f"Folder to write. Default: {below} below the scene's results folder; with --json none unless it is named."
    return typer.Option(metavar="DIR", show_default=False, help=told)


SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]
Rays = Annotated[
    int | None,
    count_option("Rays to trace, rounded up to whole units of work. Default: [run] rays of the scene."),
]
Seed = Annotated[
    int | None,
    count_option("Seed. Default: [run] seed of the scene.", metavar="S"),
]
Threads = Annotated[
    int | None,
    count_option("Threads. Default: one a core.", metavar="T"),
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]
Until = Annotated[
    str | None,
    typer.Option(
        metavar="GOAL",
        show_default=False,
        help='Go on until a relative standard error is reached: "receiver 0.1%", "stand 1%", "peak 1%" or "R90 0.1%". '
        "With --rays or --seconds, at most so many rays or so long.",
    ),
]
Seconds = Annotated[
    float | None,
    typer.Option(metavar="T", show_default=False, help="Go on tracing for T seconds, instead of a number of rays."),
]
