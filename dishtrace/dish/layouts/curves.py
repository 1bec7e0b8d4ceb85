"""How facets are curved: the quadric of each, in the frame that touches the parent paraboloid."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import parent_quadric, six_numbers
from dishtrace.dish.layouts.plan import Laid


def bend_directions(laid: Laid, bend: str) -> np.ndarray:
    """Directions in plan along which facets are bent, (n, 2) unit vectors.

    Parameters
    ----------
    laid : Laid
    bend : str
        "radial" away from the axis, "around" square to that, "x" or "y" of the dish frame.
    """
    fixed = {"x": (1.0, 0.0), "y": (0.0, 1.0)}
    if bend in fixed:
        return np.tile(fixed[bend], (len(laid), 1))
    return laid.radial if bend == "radial" else np.stack([-laid.radial[:, 1], laid.radial[:, 0]], axis=-1)


def quadrics(laid: Laid, *, curve: str, radius: float | None, bend: np.ndarray, focal_length: float) -> np.ndarray:
    """Surfaces of facets of one curve.

    Parameters
    ----------
    laid : Laid
    curve : str
        "flat", "bent", "spherical" or "parent".
    radius : float or None
        Radius of curvature; None: spherical facets get twice their distance from the focus, which is the mean of
        the parent's two curvatures there; bent ones get the parabola of the parent along the bend. [m]
    bend : (n, 2) float64
        Unit vectors in plan along which bent facets are curved. [–]
    focal_length : float
        Focal length f. [m]

    Returns
    -------
    (n, 6) float64
        uu, vv, ww, uv, uw, vw of M. [1/m]
    """
    if curve == "flat":
        return np.zeros((len(laid), 6))
    if curve == "parent":
        return parent_quadric(laid.center, laid.axes, focal_length=focal_length)
    if curve == "spherical":
        radii = np.full(len(laid), radius) if radius else 2.0 * focus_distances(laid, focal_length=focal_length)
        return np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0]) / (2.0 * radii[:, np.newaxis])
    return _circular(laid, bend, radius) if radius else _parabolic(laid, bend, focal_length)


def focus_distances(laid: Laid, *, focal_length: float) -> np.ndarray:
    """Distances of the facets' middles from the focus, (n,). [m]"""
    return np.linalg.norm(laid.center - [0.0, 0.0, focal_length], axis=1)


def _parabolic(laid: Laid, bend: np.ndarray, focal_length: float) -> np.ndarray:
    """Parabolic cylinders that touch the parent all along the line through their middle in the bend's direction.

    With s the distance in plan along the bend, z = z0 + (x, y) . gradient + s^2 / (4 f), that is s^2 / (4 f |g|) = w
    with g = (x / 2f, y / 2f, -1) and s = p . (axes e).
    """
    steepness = np.sqrt(1.0 + np.sum(laid.center[:, :2] ** 2, axis=1) / (4.0 * focal_length**2))
    s = np.einsum("nij,nj->ni", laid.axes[:, :, :2], bend)
    return six_numbers(s[:, :, np.newaxis] * s[:, np.newaxis, :]) / (4.0 * focal_length * steepness[:, np.newaxis])


def _circular(laid: Laid, bend: np.ndarray, radius: float) -> np.ndarray:
    """Circular cylinders bent along the same direction."""
    along = np.einsum("nij,nj->ni", laid.axes[:, :2, :2], bend)
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    matrix = np.zeros((len(laid), 3, 3))
    matrix[:, :2, :2] = along[:, :, np.newaxis] * along[:, np.newaxis, :]
    matrix[:, 2, 2] = 1.0
    return six_numbers(matrix) / (2.0 * radius)
