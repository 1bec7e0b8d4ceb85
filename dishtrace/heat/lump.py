"""One lump of heat over time: energy in, energy lost, energy carried off, and the temperature that follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from dishtrace.heat.course import Course, energy_until, is_held, largest, longest_step, power_at
from dishtrace.heat.timeline import Event
from dishtrace.stats import Estimate
from dishtrace.units import celsius

SETTLED_SHARE = 1e-3
"""Share of the absorbed power that the stored energy changes by when nothing more happens. [-]"""
OUTPUT_STEP_S = 20.0
TOLERANCE = 1e-9


class Enthalpy(NamedTuple):
    """Energy of a lump over temperature, in straight pieces, so that either gives the other exactly.

    Parameters
    ----------
    temperature : (n,) float64
        Not falling; equal neighbours stand for a change of phase. [K]
    energy : (n,) float64
        Rising. [J]
    """

    temperature: np.ndarray
    energy: np.ndarray

    def at(self, temperature: float) -> float:
        """Energy at a temperature [K]; the last pieces go on beyond the ends. [J]"""
        return _line(temperature, self.temperature, self.energy)

    def temperature_at(self, energy: float) -> float:
        """Temperature at an energy [J]. [K]"""
        return _line(energy, self.energy, self.temperature)


def _line(x: float, xs: np.ndarray, ys: np.ndarray) -> float:
    """Straight lines through points, the outer ones prolonged; at a step of xs its lower end."""
    k = int(np.clip(np.searchsorted(xs, x, side="left"), 1, len(xs) - 1))
    width = xs[k] - xs[k - 1]
    return float(ys[k - 1] if width == 0.0 else ys[k - 1] + (ys[k] - ys[k - 1]) * (x - xs[k - 1]) / width)


def heated(*, heat: float, start: float) -> Enthalpy:
    """Enthalpy of a lump of constant heat capacity [J/K] that is 0 at a temperature [K]."""
    return Enthalpy(np.array([start, start + 1000.0]), np.array([0.0, 1000.0 * heat]))


@dataclass(frozen=True, eq=False)
class Lump:
    """A lump in the light.

    Parameters
    ----------
    enthalpy : Enthalpy
        Of wall and filling together.
    start : float
        [K]
    absorbed : float or Course
        Held, or over time; under a course nothing settles. [W]
    loss, carried : callable
        Temperature [K] to what is lost outside, and to what a flow carries off [W].
    highest : float
        Temperature at which the run ends. [K]
    duration : float
        [s]
    """

    enthalpy: Enthalpy
    start: float
    absorbed: float | Course
    loss: Callable[[float], float]
    carried: Callable[[float], float]
    highest: float
    duration: float


class LumpRun(NamedTuple):
    """A lump over time.

    Parameters
    ----------
    columns : dict of (n,) float64
        As of a `Timeline`.
    temperature_at : callable
        Time [s] to temperature [K].
    energy_at : callable
        Time [s] to the energy stored [J].
    ended : str
        "duration", "settled" or "wall".
    """

    columns: dict[str, np.ndarray]
    temperature_at: Callable[[float], float]
    energy_at: Callable[[float], float]
    ended: str


def run_lump(lump: Lump) -> LumpRun:
    """Follow a lump until it settles, is too hot, or the time is over."""
    from scipy.integrate import solve_ivp

    first = lump.enthalpy.at(lump.start)

    def slopes(t: float, y: np.ndarray) -> list[float]:
        temperature = lump.enthalpy.temperature_at(first + y[0])
        loss, carried = lump.loss(temperature), lump.carried(temperature)
        return [power_at(lump.absorbed, t) - loss - carried, loss, carried]

    def settles(t: float, y: np.ndarray) -> float:
        if not is_held(lump.absorbed):
            return 1.0
        return abs(slopes(t, y)[0]) - SETTLED_SHARE * max(largest(lump.absorbed), 1.0)

    def too_hot(_: float, y: np.ndarray) -> float:
        return lump.enthalpy.temperature_at(first + y[0]) - lump.highest

    settles.terminal = too_hot.terminal = True
    solution = solve_ivp(
        slopes,
        (0.0, lump.duration),
        [0.0, 0.0, 0.0],
        method="LSODA",
        rtol=TOLERANCE,
        atol=1e-3,
        events=[settles, too_hot],
        dense_output=True,
        max_step=longest_step(lump.absorbed, max(lump.duration / 50.0, 1.0)),
    )
    ended = "duration" if solution.status == 0 else "settled" if len(solution.t_events[0]) else "wall"
    count = max(int(solution.t[-1] / OUTPUT_STEP_S), 2)
    times = np.union1d(solution.t, np.linspace(0.0, solution.t[-1], count + 1))
    return LumpRun(
        _columns(lump, first, times, solution.sol(times)),
        lambda t: lump.enthalpy.temperature_at(first + float(solution.sol(t)[0])),
        lambda t: float(solution.sol(t)[0]),
        ended,
    )


def _columns(lump: Lump, first: float, times: np.ndarray, rows: np.ndarray) -> dict[str, np.ndarray]:
    temperatures = np.array([lump.enthalpy.temperature_at(first + energy) for energy in rows[0]])
    return {
        "time_s": times,
        "temperature_c": temperatures - 273.15,
        "absorbed_j": energy_until(lump.absorbed, times),
        "stored_j": rows[0],
        "lost_j": rows[1],
        "carried_j": rows[2],
        "loss_w": np.array([lump.loss(temperature) for temperature in temperatures]),
        "carried_w": np.array([lump.carried(temperature) for temperature in temperatures]),
    }


def crossing(
    run: LumpRun, key: str, text: str, *, energy: float | None = None, temperature: float | None = None
) -> Event | None:
    """The event of a lump passing an energy stored [J] or a temperature [K]; None when it does not."""
    times = run.columns["time_s"]
    value, level = (run.energy_at, energy) if energy is not None else (run.temperature_at, temperature)
    before = value(float(times[0])) >= level
    for start, end in zip(times[:-1], times[1:], strict=True):
        if not before and value(float(end)) >= level:
            moment = _bisected(value, level, float(start), float(end))
            return Event(key, text, Estimate(moment, None), celsius(run.temperature_at(moment)))
    return None


def _bisected(value: Callable[[float], float], level: Any, low: float, high: float) -> float:
    while high - low > 1e-3:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if value(middle) >= level else (middle, high)
    return high
