"""Open sheets: disc, rectangle and tube, each about its own origin with its axis along +z.

Curved rims are polygons of at least 128 sides with the area of the circle. What is left of the error, a
perimeter too long by 1.0e-4, lies below the Monte Carlo error of a run of 1e6 rays: 3e-4 of the power of a
part that catches nine tenths of the light, more for smaller shares. The triangles are the flux bins too, see
`rings.bin_side`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.parts import rings
from dishtrace.parts.charts import Chart, plan, unrolled_wall
from dishtrace.parts.turned import band_table


@dataclass(frozen=True, eq=False)
class Shape:
    """Triangles of a part in its own axes.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Corners, counter-clockwise seen from the front. [m]
    charts : tuple of Chart
        Flat drawings that together show every triangle once; empty for mesh files.
    bands : (b, 6) float64 or None
        The bands of a body turned about its axis, in the order of its triangles, see `turned.band_table`. [–, m]
    """

    triangles: np.ndarray
    charts: tuple[Chart, ...]
    bands: np.ndarray | None = None


def joined(*pieces: Shape) -> Shape:
    """Several pieces as one part, charts renumbered."""
    starts = np.cumsum([0] + [len(piece.triangles) for piece in pieces])
    charts = [chart.shifted(int(first)) for first, piece in zip(starts, pieces, strict=False) for chart in piece.charts]
    bands = [piece.bands for piece in pieces]
    is_turned = all(some is not None for some in bands)
    triangles = np.concatenate([piece.triangles for piece in pieces])
    return Shape(triangles, tuple(charts), np.concatenate(bands) if is_turned else None)


def disc(radius: float, *, side: float | None = None, n_around: int | None = None, name: str = "front") -> Shape:
    """Flat disc in z = 0, front towards +z.

    Parameters
    ----------
    radius : float
        Radius, > 0; the polygon's area is exactly pi R^2. [m]
    side : float or None
        Side of the flux bins; by default from the disc's own area. [m]
    n_around : int or None
        Steps around the rim, a multiple of 16; by default at least 128. [–]
    name : str
        Name of its chart.
    """
    side = rings.bin_side(np.pi * radius**2) if side is None else side
    n_around = rings.steps_around(radius, side) if n_around is None else n_around
    stack = rings.disc_rings(radius, n_around, side)
    triangles = rings.bands(stack)
    return Shape(triangles, (plan(name, triangles),), band_table(stack))


def grid(corner: np.ndarray, first: np.ndarray, second: np.ndarray, *, counts: tuple[int, int]) -> np.ndarray:
    """Triangles of a flat four-sided grid, front towards first x second.

    Parameters
    ----------
    corner : (3,) float64
        One corner. [m]
    first, second : (3,) float64
        Its two sides as vectors. [m]
    counts : tuple of 2 int
        Bins along each. [–]

    Returns
    -------
    (2 n m, 3, 3) float64
        Two triangles a bin, the diagonal turned from bin to bin so that no direction is preferred. [m]
    """
    u, v = (np.linspace(0.0, 1.0, count + 1) for count in counts)
    points = corner + u[:, np.newaxis, np.newaxis] * first + v[np.newaxis, :, np.newaxis] * second
    a, b, c, d = points[:-1, :-1], points[1:, :-1], points[1:, 1:], points[:-1, 1:]
    even = np.add.outer(np.arange(counts[0]), np.arange(counts[1]))[..., np.newaxis, np.newaxis] % 2 == 0
    one = np.where(even, np.stack([a, b, c], axis=2), np.stack([a, b, d], axis=2))
    two = np.where(even, np.stack([a, c, d], axis=2), np.stack([b, c, d], axis=2))
    return np.stack([one, two], axis=2).reshape(-1, 3, 3)


def bin_count(length: float, side: float) -> int:
    """Bins of about the wanted side along a length, at least 1 [–]."""
    return max(1, int(np.ceil(length / side - 1e-9)))


def rectangle(size: tuple[float, float]) -> Shape:
    """Flat rectangle in z = 0 about the origin, sides along x and y, front towards +z; exact.

    Parameters
    ----------
    size : tuple of 2 float
        Full widths in x and y, > 0. [m]
    """
    width, depth = size
    side = rings.bin_side(width * depth)
    counts = (bin_count(width, side), bin_count(depth, side))
    corner = np.array([-0.5 * width, -0.5 * depth, 0.0])
    triangles = grid(corner, np.array([width, 0.0, 0.0]), np.array([0.0, depth, 0.0]), counts=counts)
    return Shape(triangles, (plan("front", triangles),))


def wall_rows(height: float, radius: float, *, area: float) -> tuple[int, int]:
    """Steps around and rows of the wall of a cylinder.

    Parameters
    ----------
    height, radius : float
        Of the cylinder. [m]
    area : float
        Whole surface of the part. [m2]

    Returns
    -------
    n_around, n_rows : int
        At least 128 around, 64 for posts (height from 12 radii), whose wall is then too large by 4e-4: less
        than the Monte Carlo error of the small share of light that a post catches. Rows are limited so that
        the wall keeps to about 9000 triangles. [–]
    """
    side = rings.bin_side(area)
    least = rings.SLENDER_AROUND if height >= rings.SLENDER_RATIO * radius else rings.LEAST_AROUND
    n_around = rings.steps_around(radius, side, least=least)
    most = max(1, rings.MOST_BINS // n_around)
    finest = side if least == rings.LEAST_AROUND else min(side, 2.0 * rings.COARSE_BIN_M)
    return n_around, min(most, bin_count(height, finest))


def wall(radius: float, low: float, high: float, *, n_around: int, n_rows: int, outward: bool = True) -> Shape:
    """Wall of a cylinder about z between two heights.

    Parameters
    ----------
    radius : float
        Of the circle whose area the polygon has. [m]
    low, high : float
        Lower and upper end. [m]
    n_around, n_rows : int
        Steps around and along. [–]
    outward : bool
        Front away from the axis; else towards it.
    """
    points = radius * rings.circle_points(n_around)
    stack = [rings.raised(points, z) for z in np.linspace(low, high, n_rows + 1)]
    triangles = rings.bands(stack)
    if not outward:
        triangles = triangles[:, ::-1].copy()
    return Shape(triangles, (unrolled_wall("wall unrolled", triangles, n_around=n_around),), band_table(stack))


def tube(radius: float, height: float) -> Shape:
    """Open cylinder about z, its middle at the origin, front outward.

    Parameters
    ----------
    radius, height : float
        Radius and full height, > 0. The wall's area is 2 pi R h (1 + 1.0e-4). [m]
    """
    n_around, n_rows = wall_rows(height, radius, area=2.0 * np.pi * radius * height)
    return wall(radius, -0.5 * height, 0.5 * height, n_around=n_around, n_rows=n_rows)
