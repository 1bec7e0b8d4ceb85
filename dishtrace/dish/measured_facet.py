"""A facet whose shape was measured: points in its own plane, and the sphere and the smooth surface fitted to them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dishtrace.dish.facets import sphere_quadric
from dishtrace.dish.points import MeasuredError, mesh_points
from dishtrace.dish.smooth_surface import SmoothSurface, quadric_heights
from dishtrace.dish.surface_fit import LARGEST_TILT, fit_cap, fit_polynomial, neighbour_slope
from dishtrace.scene.point_list import read_points
from dishtrace.vec import rotation_to

FLATTEST_M = 1e5
"""Radii of curvature beyond this are told as flat. [m]"""
_ROUNDS = 20
_SETTLED = 1e-12


@dataclass(frozen=True, eq=False, kw_only=True)
class MeasuredFacet(SmoothSurface):
    """Points of a facet and what was fitted to them, in the frame that touches the smooth surface at its middle.

    Parameters
    ----------
    points : (n, 3) float64
        Turned and shifted so that the smooth surface passes the origin level. [m]
    tilt : (2,) float64
        Lean of the normal at the middle from the file's z towards x and y, taken out here. [rad]
    sphere_curvature : float
        Of the sphere that fits best. [1/m]
    principal : (float, float)
        Largest and smallest curvature of the toroid that fits best. [1/m]
    beside_sphere : (n,) float64
        Heights of the points above that sphere. [m]
    left : (n,) float64
        Heights of the points above the smooth surface: what the fit leaves. [m]
    slope_error : float
        Standard deviation per axis of the slope that the fit leaves. [rad]
    """

    points: np.ndarray
    tilt: np.ndarray
    sphere_curvature: float
    principal: tuple[float, float]
    beside_sphere: np.ndarray
    left: np.ndarray
    slope_error: float

    def touching_quadric(self) -> np.ndarray:
        """Quadric with the surface's second derivatives at the middle, the sphere's beyond, (6,). [1/m]"""
        bent = 0.5 * self.departure_curvature(np.zeros(2))
        return self.quadric + [bent[0, 0], bent[1, 1], 0.0, bent[0, 1], 0.0, 0.0]

    def figures(self) -> dict[str, float | int | None | list[float | None]]:
        """What to tell about the fit; lengths in metres, angles in mrad; None for the radius of a plane."""
        radius = radius_of(self.sphere_curvature)
        return {
            "points": len(self.points),
            "radius_m": radius,
            "focal_length_m": None if radius is None else 0.5 * radius,
            "radii_m": [radius_of(one) for one in self.principal],
            "tilt_mrad": (1e3 * self.tilt).tolist(),
            "beside_sphere_rms_m": float(np.sqrt(np.mean(self.beside_sphere**2))),
            "degree": self.degree,
            "left_rms_m": float(np.sqrt(np.mean(self.left**2))),
            "slope_error_mrad": 1e3 * self.slope_error,
        }


def radius_of(curvature: float) -> float | None:
    """Radius of a curvature, positive for hollow mirrors; None beyond 100 km, which is flat. [m]"""
    return None if abs(curvature) * FLATTEST_M < 1.0 else 1.0 / curvature


def points_of_file(path: Path, name: str, unit: str | None) -> np.ndarray:
    """Points of a csv or mesh file, (n, 3). [m]

    Raises
    ------
    InputError
        With every fault of a csv.
    MeasuredError
        If a mesh cannot be used.
    """
    return np.array(read_points(path, name)) if name.lower().endswith(".csv") else mesh_points(path, unit)


def fit_facet(points: np.ndarray, *, degree: int, height_error: float = 0.0) -> MeasuredFacet:
    """Sphere, smooth surface and slope error of points on a facet.

    Parameters
    ----------
    points : (n, 3) float64
        x, y across the facet from its middle, z towards the side that mirrors. [m]
    degree : int
        Highest degree of the polynomial for what the sphere leaves. [–]
    height_error : float
        Standard deviation of the heights. [m]

    Raises
    ------
    MeasuredError
        If the points lie on a line, or z is not about square to the facet.

    Notes
    -----
    A facet is turned to its aim by its normal at the middle, so the tilt and the height that the points have there
    mean nothing: they are taken out, in rounds, until the smooth surface lies level at the origin.
    """
    cap = fit_cap(points)
    quadric = sphere_quadric(1.0) * cap.curvature
    low, high = points[:, :2].min(axis=0), points[:, :2].max(axis=0)
    middle, half = 0.5 * (low + high), 0.5 * float((high - low).max())
    turn, origin = np.eye(3), np.zeros(3)
    _refuse_tilt(cap.normal)
    for _ in range(_ROUNDS):
        placed = (points - origin) @ turn
        beside = placed[:, 2] - quadric_heights(quadric, placed[:, :2])
        if not np.isfinite(beside).all():
            raise MeasuredError("has points beyond the edge of the sphere that fits best", "check the unit")
        coefficients, left, share = fit_polynomial((placed[:, :2] - middle) / half, beside, degree=degree)
        surface = SmoothSurface(quadric=quadric, coefficients=coefficients, middle=middle, half=half)
        slope, rise = surface.gradient(np.zeros(2)), float(surface.height(np.zeros(2)))
        if max(np.abs(slope).max(), abs(rise) / half) < _SETTLED:
            break
        origin = origin + turn @ np.array([0.0, 0.0, rise])
        turn = turn @ rotation_to(np.array([*-slope, 1.0]) / np.sqrt(1.0 + slope @ slope))
        _refuse_tilt(turn[:, 2])
    return MeasuredFacet(
        quadric=quadric,
        coefficients=coefficients,
        middle=middle,
        half=half,
        points=placed,
        tilt=turn[:2, 2],
        sphere_curvature=cap.curvature,
        principal=cap.principal,
        beside_sphere=cap.beside,
        left=left,
        slope_error=neighbour_slope(placed[:, :2], left, free_share=share, height_error=height_error),
    )


def _refuse_tilt(normal: np.ndarray) -> None:
    if np.hypot(normal[0], normal[1]) > LARGEST_TILT:
        raise MeasuredError(
            "has points whose z is far from square to the facet", "measure x, y across the facet and z square to it"
        )
