"""Kernels compiled by a second process: those that are called later, whatever becomes of the process.

Errors planted and caught: a sum of another type; a process that outlives a failure; a process started for nothing.
"""

import pytest

from dishtrace.flux import second_compiler
from dishtrace.flux.look import looking
from dishtrace.flux.second_compiler import KERNELS, asked_of, compiling_beside
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.kernels.backward import look_back, weigh_cells
from tests.support.small_scenes import POT, prepared, scene_text


@pytest.fixture(scope="module")
def scene():
    return prepared(scene_text(POT))


@pytest.fixture
def process(monkeypatch):
    """What was started."""
    begun = []
    begin = second_compiler.started
    monkeypatch.setattr(second_compiler, "started", lambda command: begun.append(begin(command)) or begun[0])
    monkeypatch.setattr(second_compiler, "available_cores", lambda: 2)
    monkeypatch.setattr(second_compiler, "IS_CACHED", True)
    return begun


def test_what_is_asked_for_is_what_is_called_later(scene):
    look = looking(scene.assembly.optics, sun=scene.sun, facets=scene.facets, seed=1, threads=1)
    mesh = scene.meshes[0]
    places, normals = mesh.triangles[:, 0], mesh.normals
    look.aimed(places[0], normals[0]).at(places[:1], normals[:1], count=2)
    assert KERNELS == (look_back, weigh_cells)
    for kernel, types in zip(KERNELS, asked_of(scene), strict=True):
        assert types in kernel.signatures


def test_nothing_is_started_where_code_lies_ready(scene, process):
    with compiling_beside(scene, is_wanted=False, stop=StopFlag()):
        pass
    assert process == []


@pytest.mark.parametrize("name", ["available_cores", "IS_CACHED"])
def test_nothing_is_started_that_could_not_help(scene, process, monkeypatch, name):
    monkeypatch.setattr(second_compiler, name, (lambda: 1) if name == "available_cores" else False)
    with compiling_beside(scene, is_wanted=True, stop=StopFlag()):
        pass
    assert process == []


def test_a_process_is_waited_for(scene, process):
    with compiling_beside(scene, is_wanted=True, stop=StopFlag()):
        pass
    assert process[0].returncode == 0


def test_a_process_that_fails_does_not_matter(scene, process, monkeypatch):
    monkeypatch.setattr(second_compiler, "COMMAND", "import os; os._exit(3)")
    with compiling_beside(scene, is_wanted=True, stop=StopFlag()):
        pass
    assert process[0].returncode == 3


def test_a_failure_here_ends_the_process(scene, process, monkeypatch):
    monkeypatch.setattr(second_compiler, "COMMAND", "import time; time.sleep(600)")
    with pytest.raises(RuntimeError, match="stop"), compiling_beside(scene, is_wanted=True, stop=StopFlag()):
        raise RuntimeError("stop")
    assert process[0].returncode < 0


def test_nobody_waits_after_ctrl_c(scene, process, monkeypatch):
    monkeypatch.setattr(second_compiler, "COMMAND", "import time; time.sleep(600)")
    stop = StopFlag()
    with compiling_beside(scene, is_wanted=True, stop=stop):
        stop.is_set = True
    assert process[0].returncode < 0
