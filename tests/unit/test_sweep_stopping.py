"""Ctrl-C between and within the short traces of a study. Shown to fail on: a signal that an inner handler swallows."""

from __future__ import annotations

import os
import signal
import threading

import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.improve import task as improving
from dishtrace.study.size import run as sizing
from dishtrace.study.sweep import points as sweeping
from dishtrace.study.sweep.stopping import Interrupts
from dishtrace.trace.interrupt import StopFlag
from tests.support.plate_scene import plate_scene


def press() -> None:
    os.kill(os.getpid(), signal.SIGINT)


def test_a_signal_that_somebody_else_handled_is_seen():
    with Interrupts() as interrupts:
        assert not interrupts.is_set
        with StopFlag() as inner:
            press()
        assert inner.is_set
        assert interrupts.is_set and interrupts.is_set
    with Interrupts() as again:
        assert not again.is_set


def test_other_signals_do_not_count():
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        with Interrupts() as interrupts:
            os.kill(os.getpid(), signal.SIGTERM)
            assert not interrupts.is_set
    finally:
        signal.signal(signal.SIGTERM, before)


def test_another_thread_has_no_signals_and_no_trouble():
    found = []

    def work() -> None:
        with Interrupts() as interrupts:
            found.append(interrupts.is_set)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert found == [False]


@pytest.fixture
def pressing(monkeypatch):
    """Ctrl-C during the second trace of each study, too late for that trace to stop."""

    def install(module, name="trace"):
        real, calls = getattr(module, name), []

        def trace(*arguments, **options):
            calls.append(options)
            result = real(*arguments, **options)
            if len(calls) == 2:
                with StopFlag():
                    press()
            return result

        monkeypatch.setattr(module, name, trace)
        return calls

    return install


def test_a_sweep_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(sweeping)
    swept = dt.sweep(scene_from_text(plate_scene()), ["dish.reflectance=0.5:0.9:4"], rays=8192)
    assert swept.stopped and len(swept.points) == len(calls) == 2


def test_a_sizing_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(sizing, "light_on")
    sized = dt.size(scene_from_text(plate_scene()), "plate", radius=(0.01, 0.04, 8), rays=8192)
    assert sized.stopped and len(sized.trials) == len(calls) == 2
    assert sized.grid is None and sized.best is None and sized.captures == {}


def test_a_search_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(sweeping)
    scene = scene_from_text(plate_scene())
    found = dt.improve(scene, ["part.plate.radius_m=0.01:0.04"], aim="most receiver_w", rays=8192)
    assert found.stopped and len(found.trials) == len(calls) == 2 and not found.is_checked
    assert improving.keeps(found.best, ())
