"""A process of its own that draws the pictures of a result.

The plotting library takes as long to load as a million rays to trace, so the process is started before the scene is
read. It gets the scene's sketch and draws its side view; then the result as the rays tell it, and draws what tells no
peak of a part; then the result with its peaks. It draws into a folder of its own in the results folder, so that a run
that comes to nothing leaves no pictures. Where no process can be started, or it fails, the pictures are drawn here:
whatever is wrong with a drawing or a disk then shows here too.
"""

from __future__ import annotations

import os
import pickle
import shutil
import sys
import tempfile
import threading
from contextlib import suppress
from pathlib import Path
from queue import SimpleQueue
from types import SimpleNamespace, TracebackType
from typing import TYPE_CHECKING, Self

from dishtrace.cores import available_cores
from dishtrace.side_process import close, end, started

if TYPE_CHECKING:
    import subprocess

    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch

COMMAND = "from dishtrace.report.pictures.process import main; main(); import os; os._exit(0)"
"""Ends at once, without looking for garbage."""
PLOTTING = "matplotlib.figure"
N_STAGES = 3
"""A scene's sketch, its result, and that with peaks."""
OF_SKETCH = ("version", "mirror", "pose", "facets", "fits", "meshes", "sample_rays")
OF_RESULT = ("rays", "seed", "stopped", "parts", "screens", "focal_plane", "best_focus", "highest_peak")


class Painter:
    """Draws all pictures of a result, in another process where that is quicker.

    Parameters
    ----------
    is_wanted : bool
        Whether pictures will be wanted, so that the process is started.

    Notes
    -----
    A context: leaving it ends the process, whatever has happened. Ctrl-C does not reach the process, since a run that
    is stopped has pictures too.
    """

    def __init__(self, *, is_wanted: bool) -> None:
        self.is_wanted = is_wanted
        self._process: subprocess.Popen[bytes] | None = None
        self._talk: threading.Thread | None = None
        self._told: SimpleQueue[SimpleNamespace | Path | None] = SimpleQueue()
        self._n_told = 0
        self._drawn: Path | None = None
        self._names: list[str] = []

    def __enter__(self) -> Self:
        if self.is_wanted and self._is_quicker():
            self._process = started(COMMAND)
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        if self._process is None:
            return
        end(self._process)
        if self._talk is not None:
            self._told.put(None)
            self._talk.join()
        close(self._process)
        if self._drawn is not None:
            shutil.rmtree(self._drawn, ignore_errors=True)

    @staticmethod
    def _is_quicker() -> bool:
        """Whether another process gains anything: a second core, and the plotting library not loaded here yet."""
        return available_cores() > 1 and PLOTTING not in sys.modules

    def begin(self, sketch: Sketch | Result, folder: Path) -> None:
        """Let the process draw a scene that is going to be traced."""
        if self._process is None or self._talk is not None:
            return
        try:
            self._drawn = Path(tempfile.mkdtemp(prefix=".pictures-", dir=folder))
        except OSError:
            # What hinders writing there is met, and told, when the pictures are drawn here.
            return
        self._told.put(self._drawn)
        self._tell_next(sketch)
        self._talk = threading.Thread(target=self._talk_to_process, daemon=True)
        self._talk.start()

    def go_on(self, result: Result) -> None:
        """Let the process draw what a result tells: first as the rays tell it, the second time with its peaks."""
        if self._talk is not None:
            self._tell_next(result)

    def _tell_next(self, shown_in: Sketch | Result) -> None:
        if self._n_told < N_STAGES:
            self._n_told += 1
            self._told.put(shown(shown_in))
        if self._n_told == N_STAGES:
            self._told.put(None)

    def _talk_to_process(self) -> None:
        """Hand on what is to be told until there is no more, and hear the names of the pictures.

        One pickler for all of it: what was told before is not told again.
        """
        with suppress(OSError):
            pickler = pickle.Pickler(self._process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
            for told in iter(self._told.get, None):
                pickler.dump(told)
                self._process.stdin.flush()
        answer, _ = self._process.communicate()
        self._names = answer.decode("utf-8").splitlines()

    def finish(self, result: Result, folder: Path) -> list[str]:
        """Names of all pictures of a result, all written; those begun before are waited for.

        Raises
        ------
        OSError
            If a picture cannot be written.
        """
        self.begin(result, folder)
        while self._talk is not None and self._n_told < N_STAGES:
            self.go_on(result)
        if self._talk is not None:
            self._talk.join()
            if self._process.returncode == 0:
                for name in self._names:
                    os.replace(self._drawn / name, folder / name)
                return self._names
        from dishtrace.report.pictures import draw_all

        return list(draw_all(result, folder))


def shown(result: Result | Sketch) -> SimpleNamespace:
    """What pictures show of a result, so that the process loads neither the kernels nor the tables of scenes."""
    names = [*OF_SKETCH, *(OF_RESULT if hasattr(result, OF_RESULT[0]) else ())]
    seen = SimpleNamespace(**{name: getattr(result, name) for name in names})
    seen.sun = SimpleNamespace(has_direction=result.sun.has_direction)
    seen.scene = scene = result.scene
    if result.fits.mirror is None and not result.fits.facets:
        screens = [SimpleNamespace(name=each.name, facing=each.facing, frame=each.frame) for each in scene.screens]
        dish = SimpleNamespace(facets=None if scene.dish.facets is None else "some")
        seen.scene = SimpleNamespace(title_line=scene.title_line, dish=dish, screens=screens)
        seen.fits = SimpleNamespace(mirror=None, facets={})
    return seen
