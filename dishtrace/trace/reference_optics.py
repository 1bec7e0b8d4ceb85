"""What one stretch of a ray meets and what happens there, in plain NumPy: brute force, no tree, no kernels.

Every function is vectorised over rays and written from the definition rather than for speed, so that it can judge the
kernels. The numbers that a ray uses are the kernels' own, since both take them from `points`.
"""

from __future__ import annotations

import numpy as np

from dishtrace.chance import philox
from dishtrace.trace.optics import Parts, Sun
from dishtrace.trace.points import Points

# Overlap of neighbouring triangles, as a share of them, so that no light slips between them by rounding.
OVERLAP = 1e-12
# Pairs of rays and triangles looked at in one go: their arrays stay within the processor's cache.
MOST_PAIRS = 50000


def later_numbers(points: Points, rays: np.ndarray, draws: np.ndarray) -> np.ndarray:
    """Four numbers in (0, 1) for draw number `draws` of each ray, (n, 4) [–]."""
    counters = np.stack([rays & 0xFFFFFFFF, rays >> 32, draws, np.full_like(rays, points.later_stream)], axis=1)
    words = philox(counters, seed=points.seed_low | points.seed_high << 32)
    return (words + 0.5) / 2.0**32


def normal_deviates(u: np.ndarray, sigma: float) -> np.ndarray:
    """Gaussian deviates of a standard deviation, by inversion; zeros for sigma = 0."""
    from scipy.special import ndtri

    return sigma * ndtri(u) if sigma > 0.0 else np.zeros_like(u)


def axes_across(axis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two unit vectors across each of the unit vectors (n, 3), as `vec.perpendicular_axes`."""
    x, y, z = axis.T
    sign = np.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    one = np.stack([1.0 + sign * x * x * a, sign * b, -sign * x], axis=1)
    return one, np.stack([b, sign + y * y * a, -y], axis=1)


def leaning(axis: np.ndarray, tangents: np.ndarray) -> np.ndarray:
    """Unit vectors (n, 3) turned by two tangents (n, 2) along their axes across."""
    one, two = axes_across(axis)
    turned = axis + tangents[:, :1] * one + tangents[:, 1:] * two
    return turned / np.linalg.norm(turned, axis=1, keepdims=True)


def sun_rays(sun: Sun, u: np.ndarray, *, jitter: float, u_jitter: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors towards points of the sun and the cosines of their angles from its centre.

    Parameters
    ----------
    sun : Sun
    u, u_jitter : (n, 2) float64
        Numbers for the place on the sun and for the jitter of the dish axis. [–]
    jitter : float
        Its standard deviation per axis. [rad]
    """
    center = np.broadcast_to(sun.center, (len(u), 3))
    if jitter > 0.0:
        center = leaning(center, normal_deviates(u_jitter, jitter))
    # Row k of the table covers shares outside the angle from 2^-(k+1) to 2^-k; from small shares to large:
    n_rows, n_columns = sun.table.shape
    share = 2.0 ** -(np.arange(n_rows)[:, np.newaxis] + 1.0) * (1.0 + np.arange(n_columns - 1) / (n_columns - 1.0))
    shares = np.append(share[::-1].ravel(), 1.0)
    tan = np.sqrt(np.interp(1.0 - u[:, 0], shares, np.append(sun.table[::-1, :-1].ravel(), sun.table[0, -1])))
    phi = 2.0 * np.pi * u[:, 1]
    direction = leaning(center, np.stack([tan * np.cos(phi), tan * np.sin(phi)], axis=1))
    return direction, 1.0 / np.sqrt(1.0 + tan * tan)


def mirrored(direction: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Directions after reflection by surfaces of the given unit normals, (n, 3)."""
    return direction - 2.0 * np.sum(direction * normals, axis=1, keepdims=True) * normals


def triangle_distances(corners: np.ndarray, origin: np.ndarray, direction: np.ndarray) -> np.ndarray:
    """Distance from every ray to every triangle, infinite where it misses or lies behind.

    Parameters
    ----------
    corners : (m, 9) float64
        First corner and two edges. [m]
    origin, direction : (n, 3) float64
        Rays. [m], [–]

    Returns
    -------
    (n, m) float64
        [lengths of direction]

    Notes
    -----
    With o + t d = a + u e1 + v e2, N = e1 x e2 and M = (o - a) x d, Cramer's rule gives t = (a - o).N / d.N,
    u = -M.e2 / d.N and v = M.e1 / d.N: all of them sums of matrix products of ray and triangle terms.
    """
    a, e1, e2 = corners[:, :3], corners[:, 3:6], corners[:, 6:]
    across = np.cross(e1, e2)
    moment = np.cross(origin, direction)
    with np.errstate(divide="ignore", invalid="ignore"):
        facing = direction @ across.T
        t = (np.sum(a * across, axis=1) - origin @ across.T) / facing
        u = -(moment @ e2.T - direction @ np.cross(e2, a).T) / facing
        v = (moment @ e1.T - direction @ np.cross(e1, a).T) / facing
        is_hit = (t > 0.0) & (u >= -OVERLAP) & (v >= -OVERLAP) & (u + v <= 1.0 + OVERLAP) & (facing != 0.0)
    return np.where(is_hit, t, np.inf)


def _chunks(n_rays: int, n_triangles: int) -> list[slice]:
    size = max(1, MOST_PAIRS // max(1, n_triangles))
    return [slice(first, first + size) for first in range(0, n_rays, size)]


def nearest_triangle(
    parts: Parts, origin: np.ndarray, direction: np.ndarray, leaving: np.ndarray, chosen: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Nearest of the chosen triangles: distance (n,), infinite without a hit, and number (n,).

    Parameters
    ----------
    parts : Parts
    origin, direction : (n, 3) float64
    leaving : (n,) int64
        Triangle that each ray leaves and so cannot hit; -1 for none. [–]
    chosen : (k,) int64
        Numbers of the triangles looked at. [–]
    """
    distance, number = np.full(len(origin), np.inf), np.full(len(origin), -1)
    if len(chosen) == 0:
        return distance, number
    for rows in _chunks(len(origin), len(chosen)):
        t = triangle_distances(parts.corners[chosen], origin[rows], direction[rows])
        t[chosen[np.newaxis, :] == leaving[rows, np.newaxis]] = np.inf
        nearest = np.argmin(t, axis=1)
        distance[rows], number[rows] = t[np.arange(len(t)), nearest], chosen[nearest]
    return distance, number


def light_let_through(
    parts: Parts, origin: np.ndarray, direction: np.ndarray, leaving: np.ndarray, *, is_cover_clear: bool
) -> np.ndarray:
    """Share of the light along each ray that all triangles in its way let through, (n,) [–]."""
    share = np.ones(len(origin))
    for rows in _chunks(len(origin), len(parts.part)):
        t = triangle_distances(parts.corners, origin[rows], direction[rows])
        ray, triangle = np.nonzero(np.isfinite(t) & (np.arange(len(parts.part)) != leaving[rows, np.newaxis]))
        through = np.zeros(len(ray))
        is_glass = (parts.cover[parts.part[triangle], 0] > 0.0) & is_cover_clear
        cosine = np.abs(np.sum(direction[rows][ray] * parts.normal[triangle], axis=1))
        _, clear = sheet_shares(parts.cover[parts.part[triangle[is_glass]]], cosine[is_glass])
        through[is_glass] = clear
        np.multiply.at(share, np.arange(len(origin))[rows][ray], through)
    return share


def sheet_shares(cover: np.ndarray, cosine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Reflected and transmitted share of unpolarised light at glass sheets.

    Parameters
    ----------
    cover : (n, 3) float64
        Refractive index [–], extinction [1/m], thickness [m].
    cosine : (n,) float64
        Of the incidence angle. [–]

    Notes
    -----
    Face reflectances by Fresnel with g = sqrt(n^2 - 1 + cos^2): r_s = ((cos - g) / (cos + g))^2 and
    r_p = ((n^2 cos - g) / (n^2 cos + g))^2. The passes inside the sheet form a geometric series in (r tau)^2:
    transmitted (1 - r)^2 tau / (1 - (r tau)^2), reflected r + (1 - r)^2 r tau^2 / (1 - (r tau)^2).
    """
    index, extinction, thickness = cover.T
    g = np.sqrt(index**2 - 1.0 + cosine**2)
    tau = np.exp(-extinction * thickness * index / g)
    r_s, r_p = ((cosine - g) / (cosine + g)) ** 2, ((index**2 * cosine - g) / (index**2 * cosine + g)) ** 2
    transmitted = [(1.0 - r) ** 2 * tau / (1.0 - (r * tau) ** 2) for r in (r_s, r_p)]
    reflected = [r + (1.0 - r) ** 2 * r * tau**2 / (1.0 - (r * tau) ** 2) for r in (r_s, r_p)]
    return 0.5 * sum(reflected), 0.5 * sum(transmitted)


def diffuse(normals: np.ndarray, u: np.ndarray) -> np.ndarray:
    """Directions of density cos / pi about unit normals (n, 3), from numbers (n, 2)."""
    one, two = axes_across(normals)
    sine, cosine, phi = np.sqrt(u[:, 0]), np.sqrt(1.0 - u[:, 0]), 2.0 * np.pi * u[:, 1]
    return (
        (sine * np.cos(phi))[:, np.newaxis] * one
        + (sine * np.sin(phi))[:, np.newaxis] * two
        + cosine[:, np.newaxis] * normals
    )


def shares_that_go_on(parts: Parts, part: np.ndarray, side: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Shares of the light on parts that go on as from a mirror, diffusely, and straight on, (n, 3) [–]."""
    absorptance, specular = parts.surface[part, side].T
    left = 1.0 - absorptance
    shares = np.column_stack([left * specular, left * (1.0 - specular), np.zeros(len(part))])
    glass = parts.cover[part, 0] > 0.0
    back, through = sheet_shares(parts.cover[part[glass]], cosine[glass])
    shares[glass] = np.column_stack([back, np.zeros(len(back)), through])
    return shares
