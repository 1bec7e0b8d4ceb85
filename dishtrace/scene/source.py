"""Where a scene came from: file, lines and values as written, so that every fault can point at them."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from pathlib import Path
from typing import Any

from dishtrace.errors import Fault
from dishtrace.scene.lines import KeyPath, nearest_line
from dishtrace.scene.quantity import plain_number
from dishtrace.scene.uncertain import Uncertain

IN_PYTHON = "scene"  # said as the place of a fault when no file is behind the scene
_LONGEST = 60  # characters of a value shown in a message


@dataclass(frozen=True)
class Source:
    """A scene as written, before any check; sources compare equal, so that scenes compare by what they say.

    Parameters
    ----------
    name : str
        File as the user typed it; ``"scene"`` for one made in Python.
    folder : Path
        Absolute folder that file names in the scene are relative to.
    data : mapping
        What the file says, as the TOML reader gives it.
    lines : dict
        Line of each key path; empty for a scene made in Python.
    """

    name: str = field(compare=False)
    folder: Path = field(compare=False)
    data: Mapping[str, Any] = field(compare=False)
    lines: dict[KeyPath, int] = field(default_factory=dict, compare=False)

    def where(self, path: KeyPath) -> str:
        """File and line of a key; the nearest enclosing table's line when the key is not there."""
        line = nearest_line(self.lines, path)
        return self.name if line is None else f"{self.name}:{line}"

    def value(self, path: KeyPath) -> Any:
        """What is written at a path; None when nothing is."""
        value: Any = self.data
        for key in path:
            if isinstance(value, Mapping) and isinstance(key, str):
                value = value.get(key)
            elif is_list(value) and isinstance(key, int) and 0 <= key < len(value):
                value = value[key]
            else:
                return None
        return value

    def number(self, path: KeyPath) -> float | None:
        """The finite number written at a path; the middle of an uncertain one; None when there is none."""
        value = self.value(path)
        if isinstance(value, Uncertain):
            value = {name: number for name, number in vars(value).items() if number is not None}
        if isinstance(value, Mapping):
            ends = [plain_number(value.get(key)) for key in ("low", "high")]
            return plain_number(value.get("value")) if None in ends else 0.5 * sum(ends)
        return plain_number(value)

    def has(self, path: KeyPath) -> bool:
        """Whether anything is written at a path."""
        return self.value(path) is not None

    def tables(self, key: str) -> list[int]:
        """Indices of the entries of an array of tables that really are tables."""
        entries = self.value((key,))
        if not is_list(entries):
            return []
        return [index for index, entry in enumerate(entries) if isinstance(entry, Mapping)]

    def path(self, name: str) -> Path:
        """Absolute path of a file named in the scene."""
        return Path(os.path.abspath(self.folder / name))

    def key_text(self, path: KeyPath) -> str:
        """The key in the user's terms: ``part "pot" radius_m``, ``sun.shape.sigma_mrad``."""
        if len(path) >= 2 and isinstance(path[1], int):
            name = self.value((*path[:2], "name"))
            label = f'"{shortened(name)}"' if isinstance(name, str) and name.strip() else f"{path[1] + 1}"
            return " ".join([f"{path[0]} {label}", *([_dotted(path[2:])] if path[2:] else [])])
        return _dotted(path)

    def fault(self, path: KeyPath, *, allowed: str, remedy: str = "", found: Any = None) -> Fault:
        """A fault at a key; `found` defaults to what is written there."""
        value = self.value(path) if found is None else found
        is_shown = value is not None and not _is_table(value, path)
        text = written(value) if is_shown else ""
        return Fault(self.where(path), self.key_text(path), text, allowed, remedy)


def is_list(value: Any) -> bool:
    """Whether a value is a list of any kind, and not a text."""
    return isinstance(value, Sequence) and not isinstance(value, (str, bytes, bytearray))


def _is_table(value: Any, path: KeyPath) -> bool:
    """Whether a value is a whole table of the file, or a list of them, that only clutters a message."""
    if isinstance(value, Mapping):
        return len(path) < 2 or isinstance(path[-1], int)
    return bool(is_list(value) and value and all(isinstance(entry, Mapping) for entry in value))


def _dotted(path: KeyPath) -> str:
    """Keys joined by dots; an item of a list by its number, counted from 1."""
    return ".".join(key if isinstance(key, str) else str(key + 1) for key in path)


def shortened(text: str) -> str:
    """A text on one line, cut where it is too long for a message."""
    flat = " ".join(text.split())
    return flat if len(flat) <= _LONGEST else f"{flat[: _LONGEST - 3]}..."


def written(value: Any) -> str:
    """A value as it would stand in the file, on one line and not too long."""
    return shortened(_toml(value))


def _toml(value: Any) -> str:
    """A value in TOML's writing."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Uncertain):
        return _toml({name: number for name, number in vars(value).items() if number is not None})
    if isinstance(value, float):
        return f"{value:g}" if math.isfinite(value) and float(f"{value:g}") == value else repr(value)
    if isinstance(value, int) and abs(value) >= 10**20:
        return "a whole number of more than 20 digits"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + " }" if value else "{}"
    if is_list(value):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return str(value)
