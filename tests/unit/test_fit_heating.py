"""The heat balance against an integrator of a library, and which readings are used."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dishtrace.study.fit.heating import fit_heating, temperatures
from dishtrace.study.fit.readings import boiling_c, falls, judge
from tests.support.fit_readings import heated, stretch

NUMBERS = {"power_w": 730.0, "loss_w_k": 4.2, "capacity_j_k": 9000.0}


def test_temperatures_are_those_of_an_integrator():
    """Inputs that run straight, uneven times, sun off at the end; a wrong weight of either end of a step is found."""
    minutes = np.array([0.0, 1.0, 2.5, 7.0, 11.0, 20.0, 24.0, 40.0])
    drive = np.array([1.0, 0.8, 0.2, 0.9, 1.1, 1.0, 0.5, 0.7])
    on = np.array([True] * 5 + [False, True, True])
    one = stretch(minutes, on=on, drive=drive, air_c=17.0)

    def rise(time, heat, k):
        share = (time - one.time_s[k]) / (one.time_s[k + 1] - one.time_s[k])
        sun = on[k] * ((1.0 - share) * drive[k] + share * drive[k + 1])
        return (NUMBERS["power_w"] * sun - NUMBERS["loss_w_k"] * (heat - 17.0)) / NUMBERS["capacity_j_k"]

    expected = [21.0]
    for k in range(len(minutes) - 1):
        span = one.time_s[k], one.time_s[k + 1]
        expected.append(solve_ivp(rise, span, expected[-1:], args=(k,), rtol=1e-10, atol=1e-10).y[0, -1])
    assert temperatures(one, 21.0, **NUMBERS) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("loss", [0.0, 1e-9, -0.5, 500.0])
def test_no_loss_negative_and_huge_loss_stay_finite(loss):
    one = stretch(range(0, 200, 2))
    heat = temperatures(one, 20.0, power_w=500.0, loss_w_k=loss, capacity_j_k=9000.0)
    assert np.all(np.isfinite(heat))
    if abs(loss) < 1e-6:
        assert heat[-1] == pytest.approx(20.0 + 500.0 * one.time_s[-1] / 9000.0, rel=1e-6)


def test_known_numbers_come_back_without_noise():
    one = heated(stretch(range(40), on=np.arange(40) < 25), power_w=812.0, loss_w_k=2.7)
    fit = fit_heating((one,), capacity_j_k=12000.0, wall_k_w=0.0)
    assert fit.power_w == pytest.approx(812.0, rel=1e-6)
    assert fit.loss_w_k == pytest.approx(2.7, rel=1e-5)
    assert fit.starts_c == pytest.approx([20.0], abs=1e-5)


def test_wall_is_told_from_water_by_readings_of_both():
    """The wall leads by R per watt into the water; a sign or a forgotten loss is found."""
    one = heated(stretch(range(40), is_wall=np.arange(40) % 2 == 1), wall_k_w=0.011)
    fit = fit_heating((one,), capacity_j_k=12000.0, wall_k_w=None)
    assert fit.wall_k_w == pytest.approx(0.011, rel=1e-4)
    assert fit.power_w == pytest.approx(800.0, rel=1e-4)


def test_wall_is_told_from_water_by_turning_the_dish_away():
    one = heated(stretch(range(50), on=np.arange(50) < 30, is_wall=np.ones(50)), wall_k_w=0.02)
    fit = fit_heating((one,), capacity_j_k=12000.0, wall_k_w=None)
    assert fit.wall_k_w == pytest.approx(0.02, rel=1e-3)


def test_scatter_in_runs_widens_the_errors(seed):
    """A wave of 8 readings' length is no white noise: the errors must grow at least twofold."""
    noise = np.random.default_rng(seed)
    one = heated(stretch(range(60)), noise, noise_k=0.02)
    wavy = type(one)(**{**vars(one), "heat_c": one.heat_c + 0.5 * np.sin(np.arange(60) * 2.0 * np.pi / 16.0)})
    assert fit_heating((one,), capacity_j_k=12000.0, wall_k_w=0.0).inflated_by < 1.6
    assert fit_heating((wavy,), capacity_j_k=12000.0, wall_k_w=0.0).inflated_by > 2.0


def judged(heat, *, minutes=None, on=None, dni=None, boils=100.0, step=0.0):
    n = len(heat)
    return judge(
        60.0 * np.arange(n) if minutes is None else 60.0 * np.asarray(minutes, dtype=float),
        np.asarray(heat, dtype=float),
        is_sun_on=np.ones(n, dtype=bool) if on is None else on,
        dni_w_m2=dni,
        is_wall=None,
        boils_at_c=boils,
        step_k=step,
    )


RISE = 20.0 + 1.5 * np.arange(30)


def test_a_fall_with_the_sun_on_is_told_and_left_out():
    heat = RISE.copy()
    heat[12:] -= 6.0 * np.clip((np.arange(18) + 1) / 4.0, 0.0, 1.0) + 1.5 * np.minimum(np.arange(18), 3)
    found = judged(heat)
    assert len(found.stretches) == 2
    assert found.stretches[0].tolist() == list(range(12))
    assert found.stretches[1][0] >= 15
    assert "though the sun is on" in found.notes[0]
    assert "from 36.5" in found.notes[0]


def test_a_fall_is_no_fault_when_the_irradiance_fell_or_the_dish_was_off():
    heat = np.concatenate([RISE[:15], RISE[14] - 1.0 * np.arange(1, 16)])
    dni = np.where(np.arange(30) < 14, 800.0, 30.0)
    assert judged(heat, dni=dni).notes == ()
    assert judged(heat, on=np.arange(30) < 14).notes == ()
    assert len(judged(heat).notes) == 1


def test_a_gap_starts_anew():
    minutes = np.concatenate([np.arange(15), np.arange(15) + 40])
    found = judged(RISE, minutes=minutes)
    assert [len(one) for one in found.stretches] == [15, 15]
    assert "a gap from 14.0 to 40.0 min" in found.notes[0]


def test_a_slip_is_left_out_and_a_step_is_not(seed):
    noise = 0.1 * np.random.default_rng(seed).standard_normal(30)
    slip = RISE + noise
    slip[9] += 5.0
    found = judged(slip)
    assert 9 not in np.concatenate(found.stretches)
    assert "far beside its neighbours" in found.notes[0]
    step = RISE + noise + 10.0 * (np.arange(30) > 14)
    assert sum(len(one) for one in judged(step).stretches) == 30


def test_readings_before_and_after_boiling_are_apart_and_no_gap():
    heat = np.concatenate([RISE[:20] + 50.0, np.full(4, 99.8), 98.0 - np.arange(10)])
    found = judged(heat, on=np.arange(34) < 23, boils=100.0)
    assert [int(one[0]) for one in found.stretches] == [0, 24]
    assert len(found.notes) == 1


def test_boiling_is_left_out_and_pressure_told():
    heat = np.minimum(RISE + 50.0, 100.0)
    found = judged(heat)
    assert np.concatenate(found.stretches).max() < 21
    assert "steam takes heat away" in found.notes[0]
    assert "under pressure" in judged(RISE + 70.0).notes[0]


def test_noise_alone_makes_no_fall(seed):
    """Flat readings, 60 of them, 400 times: fewer than 1 in 50 has a fall (limit 4 standard deviations)."""
    noise = np.random.default_rng(seed)
    n_falls = sum(len(falls(noise.standard_normal(60), 4.0)) > 0 for _ in range(400))
    assert n_falls <= 8


@pytest.mark.parametrize(("pressure_kpa", "boils"), [(101.325, 100.0), (84.53, 95.0), (70.14, 90.0), (57.83, 85.0)])
def test_boiling_temperature_is_that_of_steam_tables(pressure_kpa, boils):
    """Saturation pressures of water (Moran and Shapiro, table A-2; from memory); Clausius and Clapeyron to 0.4 K."""
    assert boiling_c(1000.0 * pressure_kpa) == pytest.approx(boils, abs=0.4)
