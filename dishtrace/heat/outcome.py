"""The result of heat: temperatures of all parts with their uncertainty, limits, fillings and advice."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.heat.air import Ambient
from dishtrace.heat.balance import Balance
from dishtrace.heat.limits import Margin
from dishtrace.heat.setting import Setting
from dishtrace.heat.spreads import Spread
from dishtrace.heat.wall import WallHeat, Warming
from dishtrace.stats import Estimate
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.heat.timeline import Timeline
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False)
class PartTemperatures:
    """What is found for one part.

    Parameters
    ----------
    setting : Setting
    balance : Balance or None
        As one lump; None where its thermal emittance is not known.
    spread : Spread or None
        Of its stagnation temperature.
    wall : WallHeat or None
        Its temperature field; None without a wall, or where the wall cannot be computed that hot.
    wall_spread : Spread or None
        Of the wall's peak.
    warming : Warming or None
        The wall over time, where that was asked for or the wall melts.
    state : str
        "steady", "melts", "beyond table" (hotter than its material is known), "no wall", "no emittance".
    margins : tuple of Margin
        Limits against the hottest place of the wall; without a wall against the most that the brightest place can
        reach.
    notes : tuple of str
    """

    setting: Setting
    balance: Balance | None
    spread: Spread | None
    wall: WallHeat | None
    wall_spread: Spread | None
    warming: Warming | None
    state: str
    margins: tuple[Margin, ...]
    notes: tuple[str, ...]

    @property
    def hottest_k(self) -> Estimate | None:
        """The wall's peak where it is known, else the temperature of the part as one lump. [K]"""
        if self.wall is not None:
            return self.wall.peak_k
        return None if self.balance is None else self.balance.stagnation_k

    def to_dict(self) -> dict[str, Any]:
        """As in results of heat; temperatures in degrees C."""
        found: dict[str, Any] = {"role": self.setting.part.role, "state": self.state}
        if self.balance is not None:
            found |= {
                "absorbed_w": self.balance.absorbed_w.to_dict(),
                "stagnation_c": degrees(self.balance.stagnation_k).to_dict(),
                "stagnation_interval_c": _interval(self.spread),
                "stagnation_losses_w": dict(self.balance.losses_w),
                "curve": _curve(self.balance),
                "inputs": _inputs(self.spread),
            }
        found["wall"] = None if self.wall is None else self._wall()
        if self.warming is not None:
            found["warming"] = _warming(self.warming)
        found["limits"] = [margin.to_dict() for margin in self.margins]
        found["notes"] = list(self.notes)
        return found

    def _wall(self) -> dict[str, Any]:
        wall, mesh = self.wall, self.setting.traced.mesh
        return {
            "peak_c": degrees(wall.peak_k).to_dict(),
            "peak_interval_c": _interval(self.wall_spread),
            "peak_at_m": [float(value) for value in mesh.to_user(wall.peak_at)],
            "peak_side": wall.peak_side,
            "mean_c": celsius(wall.mean_k),
            "lowest_c": celsius(wall.lowest_k),
            "heat_w": dict(wall.heat_w),
            "imbalance": wall.imbalance,
            "filling_c": None if wall.fluid_k is None else celsius(wall.fluid_k),
            "inside_peak_w_m2": wall.inside_peak_w_m2,
            "inputs": _inputs(self.wall_spread),
        }


@dataclass(frozen=True, eq=False)
class HeatResult:
    """Result of `heat`.

    Parameters
    ----------
    result : Result
        Of the trace that it starts from.
    ambient : Ambient
    parts : dict of PartTemperatures
        By name, in scene order.
    timelines : tuple of Timeline
        Of fillings.
    advice : tuple of str
        What to change, in numbers.
    """

    result: Result
    ambient: Ambient
    parts: dict[str, PartTemperatures]
    timelines: tuple[Timeline, ...]
    advice: tuple[str, ...]

    @property
    def scene(self) -> Scene:
        """The scene."""
        return self.result.scene

    @property
    def version(self) -> str:
        """Of dishtrace."""
        return self.result.version

    def to_dict(self) -> dict[str, Any]:
        """As in heat.json."""
        ambient, result = self.ambient, self.result
        return {
            "dishtrace": result.version,
            "scene": result.scene.title,
            "rays": result.rays,
            "seed": result.seed,
            "dni_w_m2": float(result.sun.dni_w_m2),
            "air": {
                "temperature_c": celsius(ambient.temperature),
                "sky_temperature_c": celsius(ambient.sky),
                "pressure_pa": ambient.pressure,
                "wind_m_s": ambient.wind,
            },
            "parts": {name: part.to_dict() for name, part in self.parts.items()},
            "timelines": [timeline.to_dict() for timeline in self.timelines],
            "advice": list(self.advice),
        }

    def rows(self) -> list[dict[str, Any]]:
        """One row a part and figure: part, role, figure, value, se, low, high; for tables."""
        rows = []
        for name, part in self.parts.items():
            known = [("stagnation_c", part.balance and part.balance.stagnation_k, part.spread)]
            known.append(("wall_peak_c", part.wall and part.wall.peak_k, part.wall_spread))
            for figure, estimate, spread in known:
                if estimate is None:
                    continue
                told = degrees(estimate)
                low, high = _interval(spread) or (None, None)
                row = {"part": name, "role": part.setting.part.role, "figure": figure}
                rows.append({**row, **told.to_dict(), "low": low, "high": high})
        return rows


def degrees(temperature: Estimate) -> Estimate:
    """An absolute temperature [K] in degrees C."""
    return Estimate(celsius(temperature.value), temperature.se)


def _interval(spread: Spread | None) -> list[float] | None:
    return None if spread is None else [celsius(spread.low_k), celsius(spread.high_k)]


def _inputs(spread: Spread | None) -> list[dict] | None:
    return None if spread is None else [entry.to_dict() for entry in spread.influences]


def _curve(balance: Balance) -> list[dict[str, float]]:
    columns = {**balance.curve, "temperature_k": balance.curve["temperature_k"]}
    rows = np.array([columns[key] for key in ("temperature_k", "loss_w", "net_w", "efficiency")]).T
    return [
        {"temperature_c": celsius(row[0]), "loss_w": row[1], "net_w": row[2], "efficiency": row[3]}
        for row in rows.tolist()
    ]


def _warming(warming: Warming) -> dict[str, Any]:
    return {
        "seconds": warming.seconds.tolist(),
        "hottest_c": [celsius(value) for value in warming.hottest_k.tolist()],
        "mean_c": [celsius(value) for value in warming.mean_k.tolist()],
        "imbalance": warming.imbalance,
        "melts_after_s": warming.melts_after_s,
    }
