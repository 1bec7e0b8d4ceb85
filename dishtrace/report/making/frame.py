"""The flat frame behind a mirror: the plane that heights are measured over, and places in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.dish.facets import Facets, form_matrix
from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height, normal

AXIS_TOLERANCE = 1e-9
"""Distance of an outline's centre from the axis, in focal lengths, below which it counts as on the axis [–]."""
CORNER_TURN_DEG = 10.0
"""Turn of a polygon's rim from which a vertex counts as a corner and not as a step of a curve [deg]."""


@dataclass(frozen=True, eq=False)
class Frame:
    """A plane behind the mirror.

    Parameters
    ----------
    origin : (3,) float64
        Its middle, dish frame. [m]
    axes : (3, 3) float64
        Rows a, b in the plane and n towards the mirror, dish frame. [–]
    """

    origin: np.ndarray
    axes: np.ndarray

    @property
    def tilt(self) -> float:
        """Angle between the plane's normal and the dish axis. [rad]"""
        return float(np.arctan2(np.hypot(*self.axes[2, :2]), self.axes[2, 2]))

    def places(self, points: np.ndarray) -> np.ndarray:
        """Points of the dish frame (..., 3) as a, b and height over the plane, (..., 3). [m]"""
        return (np.asarray(points) - self.origin) @ self.axes.T

    def points(self, places: np.ndarray) -> np.ndarray:
        """The other way round, (..., 3). [m]"""
        return np.asarray(places) @ self.axes + self.origin

    def heights(self, ab: np.ndarray, *, quadric: np.ndarray, origin: np.ndarray, axes: np.ndarray) -> np.ndarray:
        """Heights at which the plane's normals meet a quadric p M p = w.

        Parameters
        ----------
        ab : (k, 2) float64
            Feet of the normals. [m]
        quadric : (6,) float64
            uu, vv, ww, uv, uw, vw of M. [1/m]
        origin : (3,) float64
            Of the quadric's frame, dish frame. [m]
        axes : (3, 3) float64
            Rows of the quadric's frame, dish frame. [–]

        Returns
        -------
        (k,) float64
            The crossing that goes over into the one with the tangent plane as M vanishes; NaN without one. [m]

        Notes
        -----
        (p + h q) M (p + h q) = (p + h q) w is A h^2 + B h + C = 0 with B near -q w < 0; h = 2 C / (-B + sqrt(B^2 -
        4 A C)) does not cancel and holds for A = 0.
        """
        form = form_matrix(quadric)
        feet = self.points(np.column_stack([ab, np.zeros(len(ab))]))
        p, q = (feet - origin) @ axes.T, axes @ self.axes[2]
        a = q @ form @ q
        b = 2.0 * p @ form @ q - q[2]
        c = np.einsum("ki,ij,kj->k", p, form, p) - p[:, 2]
        with np.errstate(invalid="ignore", divide="ignore"):
            return 2.0 * c / (-b + np.sqrt(b * b - 4.0 * a * c))

    def parent_heights(self, ab: np.ndarray, *, focal_length: float) -> np.ndarray:
        """Heights of the parent paraboloid over places (k, 2) of the plane, (k,). [m]"""
        quadric = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 0.0]) / (4.0 * focal_length)
        return self.heights(ab, quadric=quadric, origin=np.zeros(3), axes=np.eye(3))


def frame_of(outline: Outline, facets: Facets, *, focal_length: float) -> Frame:
    """The flat frame of a mirror.

    Parameters
    ----------
    outline : Outline
        Of the dish, in plan. [m]
    facets : Facets
        The mirror.
    focal_length : float
        Focal length f. [m]

    Returns
    -------
    Frame
        Parallel to the parent paraboloid where it stands under the outline's centre: square to the axis for a dish
        about its axis, parallel to the rim plane for a round lateral section (the plane z = z0 + m x cuts a circle
        about x = 2 f m, where the paraboloid's slope is m, too). It goes through the lowest point of the mirror, or
        touches the paraboloid if that is lower, so that no height is negative. b = n cross x, a = b cross n: they are
        x and y in a frame square to the axis.
    """
    center = outline.center
    if np.hypot(*center) < AXIS_TOLERANCE * focal_length:
        center = np.zeros(2)
    n = normal(center[0], center[1], focal_length=focal_length)
    b = np.cross(n, [1.0, 0.0, 0.0])
    b /= np.linalg.norm(b)
    middle = np.array([*center, height(*center, focal_length=focal_length)])
    touching = Frame(middle, np.array([np.cross(b, n), b, n]))
    lowest = min(touching.places(rim_points(facets, i, 64))[:, 2].min() for i in range(len(facets)))
    return Frame(middle + min(0.0, lowest) * n, touching.axes)


def rim_points(facets: Facets, i: int, n: int) -> np.ndarray:
    """About n points around a facet's rim and its middle, dish frame, (k, 3). [m]"""
    outline = facets.outlines[i]
    uv = np.vstack([outline.boundary(n), outline.center])
    return facets.surface(i, uv)[0]


def corners(outline: Outline) -> np.ndarray:
    """Places of a facet's rim where its supports go, (k, 2).

    Parameters
    ----------
    outline : Outline
        Of the facet, in its plane. [m]

    Returns
    -------
    (k, 2) float64
        Corners of a rectangle or polygon, without the vertices at which a polygon's rim turns by less than 10 deg; the
        ends of the two axes of a circle or ellipse, and of a polygon with fewer than three corners. [m]
    """
    vertices = outline.corners()
    if len(vertices) > 4:
        sides = np.roll(vertices, -1, axis=0) - vertices
        angle = np.arctan2(sides[:, 1], sides[:, 0])
        turn = np.abs((angle - np.roll(angle, 1) + np.pi) % (2.0 * np.pi) - np.pi)
        vertices = vertices[turn > np.radians(CORNER_TURN_DEG)]
    if len(vertices) >= 3:
        return vertices
    u0, u1, v0, v1 = outline.extent()
    u, v = 0.5 * (u0 + u1), 0.5 * (v0 + v1)
    return np.array([[u1, v], [u, v1], [u0, v], [u, v0]])
