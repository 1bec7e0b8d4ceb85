"""A word at once when Ctrl-C is pressed, also while a library is busy and what it stops comes later."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from dishtrace.presses import Presses

SAID = "stopping after the work at hand; Ctrl-C again stops at once"


@contextmanager
def answered(say: Callable[[str], None]) -> Iterator[None]:
    """Say for as long as this lasts that the first Ctrl-C was seen, where it is not to end the work at once.

    Parameters
    ----------
    say : callable
        Takes the line; called in another thread.
    """
    with Presses() as presses:
        thread = threading.Thread(target=_listen, args=(presses, say), daemon=True)
        thread.start()
        try:
            yield
        finally:
            presses.release()
            thread.join()


def _listen(presses: Presses, say: Callable[[str], None]) -> None:
    if presses.wait() and signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        say(SAID)
