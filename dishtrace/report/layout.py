"""Where the drawings of a picture stand: in rows, to one scale where that can be read, with room for labels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

WIDEST_ROW = 10.8
LARGEST = (5.2, 4.2)
LEAST_LARGEST = 2.3
SMALLEST = 1.5
LEFT, RIGHT, ABOVE, BELOW = 0.75, 0.2, 0.35, 0.55
HEAD, FOOT, BAR, LEAST_BAR = 0.55, 0.6, 1.15, 1.9


@dataclass(frozen=True)
class Layout:
    """Size of a picture and places in it, as shares of its width and height.

    Parameters
    ----------
    size : tuple of 2 float
        Width and height. [inch]
    boxes : tuple of (left, bottom, width, height)
        One for each drawing, without its labels. [–]
    bar : (left, bottom, width, height)
        The colour bar. [–]
    """

    size: tuple[float, float]
    boxes: tuple[tuple[float, float, float, float], ...]
    bar: tuple[float, float, float, float]


def rows_of_drawings(spans: np.ndarray, *, above: float = ABOVE) -> Layout:
    """Put drawings in rows.

    Parameters
    ----------
    spans : (n, 2) float64
        Width and height of what each drawing shows, n >= 1. [m]
    above : float
        Room for the title above each drawing. [inch]

    Returns
    -------
    Layout
        The drawings have one scale: the largest that puts all in one row of 10.8 inch and keeps each within 5.2 by 4.2
        inch, but not so small that the widest comes out below 2.3 inch. A drawing that would be smaller than 1.5 inch
        both ways is drawn larger. Rows lower than the lowest colour bar stand at its middle.
    """
    widest = spans[:, 0].max()
    in_one_row = (WIDEST_ROW - len(spans) * (LEFT + RIGHT)) / spans[:, 0].sum()
    scale = min(LARGEST[0] / widest, LARGEST[1] / spans[:, 1].max(), max(in_one_row, LEAST_LARGEST / widest))
    sizes = spans * scale
    sizes = sizes * np.maximum(1.0, SMALLEST / sizes.max(axis=1))[:, np.newaxis]
    rows = _rows(sizes)
    widths = [sum(sizes[k, 0] + LEFT + RIGHT for k in row) for row in rows]
    heights = [max(sizes[k, 1] for k in row) + above + BELOW for row in rows]
    beside_bar = max(0.0, LEAST_BAR - (sum(heights) - above - BELOW))
    width, height = max(max(widths) + BAR, 6.8), sum(heights) + beside_bar + HEAD + FOOT
    boxes: list[tuple[float, float, float, float]] = [(0.0, 0.0, 0.0, 0.0)] * len(spans)
    top = height - HEAD - 0.5 * beside_bar
    for row, row_width, row_height in zip(rows, widths, heights, strict=True):
        left = 0.5 * (width - BAR - row_width)
        for k in row:
            bottom = top - above - sizes[k, 1]
            boxes[k] = ((left + LEFT) / width, bottom / height, sizes[k, 0] / width, sizes[k, 1] / height)
            left += sizes[k, 0] + LEFT + RIGHT
        top -= row_height
    bar_height = min(sum(heights) + beside_bar - above - BELOW, 4.2)
    bar_bottom = height - HEAD - above - bar_height
    bar = ((width - BAR + 0.15) / width, bar_bottom / height, 0.2 / width, bar_height / height)
    return Layout((width, height), tuple(boxes), bar)


def one_drawing(size: tuple[float, float], *, has_bar: bool) -> Layout:
    """A single drawing of a given size [inch], with or without room for a colour bar; the bar is as tall as it."""
    across, tall = size
    width, height = across + LEFT + RIGHT + (BAR if has_bar else 0.25), tall + HEAD + FOOT + BELOW
    box = (LEFT / width, (FOOT + BELOW) / height, across / width, tall / height)
    bar = ((LEFT + across + 0.2) / width, box[1], 0.2 / width, box[3])
    return Layout((width, height), (box,), bar)


def _rows(sizes: np.ndarray) -> list[list[int]]:
    """Numbers of the drawings row by row, in their order, each row as wide as it may be."""
    rows: list[list[int]] = [[]]
    used = 0.0
    for k, (across, _) in enumerate(sizes):
        wanted = across + LEFT + RIGHT
        if rows[-1] and used + wanted > WIDEST_ROW:
            rows.append([])
            used = 0.0
        rows[-1].append(k)
        used += wanted
    return rows
