"""What happens to a filling over time: columns of numbers, events, figures, hazards."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dishtrace.stats import Estimate


@dataclass(frozen=True)
class Event:
    """Something that happens at a moment.

    Parameters
    ----------
    key : str
        One word or a few, for programs: ``"boils"``.
    text : str
        For people: ``"the water boils"``.
    time_s : Estimate
        When, from the start; its standard error is the part that comes from the error of the traced power. [s]
    temperature_c : float
        Of the filling then. [degC]
    pressure_pa : float or None
        Absolute, in the tank then; None for fillings without one. [Pa]
    interval_s : tuple of float or None
        Range of the time over the uncertain inputs, set by `dishtrace.heat.spread`; None: not asked for. [s]
    """

    key: str
    text: str
    time_s: Estimate
    temperature_c: float
    pressure_pa: float | None = None
    interval_s: tuple[float, float] | None = None

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "key": self.key,
            "text": self.text,
            "time_s": self.time_s.to_dict(),
            "temperature_c": self.temperature_c,
            "pressure_pa": self.pressure_pa,
            "interval_s": None if self.interval_s is None else list(self.interval_s),
        }


@dataclass(frozen=True)
class Timeline:
    """A filling over time.

    Parameters
    ----------
    part : str
        Name of the part.
    kind : str
        Kind of contents.
    columns : dict of (n,) float64
        By name, the unit in it: ``time_s``, ``temperature_c``, ``absorbed_j``, ``stored_j``, ``lost_j``,
        ``carried_j`` in all of them; ``stored_j`` is told from temperatures and masses, the other three are sums over
        time, and absorbed = stored + lost + carried to 1e-6 of what was absorbed.
    events : tuple of Event
        In the order of time.
    figures : dict
        Single numbers by name, the unit in it; None where one is not known.
    figures_se : dict
        Their standard errors, the part that comes from the error of the traced power; None where it is not known.
    figures_interval : dict
        Their ranges over the uncertain inputs, set by `dishtrace.heat.spread`.
    hazards : tuple of str
        Keys of cautions in `dishtrace.report.filling_cautions`.
    notes : tuple of str
        What the user should know.
    ended : str
        Why the timeline ends where it does.
    """

    part: str
    kind: str
    columns: dict[str, np.ndarray]
    events: tuple[Event, ...]
    figures: dict[str, float | None] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    ended: str = ""
    figures_se: dict[str, float | None] = field(default_factory=dict)
    figures_interval: dict[str, tuple[float, float]] = field(default_factory=dict)

    def event(self, key: str) -> Event | None:
        """The first event of a key; None when it does not happen."""
        return next((event for event in self.events if event.key == key), None)

    def _figure(self, name: str) -> dict[str, Any] | None:
        value = self.figures[name]
        if value is None:
            return None
        told = Estimate(value, self.figures_se.get(name)).to_dict()
        return told | {"interval": list(self.figures_interval[name]) if name in self.figures_interval else None}

    def energy_gap(self) -> float:
        """Largest absorbed - stored - lost - carried, over what was absorbed in all. [-]"""
        columns = self.columns
        gap = columns["absorbed_j"] - columns["stored_j"] - columns["lost_j"] - columns["carried_j"]
        return float(np.abs(gap).max() / max(np.abs(columns["absorbed_j"]).max(), 1.0))

    def to_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "part": self.part,
            "kind": self.kind,
            "ended": self.ended,
            "events": [event.to_dict() for event in self.events],
            "figures": {name: self._figure(name) for name in self.figures},
            "hazards": list(self.hazards),
            "notes": list(self.notes),
            "energy_gap": self.energy_gap(),
            "columns": {name: [_json(value) for value in column] for name, column in self.columns.items()},
        }


def _json(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def with_errors(run: Callable[[float], Timeline], absorbed: Estimate) -> Timeline:
    """A timeline whose events carry the standard error that comes from that of the absorbed power.

    Parameters
    ----------
    run : callable
        Makes the timeline for an absorbed power. [W]
    absorbed : Estimate
        [W]

    Notes
    -----
    To first order: se(t) = |dt/dQ| se(Q), from a second run at a power that is 1 % higher. An event that does not
    happen there has an unknown error.
    """
    timeline = run(absorbed.value)
    if absorbed.se is None or not np.isfinite(absorbed.se):
        return timeline
    if absorbed.se == 0.0:
        exact = tuple(replace(event, time_s=Estimate(event.time_s.value, 0.0)) for event in timeline.events)
        return replace(timeline, events=exact, figures_se=dict.fromkeys(timeline.figures, 0.0))
    step = 0.01 * max(abs(absorbed.value), 1.0)
    other, share = run(absorbed.value + step), absorbed.se / step
    errors = {name: _figure_error(value, other.figures.get(name), share) for name, value in timeline.figures.items()}
    events = tuple(_with_error(event, other, share) for event in timeline.events)
    return replace(timeline, events=events, figures_se=errors)


def _figure_error(value: float | None, there: float | None, share: float) -> float | None:
    return None if value is None or there is None else abs(there - value) * share


def _with_error(event: Event, other: Timeline, share: float) -> Event:
    there = other.event(event.key)
    if there is None:
        return event
    return replace(event, time_s=Estimate(event.time_s.value, abs(there.time_s.value - event.time_s.value) * share))
