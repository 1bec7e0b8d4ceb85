"""Ctrl-C in a study of many short traces: seen even where the trace that was running had ended anyway."""

from __future__ import annotations

import signal
import socket
import threading
from types import TracebackType


class StoppedError(Exception):
    """The user stopped the tracing."""


class Interrupts:
    """Context that remembers whether Ctrl-C was pressed in it.

    A trace takes Ctrl-C as a wish to stop early, and one that is done anyway forgets it. Here the interpreter is asked
    to write the number of every signal to a socket, whoever handles it, which `is_set` looks into. Outside the main
    thread, where Python has no signals, it stays unset.
    """

    def __init__(self) -> None:
        self._is_main = threading.current_thread() is threading.main_thread()
        self._was_seen = False

    def __enter__(self) -> Interrupts:
        if self._is_main:
            self._reader, self._writer = socket.socketpair()
            self._reader.setblocking(False)
            self._writer.setblocking(False)
            self._before = signal.set_wakeup_fd(self._writer.fileno(), warn_on_full_buffer=False)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._is_main:
            signal.set_wakeup_fd(self._before)
            self._reader.close()
            self._writer.close()

    @property
    def is_set(self) -> bool:
        """Whether Ctrl-C was pressed since the context began."""
        if self._is_main and not self._was_seen:
            try:
                self._was_seen = signal.SIGINT in self._reader.recv(4096)
            except BlockingIOError:
                self._was_seen = False
        return self._was_seen
