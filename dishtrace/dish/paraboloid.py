"""The paraboloid z = (x^2 + y^2) / (4 f): heights, normals, crossings of lines, angles at the focus."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dishtrace.dish.outline import Outline


def height(x: np.ndarray, y: np.ndarray, *, focal_length: float) -> np.ndarray:
    """Height of the mirror above the vertex [m].

    Parameters
    ----------
    x, y : (...) float64
        Place in the dish frame. [m]
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    (...) float64
        z = (x^2 + y^2) / (4 f). [m]

    Raises
    ------
    ValueError
        If `focal_length` is not positive and finite.
    """
    _check(focal_length)
    return (np.square(x) + np.square(y)) / (4.0 * focal_length)


def normal(x: np.ndarray, y: np.ndarray, *, focal_length: float) -> np.ndarray:
    """Unit normals of the mirror on its reflecting side (towards +z).

    Parameters
    ----------
    x, y : (...) float64
        Place in the dish frame. [m]
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    (..., 3) float64
        (-x, -y, 2 f) / sqrt(x^2 + y^2 + 4 f^2). [–]

    Raises
    ------
    ValueError
        If `focal_length` is not positive and finite.
    """
    _check(focal_length)
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    length = np.sqrt(x * x + y * y + 4.0 * focal_length**2)
    return np.stack([-x / length, -y / length, 2.0 * focal_length / length], axis=-1)


def line_crossings(
    origins: np.ndarray, directions: np.ndarray, *, focal_length: float
) -> tuple[np.ndarray, np.ndarray]:
    """Both crossings of straight lines with z = (x^2 + y^2) / (4 f), in the direction of travel.

    Parameters
    ----------
    origins : (n, 3) float64
        A point of each line. [m]
    directions : (n, 3) float64
        Its direction, of any length but zero. [any]
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    first, second : (n,) float64
        Parameters t of `origin + t direction`, first <= second; NaN where a crossing does not exist (a line
        along the axis has one, told as `first`). [direction lengths]

    Raises
    ------
    ValueError
        If `focal_length` is not positive and finite.

    Notes
    -----
    With a t^2 + 2 h t + c = 0 and q = -(h + sign(h) sqrt(h^2 - a c)) the roots are c/q and q/a. Neither
    cancels, and c/q stays exact along the axis, where a = 0.

    References
    ----------
    .. [1] W. Press et al., *Numerical Recipes*, section 5.6, "Quadratic and Cubic Equations" (from memory).
    """
    _check(focal_length)
    x, y, z = np.asarray(origins, dtype=float).T
    dx, dy, dz = np.asarray(directions, dtype=float).T
    a = dx * dx + dy * dy
    h = x * dx + y * dy - 2.0 * focal_length * dz
    c = x * x + y * y - 4.0 * focal_length * z
    discriminant = h * h - a * c
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(h + np.copysign(np.sqrt(discriminant), h))
        one = np.where(q == 0.0, 0.0, c / q)
        other = q / a
    one = np.where(discriminant < 0.0, np.nan, one)
    other = np.where((discriminant < 0.0) | ~np.isfinite(other), np.nan, other)
    return np.fmin(one, other), np.where(np.isnan(other), np.nan, np.fmax(one, other))


def focus_angle(radius: np.ndarray, *, focal_length: float) -> np.ndarray:
    """Angle at the focus between the axis (towards the vertex) and the mirror at a distance from the axis.

    Parameters
    ----------
    radius : (...) float64
        Distance from the axis, >= 0. [m]
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    (...) float64
        psi = 2 atan(r / (2 f)). [rad]
    """
    _check(focal_length)
    return 2.0 * np.arctan(np.asarray(radius, dtype=float) / (2.0 * focal_length))


def rim_angle(outline: Outline, *, focal_length: float) -> float:
    """Largest angle at the focus over the outline, from the axis [rad].

    For a lateral section it is the angle of its farthest point from the axis, not half of the angle it spans.
    """
    return float(focus_angle(outline.largest_radius, focal_length=focal_length))


def _check(focal_length: float) -> None:
    if not (np.isfinite(focal_length) and focal_length > 0.0):
        raise ValueError(f"focal_length = {focal_length} must be > 0 and finite (metres)")
