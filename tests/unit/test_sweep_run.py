"""Sweeps: the table, common points, what is kept and resumed, what cannot be traced.

Shown to fail on: a resumed sweep that traces finished points again, a file of another sweep that is taken for one's
own.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.flux import together
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import from_left_out
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep import run as study
from dishtrace.study.sweep.points import Point
from dishtrace.study.sweep.store import NAME
from dishtrace.trace import run as running
from tests.support.ctrl_c import press_after_stretch
from tests.support.plate_scene import plate_scene

VARY = ["dish.reflectance=0.6:0.9:4", "part.plate.radius_m=0.01,0.03"]


@pytest.fixture(scope="module")
def scene():
    return scene_from_text(plate_scene())


class Tracer:
    """Stands for the tracing of points: figures by formula, a count, and a stop on demand."""

    def __init__(self, *, stop_before=None):
        self.numbers, self.stop_before = [], stop_before

    def installed(self, monkeypatch):
        monkeypatch.setattr(study, "traced_point", self.point)
        monkeypatch.setattr(study, "traced_points", self.points)
        return self

    def point(self, scene, job, **_):
        if self.stop_before is not None and len(self.numbers) == self.stop_before:
            raise StoppedError
        self.numbers.append(job.number)
        value = 100.0 * job.values["dish.reflectance"] + job.number
        return Point(job.number, job.values, {"receiver_w": from_left_out(value, value + np.arange(4.0))})

    def points(self, scene, jobs, **options):
        yield from (self.point(scene, job, **options) for job in jobs)


@pytest.fixture
def tracer(monkeypatch):
    return Tracer().installed(monkeypatch)


def test_every_point_has_the_same_random_points(scene):
    """Watts scale exactly with reflectance, to rounding, which they would not with other random points."""
    swept = dt.sweep(scene, ["dish.reflectance=0.45,0.9"], rays=8192, seed=3)
    low, high = (point.figures["first_hit_receiver_w"] for point in swept.points)
    assert high.value == pytest.approx(2.0 * low.value, rel=1e-12)
    assert high.minus(low).se == pytest.approx(low.se, rel=1e-9)
    assert (
        swept.points[1].figures["intercept_factor"].value == dt.trace(scene, rays=8192, seed=3).intercept_factor.value
    )
    assert "part.plate.settled_c" in swept.points[0].figures
    cold, hot = (point.figures["part.plate.settled_c"] for point in swept.points)
    assert hot.value > cold.value and hot.se > 0.0


def test_the_table_has_a_row_a_point_in_the_order_of_the_grid(scene, tracer):
    swept = dt.sweep(scene, VARY, rays=8192)
    rows = swept.rows()
    assert [row["dish.reflectance"] for row in rows] == pytest.approx([0.6, 0.6, 0.7, 0.7, 0.8, 0.8, 0.9, 0.9])
    assert [row["part.plate.radius_m"] for row in rows] == [0.01, 0.03] * 4
    assert list(rows[0]) == ["point", "dish.reflectance", "part.plate.radius_m", "receiver_w", "receiver_w_se", "fault"]
    assert swept.columns()["receiver_w"] == [row["receiver_w"] for row in rows]
    assert (swept.rays, swept.seed, swept.stopped) == (8192, 3, False)
    json.dumps(swept.to_dict(), allow_nan=False)


def test_a_stopped_sweep_goes_on_where_it_stopped(scene, tmp_path, monkeypatch):
    Tracer(stop_before=3).installed(monkeypatch)
    stopped = dt.sweep(scene, VARY, rays=8192, folder=tmp_path)
    assert stopped.stopped and [point.number for point in stopped.points] == [0, 1, 2]
    assert "the same command goes on" in stopped.notes()[0]
    second = Tracer().installed(monkeypatch)
    whole = dt.sweep(scene, VARY, rays=8192, folder=tmp_path)
    assert second.numbers == [3, 4, 5, 6, 7]
    assert whole.n_resumed == 3 and not whole.stopped and len(whole.points) == 8
    Tracer().installed(monkeypatch)
    assert dt.sweep(scene, VARY, rays=8192).rows() == whole.rows()
    kept, fresh = (one.points[1].figures["receiver_w"] for one in (whole, dt.sweep(scene, VARY, rays=8192)))
    np.testing.assert_array_equal(kept.left_out, fresh.left_out)


def test_a_line_that_was_cut_short_is_traced_again(scene, tmp_path, tracer):
    dt.sweep(scene, VARY, rays=8192, folder=tmp_path)
    text = (tmp_path / NAME).read_text(encoding="utf-8")
    (tmp_path / NAME).write_text(text[:-40], encoding="utf-8")
    tracer.numbers.clear()
    assert len(dt.sweep(scene, VARY, rays=8192, folder=tmp_path).points) == 8
    assert tracer.numbers == [7]
    tracer.numbers.clear()
    dt.sweep(scene, VARY, rays=8192, folder=tmp_path)
    assert tracer.numbers == []


@pytest.mark.parametrize("change", [{"rays": 16384}, {"seed": 9}, {"vary": VARY[:1]}, {"scene": "other"}])
def test_a_folder_of_another_sweep_is_refused(scene, tmp_path, tracer, change):
    dt.sweep(scene, VARY, rays=8192, folder=tmp_path)
    other = scene.with_keys({"dish.slope_error_mrad": 4.0}) if "scene" in change else scene
    options = {"vary": VARY, "rays": 8192, **{key: value for key, value in change.items() if key != "scene"}}
    with pytest.raises(dt.InputError, match="holds another sweep"):
        dt.sweep(other, folder=tmp_path, **options)
    assert len(dt.sweep(other, folder=tmp_path, fresh=True, **options).points) in (4, 8)


def test_bad_ends_and_a_bad_design_are_told_at_once(scene):
    with pytest.raises(dt.InputError) as caught:
        dt.sweep(scene, ["dish.reflectance=0.5:1.5"], points=3)
    assert [fault.key for fault in caught.value.faults] == ["dish.reflectance", "--points"]


def test_a_point_that_is_not_sound_is_told_and_the_rest_traced(scene):
    """At z = -0.95 m the plate lies behind the mirror's vertex."""
    swept = dt.sweep(scene, ["part.plate.center_m.z=-0.95,0.0"], rays=8192)
    assert "behind the mirror" in swept.points[0].fault
    assert swept.points[1].figures and not swept.points[1].fault
    assert swept.rows()[0]["receiver_w"] is None
    assert "1 points could not be traced" in swept.notes()[0]


def test_ctrl_c_before_the_first_point_is_told_as_such(scene, monkeypatch):
    Tracer(stop_before=0).installed(monkeypatch)
    with pytest.raises(KeyboardInterrupt):
        dt.sweep(scene, VARY, rays=8192)


def test_progress_counts_all_points(scene, tmp_path):
    seen = []
    dt.sweep(scene, ["dish.reflectance=0.6,0.9"], rays=8192, progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (16384, 16384)
    assert all(total == 16384 for _, total in seen) and seen == sorted(seen)


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"method": "guess"}, "must be one of grid, latin, sobol, indices"),
        ({"points": 10}, "is not used by a grid"),
        ({"method": "latin", "points": 10**6}, "--points = 1000000 must be 1 to 100000 points in all"),
        ({"method": "indices", "points": 0}, "--points = 0 must be 1 or more"),
        ({"cluster": "tcp://127.0.0.1:1"}, "does not answer|needs the library distributed"),
    ],
)
def test_bad_wishes_are_refused(scene, options, said, monkeypatch):
    monkeypatch.setattr("dishtrace.study.sweep.cluster.PATIENCE", "1s")
    with pytest.raises(dt.InputError, match=said):
        dt.sweep(scene, VARY, **options)


def test_a_grid_of_too_many_points_is_a_fault_of_its_ranges(scene):
    """A grid takes no --points, so that they cannot be at fault. Catches keys that are no options."""
    vary = ["dish.slope_error_mrad=1:2:1000", "dish.reflectance=0.6:0.9:1000"]
    with pytest.raises(dt.InputError, match="--vary = 1000000 must be 1 to 100000 points in all; fewer steps"):
        dt.sweep(scene, vary)


def test_points_that_differ_in_parts_alone_are_traced_together_and_the_same_to_the_last_bit(scene, monkeypatch):
    """Shown to fail on: another seed in a lot, points told under the numbers of others."""
    lots, real = [], study.traced_points

    def traced_points(scene, jobs, **options):
        lots.append([job.number for job in jobs])
        return real(scene, jobs, **options)

    vary = ["part.plate.center_m.z=0.0,0.02,-0.95,0.04,0.05,0.06", "dish.reflectance=0.6,0.9"]
    monkeypatch.setattr(study, "MOST_TOGETHER", 1)
    alone = dt.sweep(scene, vary, rays=8192, threads=1)
    monkeypatch.setattr(study, "MOST_TOGETHER", 4)
    monkeypatch.setattr(study, "traced_points", traced_points)
    steps = []
    swept = dt.sweep(scene, vary, rays=8192, threads=1, progress=lambda done, whole: steps.append((done, whole)))
    assert lots == [[0, 2, 4, 6], [8, 10], [1, 3, 5, 7], [9, 11]]
    assert [point.to_json() for point in swept.points] == [point.to_json() for point in alone.points]
    assert [point.number for point in swept.points if point.fault] == [4, 5]
    assert steps == sorted(steps) and steps[-1] == (12 * 8192, 12 * 8192)


def test_points_of_a_lot_that_is_stopped_are_traced_again(scene, tmp_path, monkeypatch):
    """Two lots of four points, two stretches each: Ctrl-C comes in the first stretch of the second lot."""
    vary = ["part.plate.radius_m=0.01:0.03:8"]
    monkeypatch.setattr(running, "STRETCH_POINTS", 256)
    with monkeypatch.context() as patch:
        calls = press_after_stretch(patch, together, 3, stretch_points=256)
        stopped = dt.sweep(scene, vary, rays=16384, threads=1, folder=tmp_path)
    assert stopped.stopped and [point.number for point in stopped.points] == [0, 1, 2, 3] and len(calls) == 3
    resumed = dt.sweep(scene, vary, rays=16384, threads=1, folder=tmp_path)
    whole = dt.sweep(scene, vary, rays=16384, threads=1)
    assert resumed.n_resumed == 4 and resumed.rows() == whole.rows()
