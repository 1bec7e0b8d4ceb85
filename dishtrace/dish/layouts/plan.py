"""Facets as a layout lays them out: places, tangent frames and pieces, before they are cut, curved and aimed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height, normal

NEAR = 1e-9
"""Share of its distance from the outline's middle by which a centre may miss the border. [–]"""


class LayoutError(ValueError):
    """A layout that cannot be; the text ends the sentence that starts with the key at fault.

    Parameters
    ----------
    key : str
        Key of [dish.facets] at fault.
    allowed : str
        What is wrong, as the end of that sentence.
    remedy : str
        What to do about it.
    """

    def __init__(self, key: str, allowed: str, remedy: str = "") -> None:
        super().__init__(allowed)
        self.key = key
        self.remedy = remedy


@dataclass(frozen=True, eq=False)
class Cell:
    """A piece told by its corners in plan, to be cut so that its edges stand above them.

    Parameters
    ----------
    corners : (k, 2) float64
        From the facet's middle, along and square to its turn, counter-clockwise, seen along the axis. [m]
    """

    corners: np.ndarray


@dataclass(frozen=True, eq=False)
class Span:
    """A straight piece between two places in plan, of a true width.

    Parameters
    ----------
    low, high : float
        Its ends, from its middle along its turn, seen along the axis. [m]
    width : float
        True width, square to its turn. [m]
    """

    low: float
    high: float
    width: float


Piece = Outline | Cell | Span


@dataclass(frozen=True, eq=False)
class Laid:
    """Facets of a layout in their nominal places, touching the parent paraboloid.

    Parameters
    ----------
    number : (n,) int64
        Numbers by which the user knows them.
    center : (n, 3) float64
        Middles, dish frame. [m]
    axes : (n, 3, 3) float64
        Rows u, v, w; w is the parent's normal above (x, y). [–]
    turn : (n,) float64
        Angle in plan from x to the direction along which a piece is told. [rad]
    radial : (n, 2) float64
        Unit vectors in plan away from the axis; along the facet's turn at the axis itself. [–]
    pieces : tuple of Outline, Cell or Span
        What each facet is cut to; facets that are cut alike share one object. A Cell or Span may only be shared
        by facets that a turn about the dish axis takes into each other.
    """

    number: np.ndarray
    center: np.ndarray
    axes: np.ndarray
    turn: np.ndarray
    radial: np.ndarray
    pieces: tuple[Piece, ...]

    def __len__(self) -> int:
        return len(self.number)

    def with_axes(self, axes: np.ndarray) -> Laid:
        """The same facets in other frames."""
        return replace(self, axes=axes)


def laid_out(
    xy: np.ndarray,
    turn: np.ndarray,
    pieces: Sequence[Piece],
    *,
    focal_length: float,
    number: np.ndarray | None = None,
    z: np.ndarray | None = None,
) -> Laid:
    """Facets at places in plan, on the parent paraboloid and touching it.

    Parameters
    ----------
    xy : (n, 2) float64
        Their middles seen along the axis. [m]
    turn : (n,) float64
        Angle in plan from x to each facet's u before it is tilted. [rad]
    pieces : sequence of Outline, Cell or Span
        What each is cut to.
    focal_length : float
        Focal length f. [m]
    number : (n,) int64, optional
        Left out: 1 to n.
    z : (n,) float64, optional
        Heights; NaN or left out: on the parent. [m]
    """
    xy = np.asarray(xy, dtype=float).reshape(-1, 2)
    on_parent = height(xy[:, 0], xy[:, 1], focal_length=focal_length)
    z = on_parent if z is None else np.where(np.isnan(z), on_parent, z)
    radius = np.hypot(xy[:, 0], xy[:, 1])
    along = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    far = radius > 0.0
    radial = np.where(far[:, np.newaxis], xy / np.where(far, radius, 1.0)[:, np.newaxis], along)
    normals = normal(xy[:, 0], xy[:, 1], focal_length=focal_length)
    return Laid(
        number=np.arange(1, len(xy) + 1) if number is None else np.asarray(number),
        center=np.column_stack([xy, z]),
        axes=turned_frames(normals, np.asarray(turn, dtype=float)),
        turn=np.asarray(turn, dtype=float),
        radial=radial,
        pieces=tuple(pieces),
    )


def are_inside(outline: Outline, xy: np.ndarray) -> np.ndarray:
    """Whether facets' centres lie inside the dish's outline and outside its hole, borders included.

    Parameters
    ----------
    outline : Outline
        Of the dish. [m]
    xy : (n, 2) float64
        Seen along the axis. [m]

    Returns
    -------
    (n,) bool
        A place within a billionth of its distance from a border counts as on it, so that rounding decides nothing.
    """
    offset = xy - outline.center
    shares = (1.0, 1.0 - NEAR, 1.0 + NEAR)
    return np.any([outline.contains(outline.center + share * offset) for share in shares], axis=0)


def rotations_to(normals: np.ndarray) -> np.ndarray:
    """Smallest rotations that take +z to unit vectors above the horizontal.

    Parameters
    ----------
    normals : (n, 3) float64
        Unit vectors with z > -1. [–]

    Returns
    -------
    (n, 3, 3) float64
        For column vectors. [–]
    """
    x, y, z = normals.T
    c = 1.0 / (1.0 + z)
    rows = [[1.0 - c * x * x, -c * x * y, x], [-c * x * y, 1.0 - c * y * y, y], [-x, -y, z]]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)


def turned_frames(normals: np.ndarray, turn: np.ndarray) -> np.ndarray:
    """Frames turned in the horizontal, then tilted by the smallest rotation that takes +z to their normals.

    Parameters
    ----------
    normals : (n, 3) float64
        Unit vectors. [–]
    turn : (n,) float64
        Angles from x to u before the tilt. [rad]

    Returns
    -------
    (n, 3, 3) float64
        Rows u, v, w. [–]
    """
    c, s, zero, one = np.cos(turn), np.sin(turn), np.zeros(len(turn)), np.ones(len(turn))
    rows = [[c, s, zero], [-s, c, zero], [zero, zero, one]]
    flat = np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
    return flat @ rotations_to(normals).transpose(0, 2, 1)
