"""What is told of a scene over ranges of its keys."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dishtrace.scene.model import Scene
from dishtrace.study.sweep.design import Design
from dishtrace.study.sweep.figures import meaning_of, unit_of
from dishtrace.study.sweep.keys import Varied
from dishtrace.study.sweep.points import Point
from dishtrace.study.sweep.sensitivity import Effect, Index, effects, sobol_indices


@dataclass(frozen=True, eq=False)
class Sweep:
    """Figures of a scene over ranges of its keys.

    Parameters
    ----------
    scene : Scene
        As written.
    varied : tuple of Varied
    design : Design
        All points that were wanted.
    points : tuple of Point
        Those that were traced, by number.
    rays, seed : int
        The same for all. [–]
    version : str
        Of dishtrace.
    stopped : bool
        Whether the user stopped it before all points were traced.
    n_resumed : int
        Points that an earlier run had finished. [–]
    is_kept : bool
        Whether its points are kept in a folder, where the same call goes on.
    """

    scene: Scene
    varied: tuple[Varied, ...]
    design: Design
    points: tuple[Point, ...]
    rays: int
    seed: int
    version: str
    stopped: bool
    n_resumed: int
    is_kept: bool

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that vary."""
        return tuple(one.key for one in self.varied)

    @property
    def sound(self) -> tuple[Point, ...]:
        """Points whose scene could be traced."""
        return tuple(point for point in self.points if not point.fault)

    def figure_keys(self) -> list[str]:
        """Keys of the figures that any point has."""
        return list(dict.fromkeys(key for point in self.points for key in point.figures))

    def rows(self) -> list[dict[str, Any]]:
        """The tidy table: one row a point, with `point`, the keys, each figure and its error (`..._se`), and `fault`.

        None stands where there is nothing to tell.
        """
        figures = self.figure_keys()
        return [
            {"point": point.number, **point.columns(figures), "fault": point.fault or None} for point in self.points
        ]

    def columns(self) -> dict[str, list[Any]]:
        """The tidy table by column."""
        rows = self.rows()
        return {key: [row[key] for row in rows] for key in rows[0]} if rows else {}

    def effects(self, figure: str) -> tuple[Effect, ...]:
        """What each key by itself does to a figure, strongest first; see `dishtrace.study.sweep.sensitivity`."""
        points = [point for point in self.sound if figure in point.figures]
        return effects([point.values for point in points], [point.figures[figure] for point in points])

    def indices(self, figure: str) -> tuple[Index, ...]:
        """Sobol indices of a figure; empty unless the points were arranged for them and all were traced."""
        points = [point for point in self.sound if figure in point.figures]
        if self.design.n_base is None or len(points) < len(self.design.values):
            return ()
        values = np.array([point.figures[figure].value for point in points])
        return sobol_indices(self.keys, values, n_base=self.design.n_base, seed=self.seed)

    def to_dict(self) -> dict[str, Any]:
        """As in sweep.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "rays": self.rays,
            "seed": self.seed,
            "method": self.design.method,
            "points_wanted": len(self.design.values),
            "stopped": self.stopped,
            "resumed": self.n_resumed,
            "varied": [
                {"key": one.key, "low": _finite(one.low), "high": _finite(one.high), "values": list(one.values) or None}
                for one in self.varied
            ],
            "figures": {key: {"unit": unit_of(key), "meaning": meaning_of(key)} for key in self.figure_keys()},
            "points": self.rows(),
            "sensitivities": {
                key: {
                    "effects": [one.to_dict() for one in self.effects(key)],
                    "indices": [one.to_dict() for one in self.indices(key)],
                }
                for key in self.figure_keys()
            },
            "notes": self.notes(),
        }

    def notes(self) -> list[str]:
        """What the user should know."""
        found = []
        if self.stopped:
            left = len(self.design.values) - len(self.points)
            not_kept = "no folder keeps the others, so the same command begins anew"
            on = "the same command goes on" if self.is_kept else not_kept
            found.append(f"stopped early: {left} of {len(self.design.values)} points are left; {on}")
        if self.n_resumed:
            found.append(f"{self.n_resumed} points were there from an earlier run")
        faulty = [point for point in self.points if point.fault]
        if faulty:
            found.append(f"{len(faulty)} points could not be traced, the first because: {faulty[0].fault}")
        return found


def _finite(number: float) -> float | None:
    return number if np.isfinite(number) else None
