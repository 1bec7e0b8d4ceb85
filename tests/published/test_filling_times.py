"""How long a filling takes, against arithmetic with steam tables and a fact of the trade."""

from __future__ import annotations

import pytest
from support.vessels import vessel

from dishtrace.heat.boiling import BoilingCase, boiling_timeline
from dishtrace.heat.tank import Hole
from dishtrace.heat.vessel import run_vessel

WIDE = Hole(diameter=0.006, coefficient=0.8)


def timeline(made):
    return boiling_timeline(BoilingCase("tank", made))


def test_three_kilograms_at_one_kilowatt():
    """3.0 kg from 20 degC, 1.0 kW net: 16.75 min to 100 degC and 129.6 min to dry at 1 atm.

    Arithmetic with IF97 enthalpies, h_f(100) - h_f(20) and h_g - h_f(20); here with a little air in the tank,
    which takes some vapour along, and a wide opening. Catches heat of vaporisation at a wrong temperature, and work of
    expansion forgotten (7 %).
    """
    made = timeline(vessel(WIDE, power=1000.0, water=3.0, volume=3.3e-3))
    assert made.event("boils").time_s.value / 60.0 == pytest.approx(16.75, abs=0.05)
    assert made.columns["time_s"][-1] / 60.0 == pytest.approx(129.6, abs=0.3)


def test_shut_to_two_bar_of_steam():
    """The same to saturation at 2 bar absolute, 120.21 degC: 21.03 min, heating alone.

    The tank is shut and nearly full of water; steam and air in it take less than 0.1 min.
    """
    run = run_vessel(vessel(power=1000.0, water=3.0, volume=3.4e-3, limit=5e6))
    moments = [now for now in run.moments if now.state.steam_pressure <= 2e5]
    assert moments[-1].time / 60.0 == pytest.approx(21.03, abs=0.35)


def test_a_litre_takes_ten_minutes_to_come_to_pressure_and_an_hour_and_a_half_to_run_dry():
    """A tank that holds a little over a litre (common practice, no source), with one net power of 0.5 to 1 kW."""
    made = timeline(vessel(Hole(diameter=0.002, coefficient=0.8), power=620.0, water=1.2, volume=1.5e-3))
    assert 8.0 < made.event("boils").time_s.value / 60.0 < 13.0
    assert 75.0 < made.columns["time_s"][-1] / 60.0 < 105.0
