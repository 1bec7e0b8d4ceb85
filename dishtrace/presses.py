"""Whether Ctrl-C was pressed, seen at once and whoever handles it."""

from __future__ import annotations

import select
import signal
import socket
import threading
import time
from types import TracebackType
from typing import ClassVar, Self

MOST_NOTED = 65536
PAUSE_S = 0.05
"""Between looks while only other signals have come. [s]"""


class Presses:
    """Context that remembers whether Ctrl-C was pressed in it.

    A trace takes Ctrl-C as a wish to stop early, and one that is done anyway forgets it; and while a library is busy
    Python hears of it only later. So the interpreter is asked to write the number of every signal to a socket, as it
    comes and whoever handles it. Contexts within each other share the socket of the outermost: they look at what stands
    in it and leave it there. Outside the main thread, where Python has no signals, nothing is ever pressed.
    """

    _shared: ClassVar[tuple[socket.socket, socket.socket] | None] = None

    def __init__(self) -> None:
        self._reader: socket.socket | None = None
        self._is_owner = self._was_pressed = self._is_over = False
        self._earlier = 0

    def __enter__(self) -> Self:
        if threading.current_thread() is not threading.main_thread():
            return self
        self._is_owner = Presses._shared is None
        if self._is_owner:
            reader, writer = socket.socketpair()
            reader.setblocking(False)
            writer.setblocking(False)
            self._before = signal.set_wakeup_fd(writer.fileno(), warn_on_full_buffer=False)
            Presses._shared = reader, writer
        self._reader = Presses._shared[0]
        self._earlier = self._count()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._was_pressed = self.is_set
        self._reader = None
        if self._is_owner:
            signal.set_wakeup_fd(self._before)
            shared, Presses._shared = Presses._shared, None
            for end in shared:
                end.close()

    @property
    def is_set(self) -> bool:
        """Whether Ctrl-C was pressed since the context began."""
        if self._reader is not None:
            self._was_pressed = self._was_pressed or self._count() > self._earlier
        return self._was_pressed

    def _count(self) -> int:
        try:
            return self._reader.recv(MOST_NOTED, socket.MSG_PEEK).count(signal.SIGINT)
        except BlockingIOError:
            return 0

    def wait(self) -> bool:
        """Wait in another thread until Ctrl-C is pressed, or nobody waits for it any more; whether it was."""
        while self._reader is not None and not self._is_over:
            select.select([self._reader], [], [])
            if self.is_set or self._is_over:
                break
            time.sleep(PAUSE_S)
        return self.is_set

    def release(self) -> None:
        """Let whoever waits go on."""
        self._is_over = True
        if self._reader is not None:
            Presses._shared[1].send(b"\0")
