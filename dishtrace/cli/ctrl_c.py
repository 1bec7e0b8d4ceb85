"""A word at once when Ctrl-C is pressed, also while a library is busy and what it stops comes later."""

from __future__ import annotations

import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

SAID = "stopping after the work at hand; Ctrl-C again stops at once"


@contextmanager
def answered(say: Callable[[str], None]) -> Iterator[None]:
    """Say for as long as this lasts that the first Ctrl-C was seen, where it is not to end the work at once.

    The interpreter writes the number of a signal to a socket as it comes, and a thread waits there: the work itself
    looks at Ctrl-C between two of its steps, and a step that compiles takes seconds. Outside the main thread, where
    Python has no signals, and while something else has the interpreter write elsewhere, nothing is said.

    Parameters
    ----------
    say : callable
        Takes the line; called in another thread.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    reader, writer = socket.socketpair()
    writer.setblocking(False)
    before = signal.set_wakeup_fd(writer.fileno(), warn_on_full_buffer=False)
    thread = threading.Thread(target=_listen, args=(reader, say), daemon=True)
    thread.start()
    try:
        yield
    finally:
        signal.set_wakeup_fd(before)
        writer.close()
        thread.join()
        reader.close()


def _listen(reader: socket.socket, say: Callable[[str], None]) -> None:
    while numbers := reader.recv(4096):
        if signal.SIGINT in numbers and signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
            say(SAID)
            return
