"""Printing on standard output: JSON, lines and texts, in the characters that the output can carry."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.report.numerals import Signs


def print_json(value: object) -> None:
    """Print one JSON value in plain ASCII."""
    from dishtrace.report.exports import json_text

    print(json_text(value, is_ascii=True))


def print_lines(lines: Iterable[str]) -> None:
    """Print lines of text."""
    for line in lines:
        print(encodable(line, sys.stdout))


def print_text(text_for: Callable[[Signs], Text]) -> None:
    """Print a text made with the signs that the output can carry."""
    from rich.console import Console

    from dishtrace.report.numerals import signs_for

    text = text_for(signs_for(sys.stdout.encoding))
    text.plain = encodable(text.plain, sys.stdout)
    Console(file=sys.stdout, highlight=False).print(text, soft_wrap=True)


def encodable(text: str, stream: TextIO) -> str:
    """The text with what the stream's encoding lacks as question marks."""
    encoding = stream.encoding or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)
