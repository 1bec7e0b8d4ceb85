"""What one stretch of a ray meets and what happens there, in plain NumPy: brute force, no tree, no kernels.

Every function is vectorised over rays and written from the definition rather than for speed, so that it can judge the
kernels. The numbers that a ray uses are the kernels' own, since both take them from `points`.
"""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import Facets, form_matrix
from dishtrace.dish.outline import Outline
from dishtrace.trace.optics import Mirror, Parts, Sun
from dishtrace.trace.points import Points, philox
from dishtrace.vec import normalise

# Overlap of neighbouring triangles, as a share of them, so that no light slips between them by rounding.
OVERLAP = 1e-12
# Pairs of rays and triangles looked at in one go: their arrays stay within the processor's cache.
MOST_PAIRS = 50000


def facets_of(mirror: Mirror) -> Facets:
    """The facets behind the kernels' arrays."""
    vertices, triangles = mirror.first_vertex, mirror.first_triangle
    outlines = tuple(
        Outline(
            int(mirror.kind[i]),
            mirror.params[i],
            mirror.vertices[vertices[i] : vertices[i + 1]],
            mirror.triangles[triangles[i] : triangles[i + 1]],
            mirror.cdf[triangles[i] : triangles[i + 1]],
        )
        for i in range(len(mirror.kind))
    )
    axes = mirror.axes.reshape(-1, 3, 3)
    number = np.arange(len(outlines)) + 1
    return Facets(number, mirror.origin, axes, mirror.quadric, outlines, mirror.slope, mirror.brightness)


def picked(shares: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What u picks by running shares, (n,), and where between its borders u lies, (n,) [–]."""
    chosen = np.minimum(np.searchsorted(shares, u, side="right"), len(shares) - 1)
    below = np.append(0.0, shares)[chosen]
    return chosen, np.clip((u - below) / (shares[chosen] - below), 0.0, 1.0)


def places_on(mirror: Mirror, facet: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places on facets and their normals there, scaled to 1 along the facet's own, (n, 3) each [m], [–].

    Parameters
    ----------
    mirror : Mirror
    facet : (n,) int64
        Which facets. [–]
    u : (n, 2) float64
        Numbers, spread evenly over the outline of the facet. [–]
    """
    facets = facets_of(mirror)
    place, normals = np.empty((len(facet), 3)), np.empty((len(facet), 3))
    for i, outline in enumerate(facets.outlines):
        mine = facet == i
        place[mine], normals[mine] = facets.surface(i, outline.map_unit_square(*u[mine].T))
    return place, normals


def normals_at(mirror: Mirror, facet: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Unit normals of facets at places on them, towards the reflecting side: w - 2 M p, normalised, (n, 3) [–]."""
    axes = mirror.axes.reshape(-1, 3, 3)[facet]
    form = np.array([form_matrix(six) for six in mirror.quadric])[facet]
    local = np.einsum("nij,nj->ni", axes, place - mirror.origin[facet])
    gradient = np.array([0.0, 0.0, 1.0]) - 2.0 * np.einsum("nij,nj->ni", form, local)
    return normalise(np.einsum("nij,ni->nj", axes, gradient))


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


def outwards(place: np.ndarray) -> np.ndarray:
    """Turns (n, 2, 2) from numbers counted along the way outwards from the dish axis and across to the axes across."""
    x, y = place[:, 0], place[:, 1]
    angle = np.arctan2(y, x)
    cos, sin = np.cos(angle), np.sin(angle)
    return np.stack([np.stack([cos, -sin], axis=1), np.stack([sin, cos], axis=1)], axis=1)


def turned(turns: np.ndarray | None, tangents: np.ndarray) -> np.ndarray:
    """Tangents (n, 2) after turns, or as they are."""
    return tangents if turns is None else np.einsum("nij,nj->ni", turns, tangents)


def sun_rays(
    sun: Sun, u: np.ndarray, *, jitter: float, u_jitter: np.ndarray, turns: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors towards points of the sun and the cosines of their angles from its centre.

    Parameters
    ----------
    sun : Sun
    u, u_jitter : (n, 2) float64
        Numbers for the place on the sun and for the jitter of the dish axis. [–]
    jitter : float
        Its standard deviation per axis. [rad]
    turns : (n, 2, 2) float64, optional
        See `outwards`.
    """
    center = np.broadcast_to(sun.center, (len(u), 3))
    if jitter > 0.0:
        center = leaning(center, turned(turns, normal_deviates(u_jitter, jitter)))
    # Row k of the table covers shares outside the angle from 2^-(k+1) to 2^-k; from small shares to large:
    n_rows, n_columns = sun.table.shape
    share = 2.0 ** -(np.arange(n_rows)[:, np.newaxis] + 1.0) * (1.0 + np.arange(n_columns - 1) / (n_columns - 1.0))
    shares = np.append(share[::-1].ravel(), 1.0)
    tan = np.sqrt(np.interp(1.0 - u[:, 0], shares, np.append(sun.table[::-1, :-1].ravel(), sun.table[0, -1])))
    phi = 2.0 * np.pi * u[:, 1]
    direction = leaning(center, turned(turns, np.stack([tan * np.cos(phi), tan * np.sin(phi)], axis=1)))
    return direction, 1.0 / np.sqrt(1.0 + tan * tan)


def nearest_facet(
    mirror: Mirror, origin: np.ndarray, direction: np.ndarray, leaving: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Nearest facet, front or back: distance (n,), infinite without a hit [m], and number (n,), -1 without.

    Parameters
    ----------
    mirror : Mirror
    origin, direction : (n, 3) float64
        Rays. [m], [–]
    leaving : (n,) int64
        Facet that each ray starts on, -1 for none. One of its crossings with that facet is its own place. [–]
    """
    facets = facets_of(mirror)
    distance, number = np.full(len(origin), np.inf), np.full(len(origin), -1)
    for i in range(len(facets)):
        t = facet_distance(facets, i, origin, direction, leaving == i)
        nearer = t < distance
        distance[nearer], number[nearer] = t[nearer], i
    return distance, number


def facet_distance(
    facets: Facets, i: int, origin: np.ndarray, direction: np.ndarray, is_leaving: np.ndarray
) -> np.ndarray:
    """Distance to one facet, front or back, infinite where it is missed, (n,) [m].

    In the facet's frame a t^2 + 2 h t + c = 0 with a = d.Md, h = o.Md - d_w / 2, c = o.Mo - o_w. Of both roots those
    ahead count that lie inside the outline and on the sheet that holds the facet (normal's w > 0).
    """
    form, axes = form_matrix(facets.quadric[i]), facets.axes[i]
    o, d = (origin - facets.origin[i]) @ axes.T, direction @ axes.T
    a, c = np.sum(d @ form * d, axis=1), np.sum(o @ form * o, axis=1) - o[:, 2]
    h = np.sum(o @ form * d, axis=1) - 0.5 * d[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        q = -(h + np.copysign(np.sqrt(h * h - a * c), h))
        roots = np.stack([c / q, q / a])
    own = np.argmin(np.where(np.isfinite(roots), np.abs(roots), np.inf), axis=0)
    roots[own[is_leaving], np.flatnonzero(is_leaving)] = np.nan
    distance = np.full(len(origin), np.inf)
    for t in roots:
        ahead = np.flatnonzero((t > 0.0) & np.isfinite(t))
        place = o[ahead] + t[ahead, np.newaxis] * d[ahead]
        is_on = facets.outlines[i].contains(place[:, :2]) & (1.0 - 2.0 * place @ form[:, 2] > 0.0)
        distance[ahead[is_on]] = np.minimum(distance[ahead[is_on]], t[ahead[is_on]])
    return distance


def mirror_share(mirror: Mirror, facet: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Reflectance of facets at the cosine of the incidence angle, (n,) [–]."""
    table = mirror.reflectance
    share = np.interp(cosine, np.linspace(0.0, 1.0, len(table)), table) if len(table) > 1 else table[0]
    return share * mirror.brightness[facet]


def mirror_reflection(
    mirror: Mirror,
    facet: np.ndarray,
    smooth: np.ndarray,
    direction: np.ndarray,
    u: np.ndarray,
    turns: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light that meets the front of a facet: reflectance, new direction, whether it gets off the surface.

    Parameters
    ----------
    mirror : Mirror
    facet : (n,) int64
        Which facets. [–]
    smooth, direction : (n, 3) float64
        Unit normals of the smooth facets there, and unit vectors towards them. [–]
    u : (n, 4) float64
        Numbers for the slope error and for the beam spread, two each. [–]
    turns : (n, 2, 2) float64, optional
        See `outwards`.
    """
    share = mirror_share(mirror, facet, -np.sum(direction * smooth, axis=1))
    slope = mirror.slope[facet][:, np.newaxis]
    rough = np.where(slope > 0.0, leaning(smooth, slope * turned(turns, normal_deviates(u[:, :2], 1.0))), smooth)
    away = mirrored(direction, rough)
    if mirror.spread > 0.0:
        away = leaning(away, turned(turns, normal_deviates(u[:, 2:], mirror.spread)))
    return share, away, np.sum(away * smooth, axis=1) > 0.0


def is_over_outline(mirror: Mirror, place: np.ndarray) -> np.ndarray:
    """Whether places (n, 3) lie inside the dish's outline, its hole counted in, (n,)."""
    if mirror.has_no_overhang:
        return np.ones(len(place), dtype=bool)
    params = mirror.dish_params.copy()
    params[3] = 0.0
    nothing = np.zeros(0)
    return Outline(mirror.dish_kind, params, mirror.dish_vertices, nothing, nothing).contains(place[:, :2])


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
