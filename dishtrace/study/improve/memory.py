"""Scenes that were traced before, so that a search goes on where it was stopped."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from dishtrace.scene.model import Scene
from dishtrace.study.journal import Journal, stamp_of
from dishtrace.study.sweep.points import Job, Point

NAME = "improve-points.jsonl"


class Memory:
    """Finished points of a scene by their values, rays and seed, also in a file.

    A search makes the same steps from the same figures, so one that finds its first trials here goes on behind them.
    The aim and the limits may be others: a point holds all figures.

    Parameters
    ----------
    folder : Path or None
        For the file; None: nothing is known of earlier runs, and nothing kept for later ones.
    scene : Scene
        As written.
    version : str
        Of dishtrace.
    is_fresh : bool
        Whether to begin anew.

    Raises
    ------
    InputError
        If the folder holds points of another scene.
    RunError
        If the file cannot be read or written.
    """

    def __init__(self, folder: Path | None, scene: Scene, *, version: str, is_fresh: bool = False) -> None:
        self._journal: Journal | None = None
        self._points: dict[str, Point] = {}
        if folder is not None:
            head = {"dishtrace": version, "scene": stamp_of(scene)}
            self._journal = Journal(folder / NAME, head, what="trials of another search", is_fresh=is_fresh)
            for line in self._journal.lines:
                key = _key(line["values"], rays=line["rays"], seed=line["seed"])
                self._points[key] = Point.from_json(line)
        self._old = frozenset(self._points)
        self.n_used = 0

    @property
    def is_kept(self) -> bool:
        """Whether there is a file, where the same search goes on."""
        return self._journal is not None

    @property
    def n_old(self) -> int:
        """Points that an earlier run has left. [–]"""
        return len(self._old)

    def known(self, job: Job, *, rays: int, seed: int) -> Point | None:
        """The point of a job if it was traced before, with the job's number; `n_used` counts those of earlier runs."""
        key = _key(job.values, rays=rays, seed=seed)
        if key not in self._points:
            return None
        self.n_used += key in self._old
        return replace(self._points[key], number=job.number)

    def keep(self, point: Point, *, rays: int, seed: int) -> None:
        """Add a finished point."""
        self._points[_key(point.values, rays=rays, seed=seed)] = point
        if self._journal is not None:
            self._journal.add({**point.to_json(), "rays": rays, "seed": seed})


def _key(values: Mapping[str, Any], *, rays: int, seed: int) -> str:
    return json.dumps([rays, seed, values], sort_keys=True)
