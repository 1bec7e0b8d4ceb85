"""The process that draws the pictures of one result: what `dishtrace.report.painter` starts and talks to.

It takes a pickled result and a folder from standard input, draws side by side where processes can be doubled, and tells
the names of the pictures on standard output. It ends with 0 only if all are written.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import struct
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import rc_context
from matplotlib.collections import PolyCollection
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure

from dishtrace.cores import available_cores
from dishtrace.report.pictures import pictures_of
from dishtrace.report.pictures.style import COLOURS, DOTS_PER_INCH, HALO, SETTINGS, saved

if TYPE_CHECKING:
    from dishtrace.flux.result import Result

NOT_WRITTEN = 3
"""Exit code when a file cannot be written: the process that waits meets the same when it tries itself."""
TOKEN = struct.Struct("=H")


def main() -> None:
    """Draw what standard input asks for; nothing when it is closed without a word."""
    gc.disable()
    names_to = os.dup(1)
    os.dup2(2, 1)
    warm_up()
    try:
        result, folder = pickle.load(sys.stdin.buffer)
    except EOFError:
        return
    try:
        names = draw_side_by_side(result, folder, at_once=available_cores())
    except OSError:
        sys.exit(NOT_WRITTEN)
    with os.fdopen(names_to, "w", encoding="utf-8") as answer:
        answer.write("\n".join(names))
    gc.freeze()


def warm_up() -> None:
    """Draw a picture that nobody sees: fonts, and what the library loads on first use, are there from then on."""
    figure = Figure(figsize=(2.0, 2.0))
    with rc_context(SETTINGS):
        axis = figure.add_axes((0.2, 0.2, 0.5, 0.5))
        steps = np.arange(4.0)
        lines = axis.contour(steps, steps, np.add.outer(steps, steps), levels=[2.0, 3.5])
        axis.clabel(lines, fmt="%g", fontsize=7)
        axis.tricontour(np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]), [[0, 1, 2]], np.arange(3.0), levels=[0.5])
        image = axis.imshow(np.ones((2, 2)), norm=LogNorm(0.1, 1.0), cmap=COLOURS)
        axis.add_collection(PolyCollection(np.array([[[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]]), facecolor="0.5"))
        axis.annotate("x", (0.0, 0.0), xytext=(1.0, 1.0), arrowprops={"arrowstyle": "->"}, path_effects=HALO)
        figure.colorbar(image, cax=figure.add_axes((0.8, 0.2, 0.1, 0.5))).set_label("kW/m²")
        figure.suptitle("0123456789", fontsize=10.5)
        figure.savefig(io.BytesIO(), dpi=DOTS_PER_INCH)


def draw_side_by_side(result: Result, folder: Path, *, at_once: int) -> list[str]:
    """Draw all pictures of a result, several at a time where processes can be doubled.

    Parameters
    ----------
    result : Result
    folder : Path
        Exists and can be written.
    at_once : int
        Most pictures that are drawn at the same time. [–]

    Returns
    -------
    list of str
        The names of the files, in the order of `draw_all`.

    Raises
    ------
    OSError
        If a file cannot be written; with `at_once` above 1 raised in the process that met it, which ends.
    """
    pictures = pictures_of(result)
    names = list(pictures)
    if at_once == 1 or sys.platform != "linux":
        return [saved(draw(), result.version, folder / name) for name, draw in pictures.items()]
    waiting, numbers = os.pipe()
    os.write(numbers, b"".join(TOKEN.pack(number) for number in range(len(names))))
    os.close(numbers)
    ids = []
    for _ in range(min(at_once, len(names))):
        ids.append(os.fork())
        if ids[-1] == 0:
            while token := os.read(waiting, TOKEN.size):
                name = names[TOKEN.unpack(token)[0]]
                saved(pictures[name](), result.version, folder / name)
            os._exit(0)
    codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in ids]
    if any(codes):
        sys.exit(next(filter(None, codes)))
    return names
