"""Ctrl-C is seen at once, whoever handles it, by all who look.

Shown to fail on: a signal that an inner handler swallows; a look that takes the signal from others; a press before the
context counted in it; the interpreter's socket left in place.
"""

from __future__ import annotations

import os
import signal
import threading

from dishtrace.presses import Presses
from dishtrace.trace.interrupt import StopFlag
from tests.support.ctrl_c import press


def test_a_signal_that_somebody_else_handled_is_seen():
    with Presses() as presses:
        assert not presses.is_set
        with StopFlag() as inner:
            press()
        assert inner.is_set
        assert presses.is_set and presses.is_set
    with Presses() as again:
        assert not again.is_set


def test_other_signals_do_not_count():
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        with Presses() as presses:
            os.kill(os.getpid(), signal.SIGTERM)
            assert not presses.is_set
    finally:
        signal.signal(signal.SIGTERM, before)


def test_another_thread_has_no_signals_and_no_trouble():
    found = []

    def work() -> None:
        with Presses() as presses:
            found.append(presses.is_set)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert found == [False]


def test_all_contexts_see_a_press_and_none_sees_an_earlier_one():
    with Presses() as outer:
        with Presses() as inner, StopFlag():
            press()
            assert inner.is_set and outer.is_set
        with Presses() as later, StopFlag():
            assert not later.is_set
            press()
            assert later.is_set
        assert outer.is_set
    assert inner.is_set and outer.is_set
    assert signal.set_wakeup_fd(-1) == -1


def test_a_thread_waits_for_a_press_or_until_it_is_let_go():
    found = []
    for is_pressed in (True, False):
        with Presses() as presses, StopFlag():
            thread = threading.Thread(target=lambda presses=presses: found.append(presses.wait()))
            thread.start()
            if is_pressed:
                press()
            else:
                presses.release()
            thread.join(30.0)
            assert not thread.is_alive()
    assert found == [True, False]
