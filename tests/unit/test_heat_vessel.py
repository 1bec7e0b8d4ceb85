"""A tank over time: energy, mass, and what happens at openings, limits and dry-out."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from support.vessels import ATM, ROOM, vessel

from dishtrace.heat.boiling import BoilingCase, boiling_timeline
from dishtrace.heat.spin import Rotor
from dishtrace.heat.tank import Hole, ball_level
from dishtrace.heat.vessel import _Model, run_vessel
from dishtrace.heat.water import AIR_CP, AIR_CV, saturation

SMALL = Hole(diameter=0.001, coefficient=0.8)
LOSS_W_K = 1.2


def loss(temperature):
    return LOSS_W_K * (temperature - ROOM)


def timeline(made, **more):
    return boiling_timeline(BoilingCase("tank", made, **more))


@pytest.fixture(scope="module")
def whole():
    """A tank with wall and losses from cold to dry and on."""
    return timeline(vessel(SMALL, wall_heat=600.0, loss=loss))


def test_energy_closes_at_every_step(whole):
    assert whole.energy_gap() < 1e-6


def test_energy_closes_by_another_way_of_counting(whole):
    """Losses and what is carried off by the trapezoidal rule over rows, the store by CoolProp; to 1e-3.

    Catches a loss of the wrong sign, internal energy taken for enthalpy in the jet (7 %), and air left out.
    """
    columns = whole.columns
    time, temperature = columns["time_s"], columns["temperature_c"] + 273.15
    k = int(np.searchsorted(time, whole.event("half-gone").time_s.value))
    lost = np.trapezoid(loss(temperature[: k + 1]), time[: k + 1])
    steam_h = PropsSI("H", "T", temperature[: k + 1], "Q", 1, "Water")
    carried = np.trapezoid(
        columns["steam_kg_s"][: k + 1] * steam_h + columns["air_kg_s"][: k + 1] * AIR_CP * temperature[: k + 1],
        time[: k + 1],
    )
    mass, air = columns["water_kg"] + columns["steam_kg"], columns["air_kg"]
    energy = [mass[i] * PropsSI("U", "T", temperature[i], "D", mass[i] / 2e-3, "Water") for i in (0, k)]
    energy = energy[1] - energy[0] + 600.0 * (temperature[k] - ROOM)
    energy += AIR_CV * (air[k] * temperature[k] - air[0] * ROOM)
    assert energy + lost + carried == pytest.approx(700.0 * time[k], rel=1e-3)


def test_mass_closes(whole):
    """What left, by the trapezoidal rule, and what is left make up the filling."""
    columns = whole.columns
    left = np.trapezoid(columns["steam_kg_s"] + columns["hot_water_kg_s"], columns["time_s"])
    assert left + columns["water_kg"][-1] + columns["steam_kg"][-1] == pytest.approx(1.2, rel=2e-3)


def test_steady_steam_carries_net_power_and_chokes(whole):
    """At half of the water: flow times heat of vaporisation is the power less losses, 1 % for the room it leaves."""
    event = whole.event("half-gone")
    temperature = event.temperature_c + 273.15
    flow = np.interp(event.time_s.value, whole.columns["time_s"], whole.columns["steam_kg_s"])
    sat = saturation(temperature)
    assert flow * (sat.steam_h - sat.liquid_h) == pytest.approx(700.0 - loss(temperature), rel=0.01)
    area = 0.8 * 0.25 * math.pi * 1e-6
    # ideal-gas-like choked flux of saturated steam, k = 1.135
    flux = math.sqrt(1.135 * sat.pressure / sat.steam_volume) * (2.0 / 2.135) ** (2.135 / 0.27)
    assert flow == pytest.approx(area * flux, rel=2e-3)


def test_events_come_in_order(whole):
    times = {event.key: event.time_s.value for event in whole.events}
    assert list(times.values()) == sorted(times.values())
    assert (
        times["boils"] < times["chokes"] < times["at-pressure"] < times["half-gone"] < times["dry"] < times["settled"]
    )


def test_air_is_driven_out_before_pressure_rises(whole):
    columns = whole.columns
    k = int(np.searchsorted(columns["time_s"], whole.event("chokes").time_s.value))
    assert columns["air_kg"][0] == pytest.approx((ATM - 2339.0) * 0.798e-3 / (287.05 * ROOM), rel=2e-3)
    assert columns["air_kg"][k] < 0.001 * columns["air_kg"][0]


def test_after_dry_out_the_wall_heats_alone_to_where_losses_take_all(whole):
    """Stagnation of the wall: 700 W / 1.2 W/K above the air; on the way the closed form of a lump.

    T = T_end - (T_end - T_0) exp(-t / tau), tau = 600 / 1.2 s (steam left inside adds less than 1 %).
    """
    end = 20.0 + 700.0 / LOSS_W_K
    columns = whole.columns
    assert columns["temperature_c"][-1] == pytest.approx(end, abs=1.5)
    start = whole.event("dry").time_s.value + 60.0
    first, later = np.interp([start, start + 500.0], columns["time_s"], columns["temperature_c"])
    assert later == pytest.approx(end - (end - first) * math.exp(-1.0), abs=3.0)
    assert "runs-dry" in whole.hazards


def test_shut_tank_reaches_its_limit_and_says_burst():
    """Heat and no opening: energy by CoolProp at the end is what came in."""
    made = timeline(vessel())
    last = made.event("pressure-limit")
    assert made.hazards[0] == "burst"
    assert last.pressure_pa == pytest.approx(1e6, rel=1e-6)
    temperature = last.temperature_c + 273.15
    energy = 1.2 * (PropsSI("U", "T", temperature, "D", 600.0, "Water") - PropsSI("U", "T", ROOM, "D", 600.0, "Water"))
    assert 700.0 * last.time_s.value == pytest.approx(energy, rel=2e-3)
    # pressure of air by Gay-Lussac beside that of the steam (CoolProp), the water's swelling left out: lower
    steam_alone = PropsSI("P", "T", temperature, "Q", 1, "Water")
    assert 1.0 < (last.pressure_pa - steam_alone) / (ATM * temperature / ROOM) < 1.3


def test_shut_tank_that_is_not_followed_to_its_limit_says_that_it_will_burst():
    """Short of the limit, and still rising: planted error seen red: the hazard only at the limit."""
    whole_way = timeline(vessel()).event("pressure-limit").time_s.value
    made = timeline(replace(vessel(), duration=0.8 * whole_way))
    assert made.event("pressure-limit") is None
    assert made.hazards[0] == "shut"
    open_way = timeline(replace(vessel(SMALL), duration=0.8 * whole_way))
    assert "shut" not in open_way.hazards


def test_blocked_opening_bursts_after_its_time():
    blocked = replace(SMALL, blocked_at=1800.0)
    made = timeline(vessel(blocked))
    assert made.event("blocked-1").time_s.value == 1800.0
    assert made.event("pressure-limit").time_s.value > 1800.0
    assert made.hazards[0] == "burst"
    after = made.columns["time_s"] > 1801.0
    assert np.all(made.columns["steam_kg_s"][after] == 0.0)


def test_brim_full_tank_bursts_by_swelling_long_before_it_boils():
    made = timeline(vessel(water=1.97))
    assert made.hazards[0] == "hydraulic-burst"
    assert made.event("liquid-full").temperature_c < 70.0
    assert made.event("pressure-limit").temperature_c < 75.0
    last = made.event("pressure-limit").temperature_c + 273.15
    # what the squeezed air leaves to water at 1 MPa, by IAPWS-95
    squeezed = made.figures["air_at_start_kg"] * 287.05 * last / (1e6 - PropsSI("P", "T", last, "Q", 0, "Water"))
    assert PropsSI("T", "D", 1.97 / (2e-3 - squeezed), "P", 1e6, "Water") == pytest.approx(last, abs=0.1)


def test_too_small_an_opening_is_told_apart():
    made = timeline(vessel(replace(SMALL, diameter=0.0002)))
    assert made.hazards[0] == "opening-too-small"


def test_opening_under_water_throws_out_water_not_steam():
    low = replace(SMALL, height=0.05)
    made = timeline(vessel(low))
    assert made.event("throws-water") is not None
    assert "hot-water" in made.hazards
    assert made.event("half-gone").temperature_c < 100.0
    emptied = np.interp(made.event("boils").time_s.value, made.columns["time_s"], made.columns["level_m"])
    assert emptied == pytest.approx(0.05, abs=0.004)


def test_flow_of_water_through_a_hole_is_that_of_bernoulli():
    """A full tank with an opening at its floor and overpressure of air: C A sqrt(2 rho dp)."""
    run = run_vessel(vessel(replace(SMALL, height=0.0), power=5.0, hours=0.05))
    now = run.moments[0]
    head = 9.80665 * 998.2 * now.level  # water of 20 degC
    expected = 0.8 * 0.25 * math.pi * 1e-6 * math.sqrt(2.0 * 998.2 * (head + now.state.pressure - ATM))
    wet = 0.5  # half of the hole's height stands above the floor
    assert now.flows[0].liquid == pytest.approx((1.0 if now.flows[0].wet == 1.0 else wet) * expected, rel=1e-3)


def test_valve_keeps_its_pressure():
    made = timeline(vessel(Hole(0.004, 0.8, opens_at=4e5)))
    assert made.event("valve-1").pressure_pa == pytest.approx(4e5, rel=1e-4)
    assert made.figures["highest_pressure_pa"] < 4.4e5
    assert made.event("dry") is None or "burst" not in made.hazards


def test_melting_wall_ends_the_run():
    case = BoilingCase("tank", replace(vessel(SMALL, wall_heat=100.0), wall_limit=900.0))
    made = boiling_timeline(case)
    assert made.event("wall-limit").temperature_c == pytest.approx(626.85, abs=0.1)
    assert made.hazards[0] == "wall-lost"


def test_without_a_wall_the_run_ends_dry():
    made = timeline(vessel(SMALL))
    assert "no wall is given" in made.ended


def test_jets_turn_a_vessel_up_to_where_drag_holds_them():
    rotor = Rotor(0.005, 0.05, 0.2, 0.0, 1e-5, 0.0, air_density=1.2, air_viscosity=1.8e-5)
    made = timeline(vessel(replace(SMALL, lever_arm=0.06, count=2, diameter=0.0007), rotor=rotor))
    columns = made.columns
    k = int(np.searchsorted(columns["time_s"], made.event("half-gone").time_s.value))
    speed, radius_squared = columns["speed_rad_s"][k], 2e-3 / (math.pi * 0.2)
    # the water that boils off turned with the vessel and leaves it its angular momentum, m R^2 / 2 times speed
    given = columns["torque_nm"][k] + 0.5 * radius_squared * columns["steam_kg_s"][k] * speed
    assert given == pytest.approx(rotor.resisting_torque(speed), rel=0.01)
    assert made.event("floor-dries") is not None
    assert 0.0 < made.figures["best_speed_rad_s"] < made.figures["free_speed_rad_s"]


def test_opposed_jets_do_not_turn_it():
    rotor = Rotor(0.005, 0.05, 0.2, 0.0, 1e-5, 0.0, air_density=1.2, air_viscosity=1.8e-5)
    pair = (replace(SMALL, lever_arm=0.06), replace(SMALL, lever_arm=0.06, around=-1.0))
    made = timeline(vessel(*pair, rotor=rotor, hours=0.6))
    assert np.abs(made.columns["speed_rad_s"]).max() < 1e-6


def test_turbine_power_is_efficiency_times_flow_times_work():
    made = timeline(vessel(SMALL), turbine=(0.4, ATM))
    pressure = made.figures["highest_pressure_pa"]
    entropy = PropsSI("S", "P", pressure, "Q", 1, "Water")
    work = PropsSI("H", "P", pressure, "Q", 1, "Water") - PropsSI("H", "P", ATM, "S", entropy, "Water")
    expected = 0.4 * made.figures["largest_steam_kg_s"] * work
    assert made.figures["turbine_power_w"] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.73, 1.0])
def test_level_in_a_ball(share):
    """Volume of a cap of height x d: d^3 pi (3 x^2 - 2 x^3) / 6."""
    x = ball_level(share)
    assert 3.0 * x**2 - 2.0 * x**3 == pytest.approx(share, abs=1e-12)


def test_the_step_of_the_integration_does_not_matter(monkeypatch):
    """Ten times tighter or looser tolerances move the time of dry-out by less than a second in two hours."""
    times = []
    for tolerance in (1e-6, 1e-8):
        monkeypatch.setattr("dishtrace.heat.vessel.TOLERANCE", tolerance)
        times.append(timeline(vessel(SMALL, wall_heat=600.0, loss=loss)).event("dry").time_s.value)
    assert times[0] == pytest.approx(times[1], abs=1.0)


@pytest.mark.parametrize("diameter", [0.003, 0.01, 0.05])
def test_small_tanks_with_wide_openings_are_followed_in_few_steps(diameter, monkeypatch):
    """A quarter litre through up to 50 mm: thousands of evaluations, not millions. Catches a jumping outflow."""
    calls = []
    slopes = _Model.slopes
    monkeypatch.setattr(_Model, "slopes", lambda self, t, y: calls.append(t) or slopes(self, t, y))
    wide = Hole(diameter=diameter, coefficient=0.8)
    run = run_vessel(vessel(wide, power=490.0, water=0.07, volume=2.4e-4, wall_heat=750.0, loss=loss))
    assert run.ended == "settled"
    assert len(calls) < 10_000
    gone = next(now for now in run.moments if now.state.liquid <= 0.0)
    assert gone.state.pressure == pytest.approx(ATM, rel=0.02)
