"""A result depends on the scene, the seed and the number of rays, and on nothing else.

Planted errors that these tests catch: two threads that add to one row; later numbers drawn by a running counter instead
of the ray's number; a stretch that starts with the point before its first.
"""

import numpy as np
import pytest
from hypothesis import given

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import totals
from dishtrace.trace import cpu
from dishtrace.trace.optics import empty_tally, no_screens
from tests.property.strategies import QUICK, scenes
from tests.support.small_scenes import CAVITY, PLATE, ROUGH, coarse_parts, prepared, scene_text, tallied

ROUGH_SCENE = scene_text(CAVITY + PLATE, dish=ROUGH)


def assert_same_bits(one, other):
    for name in one._fields:
        assert np.array_equal(getattr(one, name), getattr(other, name)), name


@QUICK
@given(text=scenes())
def test_any_number_of_threads_gives_the_same_bits(text):
    optics = prepared(text).assembly.optics
    first = tallied(optics, count=64, n_legs=8)
    assert first.budget.sum() > 0.0
    for threads in (2, 3, 8):
        assert_same_bits(first, tallied(optics, count=64, threads=threads, n_legs=8))


def test_any_number_of_threads_gives_the_same_bits_with_shared_rows(monkeypatch):
    """Large meshes keep fewer rows than scrambles, so several scrambles write to one row."""
    optics = prepared(ROUGH_SCENE).assembly.optics

    def few_rows():
        tally = empty_tally(n_parts=2, n_triangles=len(optics.parts.part), n_screens=0, n_radii=0, n_legs=0)
        return tally._replace(incident=tally.incident[:4].copy(), absorbed=tally.absorbed[:4].copy())

    found = []
    for threads in (1, 2, 8):
        tally = few_rows()
        with cpu.ThreadPoolExecutor(max_workers=threads) as pool:
            cpu.trace_points([cpu.Job(optics, no_screens(), tally)], start=0, count=128, pool=pool)
        found.append(tally)
    assert_same_bits(found[0], found[1])
    assert_same_bits(found[0], found[2])
    whole = tallied(optics, count=128)
    assert np.allclose(found[0].incident.sum(axis=0), whole.incident.sum(axis=0), rtol=1e-12, atol=1e-9)


@pytest.mark.parametrize("threads", [2, 3, 8])
def test_the_whole_result_has_the_same_bits_for_any_number_of_threads(threads):
    """All figures of the main job, pilot sample and screens with it."""

    def figures(n):
        with coarse_parts():
            return dt.trace(scene_from_text(ROUGH_SCENE), rays=8192, seed=5, threads=n).to_dict()

    assert without_time(figures(1)) == without_time(figures(threads))


def without_time(told):
    return {key: value for key, value in told.items() if key not in ("seconds", "threads", "compile_seconds")}


@QUICK
@given(text=scenes())
def test_stretches_do_not_matter(text):
    """The same rays, summed in another order: the same to rounding."""
    optics = prepared(text).assembly.optics
    whole = tallied(optics, count=128)
    for stretches in (2, 8):
        cut = tallied(optics, count=128, stretches=stretches)
        for one, other in zip(whole, cut, strict=True):
            assert np.allclose(one, other, rtol=1e-13, atol=1e-13 * np.abs(one).max(initial=0.0))


def test_other_seeds_give_other_results_that_agree():
    """Nothing is shared between seeds, and their means differ by no more than their errors: |z| < 5 of 8 columns."""
    rows = [tallied(prepared(ROUGH_SCENE, seed=seed).assembly.optics, count=512).budget for seed in (1, 2)]
    (one, se_one), (two, se_two) = (totals(row) for row in rows)
    counted = (one > 0.0) & (two > 0.0) & (se_one > 1e-6 * one)
    assert np.count_nonzero(counted) >= 10
    assert not np.any(one[counted] == two[counted])
    assert np.all(np.abs(one - two)[counted] < 5.0 * np.hypot(se_one, se_two)[counted])
