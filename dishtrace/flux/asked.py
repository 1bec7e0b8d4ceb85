"""What a call of `trace` asks for, checked before anything is traced."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dishtrace.cores import available_cores
from dishtrace.errors import InputError
from dishtrace.flux.goal import MOST_RAYS, Goal, goal_of
from dishtrace.flux.numbers import Checks
from dishtrace.scene.uncertain import nominal
from dishtrace.trace.run import points_for

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


@dataclass(frozen=True)
class Asked:
    """What a run is to be; `rays` are those asked for or the most, `seconds` is None without a limit. [–, s]"""

    rays: int
    seed: int
    threads: int
    goal: Goal | None
    seconds: float | None

    @property
    def is_open(self) -> bool:
        """Whether something else than the number of rays may end the run."""
        return self.goal is not None or self.seconds is not None

    @property
    def n_points(self) -> int:
        """Most points of each scramble. [–]"""
        return points_for(self.rays)


def asked(
    scene: Scene,
    *,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    until: str | None = None,
    seconds: float | None = None,
) -> Asked:
    """What the arguments of `trace` ask for.

    Raises
    ------
    InputError
        With all that is wrong with them; the faults stand where "trace" stands, with the argument as key.
    """
    checks = Checks("trace")
    checks.scene(scene)
    goal = None
    if until is not None:
        try:
            goal = goal_of(scene, until)
        except InputError as error:
            checks.faults += error.faults
    is_open = until is not None or seconds is not None
    if rays is None:
        rays = MOST_RAYS if is_open else nominal(scene.run.rays)
    rays = checks.whole("rays", rays)
    seed = checks.whole("seed", scene.run.seed if seed is None else seed)
    threads = checks.whole("threads", available_cores() if threads is None else threads)
    if seconds is not None:
        checks.number("seconds", seconds, unit="seconds")
    checks.end()
    return Asked(rays, seed, threads, goal, None if seconds is None else float(seconds))
