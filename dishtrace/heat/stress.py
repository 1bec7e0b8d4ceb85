"""Stress in the shell of a vessel under pressure, against what its material may bear: an aid to understanding only."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from dishtrace.units import celsius

THIN_WALL = 10.0
"""Radius over thickness above which the thin-wall formula holds; common practice. [-]"""
LEAST_GAUGE_PA = 5000.0
"""Pressure above that of the air that counts as none where the material's strength is not known. [Pa]"""


@dataclass(frozen=True)
class PressureShell:
    """The shell of a vessel.

    Parameters
    ----------
    radius, thickness : float
        Inside, and of the sheet. [m]
    density : float
        Of the sheet. [kg/m3]
    material : str or None
        Name in the table of allowable stresses; None when the stress is given.
    allowable : float or None
        Allowable stress, at all temperatures; None: from the table. [Pa]
    safety_factor, joint_efficiency : float
        [-]
    is_ball : bool
    """

    radius: float
    thickness: float
    density: float
    material: str | None
    allowable: float | None = None
    safety_factor: float = 1.0
    joint_efficiency: float = 0.7
    is_ball: bool = False

    def stress(self, gauge_pressure: float, *, speed: float = 0.0) -> float:
        """Largest mean stress in the sheet.

        Parameters
        ----------
        gauge_pressure : float
            Above that of the air. [Pa]
        speed : float
            Of turning about the axis. [rad/s]

        Returns
        -------
        float
            Hoop stress p r / t of a cylinder, or p r / (2 t) of a ball, where the wall is thin; Lame's at the inside
            where it is thick; and density (speed r)^2 of a turning ring on top. [Pa]
        """
        if self.is_ball:
            pressed = 0.5 * hoop_stress(gauge_pressure, radius=self.radius, thickness=self.thickness)
        elif self.radius > THIN_WALL * self.thickness:
            pressed = hoop_stress(gauge_pressure, radius=self.radius, thickness=self.thickness)
        else:
            pressed = lame_stress(gauge_pressure, inside=self.radius, outside=self.radius + self.thickness)
        return pressed + self.density * (speed * self.radius) ** 2

    def allowed(self, temperature: float) -> float | None:
        """Stress that the sheet's seams may bear at a temperature [K]; None where it is not known. [Pa]"""
        base = self.allowable
        if base is None:
            base = allowable_stress(self.material, temperature) if self.material else None
        return None if base is None else base * self.joint_efficiency / self.safety_factor

    def pressure_allowed(self, temperature: float) -> float:
        """Gauge pressure at which the stress is the allowed one at a temperature [K]. [Pa]

        Where the strength is not known it counts as none, that is, as `LEAST_GAUGE_PA`.
        """
        allowed = self.allowed(temperature)
        return LEAST_GAUGE_PA if allowed is None else max(allowed / self.stress(1.0), LEAST_GAUGE_PA)


def hoop_stress(pressure: float, *, radius: float, thickness: float) -> float:
    """Hoop stress p r / t of a thin cylinder; that along the axis is half of it. [Pa]"""
    return pressure * radius / thickness


def lame_stress(pressure: float, *, inside: float, outside: float) -> float:
    """Hoop stress at the inside of a thick cylinder, p (b^2 + a^2) / (b^2 - a^2) (Lame). [Pa]"""
    return pressure * (outside**2 + inside**2) / (outside**2 - inside**2)


def allowable_stress(material: str, temperature: float) -> float | None:
    """Allowable stress of a material of the table.

    Parameters
    ----------
    material : str
        As in data/allowable_stress.csv, whose head gives the source.
    temperature : float
        [K]

    Returns
    -------
    float or None
        None for a material or temperature that is not in the table. [Pa]
    """
    rows = _table().get(material)
    place = celsius(temperature)
    if rows is None or not rows[0, 0] <= place <= rows[-1, 0]:
        return None
    return 1e6 * float(np.interp(place, rows[:, 0], rows[:, 1]))


@cache
def _table() -> dict[str, np.ndarray]:
    text = (files("dishtrace") / "data" / "allowable_stress.csv").read_text(encoding="utf-8")
    found: dict[str, list[tuple[float, float]]] = {}
    for row in csv.DictReader(line for line in text.splitlines() if not line.startswith("#")):
        found.setdefault(row["name"], []).append((float(row["temperature_c"]), float(row["allowable_mpa"])))
    return {name: np.array(rows) for name, rows in found.items()}
