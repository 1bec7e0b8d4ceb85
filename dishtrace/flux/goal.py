"""When a run has traced enough: a wanted relative standard error, a time, and what held it up."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dishtrace.errors import Fault, InputError
from dishtrace.stats import Estimate
from dishtrace.trace.points import N_SCRAMBLES

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

QUANTITIES = {
    "receiver": "light that meets receivers first",
    "stand": "light that meets the stand first",
    "peak": "highest flux over a patch of a receiver's triangles, told by rays; the peak printed is mostly looked back",
    "R90": "radius of 90 % of the light in the focal plane",
}
NEEDED_ROLES = {"receiver": "receiver", "stand": "stand", "peak": "receiver"}
"""What role a part of the scene must have for a quantity."""
SMALLEST_PERCENT = 1e-4
# Rays at most when the user sets no limit of their own: an hour or so.
MOST_RAYS = 2**32
# The error should fall by 2.8 or more in three doublings of the rays; by less than this it does not fall.
N_LOOKED_BACK, LEAST_FALL = 3, 1.4
# Points of each scramble at the first look, and from which on an error that does not fall or is not there ends the run.
FIRST_LOOK, EARLIEST_END = 1024, 32768


class Clock:
    """The time limit of a run, counted from when tracing started. [s]"""

    def __init__(self, started: float, seconds: float | None) -> None:
        self.started, self.seconds = started, seconds

    def is_up(self) -> bool:
        """Whether the time has gone by; never without a limit."""
        return self.seconds is not None and time.perf_counter() - self.started >= self.seconds

    def told(self) -> str | None:
        """What held a run up, if it was the time."""
        return f"the time limit of {self.seconds:g} s" if self.is_up() else None

    def progress(self, show: Callable[[int, int], None] | None) -> Callable[[int, int], None] | None:
        """A way to show progress that tells the rays that the time will allow, at the speed so far."""
        if show is None or self.seconds is None:
            return show

        def shown(done: int, wanted: int) -> None:
            share = min(1.0, (time.perf_counter() - self.started) / self.seconds)
            show(done, min(wanted, max(done, int(done / max(share, 1e-9)))))

        return shown


@dataclass(frozen=True)
class Goal:
    """What a run is to reach: a relative standard error of one quantity. [–]"""

    quantity: str
    relative_se: float

    def __str__(self) -> str:
        return f"{self.quantity} {100.0 * self.relative_se:g}%"


@dataclass(frozen=True)
class GoalReached:
    """How a run with a goal or a time limit ended.

    Parameters
    ----------
    goal : Goal or None
        None when only the time was given.
    seconds : float or None
        Time limit. [s]
    is_reached : bool or None
        None without a goal.
    relative_se : float or None
        Relative standard error of the goal's quantity in the end; None where it is unknown or there is no goal. [–]
    held_up_by : str or None
        Why the run ended before its goal; without a goal what ended it.
    """

    goal: Goal | None
    seconds: float | None
    is_reached: bool | None
    relative_se: float | None
    held_up_by: str | None

    def to_dict(self) -> dict:
        """As in results.json."""
        return {
            "until": None if self.goal is None else str(self.goal),
            "seconds": self.seconds,
            "is_reached": self.is_reached,
            "relative_se": self.relative_se,
            "held_up_by": self.held_up_by,
        }

    def told(self) -> str:
        """One sentence for the user."""
        if self.goal is None:
            return f"the run was ended by {self.held_up_by}"
        reached = "unknown" if self.relative_se is None else f"{100.0 * self.relative_se:.2g} %"
        what = f"relative standard error of {self.goal.quantity} ({QUANTITIES[self.goal.quantity]})"
        wanted = f"{100.0 * self.goal.relative_se:g} %"
        if self.is_reached:
            return f"{what}: {reached}, as wanted ({wanted})"
        return f"{what}: {reached} instead of the {wanted} wanted; held up by {self.held_up_by}"


def goal_of(scene: Scene, text: str) -> Goal:
    """A goal as people write it, for a scene that has what it speaks of.

    Raises
    ------
    InputError
        If it is no goal, or one that the scene cannot reach.
    """
    goal = parsed_goal(text)
    roles = {part.role for part in scene.parts}
    needed = NEEDED_ROLES.get(goal.quantity)
    if needed is None or needed in roles:
        return goal
    others = [name for name in QUANTITIES if name not in NEEDED_ROLES or NEEDED_ROLES[name] in roles]
    raise InputError(
        Fault(
            "trace",
            "until",
            repr(text),
            f'cannot be reached: the scene has no part with role = "{needed}"',
            f"give it one, or ask for {' or '.join(others)}",
        )
    )


def parsed_goal(text: str) -> Goal:
    """A goal as people write it: "receiver 0.1%", "peak 1 %".

    Raises
    ------
    InputError
        If it is none.
    """
    form = r"\s*([A-Za-z0-9]+)\s+([0-9.]+(?:[eE]-?[0-9]+)?)\s*%\s*"
    found = re.fullmatch(form, text) if isinstance(text, str) else None
    names = {name.lower(): name for name in QUANTITIES}
    if found is not None and found[1].lower() in names and found[2].count(".") <= 1 and found[2] != ".":
        percent = float(found[2])
        if SMALLEST_PERCENT <= percent < 100.0:
            return Goal(names[found[1].lower()], percent / 100.0)
    allowed = f"must be a quantity and its relative standard error in percent, from {SMALLEST_PERCENT:g} to below 100"
    quantities = ", ".join(QUANTITIES)
    raise InputError(
        Fault("trace", "until", repr(text), allowed, f'write "receiver 0.1%"; quantities are {quantities}')
    )


def relative_error(estimate: Estimate) -> float | None:
    """Standard error over value; None where either is unknown or nothing was found. [–]"""
    if estimate.se is None or not estimate.value > 0.0:
        return None
    return estimate.se / estimate.value


class Watch:
    """Looks at a run after each doubling of its rays, and says whether it has traced enough.

    Parameters
    ----------
    goal : Goal or None
    measure : callable
        Takes the number of points traced of each scramble, gives the estimate of the goal's quantity.
    """

    def __init__(self, goal: Goal | None, measure: Callable[[int], Estimate]) -> None:
        self.goal, self._measure = goal, measure
        self.errors: list[float | None] = []
        self.held_up_by: str | None = None

    def is_done(self, points: int) -> bool:
        """Whether to stop after so many points of each scramble: the goal is reached, or its error does not fall."""
        if self.goal is None:
            return False
        self.errors.append(relative_error(self._measure(points)))
        now = self.errors[-1]
        if now is not None and now <= self.goal.relative_se:
            return True
        if len(self.errors) > N_LOOKED_BACK and points >= EARLIEST_END:
            before = self.errors[-1 - N_LOOKED_BACK]
            if now is None and all(error is None for error in self.errors):
                self.held_up_by = "light: none was found that counts for it"
            elif now is not None and before is not None and before < LEAST_FALL * now:
                self.held_up_by = f"an error that does not fall: {100.0 * before:.2g} % with an eighth of the rays"
        return self.held_up_by is not None

    def reached(self, *, seconds: float | None, ended_by: str) -> GoalReached:
        """How it ended; `ended_by` says what ended the run if not this watch."""
        if self.goal is None:
            return GoalReached(None, seconds, None, None, ended_by)
        last = self.errors[-1] if self.errors else None
        is_reached = last is not None and last <= self.goal.relative_se
        return GoalReached(self.goal, seconds, is_reached, last, None if is_reached else self.held_up_by or ended_by)


def trace_on(
    step: Callable[[int, int], int], *, n_points: int, watch: Watch, is_broken: Callable[[], str | None]
) -> tuple[int, str]:
    """Trace on until the watch has seen enough: (points traced of each scramble, what else ended the run).

    Looks fall on powers of two of the points, where the sequences are most even.

    Parameters
    ----------
    step : callable
        Traces from one number of points up to another; gives the number it came to.
    n_points : int
        Most points of each scramble.
    watch : Watch
    is_broken : callable
        Why tracing was broken off (time, Ctrl-C); None when it was not.
    """
    done, target = 0, n_points if watch.goal is None else min(FIRST_LOOK, n_points)
    while True:
        done = step(done, target)
        is_enough = watch.is_done(done)
        broken = is_broken()
        if is_enough or broken is not None:
            return done, broken or ""
        if done >= n_points:
            return done, f"the limit of {n_points * N_SCRAMBLES} rays"
        target = min(2 * target, n_points)
