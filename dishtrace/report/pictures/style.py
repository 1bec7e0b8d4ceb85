"""What all pictures share: colours, settings, the lines above and below, and how a file is saved."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.patheffects import withStroke
from PIL import Image
from PIL.PngImagePlugin import PngInfo

if TYPE_CHECKING:
    from dishtrace.flux.result import Result

COLOURS = "viridis"
DOTS_PER_INCH = 130
COMPRESSION = 3
"""Of zlib: half the time of its usual 6, and files as small to a few percent."""
SETTINGS = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "text.hinting": "none",
    "axes.titlesize": 9.0,
    "hatch.linewidth": 0.4,
    "hatch.color": "0.55",
    "axes.spines.top": False,
    "axes.spines.right": False,
}
NO_LIGHT = {"facecolor": "0.93", "edgecolor": "0.55", "hatch": "////", "linewidth": 0.0}
HALO = [withStroke(linewidth=2.0, foreground="white")]
DARK_HALO = [withStroke(linewidth=2.0, foreground="black")]


def head(figure: Figure, result: Result, what: str) -> None:
    """What is shown, of which scene, with how many rays, above a picture of a result."""
    stopped = ", stopped early" if result.stopped else ""
    above(figure, what, result.scene.title_line, f": {result.rays} rays, seed {result.seed}{stopped}")


def above(figure: Figure, what: str, title: str, how: str = "") -> None:
    """What is shown, and below that the title of its scene on one line and how it was traced, above a picture."""
    figure.suptitle(printable(f"{what}\n{title[:80]}{how}"), fontsize=10.5, parse_math=False)


def foot(figure: Figure, *lines: str) -> None:
    """Lines below a picture; empty ones are left out."""
    figure.supxlabel(printable("\n".join(line for line in lines if line)), fontsize=7.5, color="0.25", parse_math=False)


def noise_line(share: float, what: str) -> str:
    """How uncertain a typical bin of a picture is."""
    if not np.isfinite(share):
        return "Standard errors unknown."
    return f"Typical standard error of a {what}: {100.0 * share:.2g} %."


@cache
def _characters() -> frozenset[int]:
    return frozenset(get_font(findfont(FontProperties(family="DejaVu Sans"))).get_charmap())


def printable(text: str) -> str:
    """The text with every character that the font lacks as a question mark."""
    return "".join(char if char == "\n" or ord(char) in _characters() else "?" for char in text)


def saved(figure: Figure, version: str, path: Path) -> str:
    """Write a picture that names the program's version; gives the name of the file."""
    canvas = FigureCanvasAgg(figure)
    figure.set_dpi(DOTS_PER_INCH)
    with rc_context(SETTINGS):
        if figure.get_layout_engine() is not None:
            figure.draw_without_rendering()
        canvas.draw()
    opaque = Image.frombytes("RGB", canvas.get_width_height(), canvas.buffer_rgba(), "raw", "RGBX")
    about = PngInfo()
    about.add_text("Software", f"dishtrace {version}")
    packed = io.BytesIO()
    opaque.save(packed, format="png", dpi=(DOTS_PER_INCH, DOTS_PER_INCH), pnginfo=about, compress_level=COMPRESSION)
    path.write_bytes(packed.getvalue())
    return path.name
