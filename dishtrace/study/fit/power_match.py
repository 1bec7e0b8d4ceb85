"""Which slope errors explain a measured power: those whose traced power on the receivers lies within its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.study.fit.findings import Finding
from dishtrace.study.fit.given import amount_of
from dishtrace.study.fit.ladder import SUN_MRAD2

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.fit.ladder import Rung

N_FINE = 2001
KEY = "slope_error_from_power_mrad"


@dataclass(frozen=True, eq=False)
class PowerMatch:
    """Measured against traced power.

    Parameters
    ----------
    slopes_mrad, traced_w, traced_se_w : (k,) float64
        What the receivers absorb at each slope error, at the irradiance of the test. [mrad], [W], [W]
    measured_w, half_w : float
        Measured power and half of its interval, the spread of the scene's optical numbers in it. [W]
    finding : Finding
        The slope error. [mrad]
    brightness : Finding or None
        Factor on the mirror's reflectance that explains the power as well, at a slope error told beside it.
    notes : tuple of str
    """

    slopes_mrad: np.ndarray
    traced_w: np.ndarray
    traced_se_w: np.ndarray
    measured_w: float
    half_w: float
    finding: Finding
    brightness: Finding
    notes: tuple[str, ...]


def optical_spread(scene: Scene) -> float:
    """Relative standard error of reflectance times cleanliness times the receiver's absorptance, as the scene has them.

    Of several receivers the first counts. [–]
    """
    numbers = [scene.dish.cleanliness]
    if not isinstance(scene.dish.reflectance, str):
        numbers.append(scene.dish.reflectance)
    for part in scene.parts:
        if part.role == "receiver" and part.surface is not None and not isinstance(part.surface, str):
            numbers.append(part.surface.absorptance)
            break
    amounts = [amount_of(number) for number in numbers]
    return math.hypot(*(one.sd / one.value for one in amounts))


def match_power(
    power: Finding, rungs: Sequence[Rung], *, dni_ratio: float, dni_share: float, spread: float, slope_mrad: float
) -> PowerMatch:
    """Slope errors that explain a measured power.

    Parameters
    ----------
    power : Finding
        Power absorbed at the reference irradiance, with its interval. [W]
    rungs : sequence of Rung
        Traces at rising slope errors.
    dni_ratio : float
        Reference irradiance of the test over that of the traces. [–]
    dni_share : float
        Relative standard error of the reference irradiance. [–]
    spread : float
        Relative standard error of the scene's optical numbers; see `optical_spread`. [–]
    slope_mrad : float
        Slope error at which the brightness is told. [mrad]
    """
    slopes = np.array([rung.slope_mrad for rung in rungs])
    traced = dni_ratio * np.array([rung.receiver_w.value for rung in rungs])
    errors = dni_ratio * np.array([rung.receiver_w.se or 0.0 for rung in rungs])
    half = math.hypot(0.5 * (power.high - power.low), 2.0 * power.value * math.hypot(dni_share, spread))
    fine = np.linspace(slopes[0], slopes[-1], N_FINE)
    curve = _curve(slopes, traced, fine)
    off = curve - power.value
    fits = np.abs(off) <= math.hypot(half, 2.0 * float(errors.max()))
    notes: list[str] = []
    found = _slope(fine, off, fits, power, curve, notes)
    at = float(np.interp(slope_mrad, fine, curve))
    se = half / 2.0 / at
    brightness = Finding(
        "brightness_factor",
        "",
        power.value / at,
        se,
        power.value / at - half / at,
        power.value / at + half / at,
        True,
        f"reflectance, cleanliness and absorptance times this explain the power at a slope error of {slope_mrad:.3g} "
        "mrad",
    )
    return PowerMatch(slopes, traced, errors, power.value, half, found, brightness, tuple(notes))


def _curve(slopes: np.ndarray, traced: np.ndarray, fine: np.ndarray) -> np.ndarray:
    """Power between the rungs: a cubic spline over the logarithm of the spot's squared width."""
    from scipy.interpolate import CubicSpline

    return CubicSpline(np.log(slopes**2 + SUN_MRAD2), traced)(np.log(fine**2 + SUN_MRAD2))


def _slope(
    fine: np.ndarray, off: np.ndarray, fits: np.ndarray, power: Finding, curve: np.ndarray, notes: list[str]
) -> Finding:
    """The interval of slope errors, with its open ends."""
    best = float(fine[np.argmin(np.abs(off))])
    if not fits.any():
        side = "more" if power.value > curve.max() else "less"
        why = (
            "check mass, irradiance and reflectance"
            if side == "more"
            else "dirt, a dull mirror, a wrong place of the receiver or losses not counted explain it rather"
        )
        remark = f"the measured power is {side} than any slope error from 0 to {fine[-1]:g} mrad gives: {why}"
        return Finding(KEY, "mrad", math.nan, None, None, None, False, remark)
    low, high = float(fine[fits][0]), float(fine[fits][-1])
    is_open = high >= fine[-1], low <= fine[0]
    if all(is_open):
        remark = "the log cannot tell: the receiver takes about the same power at all slope errors tried"
        return Finding(KEY, "mrad", math.nan, None, None, None, False, remark)
    if is_open[1]:
        remark = f"the log only tells that it is at most {high:.2g} mrad: below, the power hardly changes"
        return Finding(KEY, "mrad", math.nan, None, 0.0, high, False, remark)
    if is_open[0]:
        remark = f"the log only tells that it is at least {low:.2g} mrad"
        return Finding(KEY, "mrad", math.nan, None, low, None, False, remark)
    return Finding(KEY, "mrad", best, 0.25 * (high - low), low, high, True, "")
