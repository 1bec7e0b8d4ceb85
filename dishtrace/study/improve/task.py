"""What is searched: keys, aim and limits, checked before anything is traced, and how trials are weighed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.model import Scene
from dishtrace.study.improve.aims import Aim, Limit, aim_of, limits_of
from dishtrace.study.improve.search import merit
from dishtrace.study.sweep.figures import refuse_unknown
from dishtrace.study.sweep.keys import Varied, current_number, refuse_ends, varied_of
from dishtrace.study.sweep.points import Point

MARGIN = 1.645
"""Standard errors that limits are kept by during the search, so that they hold in truth in 19 of 20 cases. [–]"""
WORST = 3.0
"""Cost, and breach of every limit, of a scene that cannot be traced; others are about 1 in size. [–]"""


def keeps(point: Point, limits: Sequence[Limit]) -> bool:
    """Whether a point keeps all limits."""
    return all(limit.room(point.figures[limit.figure]) >= 0.0 for limit in limits)


class Task:
    """What is searched, checked before anything is traced."""

    def __init__(self, scene: Scene, vary: Sequence[str | Varied], *, aim: str, keep: Sequence[str]) -> None:
        faults: list[Fault] = []

        def told(read: Callable[[], Any]) -> Any:
            try:
                return read()
            except InputError as error:
                faults.extend(error.faults)
                return None

        self.scene = scene
        self.varied = told(lambda: varied_of(vary, with_steps=False))
        self.aim: Aim = told(lambda: aim_of(aim))
        self.limits: tuple[Limit, ...] = told(lambda: limits_of(keep)) or ()
        if self.varied:
            told(lambda: refuse_ends(scene, self.varied))
        wanted = {limit.figure: "--keep" for limit in self.limits}
        if self.aim:
            wanted[self.aim.figure] = "--aim"
        told(lambda: refuse_unknown(wanted, [part.name for part in scene.parts]))
        if faults:
            raise InputError(faults)
        self.scales: dict[str, float] = {}

    def start(self) -> np.ndarray | None:
        """Where the scene stands in the unit cube; None where a value is no number or outside its range."""
        place = []
        for one in self.varied:
            number = current_number(self.scene, one.key)
            if number is None or not one.low <= number <= one.high:
                return None
            place.append((number - one.low) / (one.high - one.low))
        return np.array(place)

    def values(self, place: np.ndarray) -> dict[str, float]:
        """Values at a place of the unit cube."""
        return {one.key: float(one.at(float(share))) for one, share in zip(self.varied, place, strict=True)}

    def refuse_missing(self, point: Point) -> None:
        """Refuse figures that exist in general but not in this scene."""
        missing = [key for key in (self.aim.figure, *(x.figure for x in self.limits)) if key not in point.figures]
        if missing:
            said = "is not a figure of this scene: it has no such part, or no emittance for a temperature"
            raise InputError([Fault(COMMAND_LINE, key, "", said) for key in missing])

    def told(self, point: Point) -> tuple[float, np.ndarray]:
        """Cost and rooms of a trial; figures are measured by their sizes in the first sound one."""
        if point.fault:
            return WORST, np.full(len(self.limits), -WORST)
        self.refuse_missing(point)
        for key in (self.aim.figure, *(limit.figure for limit in self.limits)):
            self.scales.setdefault(key, abs(point.figures[key].value) or 1.0)
        cost = -self.aim.sign * point.figures[self.aim.figure].value / self.scales[self.aim.figure]
        return cost, np.array([self._room(limit, point) for limit in self.limits])

    def _room(self, limit: Limit, point: Point) -> float:
        """Room of a limit less a margin for the error of the tracing, over the size of the bound."""
        figure = point.figures[limit.figure]
        scale = abs(limit.bound) or self.scales[limit.figure]
        return (limit.room(figure) - MARGIN * (figure.se or 0.0)) / scale

    def best_of(self, points: Sequence[Point]) -> Point | None:
        """The best trial that keeps all limits; None where none does."""
        sound = [point for point in points if not point.fault]
        if not sound:
            raise InputError(
                Fault(COMMAND_LINE, "--vary", "", f"has no trial that could be traced; first: {points[0].fault}")
            )
        keeping = [point for point in sound if keeps(point, self.limits)]
        return min(keeping, key=lambda point: merit(*self.told(point)), default=None)
