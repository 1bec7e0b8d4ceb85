"""Least-squares fits to points on a mirror: paraboloid, polynomial, and the slopes that they leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from dishtrace.dish.points import MeasuredError
from dishtrace.vec import normalise, rotation_to

POINTS_PER_TERM = 4
"""Least points for each term of the polynomial, so that it does not follow single points. [–]"""
LARGEST_TILT = 0.5
"""A fitted axis that leans more than this from +z belongs to points with another direction up. [–]"""
LONG_EDGE = 3.0
"""Neighbours farther apart than this many medians stand on two sides of a hole. [–]"""
_ROUNDS = 60
_SETTLED = 1e-13
_STEP = 1e-6


@dataclass(frozen=True, eq=False)
class Paraboloid:
    """A paraboloid anywhere.

    Parameters
    ----------
    quarter : float
        1 / (4 f). [1/m]
    vertex : (3,) float64
        [m]
    axis : (3,) float64
        Unit vector from the vertex to the focus. [–]
    """

    quarter: float
    vertex: np.ndarray
    axis: np.ndarray

    @property
    def focal_length(self) -> float:
        """Focal length f. [m]"""
        return 0.25 / self.quarter

    def in_its_frame(self, points: np.ndarray) -> np.ndarray:
        """Points seen from its vertex, z along its axis, turned by the smallest rotation, (n, 3). [m]"""
        return (points - self.vertex) @ rotation_to(self.axis)

    def residuals(self, points: np.ndarray) -> np.ndarray:
        """Heights of points above it, along its axis, (n,). [m]"""
        x, y, z = self.in_its_frame(points).T
        return z - self.quarter * (x * x + y * y)


def fit_paraboloid(points: np.ndarray) -> Paraboloid:
    """The paraboloid of any focal length, vertex and axis that fits points best, heights along its axis.

    Parameters
    ----------
    points : (n, 3) float64
        At least 6. [m]

    Raises
    ------
    MeasuredError
        If the points do not curve towards +z, or lie on a line.

    Notes
    -----
    Starts from the linear fit z = k (x^2 + y^2) + b x + c y + d and goes on by Gauss and Newton. A shift of the vertex
    and a tilt of the axis look alike on a shallow dish; where the points hardly tell them apart, the shorter change
    is taken.
    """
    x, y, z = points.T
    scale = float(np.ptp(points[:, :2], axis=0).max())
    design = np.column_stack([x * x + y * y, x, y, np.ones(len(x))])
    (k, b, c, d), _, rank, _ = np.linalg.lstsq(design / np.linalg.norm(design, axis=0), z, rcond=1e-10)
    if rank < 4:
        raise MeasuredError("has points that lie on a line or a circle", "measure points all over the mirror")
    k, b, c, d = np.array([k, b, c, d]) / np.linalg.norm(design, axis=0)
    if k <= 0.0:
        raise MeasuredError(
            "has heights that do not rise from the middle to the rim", "z_m must grow towards the sun, not downwards"
        )
    state = np.array([k, -0.5 * b / k, -0.5 * c / k, d - 0.25 * (b * b + c * c) / k, 0.0, 0.0])
    units = np.array([1.0 / scale, scale, scale, scale, 1.0, 1.0])
    for _ in range(_ROUNDS):
        step = _newton_step(points, state, units)
        state = state + step * units
        if not np.all(np.abs(state[4:]) < LARGEST_TILT) or state[0] <= 0.0:
            remedy = "turn the points so that z is along the dish's axis"
            raise MeasuredError("lies on no paraboloid that opens towards +z", remedy)
        if np.abs(step).max() < _SETTLED * 1e3:
            break
    return _paraboloid(state)


def _paraboloid(state: np.ndarray) -> Paraboloid:
    """1 / (4 f), vertex, and the axis by its x and y."""
    lean_x, lean_y = state[4:]
    return Paraboloid(
        float(state[0]), state[1:4].copy(), np.array([lean_x, lean_y, np.sqrt(1.0 - lean_x**2 - lean_y**2)])
    )


def _newton_step(points: np.ndarray, state: np.ndarray, units: np.ndarray) -> np.ndarray:
    """Step towards the least squares, in units of each number's size."""
    columns = []
    for place, unit in enumerate(units):
        shift = np.zeros(len(state))
        shift[place] = _STEP * unit
        ahead, behind = (_paraboloid(state + sign * shift).residuals(points) for sign in (1.0, -1.0))
        columns.append((ahead - behind) / (2.0 * _STEP))
    return np.linalg.lstsq(np.column_stack(columns), -_paraboloid(state).residuals(points), rcond=1e-7)[0]


def fit_polynomial(places: np.ndarray, heights: np.ndarray, *, degree: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Polynomial in two variables that fits heights best.

    Parameters
    ----------
    places : (n, 2) float64
        In [-1, 1]. [–]
    heights : (n,) float64
        [m]
    degree : int
        Highest total degree; lowered, but not below 2, until each term has 4 points. [–]

    Returns
    -------
    coefficients : (d + 1, d + 1) float64
        Of products of Legendre polynomials. [m]
    left : (n,) float64
        Heights less the polynomial. [m]
    free_share : float
        Share of the heights' freedom that the polynomial leaves: 1 - terms / n. [–]
    """
    n = len(heights)
    while degree > 2 and POINTS_PER_TERM * _n_terms(degree) > n:
        degree -= 1
    i, j = np.array([(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]).T
    along_x, along_y = (legendre.legvander(places[:, k], degree) for k in (0, 1))
    design = along_x[:, i] * along_y[:, j]
    solution = np.linalg.lstsq(design, heights, rcond=1e-10)[0]
    coefficients = np.zeros((degree + 1, degree + 1))
    coefficients[i, j] = solution
    return coefficients, heights - design @ solution, 1.0 - len(i) / n


def _n_terms(degree: int) -> int:
    return (degree + 1) * (degree + 2) // 2


def neighbour_slope(places: np.ndarray, left: np.ndarray, *, free_share: float, height_error: float) -> float:
    """Slope error that a fit leaves, from differences between neighbours.

    Parameters
    ----------
    places : (n, 2) float64
        Of the points, seen along the axis. [m]
    left : (n,) float64
        Heights that the fit leaves. [m]
    free_share : float
        Share of the heights' freedom that the fit has left; the squares are divided by it. [–]
    height_error : float
        Standard deviation of the measured heights. [m]

    Returns
    -------
    float
        Standard deviation per axis. [rad]

    Notes
    -----
    The neighbours are those of the Delaunay triangulation, without edges over holes. For a slope of standard deviation
    s per axis in every direction, the height difference over a distance d has the mean square s^2 d^2, and measured
    heights add 2 e^2 each: s^2 = (sum of differences^2 / free_share - 2 e^2 m) / sum of d^2 over the m edges, not below
    0. Waves much shorter than the distance between points are not seen: give them in dish.slope_error_mrad, which is
    added in squares.
    """
    from scipy.spatial import Delaunay

    corners = Delaunay(places).simplices
    edges = np.unique(
        np.sort(np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [2, 0]]]), axis=1), axis=0
    )
    distance = np.hypot(*(places[edges[:, 1]] - places[edges[:, 0]]).T)
    near = distance <= LONG_EDGE * np.median(distance)
    difference = left[edges[near, 1]] - left[edges[near, 0]]
    squares = np.sum(difference**2) / free_share - 2.0 * height_error**2 * near.sum()
    return float(np.sqrt(max(0.0, squares) / np.sum(distance[near] ** 2)))


@dataclass(frozen=True, eq=False)
class Cap:
    """The sphere that fits points on a facet best, and how the facet's curvature differs with direction.

    Parameters
    ----------
    curvature : float
        1 / R; 0 for a plane, negative for a facet that bulges. [1/m]
    normal : (3,) float64
        Unit vector, the sphere's normal above the origin. [–]
    beside : (n,) float64
        Heights of the points above the sphere, along that normal. [m]
    principal : (float, float)
        Largest and smallest curvature of the toroidal form that fits best. [1/m]
    """

    curvature: float
    normal: np.ndarray
    beside: np.ndarray
    principal: tuple[float, float]


def fit_cap(points: np.ndarray) -> Cap:
    """The sphere of any radius, either side hollow, that fits points best; a plane is the one of curvature 0.

    Parameters
    ----------
    points : (n, 3) float64
        In the facet's frame. [m]

    Raises
    ------
    MeasuredError
        If they lie on a line.

    Notes
    -----
    With p the way from the place above the origin and n the normal there, k |p|^2 / 2 - n p is the distance from the
    sphere of curvature k to first order, since its gradient has length 1 on the sphere. The toroidal form has
    a (x^2 - y^2) / 2 + c x y besides, so its principal curvatures are k + hypot(a, c) and k - hypot(a, c).
    """
    from scipy.optimize import least_squares

    scale = 0.5 * float(np.ptp(points[:, :2], axis=0).max())
    x, y, z = (points / scale).T
    design = np.column_stack([0.5 * (x * x + y * y), x, y, np.ones(len(x)), 0.5 * (x * x - y * y), x * y])
    start, _, rank, _ = np.linalg.lstsq(design, z, rcond=1e-10)
    if rank < design.shape[1]:
        raise MeasuredError("has points that lie on a line or a curve", "measure points all over the facet")

    def beside(state: np.ndarray) -> np.ndarray:
        """Heights above the form; `state`: curvature, slopes, height and, for the toroid, a and c."""
        normal = normalise(np.array([-state[1], -state[2], 1.0]))
        p = np.stack([x, y, z - state[3]], axis=-1)
        round_part = 0.5 * state[0] * np.sum(p * p, axis=1)
        return p @ normal - round_part - design[:, 4 : len(state)] @ state[4:]

    exact = {"method": "lm", "xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    sphere = least_squares(beside, start[:4], **exact).x
    toroid = least_squares(beside, start, **exact).x
    spread = float(np.hypot(*toroid[4:]))
    return Cap(
        curvature=float(sphere[0]) / scale,
        normal=normalise(np.array([-sphere[1], -sphere[2], 1.0])),
        beside=scale * beside(sphere),
        principal=(float(toroid[0] + spread) / scale, float(toroid[0] - spread) / scale),
    )
