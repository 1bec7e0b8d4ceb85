"""Arguments and options that several commands share, and the numbers that they take."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.flux.numbers import RANGES


def count(text: str, *, example: str = "500000 or 2e6") -> int:
    """A whole number as people write it: 500000, 2_000_000, 2e6.

    Raises
    ------
    typer.BadParameter
        If it is none; the text then shows the example.
    """
    try:
        return int(text)
    except ValueError:
        pass
    try:
        number = float(text)
    except ValueError:
        number = 0.5
    if not number.is_integer():
        raise typer.BadParameter(f"{text!r} is not a whole number, such as {example}")
    return int(number)


def count_parser(example: str) -> Callable[[str], int]:
    """What reads a whole number of an option, with an example of its own."""

    def parsed(text: str) -> int:
        return count(text, example=example)

    return parsed


def duration(text: str) -> float:
    """A number of seconds; whether it lies in its range is asked later.

    Raises
    ------
    typer.BadParameter
        If it is none.
    """
    try:
        return float(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a number of seconds, such as 30 or 0.5") from None


def check_numbers(*, rays: int | None, seed: int | None, threads: int | None, **counts: int | None) -> None:
    """Refuse numbers outside the ranges of a trace, and other counts below 1, all at once; None is not given."""
    faults = []
    for name, value in {"rays": rays, "seed": seed, "threads": threads, **counts}.items():
        low, high = RANGES.get(name, (1, math.inf))
        if value is not None and not low <= value <= high:
            allowed = f"must be {low} or more" if high == math.inf else f"must be from {low} to {high}"
            faults.append(Fault(COMMAND_LINE, f"--{name}", str(value), allowed, ""))
    if faults:
        raise InputError(faults)


@contextmanager
def as_options(call: str) -> Iterator[None]:
    """Tell faults in the arguments of a call as those of the options of the same names."""
    try:
        yield
    except InputError as error:
        faults = [
            replace(fault, where=COMMAND_LINE, key=f"--{fault.key.replace('_', '-')}") if fault.where == call else fault
            for fault in error.faults
        ]
        raise InputError(faults) from error


def count_option(told: str, *, metavar: str = "N", example: str = "500000 or 2e6") -> typer.models.OptionInfo:
    """An option that takes a whole number and may be left out."""
    return typer.Option(metavar=metavar, parser=count_parser(example), show_default=False, help=told)


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
    count_option("Seed. Default: [run] seed of the scene.", metavar="S", example="7"),
]
Threads = Annotated[
    int | None,
    count_option("Threads. Default: one a core.", metavar="T", example="4"),
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
    typer.Option(
        metavar="T",
        parser=duration,
        show_default=False,
        help=f"Go on tracing for T seconds, {RANGES['seconds'][0]} to {RANGES['seconds'][1]}, instead of a number "
        "of rays.",
    ),
]
