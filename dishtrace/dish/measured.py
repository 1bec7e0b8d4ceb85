"""A mirror whose shape was measured: points on it, and the paraboloid and the smooth surface fitted to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.outline import Outline
from dishtrace.dish.points import MeasuredError, mesh_points, refuse_holes
from dishtrace.dish.smooth_surface import SmoothSurface
from dishtrace.dish.surface_fit import fit_paraboloid, fit_polynomial, neighbour_slope
from dishtrace.errors import InputError
from dishtrace.scene.point_list import read_points

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False, kw_only=True)
class MeasuredMirror(SmoothSurface):
    """Points of a mirror and what was fitted to them: a paraboloid, and a polynomial on top of it.

    Parameters
    ----------
    points : (n, 3) float64
        As placed in the dish frame. [m]
    focal_length : float
        Of the paraboloid that fits best. [m]
    shift : (3,) float64
        Its vertex in the frame of the file. [m]
    tilt : (2,) float64
        Lean of its axis from the file's z towards x and y. [rad]
    beside_paraboloid : (n,) float64
        Heights of the points above that paraboloid, along its axis. [m]
    left : (n,) float64
        Heights of the points above the smooth surface: what the fit leaves. [m]
    slope_error : float
        Standard deviation per axis of the slope that the fit leaves. [rad]
    """

    points: np.ndarray
    focal_length: float
    shift: np.ndarray
    tilt: np.ndarray
    beside_paraboloid: np.ndarray
    left: np.ndarray
    slope_error: float

    def figures(self) -> dict[str, float | int | list[float]]:
        """What to tell about the fit; lengths in metres, angles in mrad."""
        return {
            "points": len(self.points),
            "focal_length_m": self.focal_length,
            "vertex_m": self.shift.tolist(),
            "tilt_mrad": (1e3 * self.tilt).tolist(),
            "beside_paraboloid_rms_m": float(np.sqrt(np.mean(self.beside_paraboloid**2))),
            "degree": self.degree,
            "left_rms_m": float(np.sqrt(np.mean(self.left**2))),
            "slope_error_mrad": 1e3 * self.slope_error,
        }


def measured_mirror(scene: Scene, outline: Outline) -> MeasuredMirror:
    """The measured mirror of a scene.

    Parameters
    ----------
    scene : Scene
        With layout = "measured".
    outline : Outline
        Of the dish, in plan; the points must cover it. [m]

    Raises
    ------
    InputError
        If the file cannot be read, its points lie on no paraboloid that opens towards +z, or they leave holes.
    """
    table = scene.dish.facets
    try:
        if table.file.lower().endswith(".csv"):
            points = np.array(read_points(scene.path(table.file), table.file))
        else:
            points = mesh_points(scene.path(table.file), table.unit)
        mirror = fit_mirror(
            points,
            degree=table.degree,
            by_fit=table.placed == "by-fit",
            height_error=table.height_error_m,
        )
        refuse_holes(mirror.points, outline)
    except MeasuredError as error:
        found = scene.fault(("dish", "facets", "file"), allowed=str(error), remedy=error.remedy)
        raise InputError(found) from error
    return mirror


def fit_mirror(points: np.ndarray, *, degree: int, by_fit: bool, height_error: float = 0.0) -> MeasuredMirror:
    """Paraboloid, smooth surface and slope error of measured points.

    Parameters
    ----------
    points : (n, 3) float64
        In the frame of the file. [m]
    degree : int
        Highest degree of the polynomial for what the paraboloid leaves. [–]
    by_fit : bool
        Whether the points are moved so that the paraboloid's vertex and axis are those of the dish; else they stay,
        and the polynomial takes up shift and tilt.
    height_error : float
        Standard deviation of the heights. [m]

    Raises
    ------
    MeasuredError
        If no paraboloid that opens towards +z fits.
    """
    fit = fit_paraboloid(points)
    placed = fit.in_its_frame(points) if by_fit else points
    beside = placed[:, 2] - np.sum(placed[:, :2] ** 2, axis=1) / (4.0 * fit.focal_length)
    low, high = placed[:, :2].min(axis=0), placed[:, :2].max(axis=0)
    middle, half = 0.5 * (low + high), 0.5 * float((high - low).max())
    coefficients, left, share = fit_polynomial((placed[:, :2] - middle) / half, beside, degree=degree)
    return MeasuredMirror(
        points=placed,
        focal_length=fit.focal_length,
        shift=fit.vertex,
        tilt=fit.axis[:2],
        beside_paraboloid=fit.residuals(points),
        left=left,
        slope_error=neighbour_slope(placed[:, :2], left, free_share=share, height_error=height_error),
        quadric=np.array([1.0, 1.0, 0.0, 0.0, 0.0, 0.0]) / (4.0 * fit.focal_length),
        coefficients=coefficients,
        middle=middle,
        half=half,
    )
