"""What to cut out of flat sheet: facets as they are, and sheets bent in one direction unrolled without error.

A quadric p M p = w is a cylinder when a direction d in its u-v plane has M d = 0: sliding along d leaves it unchanged.
Across d it is a conic, a circle or a parabola as a rule; its arc length and the way along d are the unrolled places. A
surface without such a direction cannot be laid flat.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import CIRCLE, ELLIPSE, Outline

FLAT_PER_M = 1e-12
"""Curvature below which a surface is flat [1/m]."""
DEVELOPABLE_SHARE = 1e-9
"""Curvature along the rulings, as a share of that across, below which a surface is a cylinder [–]."""
ROUND_STEPS = 1024
"""Corners of the polygon of equal area that stands for a bent circle or ellipse [–]."""
AREA_SHARE = 5e-9
"""Area of a piece that straight steps may cut off a curved edge [–]."""
ALIKE_M = 1e-6
"""Difference below which pieces are cut alike [m]."""
AREA_CELL_M2 = 1e-5
"""Step of area by which like pieces are found; more than a micrometre around the largest makes [m2]."""
MOST_STEPS = 2000
"""Straight steps of an edge at most [–]."""
PANELS, NODES = 8, 12
"""Gauss panels and nodes of an arc length; the conics of mirrors need a fraction of them [–]."""


@dataclass(frozen=True)
class Bend:
    """How a cylinder is bent.

    Parameters
    ----------
    angle : float
        From u to the direction across the rulings, along which the sheet is bent; 0 for a flat one. [rad]
    ss, sw, ww : float
        The conic ss s^2 + 2 sw s w + ww w^2 = w over the way s along that direction. [1/m]
    """

    angle: float
    ss: float
    sw: float
    ww: float

    @property
    def is_flat(self) -> bool:
        """Whether the sheet is not bent at all."""
        return self.ss == 0.0

    def radius(self) -> float:
        """Radius of curvature at the origin; infinite for a flat sheet. [m]"""
        return np.inf if self.is_flat else 0.5 / abs(self.ss)

    def height(self, s: np.ndarray) -> np.ndarray:
        """Height w of the conic over s. [m]"""
        q, b = self.ss * s * s, 1.0 - 2.0 * self.sw * s
        return 2.0 * q / (b + np.sqrt(b * b - 4.0 * self.ww * q))

    def slope(self, s: np.ndarray) -> np.ndarray:
        """dw/ds. [–]"""
        w = self.height(s)
        return 2.0 * (self.ss * s + self.sw * w) / (1.0 - 2.0 * self.sw * s - 2.0 * self.ww * w)

    def arc(self, s: np.ndarray) -> np.ndarray:
        """Length along the sheet from the origin, with the sign of s, by Gauss quadrature. [m]"""
        s = np.asarray(s, dtype=float)
        if self.is_flat:
            return s.copy()
        nodes, weights = np.polynomial.legendre.leggauss(NODES)
        x = ((np.arange(PANELS)[:, np.newaxis] + 0.5 * (nodes + 1.0)) / PANELS).ravel()
        w = np.tile(0.5 * weights / PANELS, PANELS)
        return s * (np.sqrt(1.0 + self.slope(s[..., np.newaxis] * x) ** 2) @ w)

    def unrolled(self, uv: np.ndarray) -> np.ndarray:
        """Places (k, 2) of the facet's plane on the sheet laid flat: along the bend, along the rulings. [m]"""
        c, s = np.cos(self.angle), np.sin(self.angle)
        across, along = uv @ np.array([c, s]), uv @ np.array([-s, c])
        return np.column_stack([self.arc(across), along])


@dataclass(frozen=True, eq=False)
class Pattern:
    """A piece of flat sheet, seen from its mirror side.

    Parameters
    ----------
    rings : tuple of (k, 2) float64
        Its rim, counter-clockwise, and a hole if it has one; the first point is not repeated. [m]
    bend : Bend
        How it is bent afterwards; x of the rings runs along the bend.
    semi_axes : tuple of float or None
        Of a flat circle or ellipse, whose `rings` only stand for it. [m]
    center : (2,) float64
        Of that circle or ellipse, and the place of the facet's origin. [m]
    hole_radius : float
        Of a flat circle's hole. [m]
    """

    rings: tuple[np.ndarray, ...]
    bend: Bend
    semi_axes: tuple[float, float] | None
    center: np.ndarray
    hole_radius: float = 0.0

    @property
    def area(self) -> float:
        """Of the mirror cut out of it. [m2]"""
        if self.semi_axes is not None:
            return float(np.pi * (self.semi_axes[0] * self.semi_axes[1] - self.hole_radius**2))
        return ring_area(self.rings[0]) - sum(ring_area(ring) for ring in self.rings[1:])

    def is_like(self, other: Pattern) -> bool:
        """Whether the two are cut alike, to a micrometre, and bent alike, as they lie or turned half round."""
        return self._is_the_same(other) or self._is_the_same(other.turned())

    def turned(self) -> Pattern:
        """The same piece turned half round about the facet's origin."""
        bend = Bend(self.bend.angle, self.bend.ss, -self.bend.sw, self.bend.ww)
        return replace(self, rings=tuple(-ring for ring in self.rings), bend=bend, center=-self.center)

    def _is_the_same(self, other: Pattern) -> bool:
        """Whether the two are cut and bent alike as they lie."""
        if [len(ring) for ring in self.rings] != [len(ring) for ring in other.rings]:
            return False
        mine, its = (np.array([b.ss, b.sw, b.ww]) for b in (self.bend, other.bend))
        is_bent_alike = np.abs(mine - its).max() < ALIKE_M and (self.semi_axes is None) == (other.semi_axes is None)
        rings = zip(self.rings, other.rings, strict=True)
        return bool(is_bent_alike and all(_are_alike(one, another) for one, another in rings))


def _are_alike(one: np.ndarray, another: np.ndarray) -> bool:
    """Whether two rings (k, 2) have the same corners in the same order, wherever they start."""
    for start in np.flatnonzero(np.abs(another - one[0]).max(axis=1) < ALIKE_M):
        if np.abs(one - np.roll(another, -start, axis=0)).max() < ALIKE_M:
            return True
    return False


def ring_area(ring: np.ndarray) -> float:
    """Area of a polygon (k, 2), positive. [m2]"""
    x, y = ring.T
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))))


def bend_of(quadric: np.ndarray) -> Bend | None:
    """How a flat sheet becomes this surface.

    Parameters
    ----------
    quadric : (6,) float64
        uu, vv, ww, uv, uw, vw of M. [1/m]

    Returns
    -------
    Bend or None
        None for a surface that cannot be unrolled.
    """
    uu, vv, ww, uv, uw, vw = quadric
    values, vectors = np.linalg.eigh(np.array([[uu, uv], [uv, vv]]))
    if np.abs(values).max() <= FLAT_PER_M:
        return Bend(0.0, 0.0, 0.0, 0.0)
    across = int(np.argmax(np.abs(values)))
    e, d = vectors[:, across], vectors[:, 1 - across]
    scale = DEVELOPABLE_SHARE * abs(values[across])
    if abs(values[1 - across]) > scale or abs(d @ [uw, vw]) > scale:
        return None
    if e[0] < -1e-12 or (abs(e[0]) <= 1e-12 and e[1] < 0.0):
        e = -e
    return Bend(float(np.arctan2(e[1], e[0])), float(values[across]), float(e @ [uw, vw]), float(ww))


def pattern_of(facets: Facets, i: int) -> Pattern | None:
    """The flat piece that facet i is made from.

    Parameters
    ----------
    facets : Facets
        The mirror.
    i : int
        Place of the facet.

    Returns
    -------
    Pattern or None
        None for a surface that cannot be unrolled. Straight edges that bending makes curved in the flat are cut into
        steps that take off less than 5e-9 of the area each; bent circles become polygons of equal area.
    """
    bend, outline = bend_of(facets.quadric[i]), facets.outlines[i]
    if bend is None:
        return None
    if outline.kind in (CIRCLE, ELLIPSE):
        rings = _round_rings(outline)
        if bend.is_flat:
            a, b = (outline.params[2],) * 2 if outline.kind == CIRCLE else outline.params[4:6]
            return Pattern(rings, bend, (float(a), float(b)), outline.params[:2].copy(), outline.hole_radius)
        return Pattern(tuple(bend.unrolled(ring) for ring in rings), bend, None, np.zeros(2))
    vertices = outline.corners()
    if not bend.is_flat:
        tolerance = AREA_SHARE * outline.area
        ends = np.roll(vertices, -1, axis=0)
        vertices = np.vstack([_edge(bend, start, end, tolerance) for start, end in zip(vertices, ends, strict=True)])
    return Pattern((vertices.copy(),), bend, None, np.zeros(2))


def _edge(bend: Bend, start: np.ndarray, end: np.ndarray, tolerance: float) -> np.ndarray:
    """An edge in the flat, without its end: steps enough that what they cut off stays below an area. [m]"""
    line = bend.unrolled(start + (end - start) * np.linspace(0.0, 1.0, 17)[:, np.newaxis])
    chord = line[-1] - line[0]
    length = np.hypot(*chord)
    off = np.abs((line - line[0]) @ np.array([-chord[1], chord[0]])) / length
    steps = int(np.clip(np.ceil(np.sqrt(off.max() * length / tolerance)), 1, MOST_STEPS))
    if off.max() < 1e-12 * length:
        steps = 1
    return bend.unrolled(start + (end - start) * np.linspace(0.0, 1.0, steps, endpoint=False)[:, np.newaxis])


def _round_rings(outline: Outline) -> tuple[np.ndarray, ...]:
    """Polygons of equal area for a circle, its hole, or an ellipse: their corners lie 3e-6 of a radius outside. [m]"""
    step = 2.0 * np.pi / ROUND_STEPS
    angle = step * np.arange(ROUND_STEPS)
    unit = np.sqrt(step / np.sin(step)) * np.column_stack([np.cos(angle), np.sin(angle)])
    if outline.kind == ELLIPSE:
        return (outline.params[:2] + unit * outline.params[4:6],)
    radii = [radius for radius in outline.params[2:4] if radius > 0.0]
    return tuple(outline.params[:2] + radius * unit for radius in radii)


@dataclass(frozen=True, eq=False)
class Kind:
    """Facets that are cut alike.

    Parameters
    ----------
    letter : str
        A, B, ..., Z, AA, ...
    pattern : Pattern
        Their piece.
    numbers : tuple of int
        Their numbers.
    """

    letter: str
    pattern: Pattern
    numbers: tuple[int, ...]


def kinds_of(facets: Facets) -> tuple[tuple[Kind, ...], tuple[int, ...]]:
    """All facets sorted by what is cut for them.

    Returns
    -------
    kinds : tuple of Kind
        The largest piece first, equal ones in the order of their facets.
    curved : tuple of int
        Numbers of the facets that cannot be unrolled.
    """
    found = _Alike()
    known: dict[tuple[int, bytes], tuple[Outline, list[int] | None]] = {}
    curved = []
    for i, number in enumerate(facets.number.tolist()):
        outline, shape = facets.outlines[i], facets.quadric[i].tobytes()
        if (id(outline), shape) not in known:
            pattern = pattern_of(facets, i)
            known[id(outline), shape] = (outline, None if pattern is None else found.numbers_of(pattern))
        numbers = known[id(outline), shape][1]
        (curved if numbers is None else numbers).append(number)
    ordered = sorted(found.kinds, key=lambda entry: -round(entry[0].area, 9))
    kinds = tuple(Kind(letters(k), pattern, tuple(sorted(numbers))) for k, (pattern, numbers) in enumerate(ordered))
    return kinds, tuple(curved)


class _Alike:
    """Patterns and the numbers of their facets, found again by area."""

    def __init__(self) -> None:
        self.kinds: list[tuple[Pattern, list[int]]] = []
        self.by_area: dict[int, list[int]] = {}

    def numbers_of(self, pattern: Pattern) -> list[int]:
        """Numbers of the facets that are cut like a pattern; a new kind when there are none."""
        cell = round(pattern.area / AREA_CELL_M2)
        for k in (k for near in (cell - 1, cell, cell + 1) for k in self.by_area.get(near, ())):
            if self.kinds[k][0].is_like(pattern):
                return self.kinds[k][1]
        self.by_area.setdefault(cell, []).append(len(self.kinds))
        self.kinds.append((pattern, []))
        return self.kinds[-1][1]


def letters(k: int) -> str:
    """Names of kinds in order.

    Examples
    --------
    >>> [letters(k) for k in (0, 25, 26, 701, 702)]
    ['A', 'Z', 'AA', 'ZZ', 'AAA']
    """
    text = ""
    while k >= 0:
        text = chr(ord("A") + k % 26) + text
        k = k // 26 - 1
    return text
