"""How the commands of studies end: print what was found, write it, say where, tell whether it was stopped."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from dishtrace.cli.exits import STOPPED
from dishtrace.cli.printing import print_json, print_lines, print_text
from dishtrace.errors import RunError

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.report.numerals import Signs

Writer = Callable[[Path], Iterable[str]]


def hand_over(
    *,
    as_object: Callable[[], dict[str, Any]],
    text_for: Callable[[Signs], Text],
    writers: Iterable[Writer],
    folder: Path | None,
    as_json: bool,
    quiet: bool,
    stopped: bool,
) -> None:
    """Print as JSON or as text, write into the folder if there is one, and end with 130 after Ctrl-C.

    Raises
    ------
    RunError
        If writing failed.
    """
    if as_json:
        print_json(as_object())
    elif not quiet:
        print_text(text_for)
    if folder is not None:
        write_all(folder, writers, is_told=not (as_json or quiet))
    if stopped:
        raise typer.Exit(STOPPED)


def write_all(folder: Path, writers: Iterable[Writer], *, is_told: bool) -> None:
    """Let every writer write its files into the folder, and say which."""
    try:
        written = [name for writer in writers for name in writer(folder)]
    except OSError as error:
        raise RunError(f"{folder}: writing failed: {error.strerror or error}") from error
    if is_told:
        print_lines(["", *textwrap.wrap(f"Written to {folder}: {', '.join(written)}", 80, break_on_hyphens=False)])
