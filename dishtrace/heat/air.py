"""The air around a part: its temperature, pressure and wind, the sky above it, and its properties over temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from importlib import resources
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import air_pressure
from dishtrace.units import kelvin

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

GRAVITY = 9.80665
"""Standard acceleration of gravity. Source: CGPM 1901. [m/s2]"""

STANDARD_PRESSURE = 101325.0
"""Standard atmosphere at sea level. Source: ISO 2533:1975. [Pa]"""

AIR_MOLAR_MASS, GAS_CONSTANT = 0.0289652, 8.314462618
"""Molar mass of dry air (28.96 to 28.97 by its carbon dioxide; common practice) [kg/mol]; molar gas constant (CODATA
2018, exact) [J/(mol K)]."""

COLDEST_FILM, HOTTEST_FILM = 150.0, 2000.0
"""Range of data/air_properties.csv; a film beyond it has the properties at the end of the range. [K]"""


class Film(NamedTuple):
    """Air at the mean of the wall's and the air's temperature.

    conductivity [W/(m K)], viscosity: kinematic [m2/s], prandtl [-], expansion: 1/T [1/K].
    """

    conductivity: float
    viscosity: float
    prandtl: float
    expansion: float


@dataclass(frozen=True)
class Ambient:
    """What stands around a part.

    Parameters
    ----------
    temperature : float
        Of the air, and of the ground and whatever else is seen that is neither sky nor a part. [K]
    sky : float
        Temperature that the sky radiates with. [K]
    pressure : float
        [Pa]
    wind : float
        [m/s]
    """

    temperature: float
    sky: float
    pressure: float = 101325.0
    wind: float = 0.0

    def film(self, wall: float) -> Film:
        """Air between a wall of that temperature [K] and the air away from it."""
        return film_at(0.5 * (wall + self.temperature), self.pressure)


def ambient_of(scene: Scene) -> Ambient:
    """The surroundings that a scene describes; uncertain numbers at their nominal value.

    Without `air.sky_temperature_c` the sky radiates as a clear one does, 0.0552 T^1.5 with T the temperature of the
    air in K.

    References
    ----------
    .. [1] W. C. Swinbank, "Long-wave radiation from clear skies", Quarterly J. Royal Meteorological Society 89 (1963)
           339-348 (formula from memory).
    """
    air = scene.air
    temperature = kelvin(float(nominal(air.temperature_c)))
    given = air.sky_temperature_c
    sky = clear_sky(temperature) if given is None else kelvin(float(nominal(given)))
    pressure = STANDARD_PRESSURE if scene.site is None and air.pressure_pa is None else air_pressure(scene)
    return Ambient(temperature, sky, float(pressure), float(nominal(air.wind_m_s)))


def clear_sky(temperature: float) -> float:
    """Temperature that a clear sky radiates with, from the temperature of the air (Swinbank 1963). [K]"""
    return 0.0552 * temperature**1.5


@lru_cache(maxsize=8192)
def film_at(temperature: float, pressure: float) -> Film:
    """Properties of dry air: straight lines between rows of data/air_properties.csv; density of the ideal gas."""
    place = min(max(temperature, COLDEST_FILM), HOTTEST_FILM)
    rows = _table()
    conductivity, viscosity, capacity = (float(np.interp(place, rows[0], row)) for row in rows[1:])
    density = pressure * AIR_MOLAR_MASS / (GAS_CONSTANT * place)
    return Film(conductivity, viscosity / density, viscosity * capacity / conductivity, 1.0 / temperature)


@cache
def _table() -> np.ndarray:
    """Rows: temperature, conductivity, viscosity, heat capacity; (4, 60)."""
    text = resources.files("dishtrace.data").joinpath("air_properties.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    return np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]]).T
