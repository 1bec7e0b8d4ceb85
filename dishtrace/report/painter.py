"""A process of its own that draws the pictures of a result.

The plotting library takes as long to load as a million rays to trace, so the process is started before the scene is
read. It gets the result as the rays tell it, and draws what tells no peak of a part; then the result with its peaks.
Where none can be started, or it fails, the pictures are drawn here: whatever is wrong with a drawing or a disk then
shows here too.
"""

from __future__ import annotations

import pickle
import sys
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

COMMAND = "from dishtrace.report.pictures.process import main; main()"
PLOTTING = "matplotlib.figure"
SHOWN = ("scene", "version", "rays", "seed", "stopped", "mirror", "pose", "facets", "fits", "parts", "screens")
SHOWN += ("focal_plane", "best_focus", "highest_peak", "sample_rays")


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
        self._results: SimpleQueue[tuple[SimpleNamespace, Path] | SimpleNamespace | None] = SimpleQueue()
        self._has_peaks = False
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
            self._results.put(None)
            self._talk.join()
        close(self._process)

    @staticmethod
    def _is_quicker() -> bool:
        """Whether another process gains anything: a second core, and the plotting library not loaded here yet."""
        return available_cores() > 1 and PLOTTING not in sys.modules

    def begin(self, result: Result, folder: Path) -> None:
        """Let the process draw what a result tells before it is looked back for peaks, while other things are done."""
        if self._process is not None and self._talk is None:
            self._results.put((shown(result), folder))
            self._talk = threading.Thread(target=self._tell, daemon=True)
            self._talk.start()

    def go_on(self, result: Result) -> None:
        """Let the process draw what tells peaks of parts, too."""
        if self._talk is not None and not self._has_peaks:
            self._results.put(shown(result))
            self._results.put(None)
            self._has_peaks = True

    def _tell(self) -> None:
        """Hand results on until there are no more, and hear the names of the pictures.

        One pickler for all of them: what an earlier result holds is not told again.
        """
        with suppress(BrokenPipeError):
            pickler = pickle.Pickler(self._process.stdin, protocol=pickle.HIGHEST_PROTOCOL)
            for result in iter(self._results.get, None):
                pickler.dump(result)
                self._process.stdin.flush()
        told, _ = self._process.communicate()
        self._names = told.decode("utf-8").splitlines()

    def finish(self, result: Result, folder: Path) -> list[str]:
        """Names of all pictures of a result, all written; those begun before are waited for.

        Raises
        ------
        OSError
            If a picture cannot be written.
        """
        self.begin(result, folder)
        self.go_on(result)
        if self._talk is not None:
            self._talk.join()
            if self._process.returncode == 0:
                return self._names
        from dishtrace.report.pictures import draw_all

        return list(draw_all(result, folder))


def shown(result: Result) -> SimpleNamespace:
    """What pictures show of a result, so that the process loads neither the kernels nor the tables of scenes."""
    seen = SimpleNamespace(**{name: getattr(result, name) for name in SHOWN})
    seen.sun = SimpleNamespace(has_direction=result.sun.has_direction)
    if result.fits.mirror is None and not result.fits.facets:
        scene = result.scene
        screens = [SimpleNamespace(name=each.name, facing=each.facing, frame=each.frame) for each in scene.screens]
        dish = SimpleNamespace(facets=None if scene.dish.facets is None else "some")
        seen.scene = SimpleNamespace(title_line=scene.title_line, dish=dish, screens=screens)
        seen.fits = SimpleNamespace(mirror=None, facets={})
    return seen
