"""The flux at the brightest point of each part, by looking back over the mirror.

The search starts from the brightest patch of the tally and climbs on the flux of first arrivals; the value is taken
with other sample points than the search, so that it is not biased high. Light that arrives later (thrown back by parts)
is added as its mean over the patch of triangles about the point, from the tally. No triangle matters for first
arrivals: the tally's patches are made of whole triangles, and where these are not small against the spot their peak is
too low.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.disc import Patch, quarters
from dishtrace.flux.peak import PATCH_AREA, patch_about
from dishtrace.stats import Estimate, total

if TYPE_CHECKING:
    from dishtrace.flux.look import Look
    from dishtrace.flux.part import PartResult
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.trace.cpu import Optics

# Samples of each scramble for one place of the search, and for what is told of a point.
SEARCH_COUNT, POINT_COUNT = 16, 1024
# And for a place of a search that must not be misled by noise.
SURE_COUNT = 256
# Places that the search starts with, and at most; rings of places around the best one, each half as wide as the last if
# that found nothing better, down to a step of so much of the patch's radius.
N_STARTS, MOST_STARTS = 16, 40
MOST_RINGS, FINEST_STEP = 32, 0.1
# Area around the brightest triangle that is searched, in patches and in such triangles.
SEARCHED_PATCHES, SEARCHED_TRIANGLES = 4.0, 8.0
RING = np.stack([np.cos(np.arange(6) * np.pi / 3.0), np.sin(np.arange(6) * np.pi / 3.0)], axis=1)


@dataclass(frozen=True, eq=False)
class PeakPoint:
    """Flux at the brightest point of a part.

    Parameters
    ----------
    flux : Estimate
        Of mirror light: first arrivals at the point, and the mean of later ones over the patch about it. [W/m2]
    first : Estimate
        First arrivals alone. [W/m2]
    at_m : (3,) float64
        The point, as the user places parts. [m]
    side : str
        "front" or "back".
    """

    flux: Estimate
    first: Estimate
    at_m: np.ndarray
    side: str


def patch_of(mesh: PartMesh, triangle: int, side: str, *, area: float = PATCH_AREA) -> Patch:
    """The patch of a given area about a triangle of one side of a part."""
    normals = mesh.normals if side == "front" else -mesh.normals
    centers = mesh.triangles.mean(axis=1)
    index, shares = patch_about(triangle, areas=mesh.areas, centers=centers, normals=normals, patch_area=area)
    return Patch(index, shares, mesh.triangles[index], normals[index], float(shares @ mesh.areas[index]))


def _searched(mesh: PartMesh, triangle: int, side: str) -> Patch:
    """Where the brightest point is looked for."""
    area = SEARCHED_PATCHES * PATCH_AREA + SEARCHED_TRIANGLES * float(mesh.areas[triangle])
    return patch_of(mesh, triangle, side, area=area)


def brightest_point(
    look: Look, mesh: PartMesh, triangle: int, side: str, *, count: int = SEARCH_COUNT
) -> tuple[np.ndarray, int]:
    """The brightest point near a triangle of one side of a part, and the triangle that it lies on. [m]

    Deterministic: all places are looked at with the same sample points.
    """
    around = _searched(mesh, triangle, side)
    seeing = replace(look, points=look.search_points)
    seeing = seeing.aimed(around.triangles[0].mean(axis=0), around.normals[0], blur=around.radius)
    places, which = _starts(around)
    flux = seeing.at(places, around.normals[which], count=count).sum(axis=1)
    best = int(np.argmax(flux))
    place, on, highest = places[best], which[best], flux[best]
    step = 0.5 * np.sqrt(around.area / len(places))
    for _ in range(MOST_RINGS):
        is_better = False
        places, which = _ring(around, place, on, step)
        if len(places):
            flux = seeing.at(places, around.normals[which], count=count).sum(axis=1)
            best = int(np.argmax(flux))
            is_better = flux[best] > highest
            if is_better:
                place, on, highest = places[best], which[best], flux[best]
        if not is_better:
            step *= 0.5
        if step < FINEST_STEP * np.sqrt(PATCH_AREA / np.pi):
            break
    return place, int(around.index[on])


def _starts(patch: Patch) -> tuple[np.ndarray, np.ndarray]:
    """Places spread over a patch: middles of its triangles, of parts of them where they are few, of some where many."""
    triangles, which = patch.triangles, np.arange(len(patch.triangles))
    while len(triangles) < N_STARTS:
        triangles, which = quarters(triangles), np.tile(which, 4)
    chosen = np.unique(np.linspace(0, len(triangles) - 1, min(len(triangles), MOST_STARTS)).astype(np.int64))
    return triangles[chosen].mean(axis=1), which[chosen]


def _ring(patch: Patch, place: np.ndarray, on: int, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Places of the patch's surface in a ring about one, found along its normal, but those beyond the surface."""
    normal = patch.normals[on]
    edge = patch.triangles[on, 1] - patch.triangles[on, 0]
    across = edge / np.linalg.norm(edge)
    tries = place + step * (RING @ np.stack([across, np.cross(normal, across)]))
    corner, side_1 = patch.triangles[:, 0], patch.triangles[:, 1] - patch.triangles[:, 0]
    side_2 = patch.triangles[:, 2] - patch.triangles[:, 0]
    p = np.cross(normal, side_2)
    determinant = np.einsum("ij,ij->i", side_1, p)
    # The patch's normals lie within 60 degrees of its middle one's; what is seen edge-on from here is left out.
    inverse = np.divide(1.0, determinant, out=np.full(len(corner), np.nan), where=np.abs(determinant) > 1e-14)
    s = tries[:, np.newaxis] - corner
    q = np.cross(s, side_1)
    u = np.einsum("kij,ij->ki", s, p) * inverse
    v = q @ normal * inverse
    t = np.einsum("kij,ij->ki", q, side_2) * inverse
    is_on = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0)
    distance = np.where(is_on, np.abs(t), np.inf)
    which = np.argmin(distance, axis=1)
    found = np.flatnonzero(np.isfinite(distance[np.arange(len(tries)), which]))
    which = which[found]
    weights = np.stack([1.0 - u[found, which] - v[found, which], u[found, which], v[found, which]], axis=1)
    return np.einsum("ki,kij->kj", weights, patch.triangles[which]), which


def has_later_light(part: PartResult) -> bool:
    """Whether mirror light arrives on a part that has touched a part before."""
    return part.incident_w.value > part.first_w.value * (1.0 + 1e-9)


def without_later_light(optics: Optics) -> Optics:
    """The scene with surfaces that take all light and covers that are not there, so that each ray arrives once."""
    parts = optics.parts
    surface, cover = parts.surface.copy(), parts.cover.copy()
    surface[:, :, 0], surface[:, :, 1] = 1.0, 0.0
    # Glass of index 1 that takes nothing lets all light straight through.
    cover[cover[:, 0] > 0.0] = 1.0, 0.0, 0.0
    return optics._replace(parts=parts._replace(surface=surface, cover=cover))


def peak_point(look: Look, part: PartResult, later: Estimate, *, place: np.ndarray, triangle: int) -> PeakPoint:
    """Flux at a point of a part, found before; `later` is added to what arrives there first."""
    normal = part.mesh.normals[triangle] * (1.0 if part.peak_side == "front" else -1.0)
    seen = look.aimed(place, normal).at(place[np.newaxis], normal[np.newaxis], count=POINT_COUNT)[0]
    first = total(seen)
    return PeakPoint(together(first, later), first, part.mesh.to_user(place), part.peak_side)


def together(first: Estimate, later: Estimate) -> Estimate:
    """First and later arrivals, found apart. [W/m2]"""
    return first if later.value == 0.0 else first.minus(later.scaled(-1.0))
