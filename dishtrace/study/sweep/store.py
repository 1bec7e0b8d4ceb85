"""The file that a sweep resumes from: a line that says what is swept, then a line a finished point."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dishtrace.errors import Fault, InputError
from dishtrace.scene.model import Scene
from dishtrace.study.sweep.design import Design
from dishtrace.study.sweep.points import Point

NAME = "sweep-points.jsonl"


def task_of(scene: Scene, design: Design, *, rays: int, seed: int, version: str) -> dict[str, Any]:
    """What tells one sweep from another: the scene as checked, the files it names, the points, rays and seed."""
    text = json.dumps([scene.model_dump(mode="json"), _file_stamps(scene), list(design.values)], sort_keys=True)
    return {
        "dishtrace": version,
        "scene": hashlib.sha256(text.encode()).hexdigest()[:16],
        "method": design.method,
        "points": len(design.values),
        "rays": rays,
        "seed": seed,
    }


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


class Store:
    """Finished points, kept one a line as they come.

    Parameters
    ----------
    folder : Path
        Exists and can be written.
    task : dict
        Of the sweep, see `task_of`.
    is_fresh : bool
        Whether to begin anew where there is a file of another sweep.

    Raises
    ------
    InputError
        If the file there belongs to another sweep.
    """

    def __init__(self, folder: Path, task: dict[str, Any], *, is_fresh: bool = False) -> None:
        self.path, self.task = folder / NAME, task
        self.points: dict[int, Point] = {}
        if self.path.is_file() and not is_fresh:
            self._read()
        if not self.points:
            self.path.write_text(json.dumps(task) + "\n", encoding="utf-8")

    def _read(self) -> None:
        """Points of the file; a last line that was cut short is traced again."""
        lines = self.path.read_text(encoding="utf-8").splitlines()
        head = _line(lines[0]) if lines else None
        if head is None:
            return
        if head != self.task:
            different = [name for name in self.task if head.get(name) != self.task[name]]
            raise InputError(
                Fault(
                    str(self.path),
                    "",
                    "",
                    f"holds another sweep (another {', '.join(different)})",
                    "name another folder with --out, or begin anew with --fresh",
                )
            )
        read = [_line(text) for text in lines[1:]]
        self.points = {line["point"]: Point.from_json(line) for line in read if line is not None}
        if any(line is None for line in read):
            self._rewrite()

    def _rewrite(self) -> None:
        lines = [json.dumps(self.task), *(json.dumps(point.to_json()) for point in self.points.values())]
        self.path.write_text("\n".join(lines) + "\n", encoding="utf-8")

    def keep(self, point: Point) -> None:
        """Add a finished point to the file at once."""
        self.points[point.number] = point
        with self.path.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(point.to_json()) + "\n")
            stream.flush()


def _line(text: str) -> dict[str, Any] | None:
    """A line as written; None where it was cut short."""
    try:
        found = json.loads(text)
    except json.JSONDecodeError:
        return None
    return found if isinstance(found, dict) else None
