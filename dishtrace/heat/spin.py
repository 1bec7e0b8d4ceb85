"""A vessel that turns on its own jets: torque, drag, power at the best speed, and the surface of the water in it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from dishtrace.heat.water import GRAVITY

SLOW_RAD_S = 0.05
"""Speed over which dry friction sets in, so that a vessel at rest is not pushed by it. [rad/s]"""


@dataclass(frozen=True)
class Rotor:
    """A vessel free to turn about its axis.

    Parameters
    ----------
    inertia : float
        Of all that turns, without the water. [kg m2]
    radius, length : float
        Of the vessel, as a cylinder, for drag, water and stress. [m]
    bearing_torque : float
        Friction that is the same at any speed. [N m]
    bearing_drag : float
        Friction over angular speed. [N m s]
    load : float
        Torque of what is driven. [N m]
    air_density, air_viscosity : float
        Of the air around it. [kg/m3], [Pa s]
    """

    inertia: float
    radius: float
    length: float
    bearing_torque: float
    bearing_drag: float
    load: float
    air_density: float
    air_viscosity: float

    def resisting_torque(self, speed: float) -> float:
        """Friction, load and air drag against a turn at a speed [rad/s], with its sign. [N m]"""
        dry = (self.bearing_torque + self.load) * math.tanh(speed / SLOW_RAD_S)
        return dry + self.bearing_drag * speed + math.copysign(self.air_torque(abs(speed)), speed)

    def air_torque(self, speed: float) -> float:
        """Air drag of the turning cylinder, side and both ends. [N m]

        Parameters
        ----------
        speed : float
            Not negative. [rad/s]

        References
        ----------
        .. [1] T. Theodorsen, A. Regier, "Experiments on drag of revolving disks, cylinders, and streamline rods at high
           speeds", NACA Report 793, 1944: 1/sqrt(C) = -0.6 + 4.07 log10(Re sqrt(C)) turbulent, C = 4/Re laminar
           (from memory).
        .. [2] H. Schlichting, *Boundary-Layer Theory*: free disc, C = 3.87/sqrt(Re) laminar, 0.146/Re^(1/5) turbulent,
           both sides (from memory).
        """
        if speed <= 0.0:
            return 0.0
        reynolds = self.air_density * speed * self.radius**2 / self.air_viscosity
        pressure = 0.5 * self.air_density * (speed * self.radius) ** 2
        side = cylinder_friction(reynolds) * pressure * 2.0 * math.pi * self.radius**2 * self.length
        disc = max(3.87 / math.sqrt(reynolds), 0.146 / reynolds**0.2)
        return side + 0.5 * disc * self.air_density * speed**2 * self.radius**5


def cylinder_friction(reynolds: float) -> float:
    """Friction coefficient of a cylinder turning in still air, shear over half rho u^2. [-]"""
    coefficient = 0.01
    for _ in range(30):
        coefficient = (-0.6 + 4.07 * math.log10(max(reynolds * math.sqrt(coefficient), 10.0))) ** -2
    return max(4.0 / reynolds, coefficient)


def jet_torque(*, thrust: float, mass_flow: float, lever_arm: float, around: float, speed: float) -> float:
    """Torque of jets on a turning vessel.

    Parameters
    ----------
    thrust : float
        Of all jets, seen by somebody who turns with them. [N]
    mass_flow : float
        Of all jets. [kg/s]
    lever_arm : float
        [m]
    around : float
        Share of the jets' direction that is tangential. [-]
    speed : float
        Of the vessel, positive against the jets. [rad/s]

    Returns
    -------
    float
        lever_arm (around thrust - mass_flow speed lever_arm): what leaves keeps the speed of the place it leaves from,
        and so takes angular momentum along. [N m]
    """
    return lever_arm * (around * thrust - mass_flow * speed * lever_arm)


class BestSpeed(NamedTuple):
    """Where a vessel on jets gives the most power at its shaft.

    Parameters
    ----------
    speed : float
        [rad/s]
    power : float
        [W]
    free_speed : float
        Speed at which nothing is left for the shaft. [rad/s]
    """

    speed: float
    power: float
    free_speed: float


def best_speed(rotor: Rotor, jets: list[tuple[float, float, float, float]]) -> BestSpeed:
    """Speed of the greatest power at the shaft, the load left out, at a steady steam flow.

    Parameters
    ----------
    rotor : Rotor
    jets : list of (thrust, mass_flow, lever_arm, around)
        Of each set of openings. [N], [kg/s], [m], [-]
    """
    from scipy.optimize import brentq, minimize_scalar

    def torque(speed: float) -> float:
        driving = sum(jet_torque(thrust=f, mass_flow=m, lever_arm=r, around=t, speed=speed) for f, m, r, t in jets)
        return driving - (rotor.resisting_torque(speed) - rotor.load * math.tanh(speed / SLOW_RAD_S))

    start = 4.0 * SLOW_RAD_S
    if torque(start) <= 0.0:
        return BestSpeed(0.0, 0.0, 0.0)
    highest = start
    while torque(highest) > 0.0:
        highest *= 2.0
    free = float(brentq(torque, 0.5 * highest if highest > start else start, highest, xtol=1e-9))
    best = minimize_scalar(lambda speed: -speed * torque(speed), bounds=(0.0, free), method="bounded")
    return BestSpeed(float(best.x), float(best.x * torque(float(best.x))), free)


class Surface(NamedTuple):
    """The water's surface in a cylinder that turns about its upright axis.

    Parameters
    ----------
    middle : float
        Height of the paraboloid on the axis, above the floor; negative where the floor is dry there. [m]
    at_wall : float
        Height up to which the wall is wetted. [m]
    dry_floor_radius : float
        Radius within which the floor is dry. [m]
    wet_top_radius : float or None
        Radius beyond which the top is wetted; None where the water does not reach it. [m]
    """

    middle: float
    at_wall: float
    dry_floor_radius: float
    wet_top_radius: float | None


def water_surface(*, water_volume: float, speed: float, radius: float, height: float) -> Surface:
    """Surface z = middle + (speed r)^2 / (2 g) of turning water, cut off at floor and top, of a given volume.

    Parameters
    ----------
    water_volume : float
        [m3]
    speed : float
        [rad/s]
    radius, height : float
        Of the upright cylinder, inside. [m]

    References
    ----------
    .. [1] Any textbook of fluid mechanics: a liquid in solid-body rotation; the volume below it in closed form.
    """
    share = min(max(water_volume / (math.pi * radius**2 * height), 0.0), 1.0)
    rise = (speed * radius) ** 2 / (2.0 * GRAVITY)
    if rise < 1e-12 * height or share in (0.0, 1.0):
        return Surface(share * height, share * height, 0.0 if share > 0.0 else radius, None if share < 1.0 else 0.0)

    def filled(middle: float) -> float:
        """Share below the surface: the mean over q = r^2 / R^2 of the height cut off at 0 and 1."""
        low = min(max(-middle / rise, 0.0), 1.0)
        high = min(max((height - middle) / rise, 0.0), 1.0)
        sloped = middle * (high - low) + 0.5 * rise * (high**2 - low**2)
        return (sloped + height * (1.0 - high)) / height

    from scipy.optimize import brentq

    middle = float(brentq(lambda z: filled(z) - share, -rise, height, xtol=1e-14, rtol=1e-13))
    at_wall = middle + rise
    top = radius * math.sqrt((height - middle) / rise) if at_wall > height else None
    return Surface(
        middle=middle,
        at_wall=min(at_wall, height),
        dry_floor_radius=radius * math.sqrt(max(-middle, 0.0) / rise),
        wet_top_radius=top,
    )
