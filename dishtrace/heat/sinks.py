"""What takes heat from a wall: air, sky and surroundings outside, a filling inside."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.losses import STEFAN_BOLTZMANN, Losses

if TYPE_CHECKING:
    from dishtrace.heat.exchange import Sight
    from dishtrace.heat.shell import Shell

Coefficient = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
"""Takes wall temperatures [K], gives coefficients [W/(m2 K)] and how they rise with temperature [W/(m2 K2)]."""


@dataclass(frozen=True, eq=False)
class Air:
    """Heat to the air, face by face, at each place by its own temperature."""

    losses: Losses
    places: tuple[np.ndarray, ...]
    areas: tuple[np.ndarray, ...]
    n_unknowns: int

    def heat(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown, (2 n,). [W]"""
        found = np.zeros(self.n_unknowns)
        for number, (place, area) in enumerate(zip(self.places, self.areas, strict=True)):
            wall = values[place]
            rise = wall - self.losses.ambient.temperature
            found[place] += area * self.losses.coefficient(number, wall) * rise
        return found

    def slope(self, values: np.ndarray) -> np.ndarray:
        """How it changes with that unknown, (2 n,). [W/K]"""
        found = np.zeros(self.n_unknowns)
        for number, (place, area) in enumerate(zip(self.places, self.areas, strict=True)):
            wall = values[place]
            rise = wall - self.losses.ambient.temperature
            change = self.losses.coefficient(number, wall) + rise * self.losses.coefficient_slope(number, wall)
            found[place] += area * np.maximum(change, 0.0)
        return found


@dataclass(frozen=True, eq=False)
class Radiation:
    """Thermal radiation: `strength` (2 n,) times T^4 leaves, `back` (2 n,) comes in. [W/K4], [W]"""

    strength: np.ndarray
    back: np.ndarray

    def heat(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown, (2 n,). [W]"""
        return self.strength * values**4 - self.back

    def slope(self, values: np.ndarray) -> np.ndarray:
        """How it changes with that unknown, (2 n,). [W/K]"""
        return 4.0 * self.strength * values**3


@dataclass(frozen=True, eq=False)
class Filling:
    """Heat into a filling that touches the back of the wall.

    Parameters
    ----------
    coefficient : callable
    fluid : (2 n,) float64
        Temperature of what touches each unknown. [K]
    area : (2 n,) float64
        Where it touches; zero on the front. [m2]
    """

    coefficient: Coefficient
    fluid: np.ndarray
    area: np.ndarray

    def heat(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown, (2 n,). [W]"""
        found, touched = np.zeros_like(values), self.area > 0.0
        coefficient, _ = self.coefficient(values[touched])
        found[touched] = self.area[touched] * coefficient * (values[touched] - self.fluid[touched])
        return found

    def slope(self, values: np.ndarray) -> np.ndarray:
        """How it changes with that unknown, (2 n,). [W/K]"""
        found, touched = np.zeros_like(values), self.area > 0.0
        coefficient, rise = self.coefficient(values[touched])
        found[touched] = self.area[touched] * (coefficient + rise * (values[touched] - self.fluid[touched]))
        return np.maximum(found, 0.0)


def outer_sinks(losses: Losses, shell: Shell, sight: Sight | None = None) -> tuple[Air, Radiation]:
    """What the faces of a part lose, at the corners of its shell.

    Parameters
    ----------
    losses : Losses
    shell : Shell
    sight : Sight, optional
        What each triangle sees of other parts, and how warm that is; left out, sky and ground alone.
    """
    n = shell.n_points
    places, areas, ambient = [], [], losses.ambient
    strength, back = np.zeros(2 * n), np.zeros(2 * n)
    for number, face in enumerate(losses.faces):
        first = 0 if face.side == "front" else n
        area = shell.to_points(np.ones(len(face.index)), face.index)
        touched = np.flatnonzero(area)
        places.append(touched + first)
        areas.append(area[touched])
        radiating, seen = (
            losses.radiating(number),
            face.sky * ambient.sky**4 + (1.0 - face.sky) * ambient.temperature**4,
        )
        if sight is not None and face.opening_area is None:
            seen = sight.background(face, ambient)
        radiant = STEFAN_BOLTZMANN * radiating
        strength[touched + first] += radiant * area[touched]
        back[touched + first] += radiant * shell.to_points(seen, face.index)[touched]
    return Air(losses, tuple(places), tuple(areas), 2 * n), Radiation(strength, back)
