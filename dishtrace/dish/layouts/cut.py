"""Cuts pieces told in plan to outlines in the facets' own planes."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import form_matrix
from dishtrace.dish.layouts.plan import Cell, Laid, LayoutError, Piece
from dishtrace.dish.outline import Outline, polygon, rectangle

STRAY_M = 5e-5
"""Farthest that a straight edge of a cut may stray from the true one, which is curved on a curved facet. [m]"""
MOST_ROUNDS = 6


def lifted(plan: np.ndarray, axes: np.ndarray, quadric: np.ndarray) -> np.ndarray:
    """Places of a facet above places in plan, in its own frame.

    Parameters
    ----------
    plan : (k, 2) float64
        From the facet's middle, x and y of the dish frame. [m]
    axes : (3, 3) float64
        Rows u, v, w. [–]
    quadric : (6,) float64
        uu, vv, ww, uv, uw, vw of M. [1/m]

    Returns
    -------
    (k, 3) float64
        u, v, w; NaN where the facet's surface does not reach. [m]

    Notes
    -----
    With p0 the place in the horizontal plane and k the dish axis, both in the facet's frame, the place p0 + t k obeys
    p M p = w, a quadratic in t; the root that belongs to the sheet through the origin is taken in the form that does
    not cancel.
    """
    matrix = form_matrix(quadric)
    start, up = plan @ axes[:, :2].T, axes[:, 2]
    a = up @ matrix @ up
    b = up[2] - 2.0 * start @ matrix @ up
    c = np.einsum("ki,ij,kj->k", start, matrix, start) - start[:, 2]
    with np.errstate(invalid="ignore"):
        t = 2.0 * c / (b + np.sqrt(b * b - 4.0 * a * c))
    return start + t[:, np.newaxis] * up


def cut_pieces(laid: Laid, quadric: np.ndarray) -> tuple[Outline, ...]:
    """Outline of each facet in its own plane; pieces that are one object become one outline.

    Parameters
    ----------
    laid : Laid
        Facets touching the parent.
    quadric : (n, 6) float64
        Their surfaces. [1/m]
    """
    done: dict[int, Outline] = {}
    for i, piece in enumerate(laid.pieces):
        if id(piece) not in done:
            done[id(piece)] = _cut(piece, laid.axes[i], quadric[i], turn=laid.turn[i])
    return tuple(done[id(piece)] for piece in laid.pieces)


def _cut(piece: Piece, axes: np.ndarray, quadric: np.ndarray, *, turn: float) -> Outline:
    """Outline of one piece."""
    if isinstance(piece, Outline):
        return piece
    along, across = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    if isinstance(piece, Cell):
        return polygon(_cut_edges(piece.corners @ np.stack([along, across]), axes, quadric))
    ends = _lifted_or_refused(np.outer([piece.low, piece.high], along), axes, quadric)[:, 0]
    return rectangle((ends[1] - ends[0], piece.width), center=(0.5 * (ends[0] + ends[1]), 0.0))


def _cut_edges(corners: np.ndarray, axes: np.ndarray, quadric: np.ndarray) -> np.ndarray:
    """Corners in the facet's plane, with as many more along the edges as a curved facet needs, (m, 2)."""
    for _ in range(MOST_ROUNDS):
        places = _lifted_or_refused(corners, axes, quadric)[:, :2]
        middles = 0.5 * (corners + np.roll(corners, -1, axis=0))
        straight = 0.5 * (places + np.roll(places, -1, axis=0))
        stray = np.hypot(*(lifted(middles, axes, quadric)[:, :2] - straight).T)
        if not np.any(stray > STRAY_M):
            return places
        far = np.flatnonzero(stray > STRAY_M)
        corners = np.insert(corners, far + 1, middles[far], axis=0)
    return lifted(corners, axes, quadric)[:, :2]


def _lifted_or_refused(plan: np.ndarray, axes: np.ndarray, quadric: np.ndarray) -> np.ndarray:
    """Places of a facet above places in plan; a fault where its surface does not reach."""
    places = lifted(plan, axes, quadric)
    if np.isnan(places).any():
        raise LayoutError("radius_m", "is so small that the surface ends before the facet does")
    return places
