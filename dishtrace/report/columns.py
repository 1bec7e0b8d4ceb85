"""Columns that fit into the width of the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dishtrace.report.tables import WIDTH


def fitting(labels: Sequence[str], columns: Mapping[str, Sequence[str]]) -> dict[str, Sequence[str]]:
    """The first columns that fit beside their labels, at least one; the others stand in the files.

    Labels that are too long for their column get lines of their own in `dishtrace.report.tables.grid`, which is left to
    it.
    """
    longest = max(len(label) for label in labels)
    room = WIDTH - 2 - (longest if longest < WIDTH // 2 else 0)
    kept: dict[str, Sequence[str]] = {}
    for title, column in columns.items():
        room -= 2 + max(len(title), *(len(text) for text in column))
        if room < 0 and kept:
            break
        kept[title] = column
    return kept
