"""Heat given off to air by natural convection and wind, by published correlations chosen by shape and attitude.

Each function gives the mean coefficient of a surface of one temperature, in W/(m2 K). Wind and buoyancy are joined by
h^3 = h_natural^3 + h_wind^3. Nobody knows such coefficients to better than 15 to 25 %; see `SPREAD`.

References
----------
.. [1] S. W. Churchill, "A comprehensive correlating equation for laminar, assisting, forced and free convection", AIChE
       Journal 23 (1977) 10-16: the exponent 3 (from memory).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dishtrace.heat.air import GRAVITY, Ambient

if TYPE_CHECKING:
    from dishtrace.heat.air import Film

SPREAD = {"plate": 0.2, "cylinder": 0.2, "sphere": 0.2, "cavity": 0.4}
"""Relative standard deviation taken for a coefficient: correlations of bodies in still air and in wind scatter by 15 to
25 % (common practice); for cavities the choice of the property temperature alone changes the coefficient by 40 %."""

LEAST_GRASHOF = 1e-6  # below it some correlations divide by zero; the coefficient is that of still air by then


def grashof(wall: float, ambient: Ambient, film: Film, *, length: float, gravity: float = GRAVITY) -> float:
    """Grashof number of a wall of temperature `wall` [K]: g beta |T - T_a| L^3 / nu^2. [-]"""
    rise = abs(wall - ambient.temperature)
    return max(gravity * film.expansion * rise * length**3 / film.viscosity**2, LEAST_GRASHOF)


def joined(natural: float, wind: float) -> float:
    """Coefficient of both together. [W/(m2 K)]"""
    return (natural**3 + wind**3) ** (1.0 / 3.0)


def plate(wall: float, ambient: Ambient, *, slope: float, breadth: float, tilt: float) -> float:
    """One side of a flat plate.

    Parameters
    ----------
    wall : float
        Temperature. [K]
    ambient : Ambient
    slope : float
        Mean length in the direction in which the plate slopes. [m]
    breadth : float
        Area over perimeter. [m]
    tilt : float
        Angle of its normal from straight up: 0 looks up, pi / 2 is vertical, pi looks down. [rad]

    Notes
    -----
    A leaning plate takes the larger of the vertical plate's coefficient with the part of gravity along it and the level
    plate's with the part across it. Beyond tilts of 60 degrees from the vertical that is an estimate. Wind blows along
    the plate; laminar up to a Reynolds number of 5e5.

    References
    ----------
    .. [1] S. W. Churchill, H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323-1329: vertical plate, any Ra.
    .. [2] W. H. McAdams, *Heat Transmission*, 3rd ed., 1954: level plates, hot side up and hot side down.
    .. [3] F. P. Incropera, D. P. DeWitt, *Fundamentals of Heat and Mass Transfer*, section 9.6: leaning plates.
    """
    from ht.conv_external import Nu_external_horizontal_plate
    from ht.conv_free_immersed import Nu_horizontal_plate_McAdams, Nu_vertical_plate_Churchill

    film = ambient.film(wall)
    along, across = GRAVITY * math.sin(tilt), GRAVITY * abs(math.cos(tilt))
    vertical = grashof(wall, ambient, film, length=slope, gravity=along)
    level = grashof(wall, ambient, film, length=breadth, gravity=across)
    rises_freely = (math.cos(tilt) > 0.0) == (wall >= ambient.temperature)
    natural = film.conductivity * max(
        Nu_vertical_plate_Churchill(film.prandtl, vertical) / slope if along > 1e-6 * GRAVITY else 0.0,
        Nu_horizontal_plate_McAdams(film.prandtl, level, buoyancy=rises_freely) / breadth,
    )
    if ambient.wind == 0.0:
        return natural
    reynolds = ambient.wind * slope / film.viscosity
    wind = Nu_external_horizontal_plate(reynolds, film.prandtl) * film.conductivity / slope
    return joined(natural, wind)


def cylinder(wall: float, ambient: Ambient, *, diameter: float, length: float, tilt: float) -> float:
    """Wall of a long or short cylinder.

    Parameters
    ----------
    wall : float
        Temperature. [K]
    ambient : Ambient
    diameter, length : float
        [m]
    tilt : float
        Angle of its axis from the vertical: 0 stands, pi / 2 lies. [rad]

    Notes
    -----
    A leaning cylinder takes the larger of the standing one's coefficient with the part of gravity along its axis and
    the lying one's with the part across it. Wind blows across the axis, the worst case.

    References
    ----------
    .. [1] S. W. Churchill, H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1049-1053: lying, Ra up to 1e12.
    .. [2] C. O. Popiel, J. Wojtkowiak, K. Bober, Exp. Thermal Fluid Science 32 (2007) 607-613: standing, by `ht`.
    .. [3] S. W. Churchill, M. Bernstein, J. Heat Transfer 99 (1977) 300-306: in wind, Re Pr above 0.2.
    """
    from ht.conv_external import Nu_cylinder_Churchill_Bernstein
    from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu, Nu_vertical_cylinder

    film = ambient.film(wall)
    along, across = GRAVITY * abs(math.cos(tilt)), GRAVITY * math.sin(tilt)
    standing = grashof(wall, ambient, film, length=length, gravity=along)
    lying = grashof(wall, ambient, film, length=diameter, gravity=across)
    natural = film.conductivity * max(
        Nu_vertical_cylinder(film.prandtl, standing, L=length, D=diameter) / length if standing > 1.0 else 0.0,
        Nu_horizontal_cylinder_Churchill_Chu(film.prandtl, lying) / diameter,
    )
    if ambient.wind == 0.0:
        return natural
    reynolds = ambient.wind * diameter / film.viscosity
    wind = Nu_cylinder_Churchill_Bernstein(reynolds, film.prandtl) * film.conductivity / diameter
    return joined(natural, wind)


def sphere(wall: float, ambient: Ambient, *, diameter: float) -> float:
    """A ball of that diameter [m].

    References
    ----------
    .. [1] S. W. Churchill in *Heat Exchanger Design Handbook*, 1987: in still air, Ra up to 1e13, by `ht`.
    .. [2] S. Whitaker, AIChE Journal 18 (1972) 361-371: in wind, Nu = 2 + (0.4 Re^0.5 + 0.06 Re^(2/3)) Pr^0.4, Re 3.5
           to 7.6e4, without its factor of viscosities (from memory).
    """
    from ht.conv_free_immersed import Nu_sphere_Churchill

    film = ambient.film(wall)
    buoyancy = grashof(wall, ambient, film, length=diameter)
    natural = Nu_sphere_Churchill(film.prandtl, buoyancy) * film.conductivity / diameter
    if ambient.wind == 0.0:
        return natural
    reynolds = ambient.wind * diameter / film.viscosity
    nusselt = 2.0 + (0.4 * math.sqrt(reynolds) + 0.06 * reynolds ** (2.0 / 3.0)) * film.prandtl**0.4
    return joined(natural, nusselt * film.conductivity / diameter)


def cavity(wall: float, ambient: Ambient, *, diameter: float, opening: float, dip: float) -> float:
    """Inside of a cavity with one opening, per area of all of its inside.

    Parameters
    ----------
    wall : float
        Mean temperature of the inside. [K]
    ambient : Ambient
    diameter, opening : float
        Mean inner diameter L and diameter d of the opening. [m]
    dip : float
        Angle by which the opening looks below the horizon: 0 sideways, pi / 2 straight down; one that looks up has the
        coefficient of one that looks sideways, which is outside of the correlation. [rad]

    Notes
    -----
    Nu = 0.088 Gr^(1/3) (T_w / T_a)^0.18 cos(dip)^2.47 (d / L)^s with s = 1.12 - 0.98 d / L, and the properties of air
    at the film temperature, which the source leaves open: at the air's temperature h would be 40 % larger at 700 K.
    Wind adds h = 0.1967 v^1.849 whatever the dip (side-on wind).

    References
    ----------
    .. [1] W. B. Stine, C. G. McDonald, "Cavity receiver convective heat loss", ISES Solar World Congress, 1989 (from
           memory).
    .. [2] R. Y. Ma, "Wind effects on convective heat loss from a cavity receiver", SAND92-7293, 1993 (from memory).
    """
    film = ambient.film(wall)
    ratio = opening / diameter
    shape = ratio ** (1.12 - 0.98 * ratio) * max(math.cos(max(dip, 0.0)), 0.0) ** 2.47
    warmth = (max(wall, ambient.temperature) / ambient.temperature) ** 0.18
    nusselt = 0.088 * grashof(wall, ambient, film, length=diameter) ** (1.0 / 3.0) * warmth * shape
    return nusselt * film.conductivity / diameter + 0.1967 * ambient.wind**1.849
