"""Points of a sweep in processes of their own: the same numbers, nothing lost when one ends or the user stops.

Shown to fail on: another seed in the processes, points told under another's number, processes left running, an end of
one that is waited for forever.
"""

from __future__ import annotations

import os
import signal

import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.sweep import run as study
from dishtrace.study.sweep import side_by_side
from dishtrace.study.sweep.store import NAME, Store
from tests.support.plate_scene import plate_scene

VARY = ["part.plate.center_m.z=0.0,0.02,-0.95,0.04"]
"""The third lies behind the mirror."""


@pytest.fixture(scope="module")
def scene():
    return scene_from_text(plate_scene())


@pytest.fixture
def started(monkeypatch):
    """Side by side from the second point on; the processes that were started."""
    monkeypatch.setattr(study, "WORTH_S", -1.0)
    found = []

    class Noted(side_by_side.Worker):
        def __init__(self, *arguments):
            super().__init__(*arguments)
            found.append(self._process)

    monkeypatch.setattr(side_by_side, "Worker", Noted)
    return found


def test_points_are_those_of_one_after_another_to_the_last_bit(scene, started):
    steps = []
    beside = dt.sweep(scene, VARY, rays=8192, threads=2, progress=lambda done, whole: steps.append((done, whole)))
    assert len(started) == 2 and all(process.poll() is not None for process in started)
    assert steps == sorted(steps) and steps[-1] == (4 * 8192, 4 * 8192)
    alone = dt.sweep(scene, VARY, rays=8192, threads=1)
    assert len(started) == 2
    assert [point.to_json() for point in beside.points] == [point.to_json() for point in alone.points]
    assert "behind the mirror" in beside.points[2].fault


def test_ctrl_c_ends_the_processes_and_keeps_the_finished_points(scene, started, tmp_path, monkeypatch):
    real = Store.keep

    def keep(store, point):
        real(store, point)
        if len(store.points) == 2:
            os.kill(os.getpid(), signal.SIGINT)

    monkeypatch.setattr(Store, "keep", keep)
    stopped = dt.sweep(scene, VARY, rays=8192, threads=2, folder=tmp_path)
    assert stopped.stopped and len(stopped.points) == 2
    assert len(started) == 2 and all(process.poll() is not None for process in started)
    whole = dt.sweep(scene, VARY, rays=8192, threads=2, folder=tmp_path)
    assert not whole.stopped and whole.n_resumed == 2 and len(whole.points) == 4


BEGIN = f"from {side_by_side.__name__} import serve; import {side_by_side.__name__} as here\n"


def test_a_process_that_ends_is_told_and_what_was_finished_is_kept(scene, started, tmp_path, monkeypatch):
    monkeypatch.setattr(side_by_side, "COMMAND", BEGIN + "here.traced_points = lambda *_, **__: sys.exit(3); serve()")
    with pytest.raises(dt.RunError, match="ended with code 3"):
        dt.sweep(scene, VARY, rays=8192, threads=2, folder=tmp_path)
    assert all(process.poll() is not None for process in started)
    assert len((tmp_path / NAME).read_text(encoding="utf-8").splitlines()) == 2


def test_an_error_of_a_trace_comes_as_itself(scene, started, monkeypatch):
    planted = "def lost(*_, **__):\n    raise here.RunError('3 rays were lost')\nhere.traced_points = lost\nserve()"
    monkeypatch.setattr(side_by_side, "COMMAND", BEGIN + planted)
    with pytest.raises(dt.RunError, match=r"^3 rays were lost$"):
        dt.sweep(scene, VARY, rays=8192, threads=2)


def test_where_no_process_can_be_started_points_follow_one_another(scene, started, monkeypatch):
    monkeypatch.setattr(side_by_side.sys, "executable", "/no/such/program")
    said = []
    swept = dt.sweep(scene, VARY, rays=8192, announce=said.append)
    assert len(swept.points) == 4 and started == []
    assert len([line for line in said if "cannot be started" in line]) == 1


def test_no_process_is_started_that_would_have_to_compile_by_itself(scene, started, monkeypatch):
    monkeypatch.setattr(study, "has_compiled_code", lambda: False)
    assert len(dt.sweep(scene, VARY, rays=8192, threads=2).points) == 4 and started == []
