"""What a search for an aim has found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate
from dishtrace.study.improve.aims import Aim, Limit, chance_above_zero
from dishtrace.study.improve.task import keeps
from dishtrace.study.sweep.figures import unit_of
from dishtrace.study.sweep.keys import Varied
from dishtrace.study.sweep.points import Point


@dataclass(frozen=True, eq=False)
class Improvement:
    """What a search found.

    Parameters
    ----------
    scene : Scene
        As written.
    varied : tuple of Varied
    aim : Aim
    limits : tuple of Limit
    trials : tuple of Point
        All scenes tried, in order, with the figures of the search.
    start, best : Point or None
        The scene as written, and the best that keeps all limits; with the figures of the check where there was one.
        None where the scene's own values are not numbers, or where nothing keeps the limits.
    gain : Estimate or None
        Of the aim's figure, best less start, with its paired error. [unit of the figure]
    is_checked : bool
        Whether start and best were traced again with fresh random points.
    rays, check_rays, seed : int
        Of each trial and of the check. [–]
    version : str
        Of dishtrace.
    stopped : bool
        Whether the user stopped it early.
    n_resumed : int
        Trials that an earlier run had traced. [–]
    is_kept : bool
        Whether its trials are kept in a folder, where the same call goes on.
    """

    scene: Scene
    varied: tuple[Varied, ...]
    aim: Aim
    limits: tuple[Limit, ...]
    trials: tuple[Point, ...]
    start: Point | None
    best: Point | None
    gain: Estimate | None
    is_checked: bool
    rays: int
    check_rays: int
    seed: int
    version: str
    stopped: bool
    n_resumed: int = 0
    is_kept: bool = False

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys that vary."""
        return tuple(one.key for one in self.varied)

    def at_ends(self) -> dict[str, str]:
        """Keys whose best value lies at an end of its range: "low" or "high"."""
        found = {}
        for one in self.varied if self.best else ():
            share = (self.best.values[one.key] - one.low) / (one.high - one.low)
            if share < 0.01 or share > 0.99:
                found[one.key] = "low" if share < 0.5 else "high"
        return found

    def rows(self) -> list[dict[str, Any]]:
        """The tidy table: one row a trial with its keys, the aim's and the limits' figures and errors, `keeps` and
        `fault`.
        """
        figures = list(dict.fromkeys([self.aim.figure, *(limit.figure for limit in self.limits)]))
        return [
            {
                "trial": point.number,
                **point.columns(figures),
                "keeps": None if point.fault else keeps(point, self.limits),
                "fault": point.fault or None,
            }
            for point in self.trials
        ]

    def to_dict(self) -> dict[str, Any]:
        """As in improve.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "aim": str(self.aim),
            "unit": unit_of(self.aim.figure),
            "limits": [str(limit) for limit in self.limits],
            "varied": [{"key": one.key, "low": one.low, "high": one.high} for one in self.varied],
            "rays": self.rays,
            "check_rays": self.check_rays if self.is_checked else None,
            "seed": self.seed,
            "stopped": self.stopped,
            "resumed": self.n_resumed,
            "start": self._point(self.start),
            "best": self._point(self.best),
            "gain": None if self.gain is None else self.gain.to_dict(),
            "checked": self.is_checked,
            "at_ends": self.at_ends(),
            "trials": self.rows(),
            "notes": self.notes(),
        }

    def _point(self, point: Point | None) -> dict[str, Any] | None:
        if point is None:
            return None
        return {
            "values": point.values,
            "figures": {key: figure.to_dict() for key, figure in point.figures.items()},
            "limits": {
                str(limit): {"keeps": limit.room(point.figures[limit.figure]) >= 0.0, "chance": _chance(limit, point)}
                for limit in self.limits
            },
        }

    def notes(self) -> list[str]:
        """What the user should know."""
        found = []
        if self.stopped:
            not_kept = "no folder keeps them, so the same command begins anew"
            on = "the same command goes on" if self.is_kept else not_kept
            found.append(f"stopped early: the best of the {len(self.trials)} trials until then; {on}")
        if self.n_resumed:
            found.append(f"{self.n_resumed} trials were there from an earlier run")
        if self.best is not None and not self.is_checked:
            found.append("not checked with fresh random points: the gain is what the search saw, which flatters it")
        if self.start is None:
            found.append("the scene's own values are not numbers within the ranges: there is no start to gain from")
        faulty = [point for point in self.trials if point.fault]
        if faulty:
            found.append(f"{len(faulty)} trials could not be traced, the first because: {faulty[0].fault}")
        found += [f"{key} is best at the {end} end of its range, or beyond" for key, end in self.at_ends().items()]
        return found


def _chance(limit: Limit, point: Point) -> float | None:
    return limit.chance(point.figures[limit.figure])


def sureness(gain: Estimate) -> float | None:
    """How likely a gain has the sign it shows, by the error of the tracing; None where that is unknown. [–]"""
    return chance_above_zero(abs(gain.value), gain.se)
