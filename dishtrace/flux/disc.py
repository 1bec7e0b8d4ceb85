"""Patches of a part's surface, and the disc of given area about a point, put together from pieces of triangles."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.patches import LEAST_COSINE
from dishtrace.parts.triangles import areas_of

if TYPE_CHECKING:
    from dishtrace.parts.assemble import PartMesh

# Pieces are no larger than this share of the disc.
PIECE = 1.0 / 512.0
# Triangles that lie nowhere within so many radii are not looked at: at first, and where the part is so narrow that what
# takes the disc's place reaches further.
REACHES = (1.25, 4.0)


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles of one side of a part, or pieces of them, whose areas add up to a patch's.

    Parameters
    ----------
    index : (m,) int64
        Number of the part's triangle that each is, or is a piece of. [–]
    shares : (m,) float64
        Share of each that belongs to the patch. [–]
    triangles, normals : (m, 3, 3), (m, 3) float64
        Corners [m] and unit normals of that side.
    area : float
        [m2]
    """

    index: np.ndarray
    shares: np.ndarray
    triangles: np.ndarray
    normals: np.ndarray
    area: float

    @property
    def radius(self) -> float:
        """Of a disc of that area. [m]"""
        return float(np.sqrt(self.area / np.pi))


@dataclass(frozen=True, eq=False)
class Disc(Patch):
    """What of one side of a part lies nearest to a point: a disc where it is flat and wide enough.

    Parameters
    ----------
    place : (3,) float64
        The point, dish frame. [m]
    """

    place: np.ndarray

    @property
    def triangle(self) -> int:
        """Number of the part's triangle that holds its middle."""
        return int(self.index[0])


def disc_about(mesh: PartMesh, place: np.ndarray, triangle: int, side: str, *, area: float) -> Disc:
    """The disc about a point of one side of a part.

    Parameters
    ----------
    mesh : PartMesh
    place : (3,) float64
        The point, dish frame. [m]
    triangle : int
        The triangle that it lies on; the disc has those whose normals lie within 60 degrees of its own. [–]
    side : str
        "front" or "back".
    area : float
        Of the disc; the part's, where that is smaller. [m2]
    """
    radius = float(np.sqrt(area / np.pi))
    normals = mesh.normals if side == "front" else -mesh.normals
    is_alike = normals @ normals[triangle] > LEAST_COSINE
    for reach in REACHES:
        which = np.flatnonzero(is_alike & _is_within(mesh.triangles, place, reach * radius))
        pieces, which = _cut(mesh.triangles[which], which, place, reach=reach * radius, largest=PIECE * area)
        areas, distances = areas_of(pieces), np.linalg.norm(pieces.mean(axis=1) - place, axis=1)
        order = np.argsort(distances, kind="stable")
        before = np.cumsum(areas[order]) - areas[order]
        order = order[before < area]
        shares = np.clip((area - before[: len(order)]) / areas[order], 0.0, 1.0)
        if shares[-1] < 1.0 and distances[order[-1]] < reach * radius:
            break
    which = which[order]
    return Disc(which, shares, pieces[order], normals[which], float(shares @ areas[order]), place)


def _cut(
    pieces: np.ndarray, which: np.ndarray, place: np.ndarray, *, reach: float, largest: float
) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (n, 3, 3) and their numbers, cut into pieces of some area at most where they may reach a place."""
    while True:
        is_large = (areas_of(pieces) > largest) & _is_within(pieces, place, reach)
        if not is_large.any():
            return pieces, which
        pieces = np.concatenate([pieces[~is_large], quarters(pieces[is_large])])
        which = np.concatenate([which[~is_large], np.tile(which[is_large], 4)])


def _is_within(triangles: np.ndarray, place: np.ndarray, distance: float) -> np.ndarray:
    """Which triangles (n, 3, 3) may reach to within a distance of a place, (n,): none that do are left out."""
    centers = triangles.mean(axis=1)
    reach = np.linalg.norm(triangles - centers[:, np.newaxis], axis=2).max(axis=1)
    return np.linalg.norm(centers - place, axis=1) - reach < distance


def quarters(triangles: np.ndarray) -> np.ndarray:
    """Each of (n, 3, 3) triangles cut into four of its shape, (4 n, 3, 3): all firsts, all seconds, and so on."""
    a, b, c = np.moveaxis(triangles, 1, 0)
    ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
    corners = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return np.concatenate([np.stack(quarter, axis=1) for quarter in corners])
