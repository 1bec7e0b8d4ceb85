"""Parallel strips across the outline."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.layouts.plan import Cell, Laid, LayoutError, Span, laid_out
from dishtrace.dish.outline import CIRCLE, ELLIPSE, Outline
from dishtrace.scene.facets import MOST_FACETS, Strips

SHORTEST_M = 1e-3
"""Strips shorter than this are left out. [m]"""


def laid_strips(table: Strips, outline: Outline, *, focal_length: float) -> Laid:
    """Strips from the low side on; one whose middle line meets the hole becomes two.

    Parameters
    ----------
    table : Strips
    outline : Outline
        Of the dish. [m]
    focal_length : float
        Focal length f. [m]

    Raises
    ------
    LayoutError
        If far too many strips would be needed.

    Notes
    -----
    Strips cut to fit have edges that are straight and parallel seen along the axis, so their cut pattern is curved.
    Straight ones are rectangles of their true width; beside the axis a bent straight strip leans towards the axis
    with its ends, so that it needs a gap. Both end where their middle line leaves the outline.
    """
    axis = 0 if table.along == "x" else 1
    offsets, widths = _offsets(table, outline, across=1 - axis)
    make = _straight if table.cut == "straight" else _fitted
    places, pieces = [], []
    for offset, width in zip(offsets, widths, strict=True):
        for low, high in chords(outline, along=axis, at=offset):
            half = 0.5 * (high - low) if table.length_m is None else 0.5 * table.length_m
            if half > 0.5 * SHORTEST_M:
                place = np.full(2, float(offset))
                place[axis] = 0.5 * (low + high)
                places.append(place)
                pieces.append(make(half, float(width)))
    turn = np.full(len(places), 0.5 * np.pi * axis)
    laid = laid_out(np.array(places), turn, pieces, focal_length=focal_length)
    return laid.with_axes(_strip_frames(laid, axis, focal_length))


def _fitted(half: float, width: float) -> Cell:
    """A strip that is a rectangle seen along the axis."""
    return Cell(np.array([[-half, -0.5 * width], [half, -0.5 * width], [half, 0.5 * width], [-half, 0.5 * width]]))


def _straight(half: float, width: float) -> Span:
    """A strip that is a rectangle in its own plane."""
    return Span(-half, half, width)


def _offsets(table: Strips, outline: Outline, *, across: int) -> tuple[np.ndarray, np.ndarray]:
    """Middle lines and widths of the strips."""
    low, high = outline.extent()[2 * across : 2 * across + 2]
    middle = outline.center[across]
    if isinstance(table.width_m, tuple):
        widths = np.array(table.width_m)
        edges = np.concatenate([[0.0], np.cumsum(widths + table.gap_m)])
        total = edges[-1] - table.gap_m
        return middle - 0.5 * total + edges[:-1] + 0.5 * widths, widths
    pitch = table.width_m + table.gap_m
    count = int(np.ceil(max(high - middle, middle - low) / pitch))
    if count > MOST_FACETS:
        raise LayoutError("width_m", f"makes more than {MOST_FACETS} facets", "wider ones are meant, or another unit")
    steps = np.arange(-count, count + 1)
    return middle + pitch * steps, np.full(len(steps), table.width_m)


def _strip_frames(laid: Laid, axis: int, focal_length: float) -> np.ndarray:
    """Tangent frames with v along the straight lines of a sheet bent along the strip, (n, 3, 3)."""
    across = np.array([0.0, 1.0]) if axis == 0 else np.array([-1.0, 0.0])
    slope = laid.center[:, :2] @ across / (2.0 * focal_length)
    v = np.column_stack([np.tile(across, (len(laid), 1)), slope]) / np.sqrt(1.0 + slope**2)[:, np.newaxis]
    w = laid.axes[:, 2]
    return np.stack([np.cross(v, w), v, w], axis=1)


def chords(outline: Outline, *, along: int, at: float) -> list[tuple[float, float]]:
    """Pieces of a line along x or y that lie inside an outline, holes left out.

    Parameters
    ----------
    outline : Outline
    along : int
        0 for a line along x, 1 along y.
    at : float
        Its place on the other axis. [m]

    Returns
    -------
    list of (float, float)
        Ends along the line, from low to high. [m]
    """
    if outline.kind == CIRCLE:
        middle, distance = outline.params[along], at - outline.params[1 - along]
        half, hole = (np.sqrt(max(0.0, r * r - distance * distance)) for r in outline.params[2:4])
        if half == 0.0:
            return []
        if hole == 0.0:
            return [(middle - half, middle + half)]
        return [(middle - half, middle - hole), (middle + hole, middle + half)]
    if outline.kind == ELLIPSE:
        share = (at - outline.params[1 - along]) / outline.params[5 - along]
        half = outline.params[4 + along] * np.sqrt(max(0.0, 1.0 - share * share))
        return [(outline.params[along] - half, outline.params[along] + half)] if half > 0.0 else []
    return _polygon_chords(outline.corners(), along, at)


def _polygon_chords(corners: np.ndarray, along: int, at: float) -> list[tuple[float, float]]:
    """Pieces of a line inside a polygon, by even-odd counting of the sides it crosses."""
    p, q = corners[:, along], corners[:, 1 - along]
    p_next, q_next = np.roll(p, -1), np.roll(q, -1)
    crossed = (q > at) != (q_next > at)
    share = (at - q[crossed]) / (q_next[crossed] - q[crossed])
    found = np.sort(p[crossed] + share * (p_next[crossed] - p[crossed]))
    return list(zip(found[::2].tolist(), found[1::2].tolist(), strict=True))
