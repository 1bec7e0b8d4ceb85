"""Drawings of what is cut: all pieces laid on their sheets, and one pattern of every kind."""

from __future__ import annotations

import numpy as np

from dishtrace.report.making.cutting import Kind, Pattern
from dishtrace.report.making.nesting import Nest, Place
from dishtrace.report.making.sketch import LETTER_WIDTH, MM, Label, Line, Round, Shape, Sketch, facets_named

BETWEEN = 150.0
"""Left between sheets [mm]."""
SHEETS_IN_A_ROW = 5
"""Sheets side by side in the drawing [–]."""
MOST_PATTERNS = 24
"""Kinds whose patterns are drawn on pages of their own; more are left to the sheets [–]."""


def sheets_sketch(kinds: tuple[Kind, ...], nest: Nest, heading: tuple[str, ...]) -> Sketch:
    """All pieces on their sheets, numbered, with the line along which bent ones stay straight.

    Parameters
    ----------
    kinds : tuple of Kind
        What is cut.
    nest : Nest
        Where it lies.
    heading : tuple of str
        Lines for all drawings of this scene.
    """
    width, height = nest.sheet[0] * MM, nest.sheet[1] * MM
    shapes: list[Shape] = []
    corners = [_corner(sheet, width, height) for sheet in range(nest.n_sheets)]
    for sheet, corner in enumerate(corners):
        box = corner + np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
        text = f"Sheet {sheet + 1} of {nest.n_sheets}, {width:g} x {height:g} mm"
        shapes += [Line(box, "SHEET", True), Label(text, corner + [0.0, -60.0], 30.0, "NOTE", False)]
    for place in nest.places:
        shapes += _piece(kinds[place.kind].pattern, str(place.number), place, corners[place.sheet])
    what = (
        "Cut lines (layer CUT), mirror side up; number: facet; dashed blue (layer BEND): stays straight when the "
        "piece is bent"
    )
    return Sketch("cutting", (*heading, what), tuple(shapes))


def _corner(sheet: int, width: float, height: float) -> np.ndarray:
    row, column = divmod(sheet, SHEETS_IN_A_ROW)
    return np.array([column * (width + BETWEEN), -row * (height + BETWEEN)])


def pattern_sketches(kinds: tuple[Kind, ...], heading: tuple[str, ...]) -> tuple[Sketch, ...]:
    """One drawing a kind: its cut line with its measures.

    Parameters
    ----------
    kinds : tuple of Kind
        What is cut; the first 24 are drawn.
    heading : tuple of str
        Lines for all drawings of this scene.
    """
    sketches = []
    for kind in kinds[:MOST_PATTERNS]:
        shapes = _piece(kind.pattern, kind.letter, Place(0, 0, 0, 0.0, (0.0, 0.0)), np.zeros(2))
        size = np.ptp(kind.pattern.rings[0], axis=0) * MM
        bend = kind.pattern.bend
        how = "flat" if bend.is_flat else f"bent along its width, radius {bend.radius() * MM:.1f} mm in the middle"
        pieces = "1 piece" if len(kind.numbers) == 1 else f"{len(kind.numbers)} pieces"
        what = (
            f"Pattern {kind.letter}, {pieces}, for {facets_named(list(kind.numbers))}; "
            f"mirror side up, {size[0]:.2f} mm wide, {size[1]:.2f} mm high, {kind.pattern.area:.6f} m2, {how}"
        )
        sketches.append(Sketch(f"pattern-{kind.letter}", (*heading, what), tuple(shapes)))
    return tuple(sketches)


def _piece(pattern: Pattern, words: str, place: Place, corner: np.ndarray) -> list[Shape]:
    """A piece as it lies: cut line, number, and the straight line of a bent one. [mm]"""
    c, s = np.cos(place.angle), np.sin(place.angle)
    turn = np.array([[c, -s], [s, c]])

    def laid(points: np.ndarray) -> np.ndarray:
        return (points @ turn.T + place.shift) * MM + corner

    shapes: list[Shape] = []
    if pattern.semi_axes is None:
        shapes += [Line(laid(ring), "CUT", True) for ring in pattern.rings]
    else:
        center, axes = laid(pattern.center), (pattern.semi_axes[0] * MM, pattern.semi_axes[1] * MM)
        shapes.append(Round(center, axes, "CUT", place.angle))
        if pattern.hole_radius > 0.0:
            shapes.append(Round(center, (pattern.hole_radius * MM,) * 2, "CUT"))
    if not pattern.bend.is_flat:
        shapes.append(Line(laid(_ruling(pattern)), "BEND"))
    side = np.sqrt(pattern.area) * MM
    text = min(0.2 * side, 0.4 * side / (LETTER_WIDTH * len(words)), 40.0)
    aside = np.zeros(2) if pattern.bend.is_flat else turn @ np.array([LETTER_WIDTH * text * len(words), 0.0])
    shapes.append(Label(words, laid(pattern.center) + aside, text, "NUMBER"))
    return shapes


def _ruling(pattern: Pattern) -> np.ndarray:
    """The straight line through the middle of a bent piece, from rim to rim, (2, 2). [m]"""
    x, y = pattern.rings[0].T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    crosses = (x <= 0.0) != (x1 <= 0.0)
    at = (y + (y1 - y) * np.divide(-x, x1 - x, out=np.zeros_like(x), where=crosses))[crosses]
    if len(at) < 2:
        at = np.array([y.min(), y.max()])
    return np.array([[0.0, at.min()], [0.0, at.max()]])
