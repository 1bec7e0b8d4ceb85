"""The search for an aim: on functions with known best places, and on a scene.

Shown to fail on: least taken for most, a limit on the wrong side, a gain told from the points of the search, a search
that goes on with points of another scene, seed or number of rays, or traces known points again.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate, from_left_out
from dishtrace.study.improve import run as study
from dishtrace.study.improve.aims import Limit, aim_of, chance_above_zero, limits_of
from dishtrace.study.improve.memory import NAME
from dishtrace.study.improve.outcome import sureness
from dishtrace.study.improve.search import OutOfTrialsError, search
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep.points import Point
from tests.support.plate_scene import plate_scene

VARY = ["dish.slope_error_mrad=1:6", "part.plate.radius_m=0.01:0.05"]


@pytest.fixture(scope="module")
def scene():
    return scene_from_text(plate_scene(arm=(0.5, "[0.0, 0.3, 0.0]")))


@pytest.mark.parametrize("noise", [0.0, 1e-3])
@pytest.mark.parametrize("limited", [False, True])
def test_best_place_of_a_bowl_with_and_without_a_limit(noise, limited, seed):
    """3 (x - 0.3)^2 + 2 (y - 0.7)^2, and with x + y >= 1.25: there x - 0.3 = 0.1 and y - 0.7 = 0.15 (Lagrange)."""
    chance, tried = np.random.default_rng(seed), []

    def trial(place):
        if len(tried) == 60:
            raise OutOfTrialsError
        x, y = place
        cost = 3.0 * (x - 0.3) ** 2 + 2.0 * (y - 0.7) ** 2 + noise * chance.normal()
        room = np.array([x + y - 1.25]) if limited else np.zeros(0)
        tried.append((cost, room.min(initial=0.0), place))
        return cost, room

    search(trial, np.array([0.9, 0.1]), n_keys=2, n_trials=60, seed=seed)
    best = min((one for one in tried if one[1] >= -1e-3), key=lambda one: one[0])[2]
    exact = [0.4, 0.85] if limited else [0.3, 0.7]
    assert best == pytest.approx(exact, abs=0.01 if noise == 0.0 else 0.06)
    assert (tried[0][2] == [0.9, 0.1]).all()
    assert len({one[2].tobytes() for one in tried}) == len(tried)
    assert all((0.0 <= one[2]).all() and (one[2] <= 1.0).all() for one in tried)


class Tracer:
    """Stands for tracing: receiver watts rise with the radius, stand watts too; another seed shifts all by a little."""

    def __init__(self, *, stop_before=None):
        self.seeds, self.stop_before = [], stop_before

    def __call__(self, scene, job, *, seed, rays, **_):
        if len(self.seeds) == self.stop_before:
            raise StoppedError
        self.seeds.append((seed, rays))
        radius, slope = job.values["part.plate.radius_m"], job.values["dish.slope_error_mrad"]
        shift = (0.0 if seed == 3 else -1.0) + 0.1 * np.sin(np.arange(8.0))
        return Point(
            job.number,
            job.values,
            {
                "receiver_w": _estimate(1000.0 * (1.0 - (radius / 0.05 - 0.8) ** 2) - 10.0 * (slope - 2.0) ** 2, shift),
                "stand_w": _estimate(1000.0 * radius, shift),
            },
        )


def _estimate(value, shift):
    return from_left_out(value + shift.mean(), value + shift)


def improved(scene, monkeypatch, *, stop_before=None, **options):
    tracer = Tracer(stop_before=stop_before)
    monkeypatch.setattr(study, "traced_point", tracer)
    return dt.improve(scene, VARY, rays=8192, **options), tracer


def test_most_with_a_limit_is_found_and_checked_with_fresh_points(scene, monkeypatch):
    found, tracer = improved(scene, monkeypatch, aim="most receiver_w", keep=["stand_w < 30"])
    assert found.best.values["dish.slope_error_mrad"] == pytest.approx(2.0, abs=0.1)
    assert 0.029 < found.best.values["part.plate.radius_m"] < 0.0301
    assert found.is_checked and found.start.values == {"dish.slope_error_mrad": 3.0, "part.plate.radius_m": 0.02}
    seeds = {seed for seed, _ in tracer.seeds[:-2]}
    assert seeds == {3} and tracer.seeds[-1][0] != 3 and tracer.seeds[-2] == tracer.seeds[-1]
    assert tracer.seeds[-1][1] == 4 * 8192
    # both were shifted by -1 in the check, which cancels in the gain
    exact = 1000.0 * (0.16 - (found.best.values["part.plate.radius_m"] / 0.05 - 0.8) ** 2)
    exact += 10.0 - 10.0 * (found.best.values["dish.slope_error_mrad"] - 2.0) ** 2
    assert found.gain.value == pytest.approx(exact, rel=1e-9) and found.gain.se == pytest.approx(0.0, abs=1e-9)
    json.dumps(found.to_dict(), allow_nan=False)
    assert len(found.rows()) == len(found.trials) and {"keeps", "receiver_w_se"} <= set(found.rows()[0])


def test_least_with_a_lower_limit_goes_the_other_way(scene, monkeypatch):
    found, _ = improved(scene, monkeypatch, aim="least stand_w", keep=["receiver_w > 900"])
    # receiver 900 at best slope: (r / 0.05 - 0.8)^2 = 0.1
    assert found.best.values["part.plate.radius_m"] == pytest.approx(0.05 * (0.8 - np.sqrt(0.1)), abs=3e-4)
    assert found.gain is not None


def test_a_limit_that_nothing_keeps_leaves_no_best(scene, monkeypatch):
    found, _ = improved(scene, monkeypatch, aim="most receiver_w", keep=["stand_w < 5"])
    assert found.best is None and found.gain is None and not found.is_checked
    assert not any("not checked" in note for note in found.notes())


@pytest.mark.parametrize(("errors", "chance"), [(0.0, 0.5), (1.0, 0.8413), (1.645, 0.95), (2.326, 0.99)])
def test_how_sure_a_gain_is(errors, chance):
    """Phi(1) = 0.8413, Phi(1.645) = 0.95, Phi(2.326) = 0.99: tables of the normal distribution, NIST/SEMATECH,
    *e-Handbook of Statistical Methods*, 1.3.6.7.1. A gain of either sign is as sure. Catches two-sided chances, a sign
    that is lost, and an error without its root of 2."""
    for sign in (1.0, -1.0):
        assert sureness(Estimate(sign * errors * 0.2, 0.2)) == pytest.approx(chance, abs=5e-5)
        exact = chance if sign > 0.0 else 1.0 - chance
        assert chance_above_zero(sign * errors * 0.2, 0.2) == pytest.approx(exact, abs=5e-5)


def test_how_sure_a_gain_without_a_known_error_or_without_any_is():
    assert sureness(Estimate(3.0, None)) is None
    assert chance_above_zero(3.0, None) is None
    assert (chance_above_zero(3.0, 0.0), chance_above_zero(-3.0, 0.0)) == (1.0, 0.0)


def test_a_best_at_an_end_of_its_range_is_told(scene, monkeypatch):
    found, _ = improved(scene, monkeypatch, aim="most stand_w")
    assert found.at_ends() == {"part.plate.radius_m": "high"}
    assert any("at the high end of its range" in note for note in found.notes())


def test_a_stop_keeps_the_best_until_then_unchecked(scene, monkeypatch):
    found, _ = improved(scene, monkeypatch, aim="most receiver_w", stop_before=5)
    assert found.stopped and not found.is_checked and len(found.trials) == 5
    assert any("not checked" in note for note in found.notes())
    best = max(point.figures["receiver_w"].value for point in found.trials)
    assert found.best.figures["receiver_w"].value == best
    with pytest.raises(KeyboardInterrupt):
        improved(scene, monkeypatch, aim="most receiver_w", stop_before=0)


def test_a_stop_in_the_check_keeps_what_the_search_saw(scene, monkeypatch):
    whole, tracer = improved(scene, monkeypatch, aim="most receiver_w")
    found, _ = improved(scene, monkeypatch, aim="most receiver_w", stop_before=len(tracer.seeds) - 1)
    assert found.stopped and not found.is_checked
    assert found.best.values == whole.best.values


@pytest.mark.slow
def test_a_real_scene_gains_from_a_larger_plate(scene):
    """Of the small plate more light is caught the larger it is: the best lies at the high end."""
    found = dt.improve(scene, ["part.plate.radius_m=0.015:0.03"], aim="most receiver_w", rays=8192, trials=6)
    assert found.best.values["part.plate.radius_m"] > 0.029
    assert found.gain.value > 5.0 * found.gain.se > 0.0


def test_limits_tell_room_and_chance():
    """Two standard errors of room: 97.72 % of a normal (NIST/SEMATECH e-Handbook, table of the normal)."""
    below, above = Limit("stand_w", True, 50.0), Limit("stand_w", False, 50.0)
    assert (below.room(Estimate(46.0, 2.0)), above.room(Estimate(46.0, 2.0))) == (4.0, -4.0)
    assert below.chance(Estimate(46.0, 2.0)) == pytest.approx(0.97725, abs=1e-5)
    assert above.chance(Estimate(46.0, 2.0)) == pytest.approx(0.02275, abs=1e-5)
    assert below.chance(Estimate(46.0, None)) is None and below.chance(Estimate(50.0, 0.0)) == 1.0


def test_aims_and_limits_are_read_as_written():
    assert (aim_of("most receiver_w").sign, aim_of(" least  part.big pot.peak_w_m2").figure) == (
        1.0,
        "part.big pot.peak_w_m2",
    )
    assert limits_of(["stand_w<=5e1"]) == (Limit("stand_w", True, 50.0),)
    with pytest.raises(dt.InputError, match='must be "FIGURE < NUMBER"'):
        limits_of(["stand_w = 3"])


def test_all_faults_come_at_once(scene):
    with pytest.raises(dt.InputError) as caught:
        dt.improve(scene, ["dish.slop_error_mrad=1:2"], aim="most recever_w", keep=["stand_w < x", "stnd_w < 3"])
    told = str(caught.value)
    assert "did you mean slope_error_mrad?" in told
    assert '--aim recever_w names no figure; did you mean "receiver_w"?' in told
    assert '--keep = stand_w < x must be "FIGURE < NUMBER"' in told
    with pytest.raises(dt.InputError, match="--aim is missing"):
        dt.improve(scene, VARY, aim="")
    with pytest.raises(dt.InputError, match="--trials = 3 must be 7 or more for 2 keys"):
        dt.improve(scene, VARY, aim="most receiver_w", trials=3)


def numbers_of(found):
    """What a search tells, without what says how it came to it."""
    return {key: value for key, value in found.to_dict().items() if key not in ("resumed", "notes")}


@pytest.mark.parametrize("stop_before", [1, 5, 20, -2, -1])
def test_a_stopped_search_goes_on_where_it_stopped(scene, monkeypatch, tmp_path, stop_before):
    """In the scattered part, in the optimiser's, before the check and in it: the same to the last bit as in one go."""
    aims = {"aim": "most receiver_w", "keep": ["stand_w < 30"]}
    whole, tracer = improved(scene, monkeypatch, **aims)
    n_traces = len(tracer.seeds)
    stopped, first = improved(scene, monkeypatch, folder=tmp_path, stop_before=stop_before % n_traces, **aims)
    assert stopped.stopped and any("the same command goes on" in note for note in stopped.notes())
    again, second = improved(scene, monkeypatch, folder=tmp_path, **aims)
    assert not again.stopped and len(first.seeds) + len(second.seeds) == n_traces
    assert again.n_resumed == min(len(first.seeds), len(whole.trials))
    assert numbers_of(again) == numbers_of(whole)
    assert f"{again.n_resumed} trials were there from an earlier run" in again.notes()
    done, third = improved(scene, monkeypatch, folder=tmp_path, **aims)
    assert third.seeds == [] and numbers_of(done) == numbers_of(whole)


def test_another_aim_or_more_trials_use_what_was_traced(scene, monkeypatch, tmp_path):
    _, first = improved(scene, monkeypatch, folder=tmp_path, aim="most receiver_w", trials=24)
    alone, plain = improved(scene, monkeypatch, aim="least receiver_w", trials=30)
    found, second = improved(scene, monkeypatch, folder=tmp_path, aim="least receiver_w", trials=30)
    assert 9 <= found.n_resumed < 30 and len(second.seeds) < len(plain.seeds)
    assert numbers_of(found) == numbers_of(alone)


@pytest.mark.parametrize("change", [{"seed": 9}, {"rays": 16384}])
def test_points_of_another_seed_or_number_of_rays_are_traced_anew(scene, monkeypatch, tmp_path, change):
    improved(scene, monkeypatch, folder=tmp_path, aim="most receiver_w", trials=8)
    tracer = Tracer()
    monkeypatch.setattr(study, "traced_point", tracer)
    options = {"rays": 8192, "aim": "most receiver_w", "trials": 8, "folder": tmp_path, **change}
    found = dt.improve(scene, VARY, **options)
    assert found.n_resumed == 0 and len(tracer.seeds) >= 9


def test_a_folder_of_another_scene_is_refused(scene, monkeypatch, tmp_path):
    improved(scene, monkeypatch, folder=tmp_path, aim="most receiver_w", trials=8)
    other = scene.with_keys({"dish.reflectance": 0.8})
    with pytest.raises(dt.InputError, match="holds trials of another search .another scene.*--fresh"):
        improved(other, monkeypatch, folder=tmp_path, aim="most receiver_w", trials=8)
    found, _ = improved(other, monkeypatch, folder=tmp_path, fresh=True, aim="most receiver_w", trials=8)
    assert found.n_resumed == 0
    text = (tmp_path / NAME).read_text(encoding="utf-8")
    (tmp_path / NAME).write_text(text[:-30], encoding="utf-8")
    _, tracer = improved(other, monkeypatch, folder=tmp_path, aim="most receiver_w", trials=8)
    assert len(tracer.seeds) == 1


def test_a_folder_that_cannot_be_made_is_told(scene, monkeypatch, tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(dt.RunError, match="cannot keep what is finished"):
        improved(scene, monkeypatch, folder=tmp_path / "file" / "below", aim="most receiver_w")


def test_without_a_folder_it_is_said_that_nothing_is_kept(scene, monkeypatch):
    found, _ = improved(scene, monkeypatch, aim="most receiver_w", stop_before=4)
    assert any("no folder keeps them" in note for note in found.notes())
