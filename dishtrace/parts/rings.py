"""Triangles between rings of points: how discs, cylinders, cones and spheres are put together."""

from __future__ import annotations

import numpy as np

LEAST_AROUND = 128
"""Fewest steps around a circle [–]."""
SLENDER_AROUND = 64
"""Steps around a post that is at least `SLENDER_RATIO` radii long [–]."""
SLENDER_RATIO = 12.0
"""Height over radius from which a cylinder counts as a post [–]."""
COARSE_BIN_M = 5e-3
"""Side of a flux bin where the budget allows it: 4 bins, 8 triangles, lie in a patch of 1 cm2 [m]."""
MOST_BINS, FEWEST_BINS = 4500, 1000
"""Aim for the number of four-sided bins (two triangles each) of a part [–]."""


def bin_side(area: float) -> float:
    """Side of the square flux bins of a part.

    Parameters
    ----------
    area : float
        Surface of the part. [m2]

    Returns
    -------
    float
        5 mm for parts of 250 to 1100 cm2; smaller parts have about 1000 bins, larger ones about 4500 (9000
        triangles), so that a bin stays below 1 cm2 up to 0.45 m2. [m]
    """
    return max(np.sqrt(area / MOST_BINS), min(COARSE_BIN_M, np.sqrt(area / FEWEST_BINS)))


def steps_around(radius: float, side: float, *, least: int = LEAST_AROUND) -> int:
    """Steps around a circle: a multiple of 16, at least `least`, each about as long as a bin's side [–]."""
    return max(least, 16 * int(np.ceil(2.0 * np.pi * radius / side / 16.0)))


def area_true_radius(n_around: int) -> float:
    """Radius of the regular polygon whose area is that of the unit circle.

    Parameters
    ----------
    n_around : int
        Corners n. [–]

    Returns
    -------
    float
        sqrt((2 pi / n) / sin(2 pi / n)); its perimeter is then too long by (pi / n)^2 / 6, 1.0e-4 for 128
        corners. [–]
    """
    step = 2.0 * np.pi / n_around
    return float(np.sqrt(step / np.sin(step)))


def circle_points(n_around: int) -> np.ndarray:
    """Corners of the regular polygon with the area of the unit circle, the first on +x, (n, 2) [–]."""
    angle = 2.0 * np.pi * np.arange(n_around) / n_around
    return area_true_radius(n_around) * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def sectors_inward(n_around: int, radii: np.ndarray, side: float) -> list[int]:
    """Steps around of each ring from the rim inward.

    Parameters
    ----------
    n_around : int
        Steps at the rim, a multiple of 16. [–]
    radii : (k,) float64
        Radius of each ring, falling. [m]
    side : float
        Wanted side of a bin. [m]

    Returns
    -------
    list of int
        Halved, at most once a ring and down to n/16, where the steps are shorter than 0.7 sides. [–]
    """
    counts = [n_around]
    for radius in radii[1:]:
        now = counts[-1]
        too_short = 2.0 * np.pi * radius / now < 0.7 * side
        counts.append(now // 2 if too_short and now > n_around // 16 else now)
    return counts


def band(outer: np.ndarray, inner: np.ndarray) -> np.ndarray:
    """Triangles between two closed rings of points that run the same way round.

    Parameters
    ----------
    outer : (n, 3) float64
        Points of one ring. [m]
    inner : (n, 3) or (n/2, 3) or (1, 3) float64
        Points of the other: as many, half as many, or a single one. [m]

    Returns
    -------
    (m, 3, 3) float64
        Fronts face the side from which the rings run counter-clockwise with `outer` outside. [m]
    """
    o0, o1 = outer, np.roll(outer, -1, axis=0)
    if len(inner) == 1:
        return np.stack([o0, o1, np.broadcast_to(inner, outer.shape)], axis=1)
    i0, i1 = inner, np.roll(inner, -1, axis=0)
    if len(inner) == len(outer):
        return _interleaved(np.stack([o0, o1, i1], axis=1), np.stack([o0, i1, i0], axis=1))
    a, b, c = outer[0::2], outer[1::2], np.roll(outer[0::2], -1, axis=0)
    return _interleaved(np.stack([a, b, i0], axis=1), np.stack([b, i1, i0], axis=1), np.stack([b, c, i1], axis=1))


def bands(rings: list[np.ndarray]) -> np.ndarray:
    """Triangles between neighbours in a list of rings, from the first to the last; see `band`."""
    return np.concatenate(
        [
            band(one, other) if len(one) >= len(other) else band(other, one)[:, ::-1]
            for one, other in zip(rings[:-1], rings[1:], strict=True)
        ]
    )


def disc_rings(radius: float, n_around: int, side: float, *, hole: float = 0.0) -> list[np.ndarray]:
    """Rings of a flat disc or annulus in the plane z = 0, from the rim to the centre or the hole.

    Parameters
    ----------
    radius : float
        Radius of the circle whose area the polygon has. [m]
    n_around : int
        Steps around the rim, a multiple of 16. [–]
    side : float
        Wanted side of a bin. [m]
    hole : float
        Radius of the hole; 0 for none. With a hole all rings keep `n_around` steps and both polygons are
        area-true. [m]

    Returns
    -------
    list of (m, 3) float64
        The last is the centre, (1, 3), when there is no hole. [m]
    """
    n_rings = max(3, int(np.ceil((radius - hole) / side)))
    radii = np.linspace(radius, hole, n_rings + 1)
    if hole > 0.0:
        return [raised(r * circle_points(n_around), 0.0) for r in radii]
    counts = sectors_inward(n_around, radii[:-1], side)
    rings = [raised(r * circle_points(n), 0.0) for r, n in zip(radii[:-1], counts, strict=True)]
    return [*rings, np.zeros((1, 3))]


def raised(points: np.ndarray, z: float) -> np.ndarray:
    """Plane points (n, 2) at a height, (n, 3) [m]."""
    return np.column_stack([points, np.full(len(points), z)])


def _interleaved(*groups: np.ndarray) -> np.ndarray:
    return np.stack(groups, axis=1).reshape(-1, 3, 3)
