"""What scenes are compared by: each figure, its unit, its definition, and how it is taken from a result."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.stats import Estimate, from_left_out

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult, Result

CAPTURE = 0.9


@dataclass(frozen=True)
class Measure:
    """One figure that scenes are compared by.

    Parameters
    ----------
    key : str
        Its name in files, the unit at its end.
    label : str
        Its name in tables.
    unit : str
        SI unit; empty for none.
    shown_unit : str
        Unit in tables.
    factor : float
        From the SI unit to the one in tables.
    meaning : str
        Definition, as a sentence.
    of : callable
        Takes a `Result`; None where the scene has no such figure.
    """

    key: str
    label: str
    unit: str
    shown_unit: str
    factor: float
    meaning: str
    of: Callable[[Result], Estimate | None]


def combined(function: Callable[..., np.ndarray | float], *estimates: Estimate) -> Estimate:
    """A function of estimates from the same blocks, with its paired error.

    Parameters
    ----------
    function : callable
        Takes as many floats or arrays as there are estimates, element by element.
    *estimates : Estimate
        The error is unknown unless all of them know their left-out values.
    """
    value = float(function(*(estimate.value for estimate in estimates)))
    left_out = [estimate.left_out for estimate in estimates]
    if any(values is None or len(values) != len(left_out[0]) for values in left_out):
        return Estimate(value, None)
    return from_left_out(value, np.asarray(function(*left_out)))


def concentration(result: Result) -> Estimate:
    """Mean concentration inside the circle that captures 90 % of the power at the best focus: 0.9 P / (pi R90^2) / DNI.

    Source: common practice (mean flux over a stated area, over direct normal irradiance). [–]
    """
    screen = result.best_focus

    def flux(power: np.ndarray | float, radius: np.ndarray | float) -> np.ndarray:
        power, radius = np.asarray(power, dtype=np.float64), np.asarray(radius, dtype=np.float64)
        area = np.pi * radius**2
        return np.divide(CAPTURE * power, area, out=np.full(power.shape, np.nan), where=area > 0.0)

    return combined(flux, screen.power_w, screen.radius_m["90"]).scaled(1.0 / result.sun.dni_w_m2)


def receiver_peak(result: Result) -> PartResult | None:
    """The receiver with the highest peak; None without one."""
    receivers = [part for part in result.parts.values() if part.role == "receiver"]
    return max(receivers, key=lambda part: part.peak_w_m2.value, default=None)


def _exact(key: str) -> Callable[[Result], Estimate]:
    return lambda result: Estimate(float(result.dish[key]), 0.0)


def _if_role(role: str, figure: Callable[[Result], Estimate]) -> Callable[[Result], Estimate | None]:
    """The figure where the scene has a part of this role."""

    def of(result: Result) -> Estimate | None:
        return figure(result) if any(part.role == role for part in result.parts.values()) else None

    return of


def _peak_on_receiver(result: Result) -> Estimate | None:
    part = receiver_peak(result)
    return None if part is None else part.peak_w_m2


def _radius(share: str) -> Measure:
    return Measure(
        f"r{share}_m",
        f"R{share}",
        "m",
        "mm",
        1e3,
        f"Radius of the circle about the centroid at the best focus that holds {share} % of the power there.",
        lambda result: result.best_focus.radius_m[share],
    )


MEASURES = (
    Measure("mirror_m2", "mirror area", "m2", "m2", 1.0, "True surface of the mirror.", _exact("mirror_m2")),
    Measure("facets", "facets", "", "", 1.0, "Number of facets; 1 is a continuous skin.", _exact("facets")),
    Measure(
        "first_hit_receiver_w",
        "meets receiver",
        "W",
        "W",
        1.0,
        "Mirror light that meets a receiver before any other part.",
        _if_role("receiver", lambda result: result.first_hit_w["receiver"]),
    ),
    Measure(
        "intercept_factor",
        "intercept factor",
        "",
        "%",
        100.0,
        "Share of the power leaving the mirror that meets a receiver before any other part.",
        _if_role("receiver", lambda result: result.intercept_factor),
    ),
    Measure(
        "receiver_w",
        "receiver absorbs",
        "W",
        "W",
        1.0,
        "Mirror light that the receivers absorb.",
        _if_role("receiver", lambda result: result.budget_w["receiver"]),
    ),
    Measure(
        "first_hit_stand_w",
        "meets stand",
        "W",
        "W",
        1.0,
        "Mirror light that meets the stand before any other part.",
        _if_role("stand", lambda result: result.first_hit_w["stand"]),
    ),
    Measure(
        "stand_w",
        "stand absorbs",
        "W",
        "W",
        1.0,
        "Mirror light that the stand absorbs.",
        _if_role("stand", lambda result: result.budget_w["stand"]),
    ),
    Measure(
        "missed_w",
        "misses all parts",
        "W",
        "W",
        1.0,
        "Mirror light that meets no part.",
        lambda result: result.budget_w["missed"] if result.parts else None,
    ),
    Measure(
        "receiver_peak_w_m2",
        "receiver peak",
        "W/m2",
        "kW/m2",
        1e-3,
        "Highest mean flux of mirror light over 1 cm2 of a receiver.",
        _peak_on_receiver,
    ),
    Measure(
        "spot_peak_w_m2",
        "spot peak",
        "W/m2",
        "kW/m2",
        1e-3,
        "Highest mean flux over 1 cm2 of the plane at the best focus, receivers not there.",
        lambda result: result.best_focus.peak_w_m2,
    ),
    Measure(
        "best_focus_m",
        "best focus at",
        "m",
        "mm",
        1e3,
        "Where along the axis R90 is smallest, from the focus, towards the sun positive.",
        lambda result: result.best_focus.offset_m,
    ),
    *(_radius(share) for share in ("50", "90", "95")),
    Measure(
        "concentration_90",
        "suns within R90",
        "",
        "",
        1.0,
        "Concentration at 90 % capture: the 90 % of the power within R90 at the best focus, over the area of that "
        "circle and the direct normal irradiance.",
        concentration,
    ),
)
BY_KEY = {measure.key: measure for measure in MEASURES}


def figures_of(result: Result) -> dict[str, Estimate]:
    """The figures that a result has, by key, in the order of `MEASURES`."""
    found = {measure.key: measure.of(result) for measure in MEASURES}
    return {key: estimate for key, estimate in found.items() if estimate is not None}
