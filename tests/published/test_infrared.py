"""Infrared thermometer and heat of water against tables."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.study.fit.heating import WATER_J_KG_K, temperatures
from dishtrace.study.fit.infrared import (
    SECOND_RADIATION_CONSTANT_M_K,
    band_radiance,
    black_body_temperature,
    shown_temperature,
    true_temperature,
)
from tests.support.fit_readings import stretch

# Share of a black body's radiation below a product of wavelength and temperature: Incropera and DeWitt, table 12.1
# (from memory, made with older constants): 2400 um K 0.140256, 4200 um K 0.516014.
BAND_SHARE = 0.516014 - 0.140256
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
FIRST_CONSTANT = 3.741771852e-16  # 2 pi h c^2, W m2, CODATA 2018


def test_share_of_radiation_between_8_and_14_um_at_300_k():
    """2400 to 4200 um K; a wrong power of the wavelength or a swapped band is found."""
    power = FIRST_CONSTANT * band_radiance(300.0 - 273.15)
    assert power / (STEFAN_BOLTZMANN * 300.0**4) == pytest.approx(BAND_SHARE, abs=3e-5)


def share_below(product_m_k):
    """15 / pi^4 sum e^(-n x) (x^3/n + 3 x^2/n^2 + 6 x/n^3 + 6/n^4), x = c2 / (l T).

    Source: S.L. Chang and K.T. Rhee, Int. Comm. Heat Mass Transfer 11 (1984) 451-455 (from memory).
    """
    x, n = SECOND_RADIATION_CONSTANT_M_K / product_m_k, np.arange(1, 200)
    return 15.0 / np.pi**4 * np.sum(np.exp(-n * x) * (x**3 / n + 3.0 * x**2 / n**2 + 6.0 * x / n**3 + 6.0 / n**4))


@pytest.mark.parametrize("kelvin", [260.0, 300.0, 373.15, 600.0])
def test_share_of_radiation_in_the_band_is_that_of_the_series(kelvin):
    power = FIRST_CONSTANT * band_radiance(kelvin - 273.15)
    expected = share_below(14e-6 * kelvin) - share_below(8e-6 * kelvin)
    assert power / (STEFAN_BOLTZMANN * kelvin**4) == pytest.approx(expected, rel=1e-8)


def test_all_wavelengths_give_the_fourth_power():
    """Bands from 1 to 400 um of a body at 500 K hold 99.99 % of sigma T^4."""
    edges = np.geomspace(1e-6, 400e-6, 60)
    whole = sum(band_radiance(226.85, band) for band in zip(edges[:-1], edges[1:], strict=True))
    assert FIRST_CONSTANT * whole == pytest.approx(STEFAN_BOLTZMANN * 500.0**4, rel=2e-4)


def test_inverse_of_the_band():
    heat = np.array([-50.0, 0.0, 20.0, 100.0, 400.0, 900.0])
    assert black_body_temperature(band_radiance(heat)) == pytest.approx(heat, abs=1e-8)
    assert np.isnan(black_body_temperature(np.array([-1.0]))[0])


def test_right_setting_in_surroundings_of_one_temperature_changes_nothing():
    heat = np.linspace(10.0, 150.0, 8)
    how = {"set_emissivity": 0.9, "emissivity": 0.9, "reflected_c": 22.0, "instrument_c": 22.0}
    assert true_temperature(heat, **how) == pytest.approx(heat, abs=1e-8)


def test_bright_wall_read_with_the_factory_setting_is_hotter_than_shown():
    """Emissivity 0.3, setting 0.95: what is shown is far too low; the way back recovers it (finds swapped roles)."""
    how = {"set_emissivity": 0.95, "emissivity": 0.30, "reflected_c": 20.0, "instrument_c": 20.0}
    shown = shown_temperature(np.array([90.0]), **how)
    assert 35.0 < shown[0] < 60.0
    assert true_temperature(shown, **how) == pytest.approx([90.0], abs=1e-6)


def test_narrow_band_follows_the_textbook_formula():
    """At one wavelength 1/T = 1/T_shown + (l / c2) ln(e / e_set) where reflections do not count (Wien; from memory)."""
    wave, shown = 1e-6, 700.0
    true = true_temperature(
        np.array([shown]), set_emissivity=1.0, emissivity=0.4, reflected_c=-200.0, instrument_c=-200.0,
        band=(wave * 0.9999, wave * 1.0001),
    )  # fmt: skip
    expected = 1.0 / (1.0 / (shown + 273.15) + wave / SECOND_RADIATION_CONSTANT_M_K * np.log(0.4)) - 273.15
    assert true[0] == pytest.approx(expected, abs=0.01)


def test_three_kilograms_of_water_with_one_kilowatt():
    """3.0 kg from 20 to 100 degC with 1.0 kW and no loss: 16.75 min (enthalpies of IAPWS-IF97)."""
    one = stretch(np.array([0.0, 16.75]))
    heat = temperatures(one, 20.0, power_w=1000.0, loss_w_k=0.0, capacity_j_k=3.0 * WATER_J_KG_K)
    assert heat[-1] == pytest.approx(100.0, abs=0.1)
