"""Ctrl-C at a known moment."""

from __future__ import annotations

import os
import signal

from dishtrace.trace import run as running


def press() -> None:
    """Press it now."""
    os.kill(os.getpid(), signal.SIGINT)


def press_after_stretch(monkeypatch, module, number: int, *, stretch_points: int = 4096) -> list[int]:
    """Ctrl-C as a stretch of a number, of all that is traced together there, ends; the stretches that were done.

    A stretch has so many points of each of the 32 scrambles then.
    """
    real, calls = module.run_together, []
    monkeypatch.setattr(running, "STRETCH_POINTS", stretch_points)

    def run_together(jobs, *, progress=None, **options):
        def told(done, whole):
            calls.append(done)
            if progress is not None:
                progress(done, whole)
            if len(calls) == number:
                press()

        return real(jobs, progress=told, **options)

    monkeypatch.setattr(module, "run_together", run_together)
    return calls
