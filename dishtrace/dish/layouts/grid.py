"""Square and hexagonal grids."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.layouts.plan import Laid, LayoutError, are_inside, laid_out
from dishtrace.dish.outline import Outline, circle, polygon, rectangle
from dishtrace.scene.facets import MOST_FACETS, HexGrid, SquareGrid


def laid_square(table: SquareGrid, outline: Outline, *, focal_length: float) -> Laid:
    """Facets in rows and columns, a node at the outline's centre (of a polygon, its centroid).

    They are numbered row by row from low y, along x, before the grid is turned.

    Parameters
    ----------
    table : SquareGrid
    outline : Outline
        Of the dish. [m]
    focal_length : float
        Focal length f. [m]

    Raises
    ------
    LayoutError
        If no facet's centre lies inside the outline, or far too many do.
    """
    steps = np.diag(_pitch_of_squares(table))
    return _laid(table, outline, _square_piece(table), steps=steps, focal_length=focal_length)


def laid_hexagonal(table: HexGrid, outline: Outline, *, focal_length: float) -> Laid:
    """Facets like a honeycomb, rows along x, a node at the outline's centre; numbered as square ones."""
    gap = table.gap_m or 0.0
    pitch = table.pitch_m if table.pitch_m is not None else table.size_m + gap
    steps = pitch * np.array([[1.0, 0.0], [0.5, np.sqrt(0.75)]])
    return _laid(table, outline, _hexagonal_piece(table), steps=steps, focal_length=focal_length)


def _pitch_of_squares(table: SquareGrid) -> tuple[float, float]:
    if table.pitch_m is not None:
        return _pair(table.pitch_m)
    gap = table.gap_m or 0.0
    x, y = _pair(table.size_m)
    return x + gap, y + gap


def _pair(size: float | tuple[float, float]) -> tuple[float, float]:
    return size if isinstance(size, tuple) else (size, size)


def _square_piece(table: SquareGrid) -> Outline:
    if table.shape == "polygon":
        return polygon_piece(table.vertices_m)
    return circle(0.5 * table.size_m) if table.shape == "circle" else rectangle(_pair(table.size_m))


def _hexagonal_piece(table: HexGrid) -> Outline:
    if table.shape == "polygon":
        return polygon_piece(table.vertices_m)
    return circle(0.5 * table.size_m) if table.shape == "circle" else hexagon(table.size_m)


def hexagon(width: float) -> Outline:
    """Regular hexagon of a width across its flats, two of which face along u. [m]"""
    angle = np.radians(30.0 + 60.0 * np.arange(6))
    return polygon(width / np.sqrt(3.0) * np.stack([np.cos(angle), np.sin(angle)], axis=-1))


def polygon_piece(vertices: tuple[tuple[float, float], ...]) -> Outline:
    """A facet's polygon, or a fault at vertices_m."""
    try:
        return polygon(np.array(vertices))
    except ValueError as error:
        raise LayoutError("vertices_m", str(error), "list the corners in order around the facet") from None


def _laid(
    table: SquareGrid | HexGrid, outline: Outline, piece: Outline, *, steps: np.ndarray, focal_length: float
) -> Laid:
    """Facets at the nodes of a lattice, (2, 2) steps, that lie inside the outline."""
    x0, x1, y0, y1 = outline.extent()
    cell = abs(np.linalg.det(steps))
    if (x1 - x0) * (y1 - y0) / cell > 4 * MOST_FACETS:
        key = "pitch_m" if table.pitch_m is not None else "size_m"
        raise LayoutError(key, f"makes more than {MOST_FACETS} facets", "larger ones are meant, or another unit")
    turn = np.radians(table.turn_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    middle = outline.center
    reach = np.hypot(max(x1 - middle[0], middle[0] - x0), max(y1 - middle[1], middle[1] - y0))
    nodes = _nodes(steps, reach) @ rotation + middle
    xy = nodes[are_inside(outline, nodes)]
    return laid_out(xy, np.full(len(xy), turn), (piece,) * len(xy), focal_length=focal_length)


def _nodes(steps: np.ndarray, reach: float) -> np.ndarray:
    """Nodes of a lattice about the origin out to a distance, row by row from low y, along x, (n, 2)."""
    columns, rows = (int(np.ceil(reach / steps[k, k])) for k in (0, 1))
    lean = steps[1, 0] / steps[0, 0]
    found = []
    for row in range(-rows, rows + 1):
        shift = int(np.round(row * lean))
        i = np.arange(-columns, columns + 1) - shift
        found.append(np.stack([i * steps[0, 0] + row * steps[1, 0], np.full(len(i), row * steps[1, 1])], axis=-1))
    return np.concatenate(found)
