"""What the reference needs of the mirror, in plain NumPy: every ray is tried against every facet, one facet at a time.

Facets come as `dish.facets.Facets`; a facet's surface in its own frame is p M p = w, with M as a matrix here.
"""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import Facets, form_matrix
from dishtrace.dish.outline import Outline
from dishtrace.trace.optics import Mirror
from dishtrace.trace.reference_optics import leaning, mirrored, normal_deviates


def facets_of(mirror: Mirror) -> Facets:
    """The facets behind the kernels' arrays, numbered by place."""
    n = len(mirror.kind)
    return Facets(
        number=np.arange(n),
        origin=mirror.origin,
        axes=mirror.axes.reshape(n, 3, 3),
        quadric=mirror.quadric,
        outlines=tuple(_outline(mirror, i) for i in range(n)),
        slope=mirror.slope,
        brightness=mirror.brightness,
    )


def _outline(mirror: Mirror, i: int) -> Outline:
    corners = slice(mirror.first_vertex[i], mirror.first_vertex[i + 1])
    pieces = slice(mirror.first_triangle[i], mirror.first_triangle[i + 1])
    return Outline(
        int(mirror.kind[i]),
        np.append(mirror.params[i], [0.0, 0.0]),
        mirror.vertices[corners],
        mirror.triangles[pieces],
        mirror.cdf[pieces],
    )


def picked_facets(mirror: Mirror, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Facets picked by the numbers u (n,), and these numbers stretched to (0, 1) within each facet's share [–]."""
    facet = np.minimum(np.searchsorted(mirror.pick_cdf, u, side="right"), len(mirror.pick_cdf) - 1)
    share = np.diff(mirror.pick_cdf, prepend=0.0)[facet]
    before = mirror.pick_cdf[facet] - share
    return facet, np.clip((u - before) / share, 0.0, 1.0)


def places_on(facets: Facets, facet: np.ndarray, u: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places on facets for numbers u (n, 2), and normals scaled to 1 along each facet's w, (n, 3) each. [m], [–]"""
    place, steepness = np.empty((2, len(facet), 3))
    for i in np.unique(facet):
        mine = facet == i
        place[mine], steepness[mine] = facets.surface(i, facets.outlines[i].map_unit_square(*u[mine].T))
    return place, steepness


def is_over_dish(mirror: Mirror, place: np.ndarray) -> np.ndarray:
    """Whether places lie above the dish's outline, its hole counted in, (n,)."""
    params = np.array(mirror.dish_params, dtype=float)
    params[3] = 0.0
    nothing = np.zeros((0, 3, 2))
    outline = Outline(mirror.dish_kind, params, mirror.dish_vertices, nothing, np.zeros(0))
    return outline.contains(place[:, :2])


def nearest_facet(
    facets: Facets, origin: np.ndarray, direction: np.ndarray, leaving: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Next hit on a facet, front or back: distance (n,), infinite without one, and facet (n,), -1 without one. [m]

    Parameters
    ----------
    facets : Facets
    origin, direction : (n, 3) float64
    leaving : (n,) int64
        Facet that each ray leaves, -1 for none. One of its two crossings with that facet's quadric is its own place:
        the one nearer to zero is left out, the other may be met. [–]
    """
    distance, number = np.full(len(origin), np.inf), np.full(len(origin), -1)
    for i in range(len(facets)):
        t = facet_distance(facets, i, origin, direction, leaving == i)
        nearer = t < distance
        distance[nearer], number[nearer] = t[nearer], i
    return distance, number


def facet_distance(
    facets: Facets, i: int, origin: np.ndarray, direction: np.ndarray, is_leaving: np.ndarray
) -> np.ndarray:
    """Distance of each ray to facet i, infinite where it misses, (n,) [lengths of direction]."""
    form = form_matrix(facets.quadric[i])
    start, along = (origin - facets.origin[i]) @ facets.axes[i].T, direction @ facets.axes[i].T
    roots = quadratic_roots(
        np.einsum("ni,ij,nj->n", along, form, along),
        2.0 * np.einsum("ni,ij,nj->n", start, form, along) - along[:, 2],
        np.einsum("ni,ij,nj->n", start, form, start) - start[:, 2],
    )
    own = np.argmin(np.where(np.isnan(roots), np.inf, np.abs(roots)), axis=0)
    roots[own[is_leaving], np.flatnonzero(is_leaving)] = np.nan
    distance = np.full(len(origin), np.inf)
    for t in roots:
        ahead = np.flatnonzero(t > 0.0)
        place = start[ahead] + t[ahead, np.newaxis] * along[ahead]
        is_near_sheet = 1.0 - 2.0 * (place @ form)[:, 2] > 0.0
        hit = ahead[is_near_sheet & facets.outlines[i].contains(place[:, :2])]
        distance[hit] = np.minimum(distance[hit], t[hit])
    return distance


def quadratic_roots(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Roots of a t^2 + b t + c = 0 without cancellation, (2, n); NaN where there is none. [–]"""
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        q = -0.5 * (b + np.copysign(np.sqrt(b * b - 4.0 * a * c), b))
        roots = np.stack([c / q, q / a])
    return np.where(np.isfinite(roots), roots, np.nan)


def unit_normals(facets: Facets, facet: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Unit normals of facets at places on them, towards the reflecting side, (n, 3)."""
    forms = np.array([form_matrix(six) for six in facets.quadric]).reshape(-1, 3, 3)[facet]
    axes = facets.axes[facet]
    local = np.einsum("nij,nj->ni", axes, place - facets.origin[facet])
    gradient = np.array([0.0, 0.0, 1.0]) - 2.0 * np.einsum("nij,nj->ni", forms, local)
    gradient /= np.linalg.norm(gradient, axis=1, keepdims=True)
    return np.einsum("ni,nij->nj", gradient, axes)


def facet_share(mirror: Mirror, facet: np.ndarray, cosine: np.ndarray) -> np.ndarray:
    """Reflectance of facets at the cosine of the incidence angle, (n,) [–]."""
    steps = np.linspace(0.0, 1.0, len(mirror.reflectance))
    return np.interp(cosine, steps, mirror.reflectance) * mirror.brightness[facet]


def facet_reflection(
    mirror: Mirror, facet: np.ndarray, smooth: np.ndarray, direction: np.ndarray, u: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light that meets the front of facets: reflectance, new direction, whether it gets off the surface.

    Parameters
    ----------
    mirror : Mirror
    facet : (n,) int64
    smooth, direction : (n, 3) float64
        Unit normals, and unit vectors towards the mirror. [–]
    u : (n, 4) float64
        Numbers for the slope error and for the beam spread, two each. [–]
    """
    share = facet_share(mirror, facet, -np.sum(direction * smooth, axis=1))
    slopes = normal_deviates(u[:, :2], 1.0) * mirror.slope[facet, np.newaxis]
    away = mirrored(direction, leaning(smooth, slopes))
    if mirror.spread > 0.0:
        away = leaning(away, normal_deviates(u[:, 2:], mirror.spread))
    return share, away, np.sum(away * smooth, axis=1) > 0.0
