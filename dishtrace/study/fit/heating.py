"""The heat balance of a vessel under the dish, and its numbers from a log of temperatures.

    C dT/dt = P d(t) - U (T - T_air)

C is the heat capacity of water and vessel, P the power absorbed at the reference irradiance, d the irradiance over that
reference (0 while the dish is off the sun), U the loss coefficient. A reading on the wall shows T + R C dT/dt: the wall
is hotter than the water by R per watt that goes through it. Every stretch of readings has a start temperature of its
own. The water is mixed, U a mean over the temperatures seen (radiation and evaporation grow faster than that).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

WATER_J_KG_K = 4190.0
"""Mean specific heat of liquid water from 20 to 100 degC, (419.1 - 83.9) kJ/kg over 80 K (IAPWS-IF97 enthalpies); from
0 to 110 degC the true one lies within 1 %. [J/(kg K)]"""
MOST_TIME_CONSTANTS = 200.0
LEAST_FREEDOM = 3.0


@dataclass(frozen=True, eq=False)
class Stretch:
    """Readings in a row.

    Parameters
    ----------
    time_s : (k,) float64
        From the first of them. [s]
    heat_c : (k,) float64
        Temperatures, corrected. [degC]
    drive : (k,) float64
        Irradiance over the reference at each reading. [–]
    is_on : (k,) bool
        Whether the dish faces the sun from each reading to the next.
    air_c : (k,) float64
        Air temperature. [degC]
    is_wall : (k,) bool
        Readings on the wall.
    """

    time_s: np.ndarray
    heat_c: np.ndarray
    drive: np.ndarray
    is_on: np.ndarray
    air_c: np.ndarray
    is_wall: np.ndarray


@dataclass(frozen=True, eq=False)
class Heating:
    """Numbers of the heat balance.

    Parameters
    ----------
    power_w, loss_w_k, wall_k_w : float
        P at the reference irradiance, U, R. [W], [W/K], [K/W]
    starts_c : (s,) float64
        Start temperature of each stretch. [degC]
    covariance : (p, p) float64
        Of P, U, R where it was fitted, and the starts, from the scatter of the readings.
    freedom : float
        Degrees of freedom that the scatter is known with. [–]
    noise_k : float
        Standard deviation of the readings about the fit. [K]
    echo : float
        Correlation of each residual with the one before it. [–]
    inflated_by : float
        Factor on the standard errors that it asks for. [–]
    fitted_c : tuple of (k,) float64
        What the fit gives at each reading. [degC]
    """

    power_w: float
    loss_w_k: float
    wall_k_w: float
    starts_c: np.ndarray
    covariance: np.ndarray
    freedom: float
    noise_k: float
    echo: float
    inflated_by: float
    fitted_c: tuple[np.ndarray, ...]


def fit_heating(
    stretches: tuple[Stretch, ...], *, capacity_j_k: float, wall_k_w: float | None, step_k: float = 0.0
) -> Heating:
    """Least-squares numbers of the heat balance.

    Parameters
    ----------
    stretches : tuple of Stretch
        With more readings in all than there are numbers to find.
    capacity_j_k : float
        C. [J/K]
    wall_k_w : float or None
        R; None: to be found from the readings. [K/W]
    step_k : float
        Step of the thermometer; no scatter below step / sqrt(12) is believed. [K]

    Notes
    -----
    The residuals' correlation r from one reading to the next, where it is significant (above 1.645 / sqrt(n)), widens
    the errors by sqrt((1 + r) / (1 - r)) and lowers the degrees of freedom alike: the effective number of readings of a
    first-order autoregressive series (common practice, from memory).
    """
    from scipy.optimize import least_squares

    has_wall = wall_k_w is None
    observed = np.concatenate([stretch.heat_c for stretch in stretches])

    def modelled(numbers: np.ndarray) -> tuple[np.ndarray, ...]:
        wall = numbers[2] if has_wall else wall_k_w
        starts = numbers[3 if has_wall else 2 :]
        return tuple(
            temperatures(
                stretch, start, power_w=numbers[0], loss_w_k=numbers[1], capacity_j_k=capacity_j_k, wall_k_w=wall
            )
            for stretch, start in zip(stretches, starts, strict=True)
        )

    def left(numbers: np.ndarray) -> np.ndarray:
        return np.concatenate(modelled(numbers)) - observed

    guess, scale = _guess(stretches, capacity_j_k, has_wall)
    found = least_squares(left, guess, x_scale=scale, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    scatter = _scatter(found.fun, stretches, n_numbers=len(guess), step_k=step_k)
    scaled = found.jac * scale
    spread = np.linalg.pinv(scaled.T @ scaled)
    return Heating(
        power_w=float(found.x[0]),
        loss_w_k=float(found.x[1]),
        wall_k_w=float(found.x[2]) if has_wall else float(wall_k_w or 0.0),
        starts_c=found.x[3 if has_wall else 2 :],
        covariance=scatter.variance * scatter.widening * spread * np.outer(scale, scale),
        freedom=scatter.freedom,
        noise_k=math.sqrt(scatter.variance),
        echo=scatter.echo,
        inflated_by=math.sqrt(scatter.widening),
        fitted_c=modelled(found.x),
    )


class _Scatter(NamedTuple):
    """Variance of the readings about a fit [K2], and what their correlation does to it. [–]"""

    variance: float
    echo: float
    widening: float
    freedom: float


def _scatter(residuals: np.ndarray, stretches: tuple[Stretch, ...], *, n_numbers: int, step_k: float) -> _Scatter:
    """See the notes of `fit_heating`."""
    freedom = len(residuals) - n_numbers
    variance = max(float(residuals @ residuals) / freedom, step_k**2 / 12.0)
    echo = _echo(residuals, stretches)
    is_real = echo > 1.645 / math.sqrt(len(residuals))
    widening = (1.0 + min(echo, 0.98)) / (1.0 - min(echo, 0.98)) if is_real else 1.0
    effective = max(len(residuals) / widening - n_numbers, min(LEAST_FREEDOM, freedom))
    return _Scatter(variance, echo, widening, effective)


def temperatures(
    stretch: Stretch,
    start_c: float,
    *,
    power_w: float,
    loss_w_k: float,
    capacity_j_k: float,
    wall_k_w: float = 0.0,
) -> np.ndarray:
    """What a thermometer shows at the times of a stretch, (k,): exact for inputs that run straight between readings.

    Parameters
    ----------
    stretch : Stretch
        Its times, drive, air and places.
    start_c : float
        Temperature of the water at the first of them. [degC]
    power_w, loss_w_k, capacity_j_k, wall_k_w : float
        P, U, C, R.
    """
    steps = np.diff(stretch.time_s)
    length = max(float(stretch.time_s[-1]), 1e-9)
    rate = float(np.clip(loss_w_k / capacity_j_k, -MOST_TIME_CONSTANTS / length, MOST_TIME_CONSTANTS / length))
    on = stretch.is_on[:-1]
    before = power_w / capacity_j_k * stretch.drive[:-1] * on + rate * stretch.air_c[:-1]
    after = power_w / capacity_j_k * stretch.drive[1:] * on + rate * stretch.air_c[1:]
    first, second = _weights(rate * steps)
    added = steps * (before * first + after * second)
    grown = np.exp(rate * (stretch.time_s - 0.5 * length))
    sums = np.concatenate([[0.0], np.cumsum(added * grown[1:])])
    water = (start_c * grown[0] + sums) / grown
    if not np.any(stretch.is_wall):
        return water
    into = power_w * stretch.drive * stretch.is_on - loss_w_k * (water - stretch.air_c)
    return water + wall_k_w * into * stretch.is_wall


def _weights(decay: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Integrals over a step, s from 0 to 1, of exp(-z (1 - s)) times (1 - s) and times s."""
    small = np.abs(decay) < 1e-3
    z = np.where(small, 1.0, decay)
    whole = np.where(small, 1.0 - decay / 2.0 + decay**2 / 6.0, -np.expm1(-z) / z)
    second = np.where(small, 0.5 - decay / 6.0 + decay**2 / 24.0, (1.0 + np.expm1(-z) / z) / z)
    return whole - second, second


def _guess(stretches: tuple[Stretch, ...], capacity: float, has_wall: bool) -> tuple[np.ndarray, np.ndarray]:
    """Start of the search and size of each number: rates of rise against temperature, sun on and off."""
    rises, heats, drives = [], [], []
    for stretch in stretches:
        half = max(len(stretch.time_s) // 2, 1)
        rises.append(
            (stretch.heat_c[half:] - stretch.heat_c[:-half]) / (stretch.time_s[half:] - stretch.time_s[:-half])
        )
        heats.append(0.5 * (stretch.heat_c[half:] + stretch.heat_c[:-half]) - stretch.air_c[:-half])
        drives.append(stretch.drive[:-half] * stretch.is_on[:-half])
    matrix = np.stack([np.concatenate(drives), -np.concatenate(heats)], axis=1) / capacity
    power = float(np.linalg.lstsq(matrix, np.concatenate(rises), rcond=None)[0][0])
    spread = max(float(np.ptp(np.concatenate([stretch.heat_c for stretch in stretches]))), 1.0)
    starts = [float(stretch.heat_c[0]) for stretch in stretches]
    size = max(abs(power), 1.0)
    numbers = [size, 0.05 * size / spread, *([0.0] if has_wall else []), *starts]
    scale = [size, size / spread, *([spread / size] if has_wall else []), *([1.0] * len(starts))]
    return np.array(numbers), np.array(scale)


def _echo(residuals: np.ndarray, stretches: tuple[Stretch, ...]) -> float:
    """Correlation of residuals with those before them, within stretches. [–]"""
    edges = np.cumsum([len(stretch.time_s) for stretch in stretches])[:-1]
    pieces = np.split(residuals, edges)
    squares = float(residuals @ residuals)
    products = sum(float(piece[1:] @ piece[:-1]) for piece in pieces)
    return products / squares if squares > 0.0 else 0.0
