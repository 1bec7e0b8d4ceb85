"""Facets: pieces of mirror, each a quadric with an outline in its own plane; one continuous skin is a single facet.

In a facet's frame, u and v lie in its plane and w along its normal at its origin; its surface is p M p = w. A flat tile
has M = 0; a sphere of radius R has M = 1 / (2 R); a strip bent along u has 1 / (2 R) in uu and ww; the parent
paraboloid has whatever its second-order form is there, exactly.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from dishtrace.dish.outline import CIRCLE, Outline

FORM_PLACES = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
"""Places in M of the six numbers uu, vv, ww, uv, uw, vw."""


@dataclass(frozen=True, eq=False)
class Facets:
    """All facets of a mirror.

    Parameters
    ----------
    number : (n,) int64
        Numbers by which the user knows them, from 1.
    origin : (n, 3) float64
        Middles, dish frame. [m]
    axes : (n, 3, 3) float64
        Rows u, v, w of each facet's frame, dish frame. [–]
    quadric : (n, 6) float64
        uu, vv, ww, uv, uw, vw of M. [1/m]
    outlines : tuple of Outline
        Outline of each facet in its u, v.
    slope : (n,) float64
        Slope error per axis. [rad]
    brightness : (n,) float64
        Share of the dish's reflectance. [–]
    """

    number: np.ndarray
    origin: np.ndarray
    axes: np.ndarray
    quadric: np.ndarray
    outlines: tuple[Outline, ...]
    slope: np.ndarray
    brightness: np.ndarray

    def __len__(self) -> int:
        return len(self.number)

    def taken(self, which: np.ndarray) -> Facets:
        """The facets of the given places, in that order."""
        which = np.asarray(which)
        keys = ("number", "origin", "axes", "quadric", "slope", "brightness")
        arrays = {key: getattr(self, key)[which] for key in keys}
        return replace(self, outlines=tuple(self.outlines[i] for i in which), **arrays)

    def turned(self, rotation: np.ndarray, about: np.ndarray) -> Facets:
        """All facets turned as one stiff body about a place.

        Parameters
        ----------
        rotation : (3, 3) float64
            For column vectors. [–]
        about : (3,) float64
            Dish frame. [m]
        """
        return replace(self, origin=(self.origin - about) @ rotation.T + about, axes=self.axes @ rotation.T)

    def plan_areas(self) -> np.ndarray:
        """Areas of the outlines in the facets' own planes, (n,). [m2]"""
        return np.array([outline.area for outline in self.outlines])

    def surface_areas(self) -> np.ndarray:
        """True areas of the curved surfaces, (n,), by Gauss quadrature of a smooth integrand. [m2]"""
        return self._integrals(lambda normals: np.linalg.norm(normals, axis=-1))

    def aperture_areas(self) -> np.ndarray:
        """Projections along the dish axis, (n,). [m2]"""
        return self._integrals(lambda normals: normals[..., 2])

    def by_outline(self) -> Iterator[tuple[np.ndarray, Outline]]:
        """Places of the facets that share an outline, and that outline."""
        places: dict[int, list[int]] = {}
        for i, outline in enumerate(self.outlines):
            places.setdefault(id(outline), []).append(i)
        for which in places.values():
            yield np.array(which), self.outlines[which[0]]

    def _integrals(self, value: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
        """Integrals over the outlines of a function of the normals scaled to 1 along w, dish axes, (n,)."""
        found = np.empty(len(self))
        for which, outline in self.by_outline():
            u0, u1, v0, v1 = outline.extent()
            is_shallow = max(u1 - u0, v1 - v0) * np.abs(self.quadric[which]).max() < 0.1
            points, weights = outline.quadrature(6 if is_shallow else 24)
            found[which] = value(self.surface(which, points)[1]) @ weights
        return found

    def surface(self, which: np.ndarray, uv: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places on facets.

        Parameters
        ----------
        which : (m,) int or int
            Which facets, by place in the arrays.
        uv : (k, 2) float64
            In their planes. [m]

        Returns
        -------
        places : (m, k, 3) float64, or (k, 3) for one facet
            Dish frame. [m]
        normals : as places
            Scaled to 1 along the facet's w, dish axes. [–]
        """
        u, v = uv[:, 0], uv[:, 1]
        uu, vv, ww, mixed, uw, vw = np.moveaxis(self.quadric[which], -1, 0)[..., np.newaxis]
        q = uu * u * u + vv * v * v + 2.0 * mixed * u * v
        b = 1.0 - 2.0 * (uw * u + vw * v)
        w = 2.0 * q / (b + np.sqrt(np.maximum(b * b - 4.0 * ww * q, 0.0)))
        slope_u = -2.0 * (uu * u + mixed * v + uw * w)
        slope_v = -2.0 * (mixed * u + vv * v + vw * w)
        scale = 1.0 / (1.0 - 2.0 * (uw * u + vw * v + ww * w))
        local = np.stack([u + 0.0 * w, v + 0.0 * w, w], axis=-1)
        normal = np.stack([slope_u * scale, slope_v * scale, np.ones_like(w)], axis=-1)
        axes = self.axes[which]
        return local @ axes + self.origin[which][..., np.newaxis, :], normal @ axes

    def boxes(self) -> tuple[np.ndarray, np.ndarray]:
        """Boxes that hold the facets: lowest and highest corners, (n, 3) each, dish frame. [m]

        The sheet's height is sampled on a 9 x 9 grid and widened by a tenth of its range, several times what a
        quadric can rise between the samples.
        """
        low, high = np.empty((len(self), 3)), np.empty((len(self), 3))
        for which, outline in self.by_outline():
            u0, u1, v0, v1 = outline.extent()
            uv = np.stack(np.meshgrid(np.linspace(u0, u1, 9), np.linspace(v0, v1, 9)), axis=-1).reshape(-1, 2)
            places, _ = self.surface(which, uv)
            height = np.einsum("mkj,mj->mk", places - self.origin[which][:, np.newaxis], self.axes[which, 2])
            margin = 0.1 * np.ptp(height, axis=1)[:, np.newaxis] * np.abs(self.axes[which, 2])
            low[which], high[which] = places.min(axis=1) - margin, places.max(axis=1) + margin
        return low, high


def form_matrix(quadric: np.ndarray) -> np.ndarray:
    """The symmetric matrix M of six numbers uu, vv, ww, uv, uw, vw, (3, 3). [1/m]"""
    matrix = np.zeros((3, 3))
    for value, (row, column) in zip(quadric, FORM_PLACES, strict=True):
        matrix[row, column] = matrix[column, row] = value
    return matrix


def six_numbers(matrix: np.ndarray) -> np.ndarray:
    """The six numbers uu, vv, ww, uv, uw, vw of symmetric matrices, (..., 6). [1/m]"""
    return np.stack([matrix[..., row, column] for row, column in FORM_PLACES], axis=-1)


def parent_quadric(origin: np.ndarray, axes: np.ndarray, *, focal_length: float) -> np.ndarray:
    """The parent paraboloid in frames that touch it.

    Parameters
    ----------
    origin : (n, 3) float64
        On the paraboloid. [m]
    axes : (n, 3, 3) float64
        Rows u, v, w; w is the paraboloid's normal at the origin. [–]
    focal_length : float
        Focal length f. [m]

    Returns
    -------
    (n, 6) float64
        With |g| the length of the gradient (x / 2f, y / 2f, -1): M = A diag(1, 1, 0) A^T / (4 f |g|). [1/m]
    """
    steepness = np.sqrt(1.0 + (origin[:, 0] ** 2 + origin[:, 1] ** 2) / (4.0 * focal_length**2))
    plan = axes[:, :, :2]
    return six_numbers(plan @ plan.transpose(0, 2, 1)) / (4.0 * focal_length * steepness[:, np.newaxis])


def sphere_quadric(radius: float) -> np.ndarray:
    """A sphere of the given radius, hollow side up, (6,). [1/m]"""
    return np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0]) / (2.0 * radius)


def skin(outline: Outline, *, focal_length: float, slope: float) -> Facets:
    """One continuous paraboloid: a single facet in the dish frame itself.

    Parameters
    ----------
    outline : Outline
        In plan. [m]
    focal_length : float
        Focal length f, > 0. [m]
    slope : float
        Slope error per axis. [rad]
    """
    return Facets(
        number=np.array([1]),
        origin=np.zeros((1, 3)),
        axes=np.eye(3)[np.newaxis],
        quadric=np.array([[1.0, 1.0, 0.0, 0.0, 0.0, 0.0]]) / (4.0 * focal_length),
        outlines=(outline,),
        slope=np.array([slope]),
        brightness=np.ones(1),
    )


def flat_arrays(outlines: tuple[Outline, ...]) -> dict[str, np.ndarray]:
    """Outlines as the kernels see them: kind, params, and vertices and triangles with where each facet's begin."""
    params = np.stack([outline.params[:6] for outline in outlines])
    polygons = [outline for outline in outlines if outline.kind > CIRCLE]
    return {
        "kind": np.array([outline.kind for outline in outlines], dtype=np.int64),
        "params": np.ascontiguousarray(params),
        "vertices": np.concatenate([np.zeros((0, 2)), *(outline.vertices for outline in polygons)]),
        "first_vertex": _firsts([len(outline.vertices) for outline in outlines]),
        "triangles": np.concatenate([np.zeros((0, 3, 2)), *(outline.triangles for outline in polygons)]),
        "cdf": np.concatenate([np.zeros(0), *(outline.triangle_cdf for outline in polygons)]),
        "first_triangle": _firsts([len(outline.triangles) for outline in outlines]),
    }


def _firsts(counts: list[int]) -> np.ndarray:
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
