"""The file that a study goes on from: a line that says what was traced, then a line for each scene that is finished."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from dishtrace.errors import Fault, InputError, RunError
from dishtrace.scene.model import Scene


class Journal:
    """Lines of JSON, each added to the file as soon as it is known, so that nothing finished is lost.

    Parameters
    ----------
    path : Path
        In a folder that is made if need be.
    head : dict
        Its first line: what the others belong to.
    what : str
        What it holds, for the message that refuses another's.
    is_fresh : bool
        Whether to begin anew where there is a file.

    Attributes
    ----------
    lines : list of dict
        Those that were there; one that was cut short is left out, and out of the file.

    Raises
    ------
    InputError
        If the file begins with another line.
    RunError
        If it cannot be read or written.
    """

    def __init__(self, path: Path, head: dict[str, Any], *, what: str, is_fresh: bool = False) -> None:
        self.path, self.head, self.what = path, head, what
        with self._told():
            path.parent.mkdir(parents=True, exist_ok=True)
            self.lines = [] if is_fresh or not path.is_file() else self._read()
            if not self.lines:
                self._write()

    def _read(self) -> list[dict[str, Any]]:
        lines = self.path.read_text(encoding="utf-8").splitlines()
        first = _parsed(lines[0]) if lines else None
        if first is None:
            return []
        if first != self.head:
            different = [name for name in self.head if first.get(name) != self.head[name]]
            raise InputError(
                Fault(
                    str(self.path),
                    "",
                    "",
                    f"holds {self.what} (another {', '.join(different)})",
                    "name another folder with --out, or begin anew with --fresh",
                )
            )
        read = [_parsed(text) for text in lines[1:]]
        self.lines = [line for line in read if line is not None]
        if len(self.lines) < len(read):
            self._write()
        return self.lines

    def _write(self) -> None:
        self.path.write_text("".join(json.dumps(line) + "\n" for line in (self.head, *self.lines)), encoding="utf-8")

    def add(self, line: dict[str, Any]) -> None:
        """Add a line to the file at once."""
        with self._told(), self.path.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(line) + "\n")
            stream.flush()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or error
            raise RunError(f"{self.path}: cannot keep what is finished: {reason}") from error


def stamp_of(scene: Scene, *also: Any) -> str:
    """What tells one scene, as checked and with the files that it names, from another; of other plain values, too."""
    text = json.dumps([scene.model_dump(mode="json"), _file_stamps(scene), *also], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _file_stamps(scene: Scene) -> list[str]:
    """Hashes of the files that the scene names."""
    return [
        hashlib.sha256(path.read_bytes()).hexdigest()
        for name in _names(scene.model_dump(mode="json"))
        for path in [scene.path(name)]
        if path.is_file()
    ]


def _names(value: Any) -> list[str]:
    """Texts anywhere in a value that may name a file."""
    if isinstance(value, Mapping):
        return [name for inside in value.values() for name in _names(inside)]
    if isinstance(value, (list, tuple)):
        return [name for inside in value for name in _names(inside)]
    return [value] if isinstance(value, str) and "." in value and len(value) < 256 else []


def _parsed(text: str) -> dict[str, Any] | None:
    """A line as written; None where it was cut short."""
    try:
        found = json.loads(text)
    except json.JSONDecodeError:
        return None
    return found if isinstance(found, dict) else None
