"""The points of a sweep that are finished, in the file that it resumes from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dishtrace.scene.model import Scene
from dishtrace.study.journal import Journal, stamp_of
from dishtrace.study.sweep.design import Design
from dishtrace.study.sweep.points import Point

NAME = "sweep-points.jsonl"


def task_of(scene: Scene, design: Design, *, rays: int, seed: int, version: str) -> dict[str, Any]:
    """What tells one sweep from another: the scene as checked, the files it names, the points, rays and seed."""
    return {
        "dishtrace": version,
        "scene": stamp_of(scene, list(design.values)),
        "method": design.method,
        "points": len(design.values),
        "rays": rays,
        "seed": seed,
    }


class Store:
    """Finished points, kept one a line as they come.

    Parameters
    ----------
    folder : Path
        Made if need be.
    task : dict
        Of the sweep, see `task_of`.
    is_fresh : bool
        Whether to begin anew where there is a file of another sweep.

    Raises
    ------
    InputError
        If the file there belongs to another sweep.
    RunError
        If it cannot be read or written.
    """

    def __init__(self, folder: Path, task: dict[str, Any], *, is_fresh: bool = False) -> None:
        self._journal = Journal(folder / NAME, task, what="another sweep", is_fresh=is_fresh)
        self.points = {line["point"]: Point.from_json(line) for line in self._journal.lines}

    def keep(self, point: Point) -> None:
        """Add a finished point to the file at once."""
        self.points[point.number] = point
        self._journal.add(point.to_json())
