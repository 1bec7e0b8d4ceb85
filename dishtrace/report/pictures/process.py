"""The process that draws the pictures of one result: what `dishtrace.report.painter` starts and talks to.

It takes from standard input, pickled: a folder, the sketch of a scene, its result as the rays tell it, and the result
with the peaks that were looked back for. It draws what each is enough for, side by side where processes can be doubled,
and tells the names of the pictures on standard output. It ends with 0 only if all are written.
"""

from __future__ import annotations

import gc
import io
import os
import pickle
import struct
import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.collections import PolyCollection
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure

from dishtrace.cores import available_cores
from dishtrace.report.pictures import draw_all, pictures_of_parts, pictures_of_rays, pictures_of_sketch
from dishtrace.report.pictures.style import COLOURS, DOTS_PER_INCH, HALO, SETTINGS, saved

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch

FAILED, NOT_WRITTEN = 1, 3
"""Exit codes when a drawing fails, and when a file cannot be written: whoever waits meets the same in trying itself."""
UNTOLD = 4
"""Exit code when it is not told all that it waits for."""
RESULT_MODULES = ("dishtrace.dish.mount", "dishtrace.flux.part", "dishtrace.flux.peak_point", "dishtrace.flux.screen")
"""What results are made of, loaded while they are waited for."""
STAGES = (pictures_of_sketch, pictures_of_rays, pictures_of_parts)
Wanted = list[tuple[int, "dict[str, Callable[[], Figure]]"]]
"""Pictures by name, and the pipe from which their numbers are taken."""
TOKEN = struct.Struct("=H")


def main() -> None:
    """Draw what standard input asks for; nothing when it is closed too soon."""
    gc.disable()
    names_to = os.dup(1)
    os.dup2(2, 1)
    warm_up()
    for name in RESULT_MODULES:
        import_module(name)
    waiting = pickle.Unpickler(sys.stdin.buffer)

    def told() -> Any:
        try:
            return waiting.load()
        except EOFError:
            sys.exit(UNTOLD)

    folder = told()
    try:
        names = draw_side_by_side(told, folder, at_once=available_cores())
    except OSError:
        sys.exit(NOT_WRITTEN)
    with os.fdopen(names_to, "w", encoding="utf-8") as answer:
        answer.write("\n".join(names))


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


def draw_side_by_side(told: Callable[[], Sketch | Result], folder: Path, *, at_once: int) -> list[str]:
    """Draw all pictures of a result, several at a time where processes can be doubled.

    Parameters
    ----------
    told : callable
        Waits for the scene's sketch, then for its result as the rays tell it, then for that with peaks.
    folder : Path
        Exists and can be written.
    at_once : int
        Cores. For each of the three, all but one of them begin to draw; this process draws when all is told. [–]

    Returns
    -------
    list of str
        The names of the files, in the order of `draw_all`.

    Raises
    ------
    OSError
        If a file cannot be written; with `at_once` above 1 raised in the process that met it, which ends.
    """
    if at_once == 1 or sys.platform != "linux":
        *_, whole = (told() for _ in STAGES)
        return list(draw_all(whole, folder))
    names: list[str] = []
    wanted: Wanted = []
    drawing: list[int] = []
    for pictures_of in STAGES:
        result = told()
        pictures = pictures_of(result)
        names += pictures
        wanted.insert(0, (_numbered(len(pictures)), pictures))
        # A core is left to whoever makes the results, and after the last stage to this process.
        n_doubles = min(at_once - 1, len(pictures))
        drawing += [_drawing(wanted, result.version, folder) for _ in range(n_doubles)]
    _draw(wanted, result.version, folder)
    codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in drawing]
    if any(codes):
        sys.exit(next(filter(None, codes)))
    return names


def _numbered(count: int) -> int:
    """A pipe from which processes take so many numbers, each once."""
    waiting, numbers = os.pipe()
    os.write(numbers, b"".join(TOKEN.pack(number) for number in range(count)))
    os.close(numbers)
    return waiting


def _drawing(wanted: Wanted, version: str, folder: Path) -> int:
    """A double of this process that draws what is wanted; gives its number."""
    child = os.fork()
    if child != 0:
        return child
    code = FAILED
    try:
        _draw(wanted, version, folder)
        code = 0
    except OSError:
        code = NOT_WRITTEN
    finally:
        if code == FAILED:
            traceback.print_exc()
        os._exit(code)


def _draw(wanted: Wanted, version: str, folder: Path) -> None:
    """Draw, of some pictures and then of others, those whose number no other process has taken."""
    for waiting, pictures in wanted:
        names = list(pictures)
        while token := os.read(waiting, TOKEN.size):
            name = names[TOKEN.unpack(token)[0]]
            saved(pictures[name](), version, folder / name)
