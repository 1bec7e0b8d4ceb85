"""The command `compare`, called in-process: exit codes, texts, files."""

from __future__ import annotations

import dataclasses
import json

import pytest
from typer.testing import CliRunner

import dishtrace as dt
from dishtrace.cli import app
from dishtrace.flux import together
from dishtrace.study import compare as study
from tests.support.plate_scene import plate_scene

SCENE = plate_scene(surface='"soot"')
VARIANT = """[[variant]]
name = "duller"
dish.reflectance = 0.8
"""


def call(*arguments):
    return CliRunner().invoke(app, ["compare", *(str(argument) for argument in arguments)])


@pytest.fixture
def scene(tmp_path, monkeypatch):
    """A scene file with one variant, in the current folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "yard.toml"
    path.write_text(SCENE + VARIANT, encoding="utf-8")
    return path


def test_one_scene_with_a_variant_is_compared_and_written(scene, tmp_path):
    done = call(scene)
    assert done.exit_code == 0
    folder = tmp_path / "results" / "yard" / "comparison"
    assert sorted(path.name for path in folder.iterdir()) == ["comparison.csv", "comparison.json", "comparison.png"]
    assert done.stdout.startswith("Comparison of 2 scenes   8192 rays each, seed 3, same random points\n")
    assert "B duller, against A yard" in done.stdout
    assert "comparison.json, comparison.csv, comparison.png" in " ".join(done.stdout.split())
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    assert "\x1b" not in done.stdout


def test_two_files_as_json_with_options_write_no_folder(scene, tmp_path):
    other = tmp_path / "roof.toml"
    other.write_text(SCENE.replace("0.9\nslope", "0.45\nslope"), encoding="utf-8")
    done = call(scene, other, "--json", "--rays", "1e4", "--seed", "9", "--threads", "1", "--dishes", "2")
    told = json.loads(done.stdout)
    assert done.exit_code == 0 and (told["rays"], told["seed"]) == (16384, 9)
    assert [case["name"] for case in told["scenes"]] == ["yard", "yard: duller", "roof"]
    assert told["notes"] == ["10000 rays were rounded up to 16384, whole units of 8192"]
    watts = [case["figures"]["first_hit_receiver_w"]["value"] for case in told["scenes"]]
    assert watts[1:] == pytest.approx([watts[0] * 8.0 / 9.0, watts[0] / 2.0], rel=1e-12)
    assert told["scenes"][2]["differences"]["first_hit_receiver_w"]["verdict"] == "different"
    assert not (tmp_path / "results").exists()


def test_quiet_with_a_folder_named_writes_what_python_gets(scene, tmp_path):
    done = call(scene, "--quiet", "--out", tmp_path / "out")
    assert (done.exit_code, done.stdout, done.stderr) == (0, "", "")
    told = json.loads((tmp_path / "out" / "comparison.json").read_text(encoding="utf-8"))
    assert told == json.loads(json.dumps(dt.compare(dt.load_scene(scene)).to_dict()))


def test_faults_of_all_files_are_told_at_once(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(study, "trace_together", lambda *_, **__: pytest.fail("traced although the input was at fault"))
    scene.write_text(SCENE + VARIANT.replace("0.8", "8"), encoding="utf-8")
    other = tmp_path / "roof.toml"
    other.write_text(SCENE.replace("radius_m = 1.0", "radius_m = -1.0"), encoding="utf-8")
    done = call(scene, other, tmp_path / "none.toml")
    assert done.exit_code == 2 and done.stdout == ""
    assert "3 things need a change:" in done.stderr
    assert f'{scene}:{SCENE.count(chr(10)) + 3}: variant "duller" dish.reflectance = 8 must be' in done.stderr
    assert f"{other}:8: dish.outline.radius_m = -1 must be" in done.stderr
    assert "none.toml: does not exist" in done.stderr


def test_a_single_scene_without_variants_is_refused(scene):
    scene.write_text(SCENE, encoding="utf-8")
    done = call(scene, "--json")
    assert done.exit_code == 2
    assert 'scenes = "yard" must be two at least, or one with variants' in done.stderr
    assert json.loads(done.stdout)["ok"] is False


@pytest.mark.parametrize(
    ("option", "value", "allowed"),
    [
        ("--rays", "0", "from 1 to 137438945280"),
        ("--seed", "-1", "from 0 to 18446744073709551615"),
        ("--threads", "0", "from 1 to 1024"),
        ("--dishes", "0", "1 or more"),
    ],
)
def test_bad_numbers_are_refused(scene, option, value, allowed):
    done = call(scene, option, value)
    assert done.exit_code == 2
    assert f"command line: {option} = {value} must be {allowed}\n" in done.stderr


def test_no_scene_is_a_usage_error():
    assert call().exit_code == 2


def test_a_stop_reports_the_finished_traces_and_exits_130(scene, tmp_path, monkeypatch):
    calls = []

    def trace(described, **options):
        calls.append(described)
        results = together.trace_together(described, **options)
        return [dataclasses.replace(result, stopped=len(calls) == 2) for result in results]

    monkeypatch.setattr(study, "trace_together", trace)
    done = call(scene, "--out", tmp_path / "out")
    assert done.exit_code == 130
    assert "STOPPED EARLY; not traced: duller" in done.stdout
    told = json.loads((tmp_path / "out" / "comparison.json").read_text(encoding="utf-8"))
    assert told["stopped"] is True and told["not_traced"] == ["duller"]
    assert [case["name"] for case in told["scenes"]] == ["yard"]


def test_ctrl_c_before_anything_is_traced_writes_nothing(scene, tmp_path, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(study, "trace_together", interrupt)
    done = call(scene, "--out", tmp_path / "out")
    assert (done.exit_code, done.stdout) == (130, "")
    assert list((tmp_path / "out").iterdir()) == []


def test_check_names_the_variants_and_tells_what_is_wrong_with_their_places(scene):
    done = CliRunner().invoke(app, ["check", str(scene)])
    assert done.exit_code == 0 and '  variants "duller"\n' in done.stdout
    scene.write_text(SCENE + VARIANT + "part.plate.center_m = [0.3, 0.0, -0.8775]\n", encoding="utf-8")
    done = CliRunner().invoke(app, ["check", str(scene)])
    assert done.exit_code == 2
    assert 'variant "duller" part "plate" center_m = [0.3, 0, -0.8775] goes through the mirror' in done.stderr
