"""Pieces laid on sheets: rows of pieces that slide together until they are a gap apart, the highest first.

A plain method that a person can follow with a saw or a cutter, not the tightest packing that exists. Pieces keep their
long side along the row or across it, whichever needs fewer sheets, and every one may be turned by half a turn, so that
petals lie head to tail.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from dishtrace.report.making.cutting import Kind

GAP_M = 0.003
"""Left between pieces for the tool: common practice for saws and cutters, no source [m]."""
ROOM = 1e-9
"""Rounding allowed when a piece just fits [m]."""
FEW_CORNERS = 96
"""Corners of the polygon around a circle that is laid in its place [–]."""


@dataclass(frozen=True)
class Place:
    """Where a piece lies.

    Parameters
    ----------
    kind : int
        Place of its kind.
    number : int
        Of its facet.
    sheet : int
        From 0.
    angle : float
        By which its pattern is turned. [rad]
    shift : tuple of float
        By which it is moved afterwards, on the sheet. [m]
    """

    kind: int
    number: int
    sheet: int
    angle: float
    shift: tuple[float, float]


@dataclass(frozen=True)
class Nest:
    """All pieces on sheets.

    Parameters
    ----------
    places : tuple of Place
        One a piece.
    sheet : tuple of float
        Width and height of a sheet as drawn. [m]
    n_sheets : int
        How many are needed.
    piece_area : float
        Of all pieces. [m2]
    """

    places: tuple[Place, ...]
    sheet: tuple[float, float]
    n_sheets: int
    piece_area: float

    @property
    def bought(self) -> float:
        """Area of all sheets. [m2]"""
        return self.n_sheets * self.sheet[0] * self.sheet[1]

    @property
    def offcut_share(self) -> float:
        """Share of the sheets that is left over, the unused part of the last one included. [–]"""
        return 1.0 - self.piece_area / self.bought


@dataclass(frozen=True, eq=False)
class Turned:
    """A piece turned as it is laid: its polygon (k, 2) with the lowest corner of its box at 0, and how it got there."""

    polygon: np.ndarray
    size: np.ndarray
    angle: float
    shift: np.ndarray


@dataclass(eq=False)
class Row:
    """A row of pieces on a sheet, filled from the left."""

    sheet: int
    foot: float
    height: float
    pieces: list[tuple[tuple[int, int], float]] = field(default_factory=list)


def turned_pieces(kind: Kind, *, is_upright: bool, is_boxed: bool) -> tuple[Turned, Turned]:
    """A piece as it is laid, and the same after half a turn.

    Parameters
    ----------
    kind : Kind
        What is cut.
    is_upright : bool
        Whether its long side stands across the row.
    is_boxed : bool
        Whether it is first turned into the smallest box around it, or keeps its own axes.
    """
    ring = _around(kind)
    straight = _boxing(ring) if is_boxed else 0.0
    size = np.ptp(ring @ _turn(straight).T, axis=0)
    if (size[1] > size[0] + ROOM) != is_upright and abs(size[1] - size[0]) > ROOM:
        straight += 0.5 * np.pi
    first, second = (_laid(ring, straight + flip * np.pi) for flip in (0, 1))
    return first, second


def _boxing(ring: np.ndarray) -> float:
    """Turn that lays the smallest box around a polygon along the axes; exactly none for one that lies so. [rad]"""
    import shapely

    corners = np.array(shapely.Polygon(ring).minimum_rotated_rectangle.exterior.coords)
    side = corners[1] - corners[0]
    turn = -float(np.arctan2(side[1], side[0]))
    quarter = 0.5 * np.pi
    return quarter * round(turn / quarter) if abs(turn / quarter - round(turn / quarter)) < 1e-9 else turn


def _laid(ring: np.ndarray, angle: float) -> Turned:
    polygon = ring @ _turn(angle).T
    low = polygon.min(axis=0)
    return Turned(polygon - low, np.ptp(polygon, axis=0), float(np.remainder(angle, 2.0 * np.pi)), -low)


def _around(kind: Kind) -> np.ndarray:
    """The rim of a piece, or a polygon whose sides touch a circle or ellipse, at the ends of its axes, too. [m]"""
    pattern = kind.pattern
    if pattern.semi_axes is None:
        return pattern.rings[0]
    angle = 2.0 * np.pi * (np.arange(FEW_CORNERS) + 0.5) / FEW_CORNERS
    unit = np.column_stack([np.cos(angle), np.sin(angle)]) / np.cos(np.pi / FEW_CORNERS)
    return pattern.center + unit * np.array(pattern.semi_axes)


def _turn(angle: float) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def too_large(kinds: tuple[Kind, ...], sheet: tuple[float, float]) -> list[tuple[Kind, np.ndarray]]:
    """Kinds that no sheet of this size (m, m) holds, each with the size (long, short) of its box. [m]"""
    room = np.array([max(sheet), min(sheet)]) + ROOM
    found = []
    for kind in kinds:
        boxes = [turned_pieces(kind, is_upright=False, is_boxed=is_boxed)[0].size for is_boxed in (True, False)]
        if all(np.any(box > room) for box in boxes):
            found.append((kind, boxes[0]))
    return found


def nest(kinds: tuple[Kind, ...], sheet: tuple[float, float], *, gap: float = GAP_M) -> Nest:
    """Lay every piece on sheets.

    Parameters
    ----------
    kinds : tuple of Kind
        At least one; none too large for the sheet.
    sheet : tuple of float
        Its two sides. [m]
    gap : float
        Left between pieces. [m]

    Returns
    -------
    Nest
        The best of eight tries: rows along either side of the sheet; pieces lying or standing; in the smallest box
        around each, or by their own axes.

    Raises
    ------
    ValueError
        If a piece is larger than a sheet.
    """
    area = sum(kind.pattern.area * len(kind.numbers) for kind in kinds)
    tries = [
        _Filling(kinds, size, gap, {"is_upright": is_upright, "is_boxed": is_boxed}).nest(area)
        for size in dict.fromkeys([sheet, sheet[::-1]])
        for is_upright in (False, True)
        for is_boxed in (True, False)
    ]
    fitting = [entry for entry in tries if entry is not None]
    if not fitting:
        raise ValueError("a piece is larger than a sheet")
    return min(fitting, key=lambda entry: entry[1])[0]


class _Filling:
    """One try: sheets filled row by row."""

    def __init__(self, kinds: tuple[Kind, ...], sheet: tuple[float, float], gap: float, how: dict[str, bool]) -> None:
        self.kinds, self.sheet, self.gap = kinds, sheet, gap
        self.turned = [turned_pieces(kind, **how) for kind in kinds]
        self.distances: dict[tuple[tuple[int, int], tuple[int, int]], float] = {}
        self.rows: list[Row] = []
        self.tops: list[float] = []
        self.first_row = [0] * len(kinds)

    def nest(self, area: float) -> tuple[Nest, tuple[int, float]] | None:
        """The nest, and what it needs: sheets, then the height used of the last; None if a piece is too large."""
        if any(np.any(pair[0].size > np.array(self.sheet) + ROOM) for pair in self.turned):
            return None
        order = sorted(range(len(self.kinds)), key=lambda k: -self.turned[k][0].size[1])
        places = [self._place(k, number) for k in order for number in self.kinds[k].numbers]
        found = Nest(tuple(places), self.sheet, len(self.tops), area)
        return found, (len(self.tops), self.tops[-1])

    def _place(self, kind: int, number: int) -> Place:
        height = self.turned[kind][0].size[1]
        for k in range(self.first_row[kind], len(self.rows)):
            row = self.rows[k]
            x, flip = self._next(row, kind) if height <= row.height + ROOM else (np.inf, 0)
            if x + self.turned[kind][flip].size[0] <= self.sheet[0] + ROOM:
                return self._put(row, kind, number, x, flip)
            self.first_row[kind] = k + 1
        return self._put(self._new_row(height), kind, number, 0.0, 0)

    def _put(self, row: Row, kind: int, number: int, x: float, flip: int) -> Place:
        row.pieces.append(((kind, flip), x))
        turned = self.turned[kind][flip]
        shift = turned.shift + np.array([x, row.foot])
        return Place(kind, number, row.sheet, turned.angle, (float(shift[0]), float(shift[1])))

    def _new_row(self, height: float) -> Row:
        room = self.sheet[1] - height - self.gap + ROOM
        sheet = next((k for k, top in enumerate(self.tops) if top <= room), len(self.tops))
        if sheet == len(self.tops):
            self.tops.append(-self.gap)
        row = Row(sheet, self.tops[sheet] + self.gap, height)
        self.tops[sheet] = row.foot + height
        self.rows.append(row)
        return row

    def _next(self, row: Row, kind: int) -> tuple[float, int]:
        """Smallest x at which the piece, either way round, is a gap from all in the row."""
        tries = []
        for flip in (0, 1):
            x = max((x + self._distance(piece, (kind, flip)) for piece, x in row.pieces), default=0.0)
            tries.append((round(max(x, 0.0), 12), flip))
        return min(tries)

    def _distance(self, left: tuple[int, int], right: tuple[int, int]) -> float:
        """How far the right piece must stand from the left one, both from the left of their boxes. [m]"""
        if (left, right) not in self.distances:
            first, second = (self.turned[kind][flip].polygon for kind, flip in (left, right))
            self.distances[left, right] = _slide(first, second, self.gap)
        return self.distances[left, right]


def _slide(left: np.ndarray, right: np.ndarray, gap: float) -> float:
    """Least shift along x that keeps a polygon a gap to the right of another; minus infinity if they never meet."""
    import shapely

    grown = shapely.Polygon(left).buffer(gap, join_style="mitre", mitre_limit=2.0)
    wide = np.array(grown.exterior.coords)[:-1]
    low, high = max(wide[:, 1].min(), right[:, 1].min()), min(wide[:, 1].max(), right[:, 1].max())
    if low > high:
        return -np.inf
    inside = [y[(y > low) & (y < high)] for y in (wide[:, 1], right[:, 1])]
    levels = np.unique(np.concatenate([[low, high], *inside]))
    return float(np.max(_reach(wide, levels, np.max) - _reach(right, levels, np.min)))


def _reach(ring: np.ndarray, levels: np.ndarray, pick) -> np.ndarray:
    """Largest or smallest x of a polygon at each level of y, borders included, (k,). [m]"""
    (x0, y0), (x1, y1) = ring.T, np.roll(ring, -1, axis=0).T
    level = levels[:, np.newaxis]
    with np.errstate(divide="ignore", invalid="ignore"):
        x = x0 + (level - y0) * (x1 - x0) / (y1 - y0)
    is_level = y0 == y1
    edge = pick(np.stack([x0, x1]), axis=0)
    x = np.where(is_level, np.where(level == y0, edge, np.nan), x)
    touches = (np.minimum(y0, y1) <= level) & (level <= np.maximum(y0, y1))
    empty = -np.inf if pick is np.max else np.inf
    return pick(np.where(touches & np.isfinite(x), x, empty), axis=1)
