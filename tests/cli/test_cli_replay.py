"""The option --first-ray of `trace`: paths of single rays instead of a run."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from dishtrace.cli import app
from tests.support.plate_scene import plate_scene


@pytest.fixture
def scene(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "yard.toml"
    path.write_text(plate_scene(), encoding="utf-8")
    return path


def call(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.mark.parametrize("first", ["-3", "1e20"])
def test_a_ray_that_no_run_has_is_refused(scene, first):
    done = call("trace", scene, "--first-ray", first)
    assert (done.exit_code, done.stdout) == (2, "")
    assert (
        f"command line: --first-ray = {int(float(first))} must be a whole number from 0 to 137438945279" in done.stderr
    )


def test_replay_prints_the_path_of_the_rays_asked_for(scene, tmp_path):
    done = call("trace", scene, "--first-ray", "5", "--rays", "2", "--seed", "3")
    heads = [line for line in done.stdout.splitlines() if line.startswith("ray")]
    assert heads == [f"ray {ray}, seed 3: x, y, z in the dish frame (m)" for ray in (5, 6)]
    x, y, z = (float(number) for number in done.stdout.splitlines()[2].split())
    assert z == pytest.approx((x * x + y * y) / 3.6, abs=1e-8)  # the second place lies on the mirror
    told = json.loads(call("trace", scene, "--first-ray", "5", "--seed", "3", "--json").stdout)
    assert told["rays"][0]["path_m"][1] == pytest.approx([x, y, z], abs=1e-8)
    assert not (tmp_path / "results").exists()


def test_numbers_of_a_replay_that_are_all_bad_are_told_at_once(scene):
    done = call("trace", scene, "--first-ray", "-1", "--seed", "-1", "--rays", "0")
    assert done.exit_code == 2
    told = [line.split(" must")[0] for line in done.stderr.splitlines() if line.startswith("command line: ")]
    assert told == [f"command line: {option}" for option in ("--seed = -1", "--first-ray = -1", "--rays = 0")]


def test_rays_after_the_last_are_refused_before_any_is_printed(scene):
    done = call("trace", scene, "--first-ray", "137438945278", "--rays", "3")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "command line: --rays = 3 must be 2 or less from ray 137438945278 on" in done.stderr


def test_options_that_a_replay_cannot_follow_are_refused(scene, tmp_path):
    done = call("trace", scene, "--first-ray", "5", "--until", "x", "--seconds", "3", "--out", tmp_path / "out")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "--first-ray cannot be given with --until, --seconds, --out: it prints paths" in done.stderr
    assert not (tmp_path / "out").exists()
    for options in (("--quiet",), ("--threads", "2")):
        assert f"cannot be given with {options[0]}: " in call("trace", scene, "--first-ray", "5", *options).stderr
