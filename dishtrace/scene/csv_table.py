"""csv files with a header line, read so that every fault names its line."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic_core import PydanticCustomError

from dishtrace.errors import Fault, InputError
from dishtrace.scene.quantity import Quantity
from dishtrace.scene.source import shortened
from dishtrace.scene.words import nearest


@dataclass(frozen=True)
class Row:
    """One row of a csv file.

    Parameters
    ----------
    where : str
        File and line.
    cells : dict
        Text of each column, blanks around it dropped.
    """

    where: str
    cells: dict[str, str]

    def fault(self, column: str, allowed: str, remedy: str = "") -> Fault:
        """A fault at a cell."""
        return Fault(self.where, column, shortened(self.cells.get(column, "")), allowed, remedy)


def read_rows(path: Path, name: str, *, needed: Iterable[str], known: Iterable[str], faults: list[Fault]) -> list[Row]:
    """Rows of a csv file.

    Parameters
    ----------
    path : Path
        The file. Lines that start with # are notes; the first other line names the columns, in any order.
    name : str
        The file as the user wrote it, for messages.
    needed : iterable of str
        Columns that must be there.
    known : iterable of str
        All columns that may be there.
    faults : list of Fault
        Gets the rows that have too few or too many cells; they are left out.

    Returns
    -------
    list of Row
        Every row has a cell for each column, possibly empty.

    Raises
    ------
    InputError
        If the file cannot be read, has no rows, or columns are missing, unknown or double.
    """
    lines = [(n, line) for n, line in enumerate(_lines(path, name), 1) if line.strip() and not line.startswith("#")]
    if not lines:
        raise InputError(Fault(name, "", "", "is empty", f"its first line names the columns: {','.join(needed)}"))
    columns = _cells(lines[0][1])
    wrong = _header_faults(f"{name}:{lines[0][0]}", columns, tuple(needed), tuple(known))
    if not lines[1:]:
        wrong.append(Fault(name, "", "", "has no rows below its header"))
    if wrong:
        raise InputError(wrong)
    rows = []
    for number, line in lines[1:]:
        cells, where = _cells(line), f"{name}:{number}"
        if len(cells) != len(columns):
            remedy = "write decimals with a point" if len(cells) > len(columns) else "leave no hole in the table"
            allowed = f"has {len(cells)} cells, but the header has {len(columns)}"
            faults.append(Fault(where, "", shortened(line), allowed, remedy))
        else:
            rows.append(Row(where, dict(zip(columns, cells, strict=True))))
    return rows


def _lines(path: Path, name: str) -> list[str]:
    """Lines of a text file, or one clear fault."""
    try:
        return path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise InputError(Fault(name, "", "", "holds characters that are not UTF-8", "save it as UTF-8")) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "check the name and the folder" if isinstance(error, FileNotFoundError) else ""
        raise InputError(Fault(name, "", "", f"cannot be read: {reason}", remedy)) from None


def _cells(line: str) -> list[str]:
    """Cells of one line, blanks and quotes around them dropped; no cell of ours holds a comma."""
    return [cell.strip().strip('"').strip() for cell in line.split(",")]


def _header_faults(where: str, columns: list[str], needed: tuple[str, ...], known: tuple[str, ...]) -> list[Fault]:
    """Columns that are missing, unknown or double."""
    faults = [
        Fault(where, "", "", f"has no column {column}", f"the header must name {', '.join(needed)}")
        for column in needed
        if column not in columns
    ]
    for place, column in enumerate(columns):
        if column in columns[:place]:
            faults.append(Fault(where, "", column, "names a column twice"))
        elif column not in known:
            like = nearest(column, known)
            remedy = f"did you mean {like}?" if like else f"known: {', '.join(known)}"
            faults.append(Fault(where, "", shortened(column), "is not a known column", remedy))
    return faults


def cell_number(row: Row, column: str, quantity: Quantity, faults: list[Fault]) -> Any:
    """The number in a cell, or None with a fault added to the list.

    Parameters
    ----------
    row : Row
    column : str
    quantity : Quantity
        Its range and unit.
    faults : list of Fault
        Gets what is wrong.
    """
    text = row.cells[column]
    if not text:
        faults.append(row.fault(column, f"is empty; it {quantity.allowed}", "fill in the cell"))
        return None
    return text_number(row, column, text, quantity, faults)


def text_number(row: Row, column: str, text: str, quantity: Quantity, faults: list[Fault]) -> Any:
    """The number in a piece of a cell, or None with a fault added to the list."""
    try:
        value: Any = float(text)
    except ValueError:
        faults.append(row.fault(column, quantity.allowed))
        return None
    try:
        return quantity.check(value)
    except PydanticCustomError as error:
        context = error.context or {}
        faults.append(row.fault(column, context["allowed"], context["remedy"]))
        return None


def cell_word(row: Row, column: str, words: tuple[str, ...], faults: list[Fault]) -> str | None:
    """The word in a cell, one of those allowed, or None with a fault added to the list."""
    text = row.cells[column]
    if text in words:
        return text
    like = nearest(text.lower(), words)
    faults.append(row.fault(column, f"must be {', '.join(words)}", f"did you mean {like}?" if like else ""))
    return None
