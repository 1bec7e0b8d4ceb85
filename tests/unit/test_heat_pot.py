"""An open pot: evaporation, boiling, and the cooking-power test."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from dishtrace.heat.air import Ambient
from dishtrace.heat.pot import PotCase, cooking_power, evaporation, pot_timeline
from dishtrace.heat.water import saturation

AIR = Ambient(temperature=298.15, sky=280.0, pressure=101325.0, wind=0.0)
CASE = PotCase(
    part="pot",
    water=2.0,
    start=298.15,
    absorbed=700.0,
    loss=lambda t: 1.5 * (t - 298.15),
    wall_heat=500.0,
    surface=math.pi * 0.11**2,
    leak=0.0,
    humidity=0.5,
    ambient=AIR,
    duration=6 * 3600.0,
)


@pytest.mark.parametrize(("celsius", "lowest", "highest"), [(40.0, 0.4, 1.2), (60.0, 1.8, 4.5), (80.0, 8.0, 22.0)])
def test_evaporation_in_still_air(celsius, lowest, highest):
    """Rates of the common rule 25 kg/(m2 h) times the difference of humidity ratios, 0.6 to 1.6 of it.

    Humidity ratios 0.622 p / (p_air - p) of saturated air, less that of the air (common practice for open tanks).
    """
    rate = 3600.0 * evaporation(celsius + 273.15, area=0.04, humidity=0.5, ambient=AIR) / 0.04
    pressure, far = saturation(celsius + 273.15).pressure, 0.5 * saturation(298.15).pressure
    rule = 25.0 * 0.622 * (pressure / (101325.0 - pressure) - far / (101325.0 - far))
    assert lowest < rate < highest
    assert 0.6 < rate / rule < 1.7


def test_no_evaporation_into_damp_air():
    assert evaporation(298.15, area=0.04, humidity=1.0, ambient=AIR) == pytest.approx(0.0, abs=1e-9)


def test_a_tight_lid_lets_the_water_heat_as_a_lump():
    """T - T_a = (Q / G) (1 - exp(-G t / C)), C of water 2.0 x 4182 + 500 J/K; no vapour below boiling."""
    made = pot_timeline(CASE)
    heat = 2.0 * 4186.0 + 500.0
    expected = -heat / 1.5 * math.log(1.0 - 1.5 * 74.97 / 700.0)
    assert made.event("boils").time_s.value == pytest.approx(expected, rel=2e-3)


def test_boiling_takes_the_net_power():
    """Then steam is net power over heat of vaporisation, and the pot stays within 0.1 K of boiling."""
    made = pot_timeline(CASE)
    now = made.event("half-gone").time_s.value
    steam = np.interp(now, made.columns["time_s"], made.columns["steam_kg_s"])
    assert steam == pytest.approx((700.0 - 1.5 * 75.0) / 2256.5e3, rel=2e-3)
    assert made.figures["highest_temperature_c"] == pytest.approx(99.97, abs=0.1)
    assert made.event("dry").time_s.value == pytest.approx(
        made.event("boils").time_s.value + 2.0 * 2256.5e3 / (700.0 - 112.4), rel=2e-3
    )
    assert made.hazards == ("runs-dry",)


@pytest.mark.parametrize("leak", [0.0, 0.1, 1.0])
def test_energy_closes(leak):
    assert pot_timeline(replace(CASE, leak=leak)).energy_gap() < 1e-6


def test_without_a_lid_a_weak_dish_does_not_boil():
    made = pot_timeline(replace(CASE, leak=1.0, absorbed=400.0))
    assert made.event("boils") is None
    assert made.event("hottest").temperature_c < 95.0


def test_boiling_point_falls_with_pressure():
    high = pot_timeline(replace(CASE, ambient=replace(AIR, pressure=70e3)))
    # saturation at 0.7 bar: 89.9 degC (steam tables)
    assert high.figures["boiling_point_c"] == pytest.approx(89.93, abs=0.05)


def test_cooking_power_of_a_linear_cooker():
    """With a tight lid: P = (Q - G dT) m c / (m c + C_wall), times 700 over the irradiance; read at 50 K.

    Catches the standardising factor upside down and the load of another area.
    """
    test = cooking_power(CASE, intercept_area=1.2, irradiance=800.0)
    water = 7.0 * 1.2 * 4186.0
    share = water / (water + 500.0) * 700.0 / 800.0
    assert test.water == pytest.approx(8.4)
    assert test.at_50_k == pytest.approx((700.0 - 1.5 * 50.0) * share, rel=5e-3)
    assert test.slope == pytest.approx(-1.5 * share, rel=0.06)  # the water's heat capacity varies by 1 %
    assert test.r_squared > 0.99
    assert any("direct irradiance" in text for text in test.departures)


def test_cooking_power_tells_departures_and_what_it_cannot_reach():
    windy = replace(CASE, absorbed=60.0, ambient=replace(AIR, wind=3.0))
    test = cooking_power(windy, intercept_area=1.2, irradiance=300.0)
    assert test.at_50_k is None
    assert len(test.departures) == 4
