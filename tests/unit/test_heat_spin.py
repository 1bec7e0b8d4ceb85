"""A vessel that turns on its jets, and the water in it, against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dishtrace.heat.spin import Rotor, best_speed, cylinder_friction, jet_torque, water_surface

FREE = Rotor(0.01, 0.05, 0.2, 0.0, 0.0, 0.0, air_density=1e-9, air_viscosity=1e-13)
G = 9.80665


def test_torque_of_a_jet_at_rest_and_at_its_own_speed():
    """Arm times thrust at rest; nothing when the rim is as fast as the jet (momentum alone). Catches r for r^2."""
    assert jet_torque(thrust=0.2, mass_flow=5e-4, lever_arm=0.08, around=1.0, speed=0.0) == pytest.approx(0.016)
    rim = 0.2 / 5e-4 / 0.08
    assert jet_torque(thrust=0.2, mass_flow=5e-4, lever_arm=0.08, around=1.0, speed=rim) == pytest.approx(0.0)
    assert jet_torque(thrust=0.2, mass_flow=5e-4, lever_arm=0.08, around=-1.0, speed=0.0) == pytest.approx(-0.016)


def test_best_speed_is_half_of_the_free_one_without_drag():
    """Power w r (F - m w r) is greatest at half of F / (m r): F^2 / (4 m), whatever the lever arm."""
    best = best_speed(FREE, [(0.2, 5e-4, 0.08, 1.0)])
    assert best.free_speed == pytest.approx(0.2 / (5e-4 * 0.08), rel=1e-6)
    assert best.speed == pytest.approx(0.5 * best.free_speed, rel=1e-4)
    assert best.power == pytest.approx(0.2**2 / (4.0 * 5e-4), rel=1e-6)


def test_two_openings_give_twice_the_power_of_one():
    one, two = (best_speed(FREE, [(0.1, 3e-4, 0.08, 1.0)] * count) for count in (1, 2))
    assert two.power == pytest.approx(2.0 * one.power, rel=1e-6)


def test_a_bearing_that_holds_it_leaves_no_power():
    held = Rotor(0.01, 0.05, 0.2, 0.05, 0.0, 0.0, air_density=1.2, air_viscosity=1.8e-5)
    assert best_speed(held, [(0.2, 5e-4, 0.08, 1.0)]) == (0.0, 0.0, 0.0)


def test_friction_of_turning_cylinders():
    """NACA Report 793 by its two formulas: 4/Re, and the root of 1/sqrt(C) = -0.6 + 4.07 log10(Re sqrt(C))."""
    assert cylinder_friction(10.0) == pytest.approx(0.4)
    c = cylinder_friction(1e5)
    assert 1.0 / math.sqrt(c) == pytest.approx(-0.6 + 4.07 * math.log10(1e5 * math.sqrt(c)), rel=1e-6)


def test_air_drag_grows_by_nearly_the_square():
    rotor = Rotor(0.01, 0.06, 0.2, 0.0, 0.0, 0.0, air_density=1.2, air_viscosity=1.8e-5)
    assert 1.7 < math.log2(rotor.air_torque(800.0) / rotor.air_torque(400.0)) < 2.0
    assert rotor.resisting_torque(-400.0) == pytest.approx(-rotor.resisting_torque(400.0))


def test_paraboloid_that_touches_neither_floor_nor_top():
    """Textbook: the surface rises at the wall by w^2 R^2 / (4 g) and falls on the axis by the same."""
    volume, speed = math.pi * 0.1**2 * 0.15, 10.0
    rise = (speed * 0.1) ** 2 / (4.0 * G)
    found = water_surface(water_volume=volume, speed=speed, radius=0.1, height=0.5)
    assert found.middle == pytest.approx(0.15 - rise, rel=1e-9)
    assert found.at_wall == pytest.approx(0.15 + rise, rel=1e-9)
    assert found.dry_floor_radius == 0.0
    assert found.wet_top_radius is None


def test_dry_floor():
    """Textbook: V = pi w^2 (R^2 - r^2)^2 / (4 g) once the floor is dry within r."""
    volume, speed, radius = 1e-3, 40.0, 0.1
    expected = math.sqrt(radius**2 - math.sqrt(4.0 * G * volume / (math.pi * speed**2)))
    found = water_surface(water_volume=volume, speed=speed, radius=radius, height=2.0)
    assert found.dry_floor_radius == pytest.approx(expected, rel=1e-9)


def test_fast_turning_makes_a_hollow_cylinder():
    """Without gravity the water stands at the wall from floor to top: inner radius R sqrt(1 - share)."""
    volume = 0.3 * math.pi * 0.1**2 * 0.2
    found = water_surface(water_volume=volume, speed=5000.0, radius=0.1, height=0.2)
    inner = 0.1 * math.sqrt(0.7)
    assert found.at_wall == 0.2
    assert found.dry_floor_radius == pytest.approx(inner, rel=1e-4)
    assert found.wet_top_radius == pytest.approx(inner, rel=1e-4)


@pytest.mark.parametrize("speed", [3.0, 12.0, 25.0, 90.0])
@pytest.mark.parametrize("share", [0.05, 0.5, 0.95])
def test_volume_is_kept(speed, share):
    radius, height = 0.08, 0.15
    whole = math.pi * radius**2 * height
    found = water_surface(water_volume=share * whole, speed=speed, radius=radius, height=height)
    r = (np.arange(200_000) + 0.5) / 200_000 * radius
    filled = np.clip(found.middle + (speed * r) ** 2 / (2.0 * G), 0.0, height)
    volume = np.sum(2.0 * math.pi * r * filled) * radius / 200_000
    assert volume == pytest.approx(share * whole, rel=1e-6)
