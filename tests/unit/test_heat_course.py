"""Light that changes while something warms: closed forms and the balance of energy."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.heat.course import Course, energy_until, is_held, largest, longest_step, power_at
from dishtrace.heat.lump import Lump, heated, run_lump

RAMP = Course(np.array([0.0, 100.0, 300.0]), np.array([0.0, 200.0, 50.0]))


def test_powers_and_energies_of_straight_pieces_are_exact():
    assert [power_at(RAMP, t) for t in (0.0, 50.0, 100.0, 200.0, 300.0)] == pytest.approx([0, 100, 200, 125, 50])
    assert energy_until(RAMP, np.array([0.0, 50.0, 100.0, 200.0, 300.0])) == pytest.approx(
        [0.0, 2500.0, 10000.0, 26250.0, 35000.0]
    )
    assert energy_until(RAMP, 100.0) == pytest.approx(10000.0)
    assert largest(RAMP) == 200.0
    assert not is_held(RAMP)
    assert longest_step(RAMP, 1e9) == 100.0


def test_a_held_power_is_as_before():
    assert (power_at(7.0, 3.0), energy_until(7.0, 3.0), largest(7.0), longest_step(7.0, 5.0)) == (7.0, 21.0, 7.0, 5.0)
    assert is_held(7.0)


def test_a_lump_under_rising_light_follows_the_closed_form():
    """C dT/dt = a t - U T: T = (a / U) (t - tau (1 - exp(-t / tau))), tau = C / U. Catches light held at its first or
    last value and an absorbed energy that is power times time. It starts in the dark and must not end as settled."""
    heat, loss, slope, start = 500.0, 2.0, 0.5, 300.0
    lump = Lump(
        enthalpy=heated(heat=heat, start=start),
        start=start,
        absorbed=Course(np.array([0.0, 900.0, 1800.0]), slope * np.array([0.0, 900.0, 1800.0])),
        loss=lambda temperature: loss * (temperature - start),
        carried=lambda _: 0.0,
        highest=5000.0,
        duration=1800.0,
    )
    run = run_lump(lump)
    assert run.ended == "duration"
    tau = heat / loss
    times = run.columns["time_s"]
    expected = slope / loss * (times - tau * (1.0 - np.exp(-times / tau)))
    assert run.columns["temperature_c"] + 273.15 - start == pytest.approx(expected, abs=1e-3)
    assert run.columns["absorbed_j"] == pytest.approx(0.5 * slope * times**2)


def test_clouds_are_seen_however_short_the_step():
    """A pulse of 10 minutes in a day: all of its energy arrives."""
    times = np.arange(0.0, 43201.0, 600.0)
    power = np.where(times == 21600.0, 1000.0, 0.0)
    lump = Lump(
        heated(heat=1e4, start=300.0), 300.0, Course(times, power), lambda _: 0.0, lambda _: 0.0, 5000.0, 43200.0
    )
    assert run_lump(lump).columns["stored_j"][-1] == pytest.approx(600.0 * 1000.0, rel=1e-6)
