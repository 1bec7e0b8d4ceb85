"""A smooth surface over a plane: a quadric and a polynomial on top of it, with its slopes and curvatures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from dishtrace.dish.facets import form_matrix


@dataclass(frozen=True, eq=False, kw_only=True)
class SmoothSurface:
    """Heights over the x, y of some frame.

    Parameters
    ----------
    quadric : (6,) float64
        The quadric p M p = z below the polynomial: xx, yy, zz, xy, xz, yz of M, as `Facets` has it. [1/m]
    coefficients : (d + 1, d + 1) float64
        Of products of Legendre polynomials in (x - middle) / half and (y - middle) / half. [m]
    middle : (2,) float64
        [m]
    half : float
        [m]
    """

    quadric: np.ndarray
    coefficients: np.ndarray
    middle: np.ndarray
    half: float

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return len(self.coefficients) - 1

    def height(self, xy: np.ndarray) -> np.ndarray:
        """Heights, (...). [m]"""
        return quadric_heights(self.quadric, xy) + self._polynomial(xy, 0, 0)

    def gradient(self, xy: np.ndarray) -> np.ndarray:
        """Slopes dz/dx and dz/dy, (..., 2). [–]"""
        beside = np.stack([self._polynomial(xy, 1, 0), self._polynomial(xy, 0, 1)], axis=-1)
        return _quadric_slopes(self.quadric, xy)[0] + beside

    def curvature(self, xy: np.ndarray) -> np.ndarray:
        """Second derivatives, (..., 2, 2). [1/m]"""
        return _quadric_curvatures(self.quadric, xy) + self.departure_curvature(xy)

    def departure(self, xy: np.ndarray) -> np.ndarray:
        """Heights above the quadric, for maps, (...). [m]"""
        return self._polynomial(xy, 0, 0)

    def departure_curvature(self, xy: np.ndarray) -> np.ndarray:
        """Second derivatives of the heights above the quadric, (..., 2, 2). [1/m]"""
        xx, mixed, yy = (self._polynomial(xy, *order) for order in ((2, 0), (1, 1), (0, 2)))
        return np.stack([np.stack([xx, mixed], axis=-1), np.stack([mixed, yy], axis=-1)], axis=-2)

    def _polynomial(self, xy: np.ndarray, along_x: int, along_y: int) -> np.ndarray:
        """A derivative of the polynomial."""
        series = legendre.legder(legendre.legder(self.coefficients, along_x, axis=0), along_y, axis=1)
        u, v = np.moveaxis((np.asarray(xy) - self.middle) / self.half, -1, 0)
        return legendre.legval2d(u, v, series) / self.half ** (along_x + along_y)


def quadric_heights(quadric: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Heights of the sheet of p M p = z through the origin, (...); NaN where it does not reach. [m]"""
    xx, yy, zz, mixed, xz, yz = quadric
    x, y = np.moveaxis(np.asarray(xy), -1, 0)
    q, b = xx * x * x + yy * y * y + 2.0 * mixed * x * y, 1.0 - 2.0 * (xz * x + yz * y)
    with np.errstate(invalid="ignore"):
        return 2.0 * q / (b + np.sqrt(b * b - 4.0 * zz * q))


def _quadric_slopes(quadric: np.ndarray, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of that sheet, (..., 2), and 1 - 2 (M p)_z, (...), by which derivatives of p M p are divided."""
    places = np.concatenate([xy, quadric_heights(quadric, xy)[..., np.newaxis]], axis=-1)
    push = 2.0 * places @ form_matrix(quadric)
    rest = 1.0 - push[..., 2]
    return push[..., :2] / rest[..., np.newaxis], rest


def _quadric_curvatures(quadric: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """Second derivatives of that sheet: 2 P M P^T / (1 - 2 (M p)_z), P the tangents (1, 0, z_x) and (0, 1, z_y)."""
    slopes, rest = _quadric_slopes(quadric, xy)
    flat = np.broadcast_to(np.eye(2), (*slopes.shape[:-1], 2, 2))
    tangents = np.concatenate([flat, slopes[..., np.newaxis]], axis=-1)
    return 2.0 * tangents @ form_matrix(quadric) @ np.swapaxes(tangents, -1, -2) / rest[..., np.newaxis, np.newaxis]
