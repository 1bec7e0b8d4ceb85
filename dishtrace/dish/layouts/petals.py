"""Petals: gores about the dish axis between two radii."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.layouts.plan import Cell, Laid, LayoutError, are_inside, laid_out
from dishtrace.dish.outline import Outline
from dishtrace.scene.facets import Petals, Rings

SAGITTA_M = 2e-4
"""Farthest that the chords of a petal's arcs may lie inside its outer circle or outside its inner one. [m]"""
MOST_CHORDS = 128


def laid_petals(table: Petals, outline: Outline, *, focal_length: float) -> Laid:
    """Petals counter-clockwise from +x, each a gore whose straight sides are half a gap from the radii between petals.

    Parameters
    ----------
    table : Petals
    outline : Outline
        Of the dish; petals whose centre lies outside are left out. [m]
    focal_length : float
        Focal length f. [m]

    Raises
    ------
    LayoutError
        If the petals end before they begin, or the gap leaves nothing of them.

    Notes
    -----
    A petal's centre lies on its middle line, half-way between the two radii. Its arcs are chords: the outer ones have
    their corners on the outer circle, the inner ones touch the inner circle, so no petal leaves its ring.
    """
    inner, outer = ring_radii(table, outline)
    half_angle = np.pi / table.count
    middle, corners = gore(inner, outer, half_angle=half_angle, gap=table.gap_m)
    azimuth = np.radians(table.turn_deg) + 2.0 * half_angle * np.arange(table.count)
    xy = middle * np.stack([np.cos(azimuth), np.sin(azimuth)], axis=-1)
    inside = are_inside(outline, xy)
    piece = Cell(corners - [middle, 0.0])
    return laid_out(xy[inside], azimuth[inside], (piece,) * int(inside.sum()), focal_length=focal_length)


def ring_radii(table: Petals | Rings, outline: Outline) -> tuple[float, float]:
    """Inner and outer radius about the dish axis: as given, else where the outline's mirror begins and ends. [m]"""
    inner = outline.smallest_radius if table.inner_radius_m is None else table.inner_radius_m
    outer = outline.largest_radius if table.outer_radius_m is None else table.outer_radius_m
    if inner >= outer:
        key = "inner_radius_m" if table.inner_radius_m is not None else "outer_radius_m"
        raise LayoutError(key, f"leaves nothing between {inner:.4g} and {outer:.4g} (metres)")
    return inner, outer


def gore(inner: float, outer: float, *, half_angle: float, gap: float) -> tuple[float, np.ndarray]:
    """Middle and corners of a gore, seen along the axis.

    Parameters
    ----------
    inner, outer : float
        Radii, 0 <= inner < outer. [m]
    half_angle : float
        From its middle line to the middle of the gap beside it, below pi / 2. [rad]
    gap : float
        Distance between the sides of neighbours. [m]

    Returns
    -------
    middle : float
        Radius of its centre. [m]
    corners : (k, 2) float64
        Along and square to its middle line, from the axis, counter-clockwise. [m]

    Raises
    ------
    LayoutError
        If the gap leaves nothing.
    """
    shift = 0.5 * gap
    tip = shift / np.sin(half_angle)
    if tip >= outer:
        width = 2.0 * outer * np.sin(half_angle)
        raise LayoutError("gap_m", f"leaves nothing of petals {width:.4g} m wide", "a smaller gap, or fewer petals")
    far = half_angle - np.arcsin(shift / outer)
    arc = np.linspace(-far, far, _chords(outer, far) + 1)
    rim = outer * np.stack([np.cos(arc), np.sin(arc)], axis=-1)
    near = [[tip, 0.0]] if tip >= inner else _inner_corners(inner, half_angle, shift)
    return 0.5 * (inner + outer), np.concatenate([rim, near])


def _inner_corners(inner: float, half_angle: float, shift: float) -> np.ndarray:
    """Corners of the inner edge, whose chords touch the inner circle from outside, from +angle to -angle."""
    reach = half_angle - np.arcsin(shift / inner)
    chords = _chords(inner, reach)
    touch = np.linspace(reach, -reach, 2 * chords + 1)[1::2]
    between = 0.5 * (touch[:-1] + touch[1:])
    corners = inner / np.cos(0.5 * (touch[0] - touch[-1]) / max(len(touch) - 1, 1)) * _unit(between)
    first = _on_side(inner, touch[0], half_angle, shift)
    return np.concatenate([[first], corners, [first * [1.0, -1.0]]])


def _on_side(inner: float, touch: float, half_angle: float, shift: float) -> np.ndarray:
    """Where the line that touches the inner circle at an angle meets the side."""
    lines = np.array([_unit(touch), [-np.sin(half_angle), np.cos(half_angle)]])
    return np.linalg.solve(lines, [inner, -shift])


def _unit(angle: np.ndarray | float) -> np.ndarray:
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def _chords(radius: float, reach: float) -> int:
    """Number of chords of an arc over twice an angle, so that none leaves it by more than SAGITTA_M."""
    step = 2.0 * np.arccos(max(1.0 - SAGITTA_M / radius, -1.0))
    return int(np.clip(np.ceil(2.0 * reach / step), 1, MOST_CHORDS))
