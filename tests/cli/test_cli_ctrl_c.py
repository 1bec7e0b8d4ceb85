"""What is said when Ctrl-C is pressed.

Errors planted and caught: nothing said while the work is busy; said where Ctrl-C ends the work at once; the
interpreter's socket left in place.
"""

from __future__ import annotations

import signal
import threading
import time

import pytest

from dishtrace.cli import ctrl_c
from dishtrace.cli.progress import watched
from dishtrace.presses import Presses
from dishtrace.trace.interrupt import StopFlag
from tests.support.ctrl_c import press


def test_it_is_said_while_the_work_is_busy():
    said, heard = [], threading.Event()

    def say(line):
        said.append(line)
        heard.set()

    with ctrl_c.answered(say), StopFlag() as stop:
        press()
        assert heard.wait(30.0)
        assert stop.is_set
        with pytest.raises(KeyboardInterrupt):
            press()
    assert said == [ctrl_c.SAID]
    assert signal.set_wakeup_fd(-1) == -1


def test_nothing_is_said_where_ctrl_c_ends_the_work_at_once():
    said = []
    with pytest.raises(KeyboardInterrupt), ctrl_c.answered(said.append):
        press()
    assert said == []


def test_outside_the_main_thread_the_work_is_done_without_a_word():
    done = []

    def work():
        with ctrl_c.answered(done.append):
            done.append("done")

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == ["done"]


def test_work_of_a_command_is_answered_on_standard_error_while_it_goes_on(capsys):
    def work(subject, **_):
        with StopFlag() as stop:
            press()
            for _ in range(3000):
                if said := capsys.readouterr().err:
                    break
                time.sleep(0.01)
            return subject, stop.is_set, said

    assert watched(work, "yard", quiet=False) == ("yard", True, f"{ctrl_c.SAID}\n")


def test_a_study_is_answered_too():
    """It looks for Ctrl-C itself, at the same socket."""
    said, heard = [], threading.Event()
    with ctrl_c.answered(lambda line: (said.append(line), heard.set())), Presses() as study, StopFlag():
        press()
        assert study.is_set
        assert heard.wait(30.0)
    assert said == [ctrl_c.SAID]


def test_quiet_work_stops_without_a_word(capsys):
    def work(subject):
        with StopFlag() as stop:
            press()
            return subject, stop.is_set

    assert watched(work, "yard", quiet=True) == ("yard", True)
    assert capsys.readouterr().err == ""
