"""A smooth measured surface as many small patches, each a quadric that follows it to second order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets, six_numbers
from dishtrace.dish.layouts.cut import lifted
from dishtrace.dish.layouts.overlap import outline_polygon
from dishtrace.dish.layouts.plan import LayoutError, turned_frames
from dishtrace.dish.outline import POLYGON, Outline, polygon
from dishtrace.dish.smooth_surface import SmoothSurface
from dishtrace.vec import normalise

if TYPE_CHECKING:
    import shapely

SLOPE_BOUND = 2e-4
"""The patches' normals stray no farther than this from the fit, at the corners of the worst of them: a twentieth of the
sun's radius. The distance along the axis is then below the bound times a third of a patch's side. [rad]"""
CRACK_SHARE = 1e-4
"""Share of the aperture that may be lost in cracks between patches, whose edges are straight in their planes. [–]"""
MOST_PATCHES = 20_000
LEAST_ACROSS, MOST_ACROSS = 8, 120
"""Least and most patches across the dish when their size is chosen here. [–]"""
_SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
SMALLEST_SHARE = 1e-6
"""Clippings smaller than this share of a patch are left out. [–]"""


@dataclass(frozen=True)
class PatchErrors:
    """How far patches stray from the fit.

    Parameters
    ----------
    side : float
        Side of the patches. [m]
    slope : float
        Largest angle between the normals. [rad]
    height : float
        Largest distance along the axis. [m]
    cracks : float
        Share of the aperture between the patches, (side times curvature)^2 / 8 where the curvature is largest. [–]
    """

    side: float
    slope: float
    height: float
    cracks: float

    @property
    def is_within(self) -> bool:
        """Whether normals and cracks are within their bounds."""
        return self.slope <= SLOPE_BOUND and self.cracks <= CRACK_SHARE


def patches_of(surface: SmoothSurface, outline: Outline, *, side: float | None, slope: float) -> Facets:
    """Patches of a smooth surface: a grid of squares in plan, clipped at the outline and its hole.

    Parameters
    ----------
    surface : SmoothSurface
        Over the plane of the outline.
    outline : Outline
        [m]
    side : float or None
        Side of the patches; None: as large as keeps normals and cracks within `SLOPE_BOUND` and `CRACK_SHARE`. [m]
    slope : float
        Slope error per axis. [rad]

    Raises
    ------
    LayoutError
        If the patches would be too many.
    """
    side = chosen_side(surface, outline) if side is None else side
    middles, cells = _clipped_cells(outline, side)
    origin, axes, quadric = patch_frames(surface, middles)
    outlines = [
        _outline(lifted(cell - middle, axes[i], quadric[i])[:, :2])
        for i, (cell, middle) in enumerate(zip(cells, middles, strict=True))
    ]
    n = len(middles)
    return Facets(
        number=np.arange(1, n + 1),
        origin=origin,
        axes=axes,
        quadric=quadric,
        outlines=tuple(outlines),
        slope=np.full(n, slope),
        brightness=np.ones(n),
    )


def patch_frames(surface: SmoothSurface, middles: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Origins, frames and second-order forms of patches about places in plan.

    With g the slopes and H the curvatures of the fit at the middle, z = z0 + g d + d H d / 2 is, in the frame that
    touches it, p M p = w with M = A H A^T / (2 |(g, -1)|), A the part of the frame that lies in plan.
    """
    origin = np.column_stack([middles, surface.height(middles)])
    gradient, curvature = surface.gradient(middles), surface.curvature(middles)
    normals = np.column_stack([-gradient, np.ones(len(middles))])
    steepness = np.linalg.norm(normals, axis=1)
    axes = turned_frames(normalise(normals), np.zeros(len(middles)))
    plan = axes[:, :, :2]
    matrix = plan @ curvature @ plan.transpose(0, 2, 1) / (2.0 * steepness[:, np.newaxis, np.newaxis])
    return origin, axes, six_numbers(matrix)


def chosen_side(surface: SmoothSurface, outline: Outline, *, least: int = LEAST_ACROSS) -> float:
    """Largest side of patches that keeps normals and cracks within bounds, `least` to 120 patches across. [m]"""
    across = least
    while across < MOST_ACROSS and not patch_errors(surface, outline, outline.span / across).is_within:
        across = min(MOST_ACROSS, int(np.ceil(1.25 * across)))
    return outline.span / across


def patch_errors(surface: SmoothSurface, outline: Outline, side: float) -> PatchErrors:
    """How far patches of a side stray from the fit at their corners, where they stray most.

    Parameters
    ----------
    surface : SmoothSurface
    outline : Outline
        Of the dish. [m]
    side : float
        [m]
    """
    middles = _middles(outline, side)
    inside = outline.contains(middles)
    middles = middles[inside] if inside.any() else middles
    gradient, curvature, height = surface.gradient(middles), surface.curvature(middles), surface.height(middles)
    slope = rise = 0.0
    for corner in 0.5 * side * _SQUARE:
        bent = np.einsum("nij,j->ni", curvature, corner)
        at = middles + corner
        slope = max(slope, float(np.linalg.norm(surface.gradient(at) - gradient - bent, axis=1).max()))
        there = height + gradient @ corner + 0.5 * bent @ corner
        rise = max(rise, float(np.abs(surface.height(at) - there).max()))
    steepest = float(np.linalg.norm(curvature, ord=2, axis=(1, 2)).max())
    return PatchErrors(side, slope, rise, (side * steepest) ** 2 / 8.0)


def _middles(outline: Outline, side: float) -> np.ndarray:
    """Middles of the squares that hold the outline, (n, 2). [m]"""
    x0, x1, y0, y1 = outline.extent()
    n_x, n_y = (max(1, int(np.ceil(width / side - 1e-9))) for width in (x1 - x0, y1 - y0))
    if n_x * n_y > 2 * MOST_PATCHES:
        raise LayoutError("patch_m", f"makes more than {MOST_PATCHES} patches", "larger ones are fine enough")
    x = 0.5 * (x0 + x1) + side * (np.arange(n_x) - 0.5 * (n_x - 1))
    y = 0.5 * (y0 + y1) + side * (np.arange(n_y) - 0.5 * (n_y - 1))
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _clipped_cells(outline: Outline, side: float) -> tuple[np.ndarray, list[np.ndarray]]:
    """Squares clipped at the outline: their middles, and corners of each piece, counter-clockwise. [m]"""
    import shapely

    middles = _middles(outline, side)
    half = 0.5 * side
    squares = shapely.box(*(middles - half).T, *(middles + half).T)
    dish = outline_polygon(outline)
    shapely.prepare(dish)
    kept, cells = [], []
    meets = shapely.intersects(dish, squares)
    whole = shapely.covers(dish, squares)
    for place in np.flatnonzero(meets):
        middle, square = middles[place], squares[place]
        if whole[place]:
            kept.append(middle)
            cells.append(middle + half * _SQUARE)
            continue
        for piece in _pieces(square, dish):
            if piece.area > SMALLEST_SHARE * side * side:
                kept.append(middle)
                cells.append(shapely.get_coordinates(piece.exterior)[:-1])
    return np.array(kept), cells


def _pieces(square: shapely.Polygon, dish: shapely.Polygon) -> list[shapely.Polygon]:
    """Simple pieces of a square inside the dish; one with a hole in it is parted along y through the hole."""
    import shapely

    pieces = [piece for piece in shapely.get_parts(square.intersection(dish)) if piece.geom_type == "Polygon"]
    simple = []
    for piece in pieces:
        if not piece.interiors:
            simple.append(piece)
            continue
        x0, y0, x1, y1 = piece.bounds
        at = piece.interiors[0].centroid.x
        for half in (shapely.box(x0, y0, at, y1), shapely.box(at, y0, x1, y1)):
            simple += _pieces(half, piece)
    return simple


def _outline(corners: np.ndarray) -> Outline:
    """Outline of a piece; the four-sided ones, nearly all, are put together here since that is much faster."""
    if len(corners) != 4:
        return polygon(corners)
    triangles = corners[[[0, 1, 2], [0, 2, 3]]]
    sides = triangles[:, 1:] - triangles[:, :1]
    doubled = sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]
    if np.any(doubled <= 0.0):
        return polygon(corners)
    return Outline(POLYGON, np.zeros(8), corners, triangles, np.cumsum(doubled) / doubled.sum())
