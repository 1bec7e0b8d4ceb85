"""Coefficients to air against worked examples of textbooks.

Planted errors that go red: diameter for radius, the slope for the breadth, film properties at the wall's temperature,
degrees for radians in the tilt, the cosine for the sine of the dip.
"""

from __future__ import annotations

import math

import pytest

from dishtrace.heat import convection
from dishtrace.heat.air import Ambient, Film, clear_sky, film_at

ROOM = 296.15


def with_film(patch: pytest.MonkeyPatch, film: Film) -> None:
    patch.setattr(Ambient, "film", lambda self, wall: film)


def test_fire_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    # Incropera and DeWitt, Example 9.2 (from memory): h 7.0 W/(m2 K), 1060 W over 0.71 m by 1.02 m at 232 C.
    with_film(monkeypatch, Film(0.0338, 26.4e-6, 0.690, 1.0 / 400.65))
    found = convection.plate(505.15, Ambient(ROOM, ROOM), slope=0.71, breadth=0.2, tilt=0.5 * math.pi)
    assert found * 0.71 * 1.02 * 209.0 == pytest.approx(1060.0, rel=0.01)


def test_steam_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    # Incropera and DeWitt, Example 9.4 (from memory): 0.1 m, 165 C: 322 W/m.
    with_film(monkeypatch, Film(0.0313, 22.8e-6, 0.697, 1.0 / 367.15))
    found = convection.cylinder(438.15, Ambient(ROOM, ROOM), diameter=0.1, length=1.0, tilt=0.5 * math.pi)
    assert found * math.pi * 0.1 * 142.0 == pytest.approx(322.0, rel=0.01)


def test_cylinder_in_wind(monkeypatch: pytest.MonkeyPatch) -> None:
    # Incropera and DeWitt, Example 7.4 (from memory): 12.7 mm in 10 m/s: h 96 W/(m2 K). At the air's own temperature
    # buoyancy adds nothing.
    with_film(monkeypatch, Film(0.030, 20.92e-6, 0.70, 1.0 / 350.0))
    wind = Ambient(ROOM, ROOM, wind=10.0)
    found = convection.cylinder(ROOM, wind, diameter=0.0127, length=0.1, tilt=0.5 * math.pi)
    assert found == pytest.approx(96.0, rel=0.01)


@pytest.mark.parametrize(
    ("coefficient", "expected", "tolerance"),
    [
        # 200 C in air of 30 C at 101325 Pa with properties of CoolProp, worked out apart from this program.
        (lambda air: convection.cylinder(473.15, air, diameter=0.1, length=9.0, tilt=0.5 * math.pi), 7.46, 0.01),
        (lambda air: convection.plate(473.15, air, slope=0.3, breadth=0.1, tilt=0.5 * math.pi), 7.21, 0.01),
        # The plain laminar formula gives 6.18; the handbook's factor for turbulence adds 6 % at this Rayleigh number.
        (lambda air: convection.sphere(473.15, air, diameter=0.2), 6.18 * 1.058, 0.05),
    ],
)
def test_receivers_in_still_air(coefficient: object, expected: float, tolerance: float) -> None:
    assert coefficient(Ambient(303.15, 303.15)) == pytest.approx(expected, abs=tolerance)


def test_cavity() -> None:
    # Stine and McDonald 1989 (from memory): 700 K in 300 K, d 0.15, L 0.4, film properties: h 3.42 sideways; the dip
    # takes it by cos^2.47: 0.4249 at 45, 0.1805 at 60 degrees, nothing straight down.
    air, sizes = Ambient(300.0, 300.0), {"diameter": 0.4, "opening": 0.15}
    sideways = convection.cavity(700.0, air, dip=0.0, **sizes)
    assert sideways == pytest.approx(3.42, abs=0.01)
    for dip, share in ((45.0, 0.4249), (60.0, 0.1805), (90.0, 0.0)):
        assert convection.cavity(700.0, air, dip=math.radians(dip), **sizes) / sideways == pytest.approx(
            share, abs=1e-4
        )


@pytest.mark.parametrize("temperature", [200.0, 300.0, 400.0, 600.0, 1200.0, 1900.0])
def test_air_is_that_of_the_reference_library(temperature: float) -> None:
    PropsSI = pytest.importorskip("CoolProp.CoolProp").PropsSI
    film = film_at(temperature, 90000.0)
    conductivity, viscosity, density, prandtl = (
        PropsSI(key, "T", temperature, "P", 90000.0, "Air") for key in ("L", "V", "D", "PRANDTL")
    )
    assert film.conductivity == pytest.approx(conductivity, rel=2e-3)
    assert film.viscosity == pytest.approx(viscosity / density, rel=3e-3)
    assert film.prandtl == pytest.approx(prandtl, rel=5e-3)


def test_clear_sky() -> None:
    # Swinbank 1963 (formula from memory): 293.15 K gives 277.060 K.
    assert clear_sky(293.15) == pytest.approx(277.060, abs=1e-3)


def test_hot_plate_loses_more_upwards_than_downwards() -> None:
    air, sizes = Ambient(300.0, 300.0), {"slope": 0.2, "breadth": 0.05}
    up, down = (convection.plate(400.0, air, tilt=tilt, **sizes) for tilt in (0.0, math.pi))
    assert up == pytest.approx(2.0 * down, rel=1e-6)  # McAdams: 0.54 and 0.27 Ra^(1/4)
    cold_up = convection.plate(200.0, air, tilt=0.0, **sizes)
    assert cold_up < convection.plate(200.0, air, tilt=math.pi, **sizes)
