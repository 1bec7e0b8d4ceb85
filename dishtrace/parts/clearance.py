"""Whether a part reaches through the mirror, and whether two parts share faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height, line_crossings
from dishtrace.parts.triangles import area_vectors

TOUCHING = 1e-6
"""Share of the focal length by which a part may dip into the mirror and still only touch it [–]."""

COPLANAR = 1e-8
"""Planes whose normals, and whose distances from the vertex in metres, differ by less than this are one plane [–]."""
SLANTS = np.linalg.qr(np.sqrt(np.arange(2.0, 18.0)).reshape(4, 4))[0]
"""Directions askew to all that people build, in which planes are told apart; unit vectors (4, 4) [–]."""
LEAST_SHARED_M2 = 1e-8
"""Shared faces smaller than this are only rounding [m2]."""


@dataclass(frozen=True, eq=False)
class Contact:
    """How a part meets the mirror surface inside the outline.

    Parameters
    ----------
    depth : float
        How far behind the mirror its deepest corner lies, along the axis; 0 when only edges cut the mirror.
        [m]
    place : (3,) float64
        That corner, or a point where an edge cuts the mirror, in the dish frame. [m]
    crosses : bool
        Whether the part goes through the mirror; else it lies behind it.
    """

    depth: float
    place: np.ndarray
    crosses: bool


def mirror_contact(triangles: np.ndarray, outline: Outline, *, focal_length: float) -> Contact | None:
    """Where a part lies behind the mirror or goes through it, inside the outline and outside its hole.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Of the part, dish frame. [m]
    outline : Outline
        Of the mirror. [m]
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    Contact or None
        None when the part stays clear or only touches. Corners and edges of the triangles are looked at.
    """
    tolerance = TOUCHING * focal_length
    corners = triangles.reshape(-1, 3)
    above = corners[:, 2] - height(corners[:, 0], corners[:, 1], focal_length=focal_length)
    is_behind = (above < -tolerance) & outline.contains(corners[:, :2])
    cuts = _cuts(triangles, above.reshape(-1, 3) < -tolerance, outline, focal_length)
    if is_behind.any():
        deepest = int(np.argmin(np.where(is_behind, above, np.inf)))
        return Contact(float(-above[deepest]), corners[deepest].copy(), len(cuts) > 0)
    if len(cuts):
        return Contact(0.0, cuts[0], True)
    return None


def _cuts(triangles: np.ndarray, is_below: np.ndarray, outline: Outline, focal_length: float) -> np.ndarray:
    """Points where edges with an end below the paraboloid cut it inside the outline, (k, 3) [m].

    An edge with both ends above stays above, since the space above the paraboloid is convex.
    """
    wanted = is_below | np.roll(is_below, -1, axis=1)
    start = triangles[wanted]
    step = (np.roll(triangles, -1, axis=1) - triangles)[wanted]
    if len(start) == 0:
        return np.zeros((0, 3))
    found = []
    for t in line_crossings(start, step, focal_length=focal_length):
        on_edge = (t >= 0.0) & (t <= 1.0)
        points = start[on_edge] + t[on_edge, np.newaxis] * step[on_edge]
        found.append(points[outline.contains(points[:, :2])])
    return np.concatenate(found)


def shared_area(first: np.ndarray, second: np.ndarray, *, are_closed: bool) -> float:
    """Area where faces of two parts lie in one plane and on each other, for light to meet.

    Parameters
    ----------
    first, second : (n, 3, 3) float64
        Triangles of the parts, dish frame. [m]
    are_closed : bool
        Whether both are solids: faces that look at each other then touch, and no light comes between them.

    Returns
    -------
    float
        [m2]
    """
    if not _boxes_meet(first, second):
        return 0.0
    (planes_1, of_1), (planes_2, of_2) = (_planes(triangles, is_one_way=are_closed) for triangles in (first, second))
    if not _may_coincide(planes_1, planes_2, reach=10.0 * COPLANAR):
        return 0.0
    import shapely
    from scipy.spatial import cKDTree

    area = 0.0
    near = cKDTree(planes_2).query_ball_point(planes_1, 10.0 * COPLANAR)
    for place in (place for place, found in enumerate(near) if found):
        axes = np.linalg.svd(planes_1[place, :3][np.newaxis])[2][1:]
        flat = [
            shapely.union_all(shapely.polygons(triangles @ axes.T))
            for triangles in (first[of_1 == place], second[np.isin(of_2, near[place])])
        ]
        area += float(shapely.area(shapely.intersection(*flat)))
    return area


def _boxes_meet(first: np.ndarray, second: np.ndarray) -> bool:
    (low_1, high_1), (low_2, high_2) = ((part.min(axis=(0, 1)), part.max(axis=(0, 1))) for part in (first, second))
    return bool(np.all(low_1 <= high_2 + COPLANAR) and np.all(low_2 <= high_1 + COPLANAR))


def _may_coincide(planes_1: np.ndarray, planes_2: np.ndarray, *, reach: float) -> bool:
    """Whether any of the first planes (k, 4) may lie within reach of one of the others, by slanted coordinates."""
    for slant in SLANTS:
        places = np.sort(planes_2 @ slant)
        mine = planes_1 @ slant
        next_one = np.searchsorted(places, mine - 1.01 * reach)
        planes_1 = planes_1[np.append(places, np.inf)[next_one] <= mine + 1.01 * reach]
        if len(planes_1) == 0:
            return False
    return True


def _planes(triangles: np.ndarray, *, is_one_way: bool) -> tuple[np.ndarray, np.ndarray]:
    """Planes of triangles, each once: unit normals and distances, (k, 4), and each triangle's.

    Normals are those of the fronts, or turned so that both sides of a plane have one.
    """
    vectors = area_vectors(triangles)
    normals = vectors / np.linalg.norm(vectors, axis=1, keepdims=True)
    largest = np.take_along_axis(normals, np.argmax(np.abs(normals) > 0.5, axis=1)[:, np.newaxis], axis=1)
    normals = normals if is_one_way else normals * np.sign(largest)
    distance = np.sum(normals * triangles.mean(axis=1), axis=1)
    planes = np.column_stack([normals, distance])
    _, first, of = np.unique(
        np.round(planes / COPLANAR).astype(np.int64), axis=0, return_index=True, return_inverse=True
    )
    return planes[first], of.reshape(-1)
