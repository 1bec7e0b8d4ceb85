"""Sketches as PDF files for any printer: scale 1:1 over many pages that are glued together."""

from __future__ import annotations

import textwrap
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.making.sketch import LAYERS, Label, Line, Round, Shape, Sketch, boxes_around
from dishtrace.report.making.tiling import FOOT, MARGIN, Tiling, round_chain

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

POINTS = 72.0 / 25.4
"""Points of the format in a millimetre [1/mm]."""
BLEED = 4.0
"""Drawing printed beyond the edge of a tile, to glue on [mm]."""
CHECK_BAR = 100.0
"""Length of the bar that shows whether the printer kept the scale [mm]."""
ARM = 4.0
"""Half the length of the strokes of a registration mark [mm]."""
FONT = "DejaVu Sans"
CAPITAL_SHARE = 0.729
"""Height of a capital letter over the size of that font [–]."""
ROUND_STEPS = 720
"""Steps of a circle or ellipse [–]."""


def write_tiles(sketches: tuple[Sketch, ...], tilings: tuple[Tiling, ...], path: Path) -> int:
    """Write drawings, each with a map of its pages before them.

    Parameters
    ----------
    sketches : tuple of Sketch
        At least one; their first heading line names the scene, their last one the drawing.
    tilings : tuple of Tiling
        Their pages, from `tiling_of`.
    path : Path
        File to write.

    Returns
    -------
    int
        Number of pages.
    """
    from reportlab.pdfgen.canvas import Canvas

    _load_font()
    total = page_count(tilings)
    canvas = Canvas(str(path), invariant=1)
    canvas.setTitle(_known(sketches[0].heading[0]))
    canvas.setCreator("dishtrace")
    first = 1
    for sketch, tiling in zip(sketches, tilings, strict=True):
        _map_page(canvas, sketch, tiling, first, total)
        boxes = boxes_around(sketch.shapes)
        for k, page in enumerate(tiling.pages):
            low = tiling.low(page) - BLEED
            high = low + np.array(tiling.tile) + 2.0 * BLEED
            near = np.nonzero(np.all((boxes[:, 0] <= high) & (boxes[:, 1] >= low), axis=1))[0]
            shapes = tuple(sketch.shapes[i] for i in near)
            _tile_page(canvas, replace(sketch, shapes=shapes), tiling, page, (first + 1 + k, total))
        first += 1 + len(tiling.pages)
    canvas.save()
    return total


def page_count(tilings: tuple[Tiling, ...]) -> int:
    """Pages of a file, a map before each drawing included."""
    return sum(1 + len(tiling.pages) for tiling in tilings)


def _load_font() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    from dishtrace.report.pictures.font import font_file

    if FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(FONT, str(font_file())))


def _known(text: str) -> str:
    """A text with what the font lacks as question marks."""
    from reportlab.pdfbase import pdfmetrics

    glyphs = pdfmetrics.getFont(FONT).face.charToGlyph
    return "".join(letter if ord(letter) in glyphs else "?" for letter in text)


def _begin(canvas: Canvas, tiling: Tiling) -> None:
    """A page in millimetres."""
    canvas.setPageSize((tiling.paper[0] * POINTS, tiling.paper[1] * POINTS))
    canvas.scale(POINTS, POINTS)


def page_name(page: tuple[int, int], rows: int) -> str:
    """Column letter and row number of a tile, rows counted from the top: A1 is the upper left one."""
    return f"{chr(ord('A') + page[0] % 26) * (1 + page[0] // 26)}{rows - page[1]}"


def _tile_page(canvas: Canvas, sketch: Sketch, tiling: Tiling, page: tuple[int, int], number: tuple[int, int]) -> None:
    _begin(canvas, tiling)
    low, tile = tiling.low(page), np.array(tiling.tile)
    place = np.array([MARGIN, MARGIN + FOOT])
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(*(place - BLEED), *(tile + 2.0 * BLEED))
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.translate(*(place - low))
    for shape in sketch.shapes:
        _draw(canvas, shape)
    canvas.restoreState()
    for x in (place[0], place[0] + tile[0]):
        for y in (place[1], place[1] + tile[1]):
            _registration_mark(canvas, x, y)
    name = page_name(page, tiling.rows)
    canvas.setFont(FONT, 4.5)
    canvas.drawString(MARGIN, MARGIN + 7.0, f"{name}, page {number[0]} of {number[1]}")
    canvas.setFont(FONT, 2.4)
    for k, text in enumerate((sketch.heading[0], sketch.heading[-1])):
        canvas.drawString(MARGIN, MARGIN + 3.2 - 3.2 * k, _shortened(text, tiling.paper[0] - 2.0 * MARGIN, 2.4))
    _check_bar(canvas, tiling.paper[0] - MARGIN - CHECK_BAR, MARGIN + 9.0)
    canvas.showPage()


def _shortened(text: str, width: float, size: float) -> str:
    """A text cut so that it fits a width. [mm]"""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    text = _known(text)
    while stringWidth(text, FONT, size) > width:
        text = text[:-4] + "..."
    return text


def _registration_mark(canvas: Canvas, x: float, y: float) -> None:
    """Cross in a circle at a corner of a tile; the neighbour's lies on the same place of the drawing."""
    canvas.setLineWidth(0.15)
    canvas.setStrokeColorRGB(0.0, 0.0, 0.0)
    canvas.line(x - ARM, y, x + ARM, y)
    canvas.line(x, y - ARM, x, y + ARM)
    canvas.circle(x, y, 0.5 * ARM, stroke=1, fill=0)


def _check_bar(canvas: Canvas, x: float, y: float) -> None:
    """A bar with a tick every 10 mm."""
    canvas.setLineWidth(0.2)
    canvas.setStrokeColorRGB(0.0, 0.0, 0.0)
    canvas.line(x, y, x + CHECK_BAR, y)
    for k in range(11):
        canvas.line(x + 10.0 * k, y, x + 10.0 * k, y + (3.0 if k % 10 == 0 else 1.8))
    canvas.setFont(FONT, 2.4)
    canvas.drawString(x, y - 3.2, "this bar must measure 100 mm: print at 100 %, not fitted to the page")


def _draw(canvas: Canvas, shape: Shape) -> None:
    layer = LAYERS[shape.layer]
    colour = [int(layer.colour[k : k + 2], 16) / 255.0 for k in (0, 2, 4)]
    if isinstance(shape, Label):
        canvas.setFillColorRGB(*colour)
        _write(canvas, shape)
        canvas.setFillColorRGB(0.0, 0.0, 0.0)
        return
    canvas.setStrokeColorRGB(*colour)
    canvas.setLineWidth(layer.width)
    canvas.setDash(list(layer.dashes))
    points = round_chain(shape, ROUND_STEPS) if isinstance(shape, Round) else shape.points
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for x, y in points[1:]:
        path.lineTo(x, y)
    if isinstance(shape, Line) and shape.is_closed:
        path.close()
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash([])


def _write(canvas: Canvas, label: Label) -> None:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    size, text = label.height / CAPITAL_SHARE, _known(label.text)
    canvas.saveState()
    canvas.translate(*label.place)
    canvas.rotate(label.angle_deg)
    canvas.setFont(FONT, size)
    shift = (-0.5 * stringWidth(text, FONT, size), -0.5 * label.height) if label.is_centred else (0.0, 0.0)
    canvas.drawString(*shift, text)
    canvas.restoreState()


def _map_page(canvas: Canvas, sketch: Sketch, tiling: Tiling, first: int, total: int) -> None:
    """Heading, how to print and glue, and a small drawing with the grid of pages."""
    _begin(canvas, tiling)
    width, height = tiling.paper[0] - 2.0 * MARGIN, tiling.paper[1] - 2.0 * MARGIN
    pages = f"pages {first + 1} to {first + len(tiling.pages)}"
    how = (
        f"Print {pages} at 100 % (actual size) on paper of {tiling.paper[0]:g} x {tiling.paper[1]:g} mm and measure "
        "the bar. Cut each page along two of its edges through the marks (crosses in circles), lay the marks of "
        "neighbours on each other, glue. Grey tiles hold nothing and are not printed."
    )
    lines = [line for text in (*sketch.heading, how) for line in textwrap.wrap(_known(text), int(width / 1.95))]
    canvas.setFont(FONT, 3.2)
    top = tiling.paper[1] - MARGIN - 3.2
    for k, line in enumerate(lines):
        canvas.drawString(MARGIN, top - 4.6 * k, line)
    room = np.array([width, height - 4.6 * len(lines) - FOOT - 6.0])
    _map(canvas, sketch, tiling, first, room)
    canvas.setFont(FONT, 4.5)
    canvas.drawString(MARGIN, MARGIN + 7.0, f"Map, page {first} of {total}")
    _check_bar(canvas, tiling.paper[0] - MARGIN - CHECK_BAR, MARGIN + 9.0)
    canvas.showPage()


def _map(canvas: Canvas, sketch: Sketch, tiling: Tiling, first: int, room: np.ndarray) -> None:
    tile = np.array(tiling.tile)
    whole = tile * np.array([tiling.columns, tiling.rows])
    scale = float(np.min(room / whole))
    canvas.saveState()
    canvas.translate(*(np.array([MARGIN, MARGIN + FOOT]) + 0.5 * (room - scale * whole)))
    canvas.scale(scale, scale)
    canvas.translate(*-np.array(tiling.corner))
    numbers = {page: first + 1 + k for k, page in enumerate(tiling.pages)}
    for column in range(tiling.columns):
        for row in range(tiling.rows):
            _map_tile(canvas, tiling, (column, row), numbers.get((column, row)))
    for shape in sketch.shapes:
        if not isinstance(shape, Label):
            _draw(canvas, shape)
    canvas.restoreState()


def _map_tile(canvas: Canvas, tiling: Tiling, page: tuple[int, int], number: int | None) -> None:
    low, tile = tiling.low(page), tiling.tile
    canvas.setStrokeColorRGB(0.55, 0.55, 0.55)
    canvas.setLineWidth(0.002 * max(tile) * max(tiling.columns, tiling.rows))
    canvas.setFillColorRGB(*((0.9,) * 3 if number is None else (1.0,) * 3))
    canvas.rect(*low, *tile, stroke=1, fill=1)
    canvas.setFillColorRGB(0.0, 0.0, 0.0)
    if number is not None:
        size = 0.16 * min(tile)
        canvas.setFont(FONT, size)
        words = f"{page_name(page, tiling.rows)}, {number}"
        canvas.drawCentredString(low[0] + 0.5 * tile[0], low[1] + 0.08 * tile[1], words)
