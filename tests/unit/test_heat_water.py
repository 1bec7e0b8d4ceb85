"""Water, steam and air in a closed space, against the equation of state asked directly."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from dishtrace.heat import water
from dishtrace.heat.water import AIR_CV, AIR_GAS_CONSTANT, saturation, tank_state


@pytest.mark.parametrize("temperature", [280.0, 373.15, 450.0, 560.0, 630.0])
def test_splines_are_the_equation_of_state(temperature):
    sat = saturation(temperature)
    assert sat.pressure == pytest.approx(PropsSI("P", "T", temperature, "Q", 0, "Water"), rel=1e-7)
    assert sat.steam_volume == pytest.approx(1.0 / PropsSI("D", "T", temperature, "Q", 1, "Water"), rel=1e-6)
    assert sat.liquid_u == pytest.approx(PropsSI("U", "T", temperature, "Q", 0, "Water"), rel=1e-6)
    assert sat.steam_u == pytest.approx(PropsSI("U", "T", temperature, "Q", 1, "Water"), rel=1e-6)


@pytest.mark.parametrize("temperature", [273.0, 645.0, 700.0])
def test_no_saturation_outside_its_range(temperature):
    with pytest.raises(ValueError, match="only from 273.16 to 640.0 K"):
        saturation(temperature)


@pytest.mark.parametrize(("temperature", "mass"), [(400.0, 1.1), (500.0, 0.5), (600.0, 0.3)])
def test_liquid_and_steam_alone(temperature, mass):
    state = tank_state(temperature, water=mass, air=0.0, volume=2e-3)
    density = mass / 2e-3
    assert state.pressure == pytest.approx(PropsSI("P", "T", temperature, "D", density, "Water"), rel=1e-6)
    assert state.energy == pytest.approx(mass * PropsSI("U", "T", temperature, "D", density, "Water"), rel=1e-5)
    assert state.liquid + state.steam == pytest.approx(mass, rel=1e-12)


def test_superheated_steam():
    state = tank_state(800.0, water=0.002, air=0.0, volume=2e-3)
    assert state.liquid < 0.0
    assert state.pressure == pytest.approx(PropsSI("P", "T", 800.0, "D", 1.0, "Water"), rel=1e-9)


def test_air_adds_its_own_pressure_in_the_room_left():
    state = tank_state(350.0, water=0.01, air=0.5e-3, volume=2e-3)
    alone = tank_state(350.0, water=0.01, air=0.0, volume=2e-3)
    expected = 0.5e-3 * AIR_GAS_CONSTANT * 350.0 / alone.gas_volume
    assert state.pressure - alone.pressure == pytest.approx(expected, rel=1e-3)
    assert state.energy - alone.energy == pytest.approx(0.5e-3 * AIR_CV * 350.0, rel=1e-3)


def test_a_tank_full_of_liquid_has_the_pressure_of_compressed_water():
    """0.93 kg/litre at 150 degC by IAPWS-95; a linear compressibility is good to a few percent."""
    temperature, density = 423.15, 925.0
    state = tank_state(temperature, water=density * 1e-3, air=0.0, volume=1e-3)
    expected = PropsSI("P", "T", temperature, "D", density, "Water")
    assert state.gas_volume == 0.0
    assert state.pressure == pytest.approx(expected, rel=0.04)
    assert state.energy == pytest.approx(0.925 * PropsSI("U", "T", temperature, "D", density, "Water"), rel=1e-3)


def test_a_cushion_of_air_joins_smoothly_to_a_full_tank():
    pressures = [tank_state(360.0, water=m, air=1e-6, volume=1e-3).pressure for m in np.linspace(0.95, 0.98, 400)]
    assert np.all(np.diff(pressures) > 0.0)
    assert np.max(np.diff(pressures)) < 3e5


def test_nothing_jumps_when_the_last_water_is_gone():
    dry = 1e-3 / saturation(450.0).steam_volume
    below, above = (tank_state(450.0, water=dry * f, air=1e-5, volume=1e-3) for f in (1.0 - 1e-7, 1.0 + 1e-7))
    assert below.liquid < 0.0 < above.liquid
    assert below.pressure == pytest.approx(above.pressure, rel=1e-6)
    assert below.energy == pytest.approx(above.energy, rel=1e-6)
    assert below.steam_h == pytest.approx(above.steam_h, rel=1e-6)


def test_boiling_point():
    assert water.saturation_temperature(101325.0) - 273.15 == pytest.approx(99.974, abs=0.001)
