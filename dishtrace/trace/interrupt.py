"""Ctrl-C as a flag: the stretch of work in hand is finished, and what was traced is kept."""

from __future__ import annotations

import signal
import threading
from types import FrameType, TracebackType


class StopFlag:
    """Context in which Ctrl-C sets `is_set` instead of raising; a second Ctrl-C raises as usual.

    Outside the main thread, where Python cannot catch signals, the flag just stays unset.
    """

    def __init__(self) -> None:
        self.is_set = False
        self._is_main = threading.current_thread() is threading.main_thread()

    def __enter__(self) -> StopFlag:
        if self._is_main:
            self._before = signal.signal(signal.SIGINT, self._catch)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._is_main:
            signal.signal(signal.SIGINT, self._before)

    def _catch(self, number: int, frame: FrameType | None) -> None:
        if self.is_set:
            raise KeyboardInterrupt
        self.is_set = True
