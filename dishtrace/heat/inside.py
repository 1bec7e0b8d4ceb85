"""How a filling takes heat from the back of a wall: boiling water, oil, a flow, a block, air, or insulation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.sinks import Coefficient, Filling
from dishtrace.scene.uncertain import nominal
from dishtrace.units import kelvin

if TYPE_CHECKING:
    from dishtrace.heat.air import Ambient
    from dishtrace.heat.shell import Shell
    from dishtrace.scene.model import Part

STEAM_SIDE = 10.0
"""Coefficient of a wall that steam or vapour touches: natural convection of a gas (common practice). [W/(m2 K)]"""
AIR_INSIDE = 5.0
"""Of a wall around air (common practice). [W/(m2 K)]"""
LIQUID = {"water": 1000.0, "oil": 300.0}
"""Of a wall that a slow liquid touches (common practice; good to a factor of two). [W/(m2 K)]"""
BED = 0.3
"""Conductivity of a block or bed whose own is not given: dry sand (Incropera and DeWitt, Table A.3, from memory).
[W/(m K)]"""


@dataclass(frozen=True, eq=False)
class Inside:
    """What the back of a wall touches.

    Parameters
    ----------
    kind : str
        Kind of contents.
    wet, dry : callable
        Coefficients below and above the level.
    fluid : float or None
        Temperature of the filling; None where it settles by itself, with nothing drawn off. [K]
    flow_w_k : float or None
        Heat capacity flow of what flows through, from `fluid` at its inlet. [W/K]
    wet_share : (n,) float64
        Share of the surface at each corner that lies below the level. [–]
    burnout_w_m2 : float or None
        Flux above which steam no longer leaves the wall free. [W/m2]
    notes : tuple of str
        What the user should know.
    """

    kind: str
    wet: Coefficient
    dry: Coefficient
    fluid: float | None
    flow_w_k: float | None
    wet_share: np.ndarray
    burnout_w_m2: float | None
    notes: tuple[str, ...]

    def sinks(self, shell: Shell, fluid: float) -> dict[str, Filling]:
        """The filling of that temperature [K] as sinks of the back of a shell."""
        n = shell.n_points
        area = shell.to_points(np.ones(len(shell.areas)))
        none, everywhere = np.zeros(n), np.full(2 * n, fluid)
        found = {"filling": Filling(self.wet, everywhere, np.concatenate([none, area * self.wet_share]))}
        if np.any(self.wet_share < 1.0):
            above = np.concatenate([none, area * (1.0 - self.wet_share)])
            found["vapour"] = Filling(self.dry, everywhere, above)
        return found


def inside_of(part: Part, shell: Shell, *, ambient: Ambient, up: np.ndarray, volume: float | None) -> Inside | None:
    """What the back of a part's wall touches; None for a part without contents, or insulated behind.

    Parameters
    ----------
    part : Part
    shell : Shell
    ambient : Ambient
    up : (3,) float64
        [–]
    volume : float or None
        Enclosed by the part. [m3]
    """
    contents = part.contents
    if contents is None or contents.kind == "insulation" or volume is None:
        return None
    everywhere = np.ones(shell.n_points)
    if contents.kind in ("water", "pot"):
        return _boiling(contents, shell, ambient=ambient, up=up)
    if contents.kind == "flow":
        return _flow(contents, everywhere)
    coefficient = {
        "oil": LIQUID["oil"],
        "melt": LIQUID["water"],
        "air": AIR_INSIDE,
        "solid": _bed(contents, volume / float(shell.areas.sum())),
    }[contents.kind]
    notes = (f"inside coefficient {coefficient:.3g} W/(m2 K), common practice, good to a factor of two",)
    level = constant(coefficient)
    return Inside(contents.kind, level, level, None, None, everywhere, None, notes)


def constant(coefficient: float) -> Coefficient:
    """A coefficient [W/(m2 K)] that does not depend on temperature."""
    return lambda wall: (np.full_like(wall, coefficient), np.zeros_like(wall))


def _bed(contents: object, depth: float) -> float:
    """Conduction into a block over a third of its volume per surface. [W/(m2 K)]"""
    given = getattr(contents, "conductivity_w_mk", None)
    return (BED if given is None else float(nominal(given))) / (depth / 3.0)


def _flow(contents: object, everywhere: np.ndarray) -> Inside:
    capacity = contents.heat_capacity_j_kgk
    per_kg = (2100.0 if contents.fluid == "oil" else 4180.0) if capacity is None else float(nominal(capacity))
    coefficient = LIQUID[contents.fluid]
    notes = (f"inside coefficient {coefficient:.3g} W/(m2 K), common practice, good to a factor of two",)
    level = constant(coefficient)
    inlet = kelvin(float(nominal(contents.inlet_c)))
    return Inside("flow", level, level, inlet, per_kg * float(nominal(contents.flow_kg_s)), everywhere, None, notes)


def _boiling(contents: object, shell: Shell, *, ambient: Ambient, up: np.ndarray) -> Inside:
    """Water that boils at the pressure of the air, up to its level."""
    boiling, density, burnout = saturation(round(ambient.pressure))
    level, share = wet_share(shell, up, float(nominal(contents.mass_kg)) / density)
    notes = [f"water boils at the pressure of the air, {boiling - 273.15:.1f} C, and wets {100.0 * level:.0f} % inside"]
    return Inside(
        contents.kind,
        nucleate(round(ambient.pressure)),
        constant(STEAM_SIDE),
        boiling,
        None,
        share,
        burnout,
        tuple(notes),
    )


@cache
def saturation(pressure: float) -> tuple[float, float, float]:
    """Of water at a pressure [Pa]: boiling point [K], density [kg/m3], and the flux at which boiling chokes itself.

    References
    ----------
    .. [1] N. Zuber, *Hydrodynamic aspects of boiling heat transfer*, 1959, by `ht`.
    """
    from CoolProp.CoolProp import PropsSI
    from ht.boiling_nucleic import Zuber

    liquid = {key: PropsSI(key, "P", pressure, "Q", 0, "Water") for key in ("T", "D", "H", "I")}
    vapour = {key: PropsSI(key, "P", pressure, "Q", 1, "Water") for key in ("D", "H")}
    burnout = Zuber(liquid["I"], vapour["H"] - liquid["H"], liquid["D"], vapour["D"])
    return liquid["T"], liquid["D"], burnout


@cache
def nucleate(pressure: float) -> Coefficient:
    """Coefficient of a wall in boiling water over its temperature.

    The larger of natural convection (vertical plate of 0.1 m in water) and nucleate boiling, whose surface factor 0.013
    is that of usual metals: it is good to a factor of two, the wall's excess temperature to a quarter.

    References
    ----------
    .. [1] W. M. Rohsenow, Trans. ASME 74 (1952) 969-976: nucleate boiling, by `ht`.
    .. [2] S. W. Churchill, H. H. S. Chu, Int. J. Heat Mass Transfer 18 (1975) 1323-1329, by `ht`.
    """
    from CoolProp.CoolProp import PropsSI

    keys = {
        "T": "T",
        "rhol": "D",
        "mul": "V",
        "kl": "L",
        "Cpl": "C",
        "sigma": "I",
        "h": "H",
        "b": "ISOBARIC_EXPANSION_COEFFICIENT",
    }
    water = {name: PropsSI(key, "P", pressure, "Q", 0, "Water") for name, key in keys.items()}
    steam = {key: PropsSI(key, "P", pressure, "Q", 1, "Water") for key in ("D", "H")}
    excess = np.concatenate([[0.0], np.geomspace(0.5, 400.0, 40)])
    coefficients = np.array([max(_still(water, rise), _bubbling(water, steam, rise)) for rise in excess])
    boiling_point = water["T"]

    def coefficient(wall: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        from dishtrace.heat.shell import interpolated

        rise, slope = interpolated(np.abs(wall - boiling_point), excess, coefficients)
        return rise, slope * np.sign(wall - boiling_point)

    return coefficient


def _still(water: Mapping[str, float], rise: float) -> float:
    """Natural convection in water at a wall that is so much hotter [K]. [W/(m2 K)]"""
    from ht.conv_free_immersed import Nu_vertical_plate_Churchill

    viscosity = water["mul"] / water["rhol"]
    prandtl = water["mul"] * water["Cpl"] / water["kl"]
    buoyancy = 9.80665 * water["b"] * max(rise, 0.1) * 0.1**3 / viscosity**2
    return Nu_vertical_plate_Churchill(prandtl, buoyancy) * water["kl"] / 0.1


def _bubbling(water: Mapping[str, float], steam: Mapping[str, float], rise: float) -> float:
    """Nucleate boiling at a wall that is so much hotter [K]. [W/(m2 K)]"""
    from ht.boiling_nucleic import Rohsenow

    liquid = {name: water[name] for name in ("rhol", "mul", "kl", "Cpl", "sigma")}
    return Rohsenow(**liquid, rhog=steam["D"], Hvap=steam["H"] - water["h"], Te=max(rise, 1e-6), Csf=0.013, n=1.0)


def wet_share(shell: Shell, up: np.ndarray, volume: float) -> tuple[float, np.ndarray]:
    """How much of the inside of a closed shell lies below the level of a liquid at rest.

    Parameters
    ----------
    shell : Shell
        Closed, fronts outside.
    up : (3,) float64
        [–]
    volume : float
        Of the liquid. [m3]

    Returns
    -------
    share : float
        Of the whole inside. [–]
    shares : (n,) float64
        Of what belongs to each corner: the part of its triangles below the level. [–]

    Notes
    -----
    The volume below a height z is the integral over the surface of min(height, z) times the normal's rise
    (divergence theorem); each triangle counts with the mean of its corners' min(height, z).
    """
    from scipy.optimize import brentq

    heights = shell.points @ up
    low, high = float(heights.min()), float(heights.max())
    corners = shell.points[shell.corners]
    rise = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ up

    def below(level: float) -> float:
        return float(rise @ (np.minimum(heights[shell.corners], level) - low).mean(axis=1))

    if below(high) <= volume:
        return 1.0, np.ones(shell.n_points)
    level = brentq(lambda z: below(z) - volume, low, high)
    share = np.clip(
        (level - heights[shell.corners].min(axis=1)) / np.maximum(np.ptp(heights[shell.corners], axis=1), 1e-12),
        0.0,
        1.0,
    )
    area = shell.to_points(np.ones(len(shell.areas)))
    return float(share @ shell.areas / shell.areas.sum()), shell.to_points(share) / area
