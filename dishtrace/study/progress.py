"""Progress of the traces of a study as progress of the whole."""

from __future__ import annotations

from collections.abc import Callable

from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import points_for


def whole_rays(rays: int) -> int:
    """Rays of a trace that is asked for so many: whole units of them. [–]"""
    return points_for(rays) * N_SCRAMBLES


def shifted(progress: Callable[[int, int], None] | None, before: int, whole: int) -> Callable[[int, int], None] | None:
    """What one of several traces calls with its (rays done, rays wanted), so that `progress` is told of all of them.

    Parameters
    ----------
    progress : callable or None
        Called with (rays done, rays wanted) of all of them.
    before, whole : int
        Rays of the traces that are finished, and of all. [–]
    """
    return None if progress is None else lambda done, _: progress(before + done, whole)
