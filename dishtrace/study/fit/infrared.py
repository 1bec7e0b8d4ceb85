"""What an infrared thermometer's reading means when its emissivity setting and its surroundings are not the true ones.

The instrument takes what it gets in its band as `e_set B(T_shown) + (1 - e_set) B(T_instrument)`; what it really gets
is `e B(T) + (1 - e) B(T_reflected)`, with B the radiance of a black body in the band. Setting both equal gives T. Air
between the two, and a spot that is not filled, are not in it.

Source: textbook of radiation thermometry (from memory); Planck's law; c2 of CODATA 2018.
"""

from __future__ import annotations

import numpy as np

SECOND_RADIATION_CONSTANT_M_K = 1.438776877e-2
"""h c / k, exact in the SI of 2019 to the digits given (CODATA 2018). [m K]"""
BAND_M = (8e-6, 14e-6)
"""Band of common hand-held instruments (common practice, no source). [m]"""
ZERO_C = 273.15
N_NODES = 32
N_STEPS = 30


def band_radiance(temperature_c: np.ndarray | float, band: tuple[float, float] = BAND_M) -> np.ndarray:
    """Radiance of a black body within a band, in units of 2 h c^2 / m^4, by Gauss-Legendre quadrature.

    Parameters
    ----------
    temperature_c : (...) float64
        Above -273.15. [degC]
    band : (float, float)
        Wavelengths. [m]

    Returns
    -------
    (...) float64
        Integral over wavelength of 1 / (l^5 (exp(c2 / (l T)) - 1)). [1/m4]
    """
    return _integral(temperature_c, band)[0]


def _integral(temperature_c: np.ndarray | float, band: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Band radiance and its derivative to temperature."""
    nodes, weights = np.polynomial.legendre.leggauss(N_NODES)
    half = 0.5 * (band[1] - band[0])
    wave = 0.5 * (band[0] + band[1]) + half * nodes
    kelvin = np.asarray(temperature_c, dtype=np.float64)[..., np.newaxis] + ZERO_C
    exponent = SECOND_RADIATION_CONSTANT_M_K / (wave * kelvin)
    share = half * weights / wave**5
    radiance = share / np.expm1(exponent)
    slope = radiance * exponent / kelvin / -np.expm1(-exponent)
    return radiance.sum(axis=-1), slope.sum(axis=-1)


def true_temperature(
    shown_c: np.ndarray,
    *,
    set_emissivity: float,
    emissivity: float,
    reflected_c: float,
    instrument_c: float,
    band: tuple[float, float] = BAND_M,
) -> np.ndarray:
    """Temperature of the spot behind readings.

    Parameters
    ----------
    shown_c : (n,) float64
        What the instrument shows. [degC]
    set_emissivity, emissivity : float
        What it is set to, and what the spot has. [–]
    reflected_c : float
        Temperature of what the spot mirrors into the instrument. [degC]
    instrument_c : float
        Temperature that the instrument takes for its surroundings. [degC]
    band : (float, float)
        Wavelengths. [m]

    Returns
    -------
    (n,) float64
        NaN where the reflected light alone would be more than was read. [degC]
    """
    shown = np.asarray(shown_c, dtype=np.float64)
    got = set_emissivity * band_radiance(shown, band) + (1.0 - set_emissivity) * band_radiance(instrument_c, band)
    wanted = (got - (1.0 - emissivity) * band_radiance(reflected_c, band)) / emissivity
    return black_body_temperature(wanted, band)


def black_body_temperature(radiance: np.ndarray, band: tuple[float, float] = BAND_M) -> np.ndarray:
    """Inverse of `band_radiance` by Newton's method on its logarithm over 1 / T, where it is almost straight; NaN for
    a radiance of 0 or less. [degC]
    """
    wanted = np.asarray(radiance, dtype=np.float64)
    goal = np.log(np.where(wanted > 0.0, wanted, 1.0))
    inverse = np.full(wanted.shape, 1.0 / 300.0)
    for _ in range(N_STEPS):
        value, slope = _integral(1.0 / inverse - ZERO_C, band)
        step = (np.log(value) - goal) * value / (slope / inverse**2)
        inverse = np.clip(inverse + step, 1.0 / 5000.0, 1.0 / 60.0)
        if np.all(np.abs(step) < 1e-13 * inverse):
            break
    return np.where(wanted > 0.0, 1.0 / inverse - ZERO_C, np.nan)


def shown_temperature(
    true_c: np.ndarray,
    *,
    set_emissivity: float,
    emissivity: float,
    reflected_c: float,
    instrument_c: float,
    band: tuple[float, float] = BAND_M,
) -> np.ndarray:
    """What an instrument shows for a spot: the way back of `true_temperature`. [degC]"""
    return true_temperature(
        true_c,
        set_emissivity=emissivity,
        emissivity=set_emissivity,
        reflected_c=instrument_c,
        instrument_c=reflected_c,
        band=band,
    )
