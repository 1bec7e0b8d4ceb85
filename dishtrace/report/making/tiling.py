"""How a drawing at scale 1:1 is cut into pages of paper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.report.making.sketch import Label, Line, Round, Shape, Sketch

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of a sheet of paper: ISO 216 A4; ANSI/ASME Y14.1 size A [mm]."""
MARGIN = 12.0
"""Left around the printed area: common printers cannot reach the outermost 5 mm or so (common practice) [mm]."""
FOOT = 18.0
"""Height of the strip below the drawing for page number and check bar [mm]."""
GUIDES = ("HEIGHT", "AXIS", "NOTE", "IMAGE")
"""Layers that alone are no reason to print a page."""
TRIES = 5
"""Places of the grid of pages that are tried along each direction [–]."""
DOT_STEP = 2.0
"""Step along lines in which the pages they cross are looked for; below the strip that neighbours print, too [mm]."""
ROUND_STEPS = 180
"""Steps of a circle when pages are chosen [–]."""


@dataclass(frozen=True)
class Tiling:
    """Pages over one drawing.

    Parameters
    ----------
    paper : tuple of float
        Width and height of the page. [mm]
    corner : tuple of float
        Lower left corner of the first tile, in the drawing. [mm]
    tile : tuple of float
        Width and height of the drawing on a page. [mm]
    columns, rows : int
        Of the grid of tiles.
    pages : tuple of (int, int)
        Column and row (counted from the lower left, 0) of each tile that is printed, top row first.
    """

    paper: tuple[float, float]
    corner: tuple[float, float]
    tile: tuple[float, float]
    columns: int
    rows: int
    pages: tuple[tuple[int, int], ...]

    def low(self, page: tuple[int, int]) -> np.ndarray:
        """Lower left corner of a tile in the drawing, (2,). [mm]"""
        return np.array(self.corner) + np.array(page) * np.array(self.tile)


def tiling_of(sketch: Sketch, paper: str) -> Tiling:
    """The pages for a drawing: upright or lying, and placed, so that few are needed.

    Parameters
    ----------
    sketch : Sketch
        In millimetres.
    paper : str
        One of `PAPERS`.

    Returns
    -------
    Tiling
        Tiles with nothing but guides on them are left out.
    """
    width, height = PAPERS[paper]
    box, points = sketch.extent(), _dots(sketch)
    shares = [0.5, *(share for share in np.linspace(0.0, 1.0, TRIES) if share != 0.5)]
    tries = [
        _tiling(box, points, size, np.array([across, up]))
        for size in ((width, height), (height, width))
        for across in shares
        for up in shares
    ]
    return min(tries, key=lambda tiling: len(tiling.pages))


def _tiling(
    box: tuple[np.ndarray, np.ndarray], points: np.ndarray, paper: tuple[float, float], share: np.ndarray
) -> Tiling:
    """The grid whose spare room lies to this share on the left and below."""
    tile = np.array(paper) - 2.0 * MARGIN - np.array([0.0, FOOT])
    low, high = box
    counts = np.maximum(1, np.ceil((high - low) / tile - 1e-9)).astype(int)
    corner = low - share * (counts * tile - (high - low))
    columns, rows = np.clip(np.floor((points - corner) / tile).astype(int), 0, counts - 1).T
    is_used = np.zeros(counts, dtype=bool)
    is_used[columns, rows] = True
    pages = sorted(((int(x), int(y)) for x, y in np.argwhere(is_used)), key=lambda page: (-page[1], page[0]))
    return Tiling(paper, (corner[0], corner[1]), (tile[0], tile[1]), int(counts[0]), int(counts[1]), tuple(pages))


def _dots(sketch: Sketch) -> np.ndarray:
    """Points along everything that is a reason to print a page, (k, 2). [mm]"""
    chains = [_chain(shape) for shape in sketch.shapes if shape.layer not in GUIDES]
    starts = np.concatenate([chain[:-1] for chain in chains])
    ends = np.concatenate([chain[1:] for chain in chains])
    counts = 1 + np.ceil(np.hypot(*(ends - starts).T) / DOT_STEP).astype(int)
    which = np.repeat(np.arange(len(starts)), counts)
    rank = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = (rank / np.maximum(1, counts - 1)[which])[:, np.newaxis]
    return np.vstack([(1.0 - share) * starts[which] + share * ends[which], ends])


def _chain(shape: Shape) -> np.ndarray:
    """A shape as a chain of points; a label as the box around it. [mm]"""
    if isinstance(shape, Line):
        return np.vstack([shape.points, shape.points[:1]]) if shape.is_closed else shape.points
    if isinstance(shape, Label):
        (x0, y0), (x1, y1) = shape.extent()
        return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1], [x0, y0]])
    return round_chain(shape, ROUND_STEPS)


def round_chain(shape: Round, steps: int) -> np.ndarray:
    """Points around a circle or ellipse, the first repeated. [mm]"""
    t = np.linspace(0.0, 2.0 * np.pi, steps + 1)
    c, s = np.cos(shape.angle), np.sin(shape.angle)
    local = np.column_stack([shape.semi_axes[0] * np.cos(t), shape.semi_axes[1] * np.sin(t)])
    return shape.center + local @ np.array([[c, s], [-s, c]])
