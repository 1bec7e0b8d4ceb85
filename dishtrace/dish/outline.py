"""The outline of the mirror, seen along the dish axis: circle (with hole), rectangle or polygon."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

CIRCLE, RECTANGLE, POLYGON, ELLIPSE = 0, 1, 2, 3
"""Kind codes as the kernels see them."""


@dataclass(frozen=True, eq=False)
class Outline:
    """An outline in the x-y plane of the dish frame.

    Make one with `circle`, `rectangle`, `polygon` or `outline_of`.

    Parameters
    ----------
    kind : int
        0 circle, 1 rectangle, 2 polygon. [–]
    params : (8,) float64
        Circle and rectangle: centre x, centre y, outer radius, hole radius, half width x, half width y, 0, 0;
        zeros for a polygon. Ellipse: centre x, centre y, 0, 0, semi-axis x, semi-axis y, 0, 0. [m]
    vertices : (k, 2) float64
        Corners of a polygon, counter-clockwise; (0, 2) otherwise. [m]
    triangles : (t, 3, 2) float64
        Triangles that fill a polygon; (0, 3, 2) otherwise. [m]
    triangle_cdf : (t,) float64
        Running share of the polygon's area, the last is 1; (0,) otherwise. [–]
    """

    kind: int
    params: np.ndarray
    vertices: np.ndarray
    triangles: np.ndarray
    triangle_cdf: np.ndarray

    @property
    def center(self) -> np.ndarray:
        """Centre of the circle or rectangle, centroid of the polygon, (2,) [m]."""
        if self.kind == POLYGON:
            return self.moments()[0] / self.area
        return self.params[:2].copy()

    @property
    def area(self) -> float:
        """Area without the hole [m2]."""
        if self.kind == CIRCLE:
            return float(np.pi * (self.params[2] - self.params[3]) * (self.params[2] + self.params[3]))
        if self.kind == RECTANGLE:
            return float(4.0 * self.params[4] * self.params[5])
        if self.kind == ELLIPSE:
            return float(np.pi * self.params[4] * self.params[5])
        return float(_areas(self.triangles).sum())

    @property
    def hole_radius(self) -> float:
        """Radius of the hole of a circle, 0 when there is none [m]."""
        return float(self.params[3])

    @property
    def hole_area(self) -> float:
        """Area of the hole [m2]."""
        return float(np.pi * self.hole_radius**2)

    @property
    def is_centred_circle(self) -> bool:
        """Whether it is a circle or annulus about the dish axis."""
        return self.kind == CIRCLE and self.params[0] == 0.0 and self.params[1] == 0.0

    @property
    def largest_radius(self) -> float:
        """Distance from the dish axis to the farthest point [m]."""
        if self.kind == CIRCLE:
            return float(np.hypot(*self.params[:2]) + self.params[2])
        if self.kind == ELLIPSE:
            return float(np.hypot(*self.boundary(4096).T).max())
        return float(np.hypot(*self.corners().T).max())

    @property
    def smallest_radius(self) -> float:
        """Distance from the dish axis to the nearest mirror, 0 when the axis goes through it [m]."""
        if self.kind == CIRCLE:
            offset = float(np.hypot(*self.params[:2]))
            return max(0.0, offset - self.params[2], self.params[3] - offset)
        if self.contains(np.zeros((1, 2)))[0]:
            return 0.0
        if self.kind == ELLIPSE:
            return _distance_to_edges(self.boundary(4096)[:-1])
        return _distance_to_edges(self.corners())

    @property
    def span(self) -> float:
        """Largest of the widths in x and y: the size of the dish [m]."""
        if self.kind == CIRCLE:
            return float(2.0 * self.params[2])
        if self.kind == ELLIPSE:
            return float(2.0 * self.params[4:6].max())
        return float(np.ptp(self.corners(), axis=0).max())

    def extent(self) -> tuple[float, float, float, float]:
        """Lowest and highest x, then lowest and highest y, that the outline reaches [m]."""
        x, y = self.params[:2]
        if self.kind == CIRCLE:
            return x - self.params[2], x + self.params[2], y - self.params[2], y + self.params[2]
        if self.kind == ELLIPSE:
            return x - self.params[4], x + self.params[4], y - self.params[5], y + self.params[5]
        (x0, y0), (x1, y1) = self.corners().min(axis=0), self.corners().max(axis=0)
        return x0, x1, y0, y1

    def corners(self) -> np.ndarray:
        """Corners of a rectangle or polygon, counter-clockwise, (k, 2); none for a circle [m]."""
        if self.kind == RECTANGLE:
            signs = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
            return self.params[:2] + signs * self.params[4:6]
        return self.vertices

    def moments(self) -> tuple[np.ndarray, np.ndarray]:
        """First moments of area, exact.

        Returns
        -------
        moment, hole_moment : (2,) float64
            (int x dA, int y dA) over the outline without its hole, and over the hole. [m3]
        """
        if self.kind == POLYGON:
            centroids = self.triangles.mean(axis=1)
            return _areas(self.triangles) @ centroids, np.zeros(2)
        return self.area * self.params[:2], self.hole_area * self.params[:2]

    def contains(self, xy: np.ndarray) -> np.ndarray:
        """Whether points lie on the mirror's outline: inside the rim and outside the hole, borders included.

        Parameters
        ----------
        xy : (..., 2) float64
            Points. [m]

        Returns
        -------
        (...) bool
            For a polygon the border belongs to one side only, as even-odd counting has it.
        """
        xy = np.asarray(xy, dtype=float)
        if self.kind == CIRCLE:
            distance = np.hypot(xy[..., 0] - self.params[0], xy[..., 1] - self.params[1])
            return (distance <= self.params[2]) & (distance >= self.params[3])
        if self.kind == RECTANGLE:
            return np.all(np.abs(xy - self.params[:2]) <= self.params[4:6], axis=-1)
        if self.kind == ELLIPSE:
            return np.sum(((xy - self.params[:2]) / self.params[4:6]) ** 2, axis=-1) <= 1.0
        return _inside_polygon(xy, self.vertices)

    def map_unit_square(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Area-preserving map of the unit square to the outline without its hole.

        Parameters
        ----------
        u, v : (...) float64
            In [0, 1). [–]

        Returns
        -------
        (..., 2) float64
            Circle: r^2 = r0^2 + u (R^2 - r0^2), phi = 2 pi v. Rectangle: linear. Polygon: u picks a triangle
            by `triangle_cdf` and is rescaled to u'; then (1 - s) A + s (1 - v) B + s v C with s = sqrt(u').
            [m]
        """
        u, v = np.broadcast_arrays(np.asarray(u, dtype=float), np.asarray(v, dtype=float))
        cx, cy, outer, hole, half_x, half_y = self.params[:6]
        if self.kind == CIRCLE:
            radius = np.sqrt(hole**2 + u * (outer**2 - hole**2))
            angle = 2.0 * np.pi * v
            return np.stack([cx + radius * np.cos(angle), cy + radius * np.sin(angle)], axis=-1)
        if self.kind == RECTANGLE:
            return np.stack([cx + (2.0 * u - 1.0) * half_x, cy + (2.0 * v - 1.0) * half_y], axis=-1)
        if self.kind == ELLIPSE:
            radius, angle = np.sqrt(u), 2.0 * np.pi * v
            return np.stack([cx + half_x * radius * np.cos(angle), cy + half_y * radius * np.sin(angle)], axis=-1)
        index = np.minimum(np.searchsorted(self.triangle_cdf, u, side="right"), len(self.triangle_cdf) - 1)
        below = np.concatenate([[0.0], self.triangle_cdf])[index]
        share = np.clip((u - below) / (self.triangle_cdf[index] - below), 0.0, 1.0)
        return _in_triangle(self.triangles[index], np.sqrt(share), v)

    def quadrature(self, order: int) -> tuple[np.ndarray, np.ndarray]:
        """Nodes and weights for smooth integrands over the outline without its hole.

        Parameters
        ----------
        order : int
            Gauss nodes per direction (and per triangle); a circle takes 4 times as many angles. [–]

        Returns
        -------
        points : (n, 2) float64
            Nodes. [m]
        weights : (n,) float64
            They sum to `area`. [m2]
        """
        nodes, weights = _gauss_nodes(order)
        if self.kind in (CIRCLE, ELLIPSE):
            angles = (np.arange(4 * order) + 0.5) / (4 * order)
            u, v = np.meshgrid(nodes, angles, indexing="ij")
            w = np.outer(weights, np.full(4 * order, 1.0 / (4 * order)))
            return self.map_unit_square(u.ravel(), v.ravel()), self.area * w.ravel()
        u, v = np.meshgrid(nodes, nodes, indexing="ij")
        w = np.outer(weights, weights)
        if self.kind == RECTANGLE:
            return self.map_unit_square(u.ravel(), v.ravel()), self.area * w.ravel()
        points = _in_triangle(self.triangles[:, np.newaxis], u.ravel(), v.ravel())
        scaled = _areas(self.triangles)[:, np.newaxis] * (2.0 * u * w).ravel()
        return points.reshape(-1, 2), scaled.ravel()

    def boundary(self, n: int = 256) -> np.ndarray:
        """Closed line along the rim for pictures, counter-clockwise, the hole left out.

        Parameters
        ----------
        n : int
            Number of steps, at least the number of corners of a polygon. [–]

        Returns
        -------
        (m, 2) float64
            Points, the first repeated at the end; corners are always among them. [m]
        """
        if self.kind == ELLIPSE:
            angle = np.linspace(0.0, 2.0 * np.pi, n + 1)
            return self.params[:2] + np.stack([np.cos(angle), np.sin(angle)], axis=-1) * self.params[4:6]
        if self.kind == CIRCLE:
            angle = np.linspace(0.0, 2.0 * np.pi, n + 1)
            return self.params[:2] + self.params[2] * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        corners = self.corners()
        steps = np.vstack([corners, corners[:1]])
        lengths = np.hypot(*np.diff(steps, axis=0).T)
        pieces = np.maximum(1, np.round(n * lengths / lengths.sum()).astype(int))
        lines = [
            start + (end - start) * np.linspace(0.0, 1.0, k, endpoint=False)[:, np.newaxis]
            for start, end, k in zip(steps[:-1], steps[1:], pieces, strict=True)
        ]
        return np.vstack([*lines, corners[:1]])


def circle(radius: float, *, hole_radius: float = 0.0, center: tuple[float, float] = (0.0, 0.0)) -> Outline:
    """Circular outline with a hole about its own centre; all lengths in metres."""
    params = np.array([center[0], center[1], radius, hole_radius, 0.0, 0.0, 0.0, 0.0], dtype=float)
    return Outline(CIRCLE, params, np.zeros((0, 2)), np.zeros((0, 3, 2)), np.zeros(0))


def rectangle(size: tuple[float, float], *, center: tuple[float, float] = (0.0, 0.0)) -> Outline:
    """Rectangular outline with sides along x and y; full widths in metres."""
    params = np.array([center[0], center[1], 0.0, 0.0, 0.5 * size[0], 0.5 * size[1], 0.0, 0.0], dtype=float)
    return Outline(RECTANGLE, params, np.zeros((0, 2)), np.zeros((0, 3, 2)), np.zeros(0))


def ellipse(semi_axes: tuple[float, float], *, center: tuple[float, float] = (0.0, 0.0)) -> Outline:
    """Elliptical outline with its axes along x and y; all lengths in metres."""
    params = np.array([center[0], center[1], 0.0, 0.0, semi_axes[0], semi_axes[1], 0.0, 0.0], dtype=float)
    return Outline(ELLIPSE, params, np.zeros((0, 2)), np.zeros((0, 3, 2)), np.zeros(0))


def polygon(vertices: np.ndarray) -> Outline:
    """Polygonal outline.

    Parameters
    ----------
    vertices : (k, 2) float64
        Corners in order, either way round, the first not repeated (a repeated one is dropped). [m]

    Returns
    -------
    Outline
        With its corners counter-clockwise.

    Raises
    ------
    ValueError
        If there are fewer than three corners, no area, or sides that cross or touch.
    """
    import shapely

    vertices = np.array(vertices, dtype=float).reshape(-1, 2)
    if len(vertices) > 1 and np.array_equal(vertices[0], vertices[-1]):
        vertices = vertices[:-1]
    if len(vertices) < 3:
        raise ValueError("has fewer than three corners")
    shape = shapely.Polygon(vertices)
    if not shape.is_valid:
        raise ValueError(f"is no simple polygon ({shapely.is_valid_reason(shape)} m)")
    if not shape.area > 1e-12 * np.ptp(vertices, axis=0).max() ** 2:
        raise ValueError("has no area")
    if not shape.exterior.is_ccw:
        vertices = vertices[::-1]
    pieces = shapely.constrained_delaunay_triangles(shape)
    triangles = np.array([piece.exterior.coords[:3] for piece in pieces.geoms], dtype=float)
    running = np.cumsum(_areas(triangles))
    return Outline(POLYGON, np.zeros(8), vertices.copy(), triangles, running / running[-1])


def outline_of(scene: Scene) -> Outline:
    """Outline of the scene's dish.

    Parameters
    ----------
    scene : Scene
        As read and checked.

    Returns
    -------
    Outline
        In the dish frame.

    Raises
    ------
    InputError
        If a hole is as large as the dish, or a polygon has crossing sides or no area.
    """
    given = scene.dish.outline
    if given.shape == "circle":
        radius, hole = nominal(given.radius_m), nominal(given.hole_radius_m or 0.0)
        if hole >= radius:
            raise InputError(_fault(scene, "hole_radius_m", hole, f"must be below the outer radius, {radius:g} m"))
        return circle(radius, hole_radius=hole, center=_pair(given.center_m))
    if given.shape == "rectangle":
        return rectangle(_pair(given.size_m), center=_pair(given.center_m))
    try:
        return polygon(np.array([[nominal(c) for c in vertex] for vertex in given.vertices_m]))
    except ValueError as error:
        remedy = "list the corners in order around the rim, none twice"
        raise InputError(
            scene.fault(("dish", "outline", "vertices_m"), found="the polygon", allowed=str(error), remedy=remedy)
        ) from error


def _fault(scene: Scene, key: str, found: float, allowed: str) -> Fault:
    return scene.fault(("dish", "outline", key), found=f"{found:g}", allowed=allowed, remedy="make the hole smaller")


def _pair(values: tuple | None) -> tuple[float, float]:
    return (0.0, 0.0) if values is None else (nominal(values[0]), nominal(values[1]))


@cache
def _gauss_nodes(order: int) -> tuple[np.ndarray, np.ndarray]:
    """Gauss nodes and weights on the interval from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(order)
    return 0.5 * (nodes + 1.0), 0.5 * weights


def _areas(triangles: np.ndarray) -> np.ndarray:
    """Areas of plane triangles (t, 3, 2), (t,) [m2]."""
    (ax, ay), (bx, by) = (triangles[:, 1] - triangles[:, 0]).T, (triangles[:, 2] - triangles[:, 0]).T
    return 0.5 * np.abs(ax * by - ay * bx)


def _in_triangle(corners: np.ndarray, s: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Points (1 - s) A + s (1 - v) B + s v C of triangles (..., 3, 2) [m]."""
    s, v = np.asarray(s)[..., np.newaxis], np.asarray(v)[..., np.newaxis]
    return (1.0 - s) * corners[..., 0, :] + s * (1.0 - v) * corners[..., 1, :] + s * v * corners[..., 2, :]


def _inside_polygon(xy: np.ndarray, vertices: np.ndarray) -> np.ndarray:
    """Even-odd count of the sides that a ray towards +x crosses, each side for the points at its height."""
    order = np.argsort(xy[..., 1], axis=None, kind="stable")
    x, y = xy[..., 0].ravel()[order], xy[..., 1].ravel()[order]
    is_odd = np.zeros(x.shape, dtype=bool)
    for (x0, y0), (x1, y1) in zip(vertices, np.roll(vertices, -1, axis=0), strict=True):
        if y0 == y1:
            continue
        beside = slice(*np.searchsorted(y, (min(y0, y1), max(y0, y1))))
        is_odd[beside] ^= x[beside] < x0 + (y[beside] - y0) * (x1 - x0) / (y1 - y0)
    inside = np.empty(x.shape, dtype=bool)
    inside[order] = is_odd
    return inside.reshape(xy.shape[:-1])


def _distance_to_edges(corners: np.ndarray) -> float:
    """Distance of the origin from the border of a polygon (k, 2) [m]."""
    sides = np.roll(corners, -1, axis=0) - corners
    along = np.clip(-np.sum(corners * sides, axis=1) / np.sum(sides**2, axis=1), 0.0, 1.0)
    return float(np.hypot(*(corners + along[:, np.newaxis] * sides).T).min())
