"""The steps of a day or year as one table, and their sums."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.light import Light
    from dishtrace.study.day.path import SunPath
    from dishtrace.study.day.poses import Poses
    from dishtrace.study.day.sky import Sky

J_PER_KWH = 3.6e6
SUMS = {
    "sunlight": ("outline",),
    "receiver": ("budget.receiver",),
    "stand": ("budget.stand",),
    "passed": ("first.none",),
}
ROLES = ("receiver", "stand")


@dataclass(frozen=True, eq=False)
class Table:
    """Steps of a day or year in which the sun is up.

    Parameters
    ----------
    path : SunPath
    facts : dict of (n,) float64
        Without an error of tracing: where the sun stands, irradiance, what the surroundings take.
    columns : dict of pairs of (n,) float64
        Values and standard errors by name.
    reaching_w_m2, open_w_m2 : (n,) float64
        Irradiance that reaches the dish, and that above the horizon before obstacles take their share, which is taken
        to be the same for parts in the sun as for the mirror. [W/m2]
    """

    path: SunPath
    facts: dict[str, np.ndarray]
    columns: dict[str, tuple[np.ndarray, np.ndarray]]
    reaching_w_m2: np.ndarray
    open_w_m2: np.ndarray

    def at(self, name: str, step: int) -> Estimate:
        """One number with its error."""
        value, error = self.columns[name]
        se = float(error[step])
        return Estimate(float(value[step]), se if np.isfinite(se) else None)

    def rows(self) -> list[dict[str, Any]]:
        """One row a step: start, time, facts, and each column with its error (`..._se`); None where unknown."""
        rows = []
        for k, (start, time) in enumerate(zip(self.path.start, self.path.time, strict=True)):
            row: dict[str, Any] = {"start": start.isoformat(), "time": time.isoformat(), "step_s": self.path.step_s}
            row |= {name: _number(values[k]) for name, values in self.facts.items()}
            for name, (values, errors) in self.columns.items():
                row |= {name: _number(values[k]), f"{name}_se": _number(errors[k])}
            rows.append(row)
        return rows


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def table_of(
    scene: Scene, path: SunPath, poses: Poses, sky: Sky, light: Light, *, above: np.ndarray, shaded: np.ndarray
) -> Table:
    """The table of all steps.

    Parameters
    ----------
    scene, path, poses, sky, light
    above : (n, m) float64
        Share of the sun's disc above the horizon at the path's fine times. [–]
    shaded : (n,) float64
        Share of the mirror's light that obstacles take. [–]
    """
    direct = sky.open_w_m2(above)
    mirror = direct * (1.0 - shaded)
    off_axis = np.arctan2(np.hypot(*poses.suns[:, :2].T), poses.suns[:, 2])
    facts = {
        "azimuth_deg": np.degrees(path.azimuth),
        "elevation_deg": np.degrees(path.elevation),
        "hour_angle_deg": np.degrees(path.hour_angle),
        "declination_deg": np.degrees(path.declination),
        "off_axis_mrad": 1e3 * off_axis,
        "dni_w_m2": sky.dni_w_m2,
        "above_horizon_share": np.divide(direct, sky.dni_w_m2, out=np.ones_like(direct), where=sky.dni_w_m2 > 0.0),
        "shaded_share": shaded,
    }
    columns = {"sunlight_w": _times(light.column("outline"), mirror)}
    for role in ROLES:
        mine = [part.name for part in scene.parts if part.role == role]
        columns[f"{role}_w"] = _added(
            _times(light.column(f"budget.{role}"), mirror),
            *(_times(light.column(f"direct.{name}"), mirror) for name in mine),
        )
    columns["passed_w"] = _times(light.column("first.none"), mirror)
    columns["leaving_w"], columns["intercept_factor"] = _leaving(light, mirror)
    for name in ("x_m", "y_m", "r90_m"):
        columns[f"spot_{name}"] = light.column(f"spot.{name}")
    columns["spot_peak_w_m2"] = _times(light.column("spot.peak"), mirror)
    for part in scene.parts:
        columns[f"first_w:{part.name}"] = _times(light.column(f"part.{part.name}"), mirror)
        columns[f"absorbed_w:{part.name}"] = _added(
            _times(light.column(f"absorbed.{part.name}"), mirror), _times(light.column(f"direct.{part.name}"), mirror)
        )
        columns[f"peak_w_m2:{part.name}"] = _times(light.column(f"peak.{part.name}"), mirror)
    return Table(path, facts, columns, mirror, direct)


Pair = tuple[np.ndarray, np.ndarray]


def _times(pair: Pair, factor: np.ndarray) -> Pair:
    """A column times exact factors; where the factor is 0 the product is exactly 0."""
    dark = factor == 0.0
    return tuple(np.where(dark, 0.0, one * factor) for one in pair)


def _added(*pairs: Pair) -> Pair:
    """Sum of columns whose errors are independent."""
    return sum(pair[0] for pair in pairs), np.sqrt(sum(pair[1] ** 2 for pair in pairs))


def _leaving(light: Light, mirror: np.ndarray) -> tuple[Pair, Pair]:
    """Light that leaves the mirror [W], and the share of it that meets receivers first."""
    keys = [name for name in light.names if name.startswith("first.")]
    parts = [_times(light.column(name), mirror) for name in keys]
    total, error = sum(pair[0] for pair in parts), np.sqrt(sum(pair[1] ** 2 for pair in parts))
    hit, hit_error = parts[keys.index("first.receiver")]
    missed, missed_error = total - hit, np.sqrt(np.maximum(error**2 - hit_error**2, 0.0))
    is_lit = total > 0.0
    whole = np.where(is_lit, total, 1.0)
    share = np.where(is_lit, hit / whole, np.nan)
    spread = np.hypot(missed * hit_error, hit * missed_error) / whole**2
    return (total, error), (share, np.where(is_lit, spread, np.nan))


def sums_of(scene: Scene, table: Table, light: Light, steps: np.ndarray | None = None) -> dict[str, Estimate]:
    """Energies over all or some steps. [kWh]

    Parameters
    ----------
    scene, table, light
    steps : (n,) bool, optional
        Which steps count.

    Returns
    -------
    dict
        ``sunlight`` on the dish outline, what ``receiver`` and ``stand`` absorb with light straight from the sun in it,
        ``passed`` (mirror light that meets no part), and ``absorbed:<part>``.
    """
    hours = np.full(len(table.path.time), table.path.step_s / J_PER_KWH)
    hours = hours if steps is None else np.where(steps, hours, 0.0)
    reaching = table.reaching_w_m2 * hours
    found = {}
    for key, names in SUMS.items():
        terms = dict.fromkeys(names, reaching)
        terms |= {f"direct.{part.name}": reaching for part in scene.parts if part.role == key}
        found[key] = light.summed(terms)
    for part in scene.parts:
        found[f"absorbed:{part.name}"] = light.summed(
            {f"{kind}.{part.name}": reaching for kind in ("absorbed", "direct")}
        )
    return found
