"""Blocks, melts and flows over time, against the closed forms of a lump."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dishtrace.heat.block import Charge, block_timeline, melt_timeline, nothing_carried, plain_enthalpy
from dishtrace.heat.flow import Stream, flow_timeline, steady_outlet, water_enthalpy
from dishtrace.heat.lump import Lump, heated, run_lump

AIR = 293.15


def lump(
    *, heat=2000.0, power=500.0, conductance=2.0, enthalpy=None, start=AIR, hours=10.0, highest=3000.0, carried=None
):
    return Lump(
        enthalpy=plain_enthalpy(heat, start) if enthalpy is None else enthalpy,
        start=start,
        absorbed=power,
        loss=lambda t: conductance * (t - AIR),
        carried=nothing_carried if carried is None else carried,
        highest=highest,
        duration=3600.0 * hours,
    )


def test_lump_with_linear_loss_is_an_exponential():
    """T - T_a = (Q / G) (1 - exp(-G t / C)). Catches a wrong sign and a time constant by a factor."""
    run = run_lump(lump())
    times = run.columns["time_s"]
    expected = 20.0 + 250.0 * (1.0 - np.exp(-times / 1000.0))
    assert run.columns["temperature_c"] == pytest.approx(expected, abs=1e-4)
    assert run.ended == "settled"
    lost = 500.0 * times - 2000.0 * (expected - 20.0)
    assert run.columns["lost_j"] == pytest.approx(lost, abs=1.0)


def test_block_settles_and_passes_its_limit():
    made = block_timeline("block", "solid", lump(), limit=373.15)
    assert made.event("limit").time_s.value == pytest.approx(-1000.0 * math.log(1.0 - 80.0 / 250.0), abs=0.01)
    assert made.event("nearly-final").time_s.value == pytest.approx(-1000.0 * math.log(1.0 - 0.95 * 0.999), rel=2e-4)
    assert made.figures["final_temperature_c"] == pytest.approx(270.0, abs=0.3)
    assert made.hazards == ("too-hot",)
    assert made.energy_gap() < 1e-9


def test_wall_that_melts_ends_the_run():
    made = block_timeline("block", "solid", lump(highest=400.0), limit=None)
    assert made.event("wall-limit").temperature_c == pytest.approx(126.85, abs=0.01)
    assert made.hazards == ("wall-lost",)


def test_melting_without_losses():
    """(m c dT + C_wall dT) / Q to melting, m L / Q to melt. Tin: 232 degC, 60 kJ/kg, 230 J/(kg K) in round numbers."""
    charge = Charge(melting=505.15, solid_heat=460.0, liquid_heat=500.0, fusion=120e3)
    enthalpy = charge.enthalpy(wall_heat=300.0, start=AIR)
    made = melt_timeline("pot", lump(enthalpy=enthalpy, conductance=0.0, hours=0.25), charge, limit=None)
    starts = 760.0 * 212.0 / 500.0
    assert made.event("melting-starts").time_s.value == pytest.approx(starts, abs=0.01)
    assert made.event("melted").time_s.value == pytest.approx(starts + 240.0, abs=0.01)
    during = np.interp(starts + 120.0, made.columns["time_s"], made.columns["molten_share"])
    assert during == pytest.approx(0.5, abs=0.01)
    end = 232.0 + (500.0 * 900.0 - 760.0 * 212.0 - 120e3) / 800.0
    assert made.columns["temperature_c"][-1] == pytest.approx(end, abs=0.01)


def test_enthalpy_gives_temperature_and_back():
    steps = Charge(500.0, 100.0, 120.0, 5e3).enthalpy(wall_heat=0.0, start=300.0)
    for temperature in (310.0, 499.0, 501.0, 900.0, 1700.0):
        assert steps.temperature_at(steps.at(temperature)) == pytest.approx(temperature, rel=1e-12)
    assert steps.temperature_at(100.0 * 200.0 + 2500.0) == 500.0


@pytest.mark.parametrize("flow", [0.002, 0.01])
def test_steady_outlet_of_a_stirred_flow(flow):
    """T = (Q + G T_a + m c T_in) / (G + m c) for constant heat capacity."""
    stream = Stream(flow, 323.15, heated(heat=2100.0, start=323.15), None)
    outlet = steady_outlet(stream, absorbed=500.0, loss=lambda t: 2.0 * (t - AIR), highest=900.0)
    capacity = 2100.0 * flow
    assert outlet == pytest.approx((500.0 + 2.0 * AIR + capacity * 323.15) / (2.0 + capacity), abs=1e-6)


def test_flow_warms_up_exponentially_and_useful_heat_is_counted():
    stream = Stream(0.01, AIR, heated(heat=2100.0, start=AIR), None)
    made = flow_timeline("pipe", lump(heat=4000.0, carried=stream.carried), stream, limit=None)
    tau, end = 4000.0 / 23.0, 500.0 / 23.0
    expected = 20.0 + end * (1.0 - np.exp(-made.columns["time_s"] / tau))
    assert made.columns["temperature_c"] == pytest.approx(expected, abs=1e-4)
    assert made.figures["useful_w"] == pytest.approx(21.0 * end, rel=1e-6)
    assert made.figures["efficiency"] == pytest.approx(21.0 / 23.0, rel=1e-6)
    assert made.energy_gap() < 1e-9


def test_water_has_the_enthalpy_of_the_steam_tables():
    # IAPWS-IF97: h_f(99.606 degC) = 417.44, h_f(179.886 degC) = 762.68 kJ/kg
    table = water_enthalpy()
    assert table.at(372.756) / 1e3 == pytest.approx(417.44, abs=0.3)
    assert table.at(453.036) / 1e3 == pytest.approx(762.68, abs=0.4)


def test_a_flow_that_boils_is_told():
    stream = Stream(0.001, AIR, water_enthalpy(), 373.12)
    held = water_enthalpy()
    made = flow_timeline("pipe", lump(enthalpy=held, carried=stream.carried, start=AIR), stream, limit=None)
    assert made.event("boils").temperature_c == pytest.approx(99.97, abs=0.01)
    assert made.hazards == ("flow-boils",)
    assert made.figures["useful_w"] is None
