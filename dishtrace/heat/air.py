"""The air around a part: its temperature, pressure and wind, the sky above it, and its properties over temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from dishtrace.scene.quantity import nominal
from dishtrace.sun.position import air_pressure
from dishtrace.units import kelvin

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

GRAVITY = 9.80665
"""Standard acceleration of gravity. Source: CGPM 1901. [m/s2]"""

STANDARD_PRESSURE = 101325.0
"""Standard atmosphere at sea level. Source: ISO 2533:1975. [Pa]"""

COLDEST_FILM, HOTTEST_FILM = 150.0, 2000.0
"""Range of the properties of air in CoolProp; a film beyond it has the properties at the end of the range. [K]"""


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


def film_at(temperature: float, pressure: float) -> Film:
    """Properties of dry air; straight lines in the logarithm of temperature between 60 points from CoolProp."""
    table = _table(round(pressure, -1))
    place = np.log(min(max(temperature, COLDEST_FILM), HOTTEST_FILM))
    conductivity, viscosity, prandtl = (float(np.interp(place, table[0], row)) for row in table[1:])
    return Film(float(np.exp(conductivity)), float(np.exp(viscosity)), prandtl, 1.0 / temperature)


@cache
def _table(pressure: float) -> np.ndarray:
    """Rows: log of temperature, log of conductivity, log of kinematic viscosity, Prandtl number; (4, 60)."""
    from CoolProp.CoolProp import PropsSI

    temperature = np.geomspace(COLDEST_FILM, HOTTEST_FILM, 60)
    conductivity, viscosity, capacity, density = (
        PropsSI(key, "T", temperature, "P", pressure, "Air") for key in ("L", "V", "C", "D")
    )
    prandtl = viscosity * capacity / conductivity
    return np.stack([np.log(temperature), np.log(conductivity), np.log(viscosity / density), prandtl])
