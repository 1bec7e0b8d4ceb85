"""The wall of a part under its light: the temperature field, its hottest place, and where the heat goes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.conduction import Problem, march, steady
from dishtrace.heat.inside import Inside
from dishtrace.heat.shell import Plate, Shell, shell_of
from dishtrace.heat.sinks import outer_sinks
from dishtrace.heat.turning import averaged_around
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult
    from dishtrace.heat.exchange import Sight
    from dishtrace.heat.losses import Losses
    from dishtrace.scene.wall import Solid

SIDES = ("front", "back")
SETTLED_K = 1e-3
"""How closely the temperature of a filling is found that settles by itself. [K]"""


@dataclass(frozen=True, eq=False)
class Lit:
    """Light absorbed on each side of a part's triangles, and its standard error, (2, m). [W/m2]"""

    flux: np.ndarray
    error: np.ndarray


@dataclass(frozen=True, eq=False)
class WallHeat:
    """Steady temperatures of a wall.

    Parameters
    ----------
    front_k, back_k : (m,) float64
        Temperature of each triangle, mean of its corners. [K]
    peak_k : Estimate
        The hottest corner; its error is the part that comes from the flux. [K]
    peak_at : (3,) float64
        Where, in the dish frame. [m]
    peak_side : str
        "front" or "back".
    lowest_k, mean_k : float
        Coldest corner; mean over both surfaces. [K]
    heat_w : dict
        Where the heat goes, by sink. [W]
    imbalance : float
        Heat not accounted for, of the heat absorbed. [–]
    fluid_k : float or None
        Temperature of the filling. [K]
    inside_peak_w_m2 : float or None
        Largest flux into a filling. [W/m2]
    problem : Problem
    values : (2 n,) float64
        The unknowns. [K]
    notes : tuple of str
    """

    front_k: np.ndarray
    back_k: np.ndarray
    peak_k: Estimate
    peak_at: np.ndarray
    peak_side: str
    lowest_k: float
    mean_k: float
    heat_w: dict[str, float]
    imbalance: float
    fluid_k: float | None
    inside_peak_w_m2: float | None
    problem: Problem
    values: np.ndarray
    notes: tuple[str, ...]


def lit_of(part: PartResult, *, axis: np.ndarray | None = None) -> Lit:
    """Light that a part absorbs; averaged around `axis` (3,) when it is given."""
    pairs = []
    for side in SIDES:
        figures = part.sides[side]
        flux, error = figures.absorbed_w_m2, np.nan_to_num(figures.absorbed_se_w_m2)
        if axis is not None:
            flux, error = averaged_around(flux, error, triangles=part.mesh.triangles, areas=part.mesh.areas, axis=axis)
        pairs.append((flux, error))
    return Lit(np.stack([flux for flux, _ in pairs]), np.stack([error for _, error in pairs]))


def wall_heat(
    lit: Lit,
    triangles: np.ndarray,
    losses: Losses,
    *,
    solid: Solid,
    thickness: float,
    inside: Inside | None = None,
    sight: Sight | None = None,
    shell: Shell | None = None,
    start: np.ndarray | None = None,
) -> WallHeat:
    """Steady temperatures of a wall.

    Parameters
    ----------
    lit : Lit
    triangles : (m, 3, 3) float64
        [m]
    losses : Losses
    solid : Solid
    thickness : float
        [m]
    inside : Inside, optional
        What the back touches.
    sight : Sight, optional
        What the triangles see of other parts.
    shell : Shell, optional
        Of the triangles, when it is there already.
    start : (2 n,) float64, optional
        First guess. [K]
    """
    shell = shell_of(triangles) if shell is None else shell
    plate = Plate(shell, solid, thickness)
    load = np.concatenate([shell.to_points(flux) for flux in lit.flux])
    closed = inside is not None
    air, radiation = outer_sinks(losses, shell, sight)
    outer = {"air": air, "radiation": radiation}
    guess = np.full(2 * shell.n_points, losses.ambient.temperature + 50.0) if start is None else start
    if not closed:
        problem = Problem(plate, load, outer)
        return _told(problem, lit, steady(problem, guess), None, None)
    fluid, problem, values = _with_filling(plate, load, outer, inside, guess)
    return _told(problem, lit, values, fluid, inside)


def _with_filling(
    plate: Plate, load: np.ndarray, outer: dict, inside: Inside, guess: np.ndarray
) -> tuple[float, Problem, np.ndarray]:
    """The filling's temperature with the wall's: fixed, warmed by what flows through, or settling by itself."""
    from scipy.optimize import brentq

    state: dict[str, np.ndarray] = {"values": guess}

    def solved(fluid: float) -> tuple[Problem, np.ndarray, float]:
        problem = Problem(plate, load, {**outer, **inside.sinks(plate.shell, fluid)})
        state["values"] = steady(problem, state["values"])
        taken = sum(
            float(problem.sinks[name].heat(state["values"]).sum())
            for name in ("filling", "vapour")
            if name in problem.sinks
        )
        return problem, state["values"], taken

    if inside.fluid is not None and inside.flow_w_k is None:
        problem, values, _ = solved(inside.fluid)
        return inside.fluid, problem, values

    def excess(fluid: float) -> float:
        taken = solved(fluid)[2]
        if inside.flow_w_k is None:
            return taken
        return taken - 2.0 * inside.flow_w_k * (fluid - inside.fluid)

    first = 250.0 if inside.fluid is None else inside.fluid
    last = first + 100.0
    while excess(last) > 0.0:
        first, last = last, last + 2.0 * (last - first)
    fluid = brentq(excess, first, last, xtol=SETTLED_K)
    problem, values, _ = solved(fluid)
    return float(fluid), problem, values


def _told(problem: Problem, lit: Lit, values: np.ndarray, fluid: float | None, inside: Inside | None) -> WallHeat:
    """The figures of a solved wall."""
    shell = problem.plate.shell
    n = shell.n_points
    hottest = int(np.argmax(values))
    heat = {name: float(sink.heat(values).sum()) for name, sink in problem.sinks.items()}
    absorbed = float(problem.load.sum())
    left = absorbed - sum(heat.values())
    area = problem.plate.mass()
    peak_inside = None
    if inside is not None:
        filling = problem.sinks["filling"]
        touched = filling.area > 0.0
        peak_inside = float((filling.heat(values)[touched] / filling.area[touched]).max())
    return WallHeat(
        front_k=shell.of_triangles(values[:n]),
        back_k=shell.of_triangles(values[n:]),
        peak_k=Estimate(float(values[hottest]), _flux_error(problem, lit, values, hottest)),
        peak_at=shell.points[hottest % n],
        peak_side=SIDES[hottest // n],
        lowest_k=float(values.min()),
        mean_k=float(np.average(values, weights=area)),
        heat_w=heat,
        imbalance=abs(left) / absorbed if absorbed > 0.0 else 0.0,
        fluid_k=fluid,
        inside_peak_w_m2=peak_inside,
        problem=problem,
        values=values,
        notes=() if inside is None else inside.notes,
    )


def influence(problem: Problem, values: np.ndarray, unknown: int) -> np.ndarray:
    """How much one unknown rises per watt at each, (2 n,). [K/W]"""
    wanted = np.zeros_like(values)
    wanted[unknown] = 1.0
    return problem.factor(values).solve(wanted, trans="T")


def _flux_error(problem: Problem, lit: Lit, values: np.ndarray, unknown: int) -> float:
    """Standard error of one unknown from the errors of the flux on all triangles, taken as independent. [K]"""
    shell, n = problem.plate.shell, problem.plate.shell.n_points
    per_watt = influence(problem, values, unknown)
    variance = 0.0
    for k, side in enumerate((per_watt[:n], per_watt[n:])):
        variance += float(np.sum((shell.of_triangles(side) * shell.areas * lit.error[k]) ** 2))
    return float(np.sqrt(variance))


@dataclass(frozen=True, eq=False)
class Warming:
    """A wall over time, from the temperature of the air.

    Parameters
    ----------
    seconds, hottest_k, mean_k : (t,) float64
        [s], [K], [K]
    imbalance : float
        Largest heat not accounted for in any step, of the heat absorbed till then. [–]
    melts_after_s : float or None
        When the hottest corner reaches the melting point; the march stops there. [s]
    """

    seconds: np.ndarray
    hottest_k: np.ndarray
    mean_k: np.ndarray
    imbalance: float
    melts_after_s: float | None


def warming(problem: Problem, *, ambient: float, seconds: float, steps: int = 30) -> Warming:
    """A wall over time, its light switched on at once and its filling, if any, at its steady temperature."""
    plate = problem.plate
    start = np.full(2 * plate.shell.n_points, ambient)
    melting = plate.solid.melting
    before, absorbed, worst, melts = plate.stored(start).sum(), float(problem.load.sum()), 0.0, None
    rows, left_in_all, mass = [(0.0, ambient, ambient)], 0.0, plate.mass()
    for time, values, left in march(problem, start, seconds=seconds, steps=steps):
        left_in_all += float(left.sum())
        stored = float(plate.stored(values).sum() - before)
        worst = max(worst, abs(absorbed * time - stored - left_in_all) / (absorbed * time))
        rows.append((time, float(values.max()), float(np.average(values, weights=mass))))
        if melting is not None and rows[-1][1] >= melting:
            share = (melting - rows[-2][1]) / (rows[-1][1] - rows[-2][1])
            melts = rows[-2][0] + share * (time - rows[-2][0])
            break
    columns = np.array(rows).T
    return Warming(*columns, imbalance=worst, melts_after_s=melts)
