"""Concentric rings of tiles about the dish axis."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.layouts.petals import ring_radii
from dishtrace.dish.layouts.plan import Cell, Laid, LayoutError, Piece, are_inside, laid_out
from dishtrace.dish.outline import Outline, circle, rectangle
from dishtrace.scene.facets import MOST_FACETS, Rings


def laid_rings(table: Rings, outline: Outline, *, focal_length: float) -> Laid:
    """Tiles from the inside out, counter-clockwise from +x in each ring.

    Parameters
    ----------
    table : Rings
    outline : Outline
        Of the dish; tiles whose centre lies outside are left out. [m]
    focal_length : float
        Focal length f. [m]

    Raises
    ------
    LayoutError
        If rings or tiles do not fit.

    Notes
    -----
    A trapezium fills its part of the ring, seen along the axis: its inner edge touches the inner circle and its outer
    corners lie on the outer one, so that it never reaches into a neighbouring ring.
    """
    edges = ring_edges(table, outline)
    counts = _counts(table, edges)
    if sum(counts) > MOST_FACETS:
        raise LayoutError("size_m", f"makes more than {MOST_FACETS} facets", "larger ones are meant, or another unit")
    xy, azimuths, pieces = [], [], []
    for (inner, outer), count in zip(edges, counts, strict=True):
        middle, piece = _tile(table, inner, outer, count)
        azimuth = np.radians(table.turn_deg) + 2.0 * np.pi / count * np.arange(count)
        xy.append(middle * np.stack([np.cos(azimuth), np.sin(azimuth)], axis=-1))
        azimuths.append(azimuth)
        pieces += [piece] * count
    places, turn = np.concatenate(xy), np.concatenate(azimuths)
    inside = are_inside(outline, places)
    kept = [piece for piece, is_kept in zip(pieces, inside, strict=True) if is_kept]
    return laid_out(places[inside], turn[inside], kept, focal_length=focal_length)


def ring_edges(table: Rings, outline: Outline) -> list[tuple[float, float]]:
    """Inner and outer radius of each ring, the gaps between rings left out. [m]"""
    if table.radii_m is not None:
        radii, half = np.array(table.radii_m), 0.5 * table.gap_m
        inner = radii[:-1] + np.where(np.arange(len(radii) - 1) > 0, half, 0.0)
        outer = radii[1:] - np.where(np.arange(len(radii) - 1) < len(radii) - 2, half, 0.0)
        if np.any(outer <= inner + 1e-9):
            raise LayoutError("gap_m", "leaves nothing of a ring", "a smaller gap, or wider rings")
        return list(zip(inner, outer, strict=True))
    first, last = ring_radii(table, outline)
    if table.size_m is not None:
        return _edges_by_size(table, first, last)
    count = len(table.counts)
    depth = (last - first - (count - 1) * table.gap_m) / count
    if depth <= 0.0:
        raise LayoutError("gap_m", "leaves nothing of the rings", "a smaller gap, or fewer rings")
    starts = first + np.arange(count) * (depth + table.gap_m)
    return [(float(start), float(start + depth)) for start in starts]


def _edges_by_size(table: Rings, first: float, last: float) -> list[tuple[float, float]]:
    """As many rings as fit; a ring of rectangles begins beyond the corners of the ring before."""
    depth, around = _radial_around(table.size_m)
    edges = []
    start = first
    while start + depth <= last * (1.0 + 1e-12) and len(edges) <= MOST_FACETS:
        edges.append((start, start + depth))
        reach = np.hypot(start + depth, 0.5 * around) if table.shape == "square" else start + depth
        start = float(reach) + table.gap_m
    if not edges:
        raise LayoutError("size_m", f"is more than the {last - first:.4g} m between the first ring's edge and the rim")
    return edges


def _radial_around(size: float | tuple[float, float]) -> tuple[float, float]:
    return size if isinstance(size, tuple) else (size, size)


def _counts(table: Rings, edges: list[tuple[float, float]]) -> list[int]:
    """Number of tiles in each ring: as given, else trapezia as near as may be to the size, others as many as fit."""
    if table.counts is not None:
        if len(table.counts) != len(edges):
            raise LayoutError("counts", f"must have {len(edges)} numbers, one for each ring")
        return list(table.counts)
    wanted = _radial_around(table.size_m)[1] + table.gap_m
    if table.shape == "trapezium":
        return [max(3, round(np.pi * (inner + outer) / wanted)) for inner, outer in edges]
    counts = []
    for inner, outer in edges:
        nearest = _nearest_edge(table, inner, outer)
        if table.shape == "circle":
            half = np.arcsin(min(1.0, 0.5 * wanted / nearest))
        else:
            half = np.arctan2(0.5 * wanted, nearest)
        counts.append(max(2, int(np.floor(np.pi / half + 1e-9))))
    return counts


def _nearest_edge(table: Rings, inner: float, outer: float) -> float:
    """Radius at which neighbours come closest: a circle's centre, else a tile's inner edge. [m]"""
    middle = 0.5 * (inner + outer)
    return middle if table.shape == "circle" else middle - 0.5 * _radial_around(table.size_m)[0]


def _tile(table: Rings, inner: float, outer: float, count: int) -> tuple[float, Piece]:
    """Radius of the centre of a ring's tiles, and what they are cut to."""
    middle = 0.5 * (inner + outer)
    if table.shape == "circle":
        return middle, circle(0.5 * table.size_m)
    if table.shape == "square":
        return middle, rectangle(_radial_around(table.size_m))
    if count < 3:
        raise LayoutError("counts", "must be at least 3 in each ring of trapezia")
    return middle, Cell(trapezium_cell(inner, outer, count=count, gap=table.gap_m) - [middle, 0.0])


def trapezium_cell(inner: float, outer: float, *, count: int, gap: float) -> np.ndarray:
    """Corners of one of the trapezia of a ring, along and square to its middle line, from the axis. [m]

    Raises
    ------
    LayoutError
        If the gap leaves nothing.
    """
    half_angle, shift = np.pi / count, 0.5 * gap
    tip = shift / np.sin(half_angle)
    far = half_angle - np.arcsin(min(1.0, shift / outer))
    top = outer * np.cos(far)
    start = max(inner, tip)
    if top <= start:
        raise LayoutError("counts", f"leaves nothing of a tile of the ring {inner:.4g} to {outer:.4g}", "more tiles")
    side = outer * np.sin(far)
    bottom = start * np.tan(half_angle) - shift / np.cos(half_angle)
    low = [[start, 0.0]] if tip >= inner else [[start, bottom], [start, -bottom]]
    return np.array([[top, -side], [top, side], *low])
