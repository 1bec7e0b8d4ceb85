"""Best sizes: for each working temperature the one with the most heat to draw off, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dishtrace.stats import Estimate, from_left_out
from dishtrace.study.size.knobs import Knob
from dishtrace.study.size.optimum import first_reaching, level_range, top_of
from dishtrace.study.size.trial import Trial

TWO_SIDED_95 = 1.96
"""Standard deviations on either side that hold 95 % of a normal spread. [–]"""
FLAT_SHARE = 0.01
"""Sizes that cost less than this of the best net heat are told as a range. [–]"""
MATTERS = 0.05
"""Causes that widen the interval by less than this of its half width are not told. [–]"""


@dataclass(frozen=True)
class Size:
    """A best value of one thing that is varied.

    Parameters
    ----------
    name : str
        What it is, of `dishtrace.study.size.knobs.KNOBS`.
    value : float
        In metres, but "scale" without unit.
    low, high : float or None
        Interval of 95 %, from the tracing, the steps between sizes and the uncertain numbers of the scene; None where
        it is not known.
    at_end : str
        "low" or "high" where the best lies at an end of the range that was tried, or beyond; else empty.
    """

    name: str
    value: float
    low: float | None
    high: float | None
    at_end: str

    def to_dict(self) -> dict[str, Any]:
        """As in size.json."""
        return dict(vars(self))


@dataclass(frozen=True)
class Best:
    """The best size at one working temperature.

    Parameters
    ----------
    temperature_c : float
        [degC]
    sizes : tuple of Size
        One for each thing varied; empty where no size has heat left to draw off.
    net_w : Estimate
        Heat that can be drawn off at that size (or at the least bad one). [W]
    figures : dict of Estimate
        At that size: share, absorbed_w, peak_w_m2, missed_w, others_w.NAME.
    flat : (low, high) or None
        Values of the first thing varied, the second at its best, that cost less than 1 % of the net heat.
    causes : tuple of (str, float)
        What widens the interval of the first size, strongest first, in shares of its half width squared.
    """

    temperature_c: float
    sizes: tuple[Size, ...]
    net_w: Estimate
    figures: dict[str, Estimate]
    flat: tuple[float, float] | None
    causes: tuple[tuple[str, float], ...]

    def to_dict(self) -> dict[str, Any]:
        """As in size.json."""
        return {
            "temperature_c": self.temperature_c,
            "sizes": [size.to_dict() for size in self.sizes],
            "net_w": self.net_w.to_dict(),
            "figures": {key: figure.to_dict() for key, figure in self.figures.items()},
            "within_1_percent": None if self.flat is None else list(self.flat),
            "causes": [{"name": name, "share": share} for name, share in self.causes],
        }


@dataclass(frozen=True, eq=False)
class Grid:
    """Trials on a full grid of one or two things varied.

    Parameters
    ----------
    knobs : tuple of Knob
    axes : tuple of (n,) float64
        Values of each that are on the grid.
    trials : (n1,) or (n1, n2) object
        Trial at each.
    """

    knobs: tuple[Knob, ...]
    axes: tuple[np.ndarray, ...]
    trials: np.ndarray

    @property
    def places(self) -> tuple[np.ndarray, ...]:
        """Coordinates of the axes."""
        return tuple(knob.place(axis) for knob, axis in zip(self.knobs, self.axes, strict=True))

    def table(self, figure: Callable[[Trial], Estimate]) -> tuple[np.ndarray, np.ndarray | None]:
        """Values of a figure, (n1[, n2]), and with each block left out, (b, n1[, n2]) or None."""
        found = [figure(trial) for trial in self.trials.flat]
        values = np.array([one.value for one in found]).reshape(self.trials.shape)
        rows = [one.left_out for one in found]
        if any(row is None or len(row) != len(rows[0]) for row in rows):
            return values, None
        return values, np.stack(rows, axis=1).reshape(-1, *self.trials.shape)

    def at(self, figure: Callable[[Trial], Estimate], places: Sequence[float]) -> Estimate:
        """A figure between the sizes tried, by shape-preserving cubics."""
        from scipy.interpolate import RegularGridInterpolator

        values, left_out = self.table(figure)
        stack = values[np.newaxis] if left_out is None else np.concatenate([values[np.newaxis], left_out])
        method = "pchip" if min(values.shape) >= 4 else "linear"
        found = RegularGridInterpolator(self.places, np.moveaxis(stack, 0, -1), method=method)(np.array([places]))[0]
        return Estimate(float(found[0]), None) if left_out is None else from_left_out(float(found[0]), found[1:])


def best_at(grid: Grid, number: int, temperature_c: float) -> Best:
    """The best size at a working temperature.

    Parameters
    ----------
    grid : Grid
        Its trials have heat.
    number : int
        Of the temperature in the trials' heat.
    temperature_c : float
        [degC]
    """
    values, left_out = grid.table(lambda trial: trial.net_w(number))
    tops, net = _tops(grid, values, left_out)
    if net.value <= 0.0:
        return Best(temperature_c, (), net, {}, None, ())
    shifts = _shifts(grid, number, [top.place.value for top in tops])
    places = [top.place.value for top in tops]
    sizes, causes = [], ()
    for axis, (knob, top) in enumerate(zip(grid.knobs, tops, strict=True)):
        parts = {name: shift[axis] ** 2 for name, shift in shifts.items()}
        if top.place.se is not None:
            parts["tracing"] = top.place.se**2
        parts["steps between the sizes"] = top.reading**2
        half = TWO_SIDED_95 * math.sqrt(sum(parts.values()))
        is_known = top.place.se is not None and not top.at_end
        low, high = (knob.value(top.place.value + sign * half) if is_known else None for sign in (-1.0, 1.0))
        sizes.append(Size(knob.name, knob.value(top.place.value), low, high, top.at_end))
        if axis == 0 and is_known and half > 0.0:
            whole = sum(parts.values())
            told = [(name, part / whole) for name, part in parts.items() if part > MATTERS * whole]
            causes = tuple(sorted(told, key=lambda pair: -pair[1]))
    return Best(temperature_c, tuple(sizes), net, figures_at(grid, places), _flat(grid, values, tops, net), causes)


def figures_at(grid: Grid, places: Sequence[float]) -> dict[str, Estimate]:
    """What a part of a size between those tried gets, and where the rest goes."""
    others = list(grid.trials.flat[0].others_w)
    figures: dict[str, Callable[[Trial], Estimate]] = {
        "share": lambda trial: trial.share,
        "absorbed_w": lambda trial: trial.absorbed_w,
        "peak_w_m2": lambda trial: trial.peak_w_m2,
        "missed_w": lambda trial: trial.missed_w,
        **{f"others_w.{name}": (lambda trial, name=name: trial.others_w[name]) for name in others},
    }
    return {key: grid.at(figure, places) for key, figure in figures.items()}


@dataclass(frozen=True)
class _Place:
    """Best place along one axis."""

    place: Estimate
    at_end: str
    reading: float


def _tops(grid: Grid, values: np.ndarray, left_out: np.ndarray | None) -> tuple[list[_Place], Estimate]:
    """Highest place along each axis, and the height there; of two axes the second over the tops along the first."""
    first = grid.places[0]
    if len(grid.knobs) == 1:
        top = top_of(first, values, left_out)
        return [_Place(top.place, top.at_end, top.reading)], top.height
    second = grid.places[1]
    rows = [
        top_of(first, values[:, k], None if left_out is None else left_out[:, :, k]) for k in range(values.shape[1])
    ]
    heights = np.array([row.height.value for row in rows])
    blocks = None if left_out is None else np.stack([row.height.left_out for row in rows], axis=1)
    top = top_of(second, heights, blocks)
    place = _along_ridge(second, rows, top.place)
    nearest = rows[int(np.argmin(np.abs(second - top.place.value)))]
    return [_Place(place, nearest.at_end, nearest.reading), _Place(top.place, top.at_end, top.reading)], top.height


def _along_ridge(second: np.ndarray, rows: Sequence[Any], place: Estimate) -> Estimate:
    """Best place along the first axis at the best place along the second."""
    value = float(np.interp(place.value, second, [row.place.value for row in rows]))
    if any(row.place.left_out is None for row in rows if not row.at_end):
        return Estimate(value, None)
    blocks = [row.place.left_out for row in rows if row.place.left_out is not None]
    if not blocks:
        return Estimate(value, None)
    n_blocks = len(blocks[0])
    columns = [np.full(n_blocks, row.place.value) if row.place.left_out is None else row.place.left_out for row in rows]
    seconds = np.full(n_blocks, place.value) if place.left_out is None else place.left_out
    left_out = [float(np.interp(seconds[b], second, [column[b] for column in columns])) for b in range(n_blocks)]
    return from_left_out(value, np.array(left_out))


def _shifts(grid: Grid, number: int, places: Sequence[float]) -> dict[str, list[float]]:
    """By how much the best place moves, along each axis, with each uncertain number one standard deviation up."""
    trials = list(grid.trials.flat)
    found = {}
    for k, name in enumerate(trials[0].heat.names):
        varied = [
            trial.absorbed_w.value * trial.heat.factors[k] - trial.heat.varied_losses_w[k, number] for trial in trials
        ]
        tops, _ = _tops(grid, np.array(varied).reshape(grid.trials.shape), None)
        found[name] = [top.place.value - place for top, place in zip(tops, places, strict=True)]
    return found


def _flat(grid: Grid, values: np.ndarray, tops: Sequence[_Place], net: Estimate) -> tuple[float, float] | None:
    """Values of the first thing varied that cost less than 1 % of the net heat, the second at its best."""
    from scipy.interpolate import PchipInterpolator

    if any(top.at_end for top in tops):
        return None
    if values.ndim == 2:
        values = PchipInterpolator(grid.places[1], values, axis=1)(tops[1].place.value)
    goal = (1.0 - FLAT_SHARE) * net.value
    low, high = level_range(grid.places[0], values, goal, top=tops[0].place.value)
    return grid.knobs[0].value(low), grid.knobs[0].value(high)


def smallest_for(grid: Grid, share: float) -> tuple[Estimate, dict[str, Estimate]] | None:
    """The smallest value of the first thing varied that catches a share of the light, and what else holds there.

    Of two things varied the second stands where the most is caught. None where the share is not reached.
    """
    values, left_out = grid.table(lambda trial: trial.share)
    others: list[float] = []
    if values.ndim == 2:
        column = int(np.argmax(values.max(axis=0)))
        others = [float(grid.places[1][column])]
        values, left_out = values[:, column], None if left_out is None else left_out[:, :, column]
    place = first_reaching(grid.places[0], values, share, left_out)
    if place is None:
        return None
    knob = grid.knobs[0]
    value = knob.value(place.value)
    blocks = None if place.left_out is None else np.array([knob.value(one) for one in place.left_out])
    estimate = Estimate(value, None) if blocks is None else from_left_out(value, blocks)
    return estimate, figures_at(grid, [place.value, *others])
