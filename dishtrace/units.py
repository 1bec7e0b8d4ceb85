"""Units of scene files and reports, turned into SI and back."""

from __future__ import annotations

import math
from types import MappingProxyType

MRAD = 1e-3  # [rad]
DEGREE = math.pi / 180.0  # [rad]
ZERO_CELSIUS = 273.15  # [K]

# Length of one unit of a mesh file. [m]
LENGTH_UNITS = MappingProxyType({"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048})


def kelvin(temperature_c: float) -> float:
    """Absolute temperature of one in degrees Celsius [degC]; in kelvin."""
    return temperature_c + ZERO_CELSIUS


def celsius(temperature_k: float) -> float:
    """Temperature in degrees Celsius of an absolute one [K]; in degrees Celsius."""
    return temperature_k - ZERO_CELSIUS
