"""One scene after another, each traced whole: what was finished before the user stopped is the caller's."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dishtrace.flux.measure import trace
from dishtrace.flux.result import Result
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.study.progress import shifted, whole_rays
from dishtrace.study.stopping import StoppedError


def whole_trace(scene: Scene, *, peak_points: bool, **options: Any) -> Result:
    """A trace with the options of `trace`, as it is without a stop.

    Whether the most brightly lit points are looked for is always said, since most studies do without them.

    Raises
    ------
    StoppedError
        If the user stopped it.
    """
    try:
        result = trace(scene, peak_points=peak_points, **options)
    except KeyboardInterrupt as stop:
        raise StoppedError from stop
    if result.stopped:
        raise StoppedError
    return result


class Tracer:
    """Traces one scene after another and shows how far all of them are.

    Parameters
    ----------
    n_wanted : int
        Traces that will be asked for, for the progress.
    progress : callable or None
        Called with (rays done, rays wanted) of all of them.
    options : dict
        rays, seed, threads, announce of `trace`; peak points are not looked for.
    presses : Presses, optional
        Looked at before each trace.
    """

    def __init__(
        self,
        *,
        n_wanted: int,
        progress: Callable[[int, int], None] | None,
        options: dict[str, Any],
        presses: Presses | None = None,
    ) -> None:
        self.n_wanted, self.progress, self.options = n_wanted, progress, options
        self.presses, self.rays_done = presses, 0

    def traced(self, scene: Scene) -> Result:
        """One trace.

        Raises
        ------
        StoppedError
            If the user stopped it, or the trace before it too late for that one.
        """
        if self.presses is not None and self.presses.is_set:
            raise StoppedError
        each = whole_rays(self.options["rays"])
        whole = max(self.n_wanted * each, self.rays_done + each)
        show = shifted(self.progress, self.rays_done, whole)
        result = whole_trace(scene, peak_points=False, progress=show, **self.options)
        self.rays_done += each
        return result
