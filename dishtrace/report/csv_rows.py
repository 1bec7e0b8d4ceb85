"""Tidy rows as csv and, where the library for it is there, as a parquet file."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any


def write_rows(rows: Sequence[Mapping[str, Any]], path: Path, comments: Iterable[str] = ()) -> str:
    """Write rows of the same keys as csv; None is an empty cell. Gives the name of the file.

    Parameters
    ----------
    rows : sequence of mapping
        Without any the table is empty.
    path : Path
    comments : iterable of str
        Lines above the table, each behind "# ".
    """
    texts = ([_text(value) for value in row.values()] for row in rows)
    return write_table(path, rows[0] if rows else (), texts, comments)


def write_columns(columns: Mapping[str, Iterable[Any]], path: Path, comments: Iterable[str] = ()) -> str:
    """Write columns of cells as they are as csv. Gives the name of the file."""
    return write_table(path, columns, zip(*columns.values(), strict=True), comments)


def write_table(path: Path, columns: Iterable[str], rows: Iterable[Iterable[Any]], comments: Iterable[str] = ()) -> str:
    """Write cells as they are as csv: remarks behind "# ", names of columns, rows. Gives the name of the file."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        stream.writelines(f"# {comment}\n" for comment in comments)
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows(rows)
    return path.name


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def write_parquet(columns: Mapping[str, Sequence[Any]], path: Path, about: Mapping[str, str]) -> str | None:
    """Write columns as a parquet file; gives its name, or None where the library pyarrow is not installed.

    Parameters
    ----------
    columns : mapping
        By name; None is a missing value.
    path : Path
    about : mapping of str to str
        What the table holds, kept in the file.
    """
    try:
        import pyarrow
        from pyarrow import parquet
    except ImportError:
        return None
    table = pyarrow.table({name: pyarrow.array(_even(values)) for name, values in columns.items()})
    table = table.replace_schema_metadata({**(table.schema.metadata or {}), **about})
    parquet.write_table(table, path)
    return path.name


def _even(values: Sequence[Any]) -> list[Any]:
    """Values of one type: whole numbers among others as floats, and all as texts where one is a text."""
    known = [value for value in values if value is not None]
    if any(isinstance(value, str) for value in known):
        return [None if value is None else str(value) for value in values]
    if any(isinstance(value, float) for value in known):
        return [None if value is None else float(value) for value in values]
    return list(values)
