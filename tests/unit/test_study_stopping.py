"""Ctrl-C between and within the short traces of a study.

Shown to fail on: a comparison or a fit that looks only at its traces' flags, one that calls itself stopped although all
was done.
"""

from __future__ import annotations

import pytest

import dishtrace as dt
from dishtrace.flux import prepared, together
from dishtrace.scene.read import scene_from_text
from dishtrace.study import compare as comparing
from dishtrace.study import tracer
from dishtrace.study.improve import task as improving
from dishtrace.study.size import light as lights
from dishtrace.study.size import run as sizing
from dishtrace.trace.interrupt import StopFlag
from tests.support.ctrl_c import press, press_after_stretch
from tests.support.plate_scene import plate_scene


@pytest.fixture
def pressing(monkeypatch):
    """Ctrl-C during a trace of a study, the second unless told otherwise, too late for that trace to stop."""

    def install(module, name="trace", number=2):
        real, calls = getattr(module, name), []

        def trace(*arguments, **options):
            calls.append(options)
            result = real(*arguments, **options)
            if len(calls) == number:
                with StopFlag():
                    press()
            return result

        monkeypatch.setattr(module, name, trace)
        return calls

    return install


def test_a_sweep_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(tracer)
    swept = dt.sweep(scene_from_text(plate_scene()), ["dish.reflectance=0.5:0.9:4"], rays=8192)
    assert swept.stopped and len(swept.points) == len(calls) == 2


@pytest.mark.parametrize("is_one_lot", [True, False])
def test_a_sizing_stops_after_the_lot_in_which_ctrl_c_came(pressing, monkeypatch, is_one_lot):
    """One lot was done anyway when Ctrl-C came; of lots of one size each the second was."""
    calls = pressing(sizing, "lights_on", number=1 if is_one_lot else 2)
    if not is_one_lot:
        monkeypatch.setattr(prepared, "MOST_BYTES", 0.0)
    sized = dt.size(scene_from_text(plate_scene()), "plate", radius=(0.01, 0.04, 8), rays=8192)
    if is_one_lot:
        assert not sized.stopped and len(sized.trials) == 8 and len(calls) == 1
        return
    assert sized.stopped and len(sized.trials) == len(calls) == 2
    assert sized.grid is None and sized.best is None and sized.captures == {}
    assert "stopped early: 6 sizes were not traced" in sized.notes


def test_a_sizing_that_stops_in_its_first_lot_has_all_sizes_with_fewer_rays(monkeypatch):
    scene = scene_from_text(plate_scene())
    with monkeypatch.context() as patch:
        press_after_stretch(patch, lights, 1)
        sized = dt.size(scene, "plate", radius=(0.01, 0.04, 8), rays=3 * 131072, threads=2)
    assert sized.stopped and len(sized.trials) == 8 and sized.rays == 131072 and sized.grid is not None
    assert "stopped early: each size has 131072 rays only" in sized.notes
    whole = dt.size(scene, "plate", radius=(0.01, 0.04, 8), rays=131072)
    assert whole.rows() == sized.rows()


def test_a_search_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(tracer)
    scene = scene_from_text(plate_scene())
    found = dt.improve(scene, ["part.plate.radius_m=0.01:0.04"], aim="most receiver_w", rays=8192)
    assert found.stopped and len(found.trials) == len(calls) == 2 and not found.is_checked
    assert improving.keeps(found.best, ())


def scenes(number: int, *, key: str = "reflectance = 0.9", step: float = -0.1) -> dict[str, dt.Scene]:
    """Plates under mirrors of their own, or other plates under the same one."""
    name, _, value = key.partition(" = ")
    texts = (plate_scene().replace(key, f"{name} = {float(value) + k * step:g}") for k in range(number))
    return {f"{k}": scene_from_text(text) for k, text in enumerate(texts)}


def test_a_comparison_stops_after_the_trace_in_which_ctrl_c_came(pressing):
    calls = pressing(comparing, "trace_together")
    compared = dt.compare(scenes(3))
    assert compared.stopped and len(compared.cases) == len(calls) == 2 and compared.not_traced == ("2",)


def test_a_comparison_whose_last_trace_was_done_anyway_is_whole(pressing):
    calls = pressing(comparing, "trace_together")
    compared = dt.compare(scenes(2))
    assert not compared.stopped and len(compared.cases) == len(calls) == 2 and compared.not_traced == ()


def test_ctrl_c_between_traces_keeps_what_a_comparison_has(monkeypatch):
    real, calls = comparing.trace_together, []

    def trace_together(*arguments, **options):
        calls.append(options)
        if len(calls) == 2:
            press()
        return real(*arguments, **options)

    monkeypatch.setattr(comparing, "trace_together", trace_together)
    compared = dt.compare(scenes(3))
    assert compared.stopped and len(compared.cases) == 1


@pytest.mark.parametrize("is_one_lot", [True, False])
def test_plates_under_one_mirror_stop_together(monkeypatch, is_one_lot):
    """In one lot all have the rays until then; of several lots those that were begun are finished or left out."""
    calls = press_after_stretch(monkeypatch, together, 2 if is_one_lot else 4)
    if not is_one_lot:
        monkeypatch.setattr(prepared, "MOST_BYTES", 0.0)
    rays = 3 * 131072
    compared = dt.compare(scenes(3, key="radius_m = 0.02", step=0.01), rays=rays, threads=2)
    assert compared.stopped
    if is_one_lot:
        assert [case.result.rays for case in compared.cases] == [2 * 131072] * 3 and compared.not_traced == ()
        assert any(f"{2 * 131072} of {rays} rays were traced" in note for note in compared.notes)
        assert len(calls) == 2
    else:
        assert [case.result.rays for case in compared.cases] == [rays] and compared.not_traced == ("1", "2")
        assert len(calls) == 4


@pytest.mark.parametrize(("number", "is_whole"), [(1, False), (2, False), (8, True)])
def test_a_fit_stops_after_the_trace_in_which_ctrl_c_came(pressing, number, is_whole):
    """One trace for the size of the maps, then seven slope errors."""
    calls = pressing(tracer, number=number)
    found = dt.fit(scene_from_text(plate_scene()), target="20,22,21 mm", rays=8192)
    assert len(calls) == number and found.stopped is not is_whole
    assert (found.edge is not None) is is_whole
    assert any("stopped early" in note for note in found.notes) is not is_whole
