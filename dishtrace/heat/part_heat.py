"""What a part gives to the models of its filling: the heat it takes in and the heat it loses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.heat.course import Course
    from dishtrace.scene.model import Part


@dataclass(frozen=True, eq=False)
class PartHeat:
    """A part as one lump of heat.

    Parameters
    ----------
    name, role : str
        As the user wrote them.
    part : Part
        The part's table of the scene: shape, sizes, surface, wall, contents, openings.
    absorbed_w : Estimate
        Light absorbed: from the mirror and straight from the sun, both sides. [W]
    area_m2 : float
        Area of its triangles, one side. [m2]
    volume_m3 : float or None
        Volume enclosed by a closed solid; None for sheets. [m3]
    wall_mass_kg : float or None
        Mass of the wall; None where the scene gives no wall. [kg]
    wall_heat_capacity_j_kgk : float or None
        Specific heat capacity of the wall near 100 C; None where the scene gives no wall. [J/(kg K)]
    loss_w : callable
        Takes the temperature [K] of a part that is equally warm everywhere, gives what its outer surface loses to air,
        sky and surroundings. [W]
    ambient_k : float
        Temperature of the air. [K]
    pressure_pa : float
        Pressure of the air. [Pa]
    course : Course or None
        How the light changes over time, as a share of `absorbed_w`; None: it is held.
    """

    name: str
    role: str
    part: Part
    absorbed_w: Estimate
    area_m2: float
    volume_m3: float | None
    wall_mass_kg: float | None
    wall_heat_capacity_j_kgk: float | None
    loss_w: Callable[[float], float]
    ambient_k: float
    pressure_pa: float
    course: Course | None = None
