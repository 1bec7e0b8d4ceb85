"""Ctrl-C as a flag.

Planted errors that these tests catch: the handler not put back; the second Ctrl-C swallowed.
"""

import signal
import threading

import pytest

from dishtrace.trace.interrupt import StopFlag


def test_first_ctrl_c_sets_the_flag_and_goes_on():
    with StopFlag() as stop:
        assert not stop.is_set
        signal.raise_signal(signal.SIGINT)
        assert stop.is_set


def test_second_ctrl_c_raises():
    with pytest.raises(KeyboardInterrupt), StopFlag() as stop:
        signal.raise_signal(signal.SIGINT)
        assert stop.is_set
        signal.raise_signal(signal.SIGINT)


def test_handler_is_put_back_also_after_an_error():
    before = signal.getsignal(signal.SIGINT)
    with StopFlag():
        assert signal.getsignal(signal.SIGINT) != before
    assert signal.getsignal(signal.SIGINT) is before
    with pytest.raises(ZeroDivisionError), StopFlag():
        _ = 1 / 0
    assert signal.getsignal(signal.SIGINT) is before


def test_outside_the_main_thread_the_flag_stays_unset():
    """Python catches signals in the main thread only; entering elsewhere must neither fail nor touch the handler."""
    found = []
    before = signal.getsignal(signal.SIGINT)

    def work():
        with StopFlag() as stop:
            found.append(stop.is_set)
            found.append(signal.getsignal(signal.SIGINT) is before)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert found == [False, True]
