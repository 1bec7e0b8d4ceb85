"""What facets look like along the dish axis, and where they overlap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import CIRCLE, ELLIPSE, Outline

if TYPE_CHECKING:
    import shapely

TOLERANCE_M = 5e-4
TOLERANCE_SHARE = 0.01
"""Facets may overlap in plan by the larger of 0.5 mm and this share of the narrower one's width: touching flat tiles of
different tilt cover each other's corners by as much. [m, –]"""
ROUND_STEPS = 96
"""Corners by which round outlines are told. [–]"""
CURVED_STEPS = 32
"""Least corners of an outline of a curved facet, whose edges look curved from above. [–]"""


@dataclass(frozen=True)
class Overlap:
    """Two facets that overlap in plan.

    Parameters
    ----------
    first, second : int
        Places of the two.
    depth : float
        Width of what both cover. [m]
    area : float
        What both cover. [m2]
    """

    first: int
    second: int
    depth: float
    area: float


def footprints(facets: Facets) -> np.ndarray:
    """Polygons that the facets cover, seen along the dish axis, (n,) of shapely polygons."""
    import shapely

    found = np.empty(len(facets), dtype=object)
    for members, outline in facets.by_outline():
        rim = _rim(outline, is_curved=bool(np.any(facets.quadric[members])))
        found[members] = shapely.polygons(facets.surface(members, rim)[0][:, :, :2])
    return found


def _rim(outline: Outline, *, is_curved: bool) -> np.ndarray:
    """Corners that tell an outline, the first repeated at the end, (k, 2)."""
    if outline.kind in (CIRCLE, ELLIPSE):
        return outline.boundary(ROUND_STEPS)
    corners = outline.corners()
    return outline.boundary(max(CURVED_STEPS, len(corners))) if is_curved else np.vstack([corners, corners[:1]])


def overlaps(shapes: np.ndarray) -> list[Overlap]:
    """Pairs of facets that overlap in plan beyond the tolerance, the deepest first.

    Parameters
    ----------
    shapes : (n,) of shapely polygons
        Of the facets. The depth of an overlap is the short side of the smallest box, turned as may be, around what
        both cover.
    """
    import shapely

    first, second, common = shared_areas(shapes)
    depth = _short_sides(common)
    deep = np.flatnonzero(depth > TOLERANCE_M)
    narrower = np.minimum(_short_sides(shapes[first[deep]]), _short_sides(shapes[second[deep]]))
    deep = deep[depth[deep] > TOLERANCE_SHARE * narrower]
    return [
        Overlap(int(first[k]), int(second[k]), float(depth[k]), float(shapely.area(common[k])))
        for k in deep[np.argsort(-depth[deep], kind="stable")]
    ]


def shared_areas(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of shapes that share an area: places of the first and the second of each pair, and what they share."""
    import shapely

    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    first, second = first[first < second], second[first < second]
    common = shapely.intersection(shapes[first], shapes[second])
    has_area = shapely.area(common) > 0.0
    return first[has_area], second[has_area], common[has_area]


def _short_sides(shapes: np.ndarray) -> np.ndarray:
    """Short sides of the smallest boxes, turned as may be, around shapes with an area, (n,). [m]"""
    import shapely

    sides = np.zeros(len(shapes))
    for k, box in enumerate(shapely.oriented_envelope(shapes)):
        corners = shapely.get_coordinates(box)
        sides[k] = np.hypot(*np.diff(corners[:3], axis=0).T).min()
    return sides


def outline_polygon(outline: Outline) -> shapely.Polygon:
    """A dish outline without its hole; round ones by chords that keep their area."""
    import shapely

    if outline.kind not in (CIRCLE, ELLIPSE):
        return shapely.Polygon(outline.corners())
    steps = 2048
    swell = np.sqrt(2.0 * np.pi / steps / np.sin(2.0 * np.pi / steps))
    rim = outline.center + swell * (outline.boundary(steps) - outline.center)
    hole = outline.hole_radius / outline.params[2] if outline.hole_radius > 0.0 else 0.0
    return shapely.Polygon(rim, [outline.center + hole * (rim - outline.center)] if hole else [])
