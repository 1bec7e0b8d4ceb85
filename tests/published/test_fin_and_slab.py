"""Conduction along and through a wall against closed forms, steady and in time, with the order of convergence.

Closed forms of the fin equation and of the plane slab: H. S. Carslaw, J. C. Jaeger, *Conduction of Heat in Solids*,
1959, chapters 3 and 4; written out below. Planted errors that go red: the stiffness without the thickness, a quarter
for a third of a triangle's area at each corner, the stored heat of one surface only, one stage of the two in time.
"""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.heat.conduction import Problem, march, steady
from dishtrace.heat.inside import Inside, constant
from dishtrace.heat.shell import Plate, shell_of
from dishtrace.heat.sinks import outer_sinks
from dishtrace.heat.wall import wall_heat, warming
from tests.support.walls import STILL, constant_losses, lit, solid, strip

LENGTH, WIDTH, THICKNESS = 0.2, 0.025, 0.002
CONDUCTIVITY, COEFFICIENT = 50.0, 20.0


def problem(n: int, flux: np.ndarray | float = 0.0) -> Problem:
    """A strip with equal losses on both sides; the flux [W/m2] is shared by them, so that both are equally warm."""
    triangles = strip(n, length=LENGTH, width=WIDTH, across=max(n // 8, 1))
    shell = shell_of(triangles)
    losses = constant_losses(shell.areas, front=COEFFICIENT, back=COEFFICIENT)
    air, radiation = outer_sinks(losses, shell)
    half = shell.to_points(0.5 * np.broadcast_to(flux, len(shell.areas)))
    plate = Plate(shell, solid(conductivity=CONDUCTIVITY), THICKNESS)
    return Problem(plate, np.concatenate([half, half]), {"air": air, "radiation": radiation})


def fin_error(n: int) -> float:
    """Root mean square error of the temperatures of a strip lit on its first quarter, n a multiple of 4. [K]"""
    flux, lit_length = 20_000.0, 0.25 * LENGTH
    given = problem(n, np.repeat(np.where(np.arange(n) < n // 4, flux, 0.0), 2 * max(n // 8, 1)))
    found = steady(given, np.full(2 * given.plate.shell.n_points, 350.0))
    x = given.plate.shell.points[:, 0]
    m = np.sqrt(2.0 * COEFFICIENT / (CONDUCTIVITY * THICKNESS))
    rise = flux / (2.0 * COEFFICIENT)
    # theta = rise + A cosh(m x) where lit, B cosh(m (L - x)) beyond; both and their slopes agree at the lit edge.
    near, far = m * lit_length, m * (LENGTH - lit_length)
    b = rise * np.sinh(near) / np.sinh(near + far)
    a = -rise * np.sinh(far) / np.sinh(near + far)
    exact = 300.0 + np.where(x <= lit_length, rise + a * np.cosh(m * x), b * np.cosh(m * (LENGTH - x)))
    return float(np.sqrt(np.mean((found[: len(x)] - exact) ** 2)))


def test_fin_converges_with_the_square_of_the_mesh() -> None:
    errors = [fin_error(n) for n in (16, 32, 64)]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert errors[-1] < 0.03
    assert np.all(np.abs(orders - 2.0) < 0.2)


def test_slab_between_flux_and_boiling_water() -> None:
    # Front q, back h to 373 K: front = 373 + q / h + q t / k, exact on any mesh.
    triangles = strip(4, length=0.1, width=0.1)
    flux, inner = 300_000.0, 5000.0
    losses = constant_losses(shell_of(triangles).areas, front=0.0, back=0.0)
    water = Inside("water", constant(inner), constant(1.0), 373.0, None, np.ones(10), None, ())
    found = wall_heat(
        lit(np.full(8, flux)), triangles, losses, solid=solid(conductivity=15.0), thickness=0.003, inside=water
    )
    assert found.back_k == pytest.approx(373.0 + flux / inner, rel=1e-9)
    assert found.front_k == pytest.approx(373.0 + flux / inner + flux * 0.003 / 15.0, rel=1e-9)
    assert found.heat_w["filling"] == pytest.approx(flux * 0.01, rel=1e-8)
    assert found.inside_peak_w_m2 == pytest.approx(flux, rel=1e-8)


def test_flow_takes_its_heat_at_its_mean_temperature() -> None:
    # All heat goes into a flow that enters at 300 K: its mean is 300 + Q / (2 m c).
    triangles = strip(2, length=0.1, width=0.1)
    losses = constant_losses(shell_of(triangles).areas, front=0.0, back=0.0)
    water = Inside("flow", constant(1000.0), constant(1.0), 300.0, 40.0, np.ones(6), None, ())
    found = wall_heat(
        lit(np.full(4, 1e5)), triangles, losses, solid=solid(conductivity=15.0), thickness=0.001, inside=water
    )
    assert found.fluid_k == pytest.approx(300.0 + 1000.0 / 80.0, abs=1e-3)


def mode_error(n: int, steps: int, *, seconds: float = 100.0) -> float:
    """Root mean square error of the decay of the strip's first mode, theta = cos(pi x / L), no light. [K]"""
    given = problem(n)
    x = given.plate.shell.points[:, 0]
    start = 300.0 + 100.0 * np.cos(np.pi * np.concatenate([x, x]) / LENGTH)
    *_, (_, found, _) = march(given, start, seconds=seconds, steps=steps, growth=1.0)
    heat = 8000.0 * 500.0
    rate = CONDUCTIVITY / heat * (np.pi / LENGTH) ** 2 + 2.0 * COEFFICIENT / (heat * THICKNESS)
    exact = 300.0 + 100.0 * np.exp(-rate * seconds) * np.cos(np.pi * x / LENGTH)
    return float(np.sqrt(np.mean((found[: len(x)] - exact) ** 2)))


def test_mode_decays_with_second_order_in_time_and_mesh() -> None:
    in_time = [mode_error(160, steps) for steps in (2, 4, 8)]
    on_mesh = [mode_error(n, 128) for n in (8, 16)]
    assert np.all(np.abs(np.log2(np.array(in_time[:-1]) / in_time[1:]) - 2.0) < 0.3)
    assert np.log2(on_mesh[0] / on_mesh[1]) == pytest.approx(2.0, abs=0.2)
    assert mode_error(64, 32) < 0.05


def test_lump_warms_as_an_exponential_and_closes() -> None:
    # rho c t dT/dt = q - 2 h (T - T_a)
    flux, seconds = 10_000.0, 300.0
    given = problem(4, flux)
    found = warming(given, ambient=STILL.temperature, seconds=seconds, steps=60)
    constant_s = 8000.0 * 500.0 * THICKNESS / (2.0 * COEFFICIENT)
    exact = 300.0 + flux / (2.0 * COEFFICIENT) * (1.0 - np.exp(-found.seconds / constant_s))
    assert np.abs(found.hottest_k - exact).max() < 0.1
    assert found.imbalance < 1e-9
