"""The command, called in-process: exit codes, texts, files."""

from __future__ import annotations

import dataclasses
import json
import os
import re
import subprocess
import sys

import pytest
from typer.testing import CliRunner

import dishtrace
import dishtrace.flux.measure
from dishtrace.cli import app
from dishtrace.cli.options import count
from dishtrace.errors import RunError
from dishtrace.heat.run import quick_balance
from dishtrace.report import exports
from tests.support.plate_scene import plate_scene

SCENE = plate_scene(
    sun="azimuth_deg = 180.0\nelevation_deg = 50.0\n",
    radius_m=0.05,
    arm=(0.6, "[0.0, 0.3, 0.03]"),
    screen='[[screen]]\nname = "plane"\noffset_m = -0.05\nhalf_width_m = 0.1\nradii_m = [0.03]\n',
)


@pytest.fixture
def scene(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "yard.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


def call(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


@pytest.fixture
def no_trace(monkeypatch):
    """Fail when anything is traced."""

    def refuse(*_, **__):
        raise AssertionError("traced although the input was at fault")

    monkeypatch.setattr(dishtrace.flux.measure, "trace", refuse)


def test_trace_prints_the_summary_and_writes_the_folder(scene, tmp_path):
    done = call("trace", scene)
    assert done.exit_code == 0
    folder = tmp_path / "results" / "yard"
    assert {path.name for path in folder.iterdir()} >= {
        "results.json",
        "triangles-plate.csv",
        "triangles-arm.csv",
        "screen-plane-profile.csv",
        "side-view.png",
        "flux-plate.png",
        "spot-focal-plane.png",
        "profile-plane.png",
    }
    assert done.stdout.startswith("Invented test dish   8192 rays, seed 3\n")
    assert "intercept factor" in done.stdout
    assert "Written to results/yard: 11 tables" in done.stdout.replace("\\", "/")
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    is_drawn = (folder / "flux-arm.png").exists()
    assert ("Too little mirror light for a flux map on: arm" in done.stdout) is not is_drawn
    assert "\x1b" not in done.stdout


def test_the_folder_holds_the_numbers_that_python_gets(scene, tmp_path):
    assert call("trace", scene, "--out", tmp_path / "out", "--quiet").stdout == ""
    told = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    result = dishtrace.trace(dishtrace.load_scene(scene))
    assert told == {**result.to_dict(), "heat": quick_balance(result)}


def test_json_is_one_object_and_writes_no_folder(scene, tmp_path):
    done = call("trace", scene, "--json", "--rays", "1.6e4", "--seed", "9", "--threads", "1")
    told = json.loads(done.stdout)
    assert (told["rays"], told["rays_wanted"], told["seed"]) == (16384, 16000, 9)
    assert not (tmp_path / "results").exists()


def test_json_with_a_folder_named_writes_it(scene, tmp_path):
    done = call("trace", scene, "--json", "--out", tmp_path / "out")
    assert json.loads(done.stdout) == json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))


def test_an_existing_folder_is_used_again(scene, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "results.json").write_text("old")
    (folder / "mine.txt").write_text("kept")
    assert call("trace", scene, "--out", folder, "--quiet").exit_code == 0
    assert json.loads((folder / "results.json").read_text(encoding="utf-8"))["seed"] == 3
    assert (folder / "mine.txt").read_text() == "kept"


def test_files_of_parts_that_are_no_more_are_removed_and_nothing_else(scene, tmp_path):
    """A second trace beside pictures and tables of the first one's parts and screens."""
    folder = tmp_path / "out"
    assert call("trace", scene, "--out", folder, "--quiet").exit_code == 0
    before = {path.name for path in folder.iterdir()}
    mine = ["mine.txt", "triangles-mine.csv", "flux-mine.png", "spot-best-focus.png"]
    for name in mine:
        (folder / name).write_text("kept")
    scene.write_text(SCENE.replace('"arm"', '"leg"').replace('"plane"', '"other plane"'), encoding="utf-8")
    done = call("trace", scene, "--out", folder)
    gone = {name for name in before if name.startswith(("triangles-arm", "flux-arm"))} | {
        "spot-plane.png",
        "profile-plane.png",
        "screen-plane-profile.csv",
        "screen-plane-encircled.csv",
    }
    told = f"Removed, since an earlier run wrote them and this one does not: {', '.join(sorted(gone))}"
    assert told in " ".join(done.stdout.split())
    new = {name.replace("-arm", "-leg").replace("-plane", "-other-plane") for name in gone}
    assert {path.name for path in folder.iterdir()} == (before - gone) | new | {*mine}
    assert all((folder / name).read_text() == "kept" for name in mine)
    again = call("trace", scene, "--out", folder)
    assert "Removed" not in again.stdout
    assert {path.name for path in folder.iterdir()} == (before - gone) | new | {*mine}


def test_files_of_an_earlier_run_are_gone_though_writing_fails(scene, tmp_path, monkeypatch):
    """The new results.json does not name them, so that no later run could remove them."""
    folder = tmp_path / "out"
    assert call("trace", scene, "--out", folder, "--quiet").exit_code == 0
    scene.write_text(SCENE.replace('"arm"', '"leg"'), encoding="utf-8")

    def fail(*_, **__):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(exports, "write_triangles", fail)
        assert "No space left" in call("trace", scene, "--out", folder).stderr
    assert not (folder / "triangles-arm.csv").exists()
    assert call("trace", scene, "--out", folder, "--quiet").exit_code == 0
    assert not [path.name for path in folder.iterdir() if "arm" in path.name]


def test_a_folder_that_cannot_be_written_is_told_before_tracing(scene, tmp_path, no_trace):
    (tmp_path / "file").write_text("x")
    done = call("trace", scene, "--out", tmp_path / "file")
    assert done.exit_code == 2
    assert re.search(r"1 thing needs a change:\nresults folder: .*file cannot be written", done.stderr)
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("option", "value", "text"),
    [
        ("--rays", "0", "command line: --rays = 0 must be a whole number from 1 to 137438945280"),
        (
            "--rays",
            "1e20",
            "command line: --rays = 100000000000000000000 must be a whole number from 1 to 137438945280",
        ),
        ("--seed", "-1", "command line: --seed = -1 must be a whole number from 0 to 18446744073709551615"),
        ("--threads", "0", "command line: --threads = 0 must be a whole number from 1 to 1024"),
        ("--threads", "1.5", "'1.5' is not a whole number, such as 4"),
        ("--seconds", "abc", "'abc' is not a number of seconds, such as 30 or 0.5"),
        ("--seconds", "0", "command line: --seconds = 0.0 must be a number from 0.01 to 1000000"),
        ("--until", "soon", "command line: --until = 'soon' must be a quantity and its relative standard error"),
        ("--until", "peak 101%", "command line: --until = 'peak 101%' must be a quantity"),
        ("--rays", "many", "'many' is not a whole number, such as 500000 or 2e6"),
        ("--rays", "1.5", "'1.5' is not a whole number"),
        ("--rays", "nan", "'nan' is not a whole number"),
    ],
)
def test_bad_numbers_are_refused(scene, no_trace, option, value, text):
    done = call("trace", scene, option, value)
    assert done.exit_code == 2
    assert text in done.stderr
    assert "Traceback" not in done.stderr


def test_numbers_that_are_all_bad_are_told_at_once(scene, no_trace):
    numbers = ("--rays", "0", "--seed", "-1", "--threads", "0", "--seconds", "1e9")
    done = call("trace", scene, *numbers, "--until", "soon")
    assert [line.split()[2] for line in done.stderr.splitlines() if line.startswith("command line: ")] == [
        "--until",
        "--rays",
        "--seed",
        "--threads",
        "--seconds",
    ]
    assert "5 things need a change" in done.stderr
    assert "command line: --seconds = 1000000000.0 must be a number from 0.01 to 1000000" in done.stderr


def test_a_goal_that_the_scene_cannot_have_is_told_before_a_folder_is_made(scene, tmp_path, no_trace):
    scene.write_text(SCENE.replace('role = "stand"', 'role = "receiver"'))
    done = call("trace", scene, "--until", "stand 1%")
    assert done.exit_code == 2
    assert "command line: --until = 'stand 1%' cannot be reached: the scene has no part with role = \"stand\"" in (
        done.stderr
    )
    assert not (tmp_path / "results").exists()


def test_a_goal_that_is_not_reached_stands_first_among_the_notes_and_is_no_failure(scene):
    done = call("trace", scene, "--until", "receiver 0.001%", "--rays", "8192")
    assert done.exit_code == 0
    notes = done.stdout[done.stdout.index("\nNotes") :].splitlines()
    assert notes[2].startswith("  - relative standard error of receiver")


def test_a_bad_scene_makes_no_folder_and_tells_every_fault(scene, tmp_path, no_trace):
    scene.write_text(SCENE.replace("radius_m = 0.05", "radius_m = -0.05").replace("dni_w_m2", "dni_w_m"))
    done = call("trace", scene)
    assert done.exit_code == 2
    assert "yard.toml:5: sun.dni_w_m = 900 is not a known key; did you mean dni_w_m2?" in done.stderr
    assert re.search(r'yard\.toml:\d+: part "plate" radius_m = -0\.05 must be', done.stderr)
    assert not (tmp_path / "results").exists()


@pytest.mark.parametrize("command", ["trace", "check"])
def test_faults_as_json(scene, no_trace, command):
    scene.write_text(SCENE.replace("focal_length_m", "focal_lenght_m"))
    done = call(command, scene, "--json")
    assert done.exit_code == 2
    told = json.loads(done.stdout)
    assert told["ok"] is False
    fault = next(fault for fault in told["faults"] if fault["key"] == "dish.focal_lenght_m")
    assert fault["where"].endswith("yard.toml:7")
    assert fault["text"] in done.stderr


@pytest.mark.parametrize("text", ["", "title = ", "\x00", "[sun]\nazimuth_deg = inf\n"])
def test_files_that_are_no_scene(scene, text):
    scene.write_text(text)
    for command in ("trace", "check"):
        done = call(command, scene)
        assert done.exit_code == 2
        assert "yard.toml" in done.stderr


def test_a_missing_scene_and_a_folder_in_its_place(tmp_path):
    assert "does not exist" in call("check", tmp_path / "none.toml").stderr
    assert "is a folder" in call("trace", tmp_path).stderr
    assert call("trace", tmp_path).exit_code == 2


def test_a_run_that_was_stopped_keeps_what_was_traced(scene, tmp_path, monkeypatch):
    result = dishtrace.trace(dishtrace.load_scene(scene))
    stopped = dataclasses.replace(result, stopped=True, rays_wanted=10**9)
    monkeypatch.setattr(dishtrace.flux.measure, "trace", lambda *_, **__: stopped)
    done = call("trace", scene)
    assert done.exit_code == 130
    assert "STOPPED EARLY: 8192 of 1000000000 rays" in done.stdout
    assert json.loads((tmp_path / "results" / "yard" / "results.json").read_text(encoding="utf-8"))["stopped"] is True
    assert (tmp_path / "results" / "yard" / "side-view.png").exists()


def test_ctrl_c_outside_the_tracer(scene, monkeypatch):
    def interrupt(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(dishtrace.flux.measure, "trace", interrupt)
    done = call("trace", scene)
    assert (done.exit_code, done.stderr) == (130, "stopped\n")


def test_a_failed_run(scene, monkeypatch):
    def fail(*_, **__):
        raise RunError("9 rays were lost; replay the first with\n  dishtrace trace yard.toml --first-ray 7")

    monkeypatch.setattr(dishtrace.flux.measure, "trace", fail)
    done = call("trace", scene, "--json")
    assert done.exit_code == 1
    assert done.stderr.startswith("the run failed:\n9 rays were lost")
    assert json.loads(done.stdout)["error"].endswith("--first-ray 7")


def test_a_write_that_fails_after_tracing_is_told(scene, tmp_path):
    (tmp_path / "out" / "triangles-arm.csv").mkdir(parents=True)
    done = call("trace", scene, "--out", tmp_path / "out")
    assert done.exit_code == 1
    assert "writing failed" in done.stderr
    assert (tmp_path / "out" / "results.json").exists()


def test_check_tells_what_the_scene_is(scene):
    done = call("check", scene)
    assert done.exit_code == 0
    assert "yard.toml: sound" in done.stdout
    assert "sun   900 W/m2, azimuth 180.00 deg, elevation 50.00 deg" in done.stdout
    assert 'part "arm" (stand): 0.0488 m2 in' in done.stdout
    told = json.loads(call("check", scene, "--json").stdout)
    assert told["ok"] is True
    assert told["parts"]["arm"]["area_m2"] == pytest.approx(0.0488)
    assert told["dish"]["rim_angle_deg"] == pytest.approx(58.109, abs=1e-3)  # 2 atan(1 / 1.8)


def test_check_finds_what_shows_only_when_files_are_read(scene):
    scene.write_text(SCENE.replace("reflectance = 0.9", 'reflectance = "none.csv"'))
    done = call("check", scene)
    assert done.exit_code == 2
    assert "none.csv" in done.stderr


def test_check_schema_is_json_schema():
    told = json.loads(call("check", "--schema").stdout)
    assert told["$schema"].startswith("https://json-schema.org/")
    assert "dish" in told["properties"]


def test_check_wants_a_scene():
    done = call("check")
    assert done.exit_code == 2
    assert "command line: SCENE is missing; name a scene file, or ask for --schema" in done.stderr


@pytest.mark.parametrize("arguments", [["--help"], ["trace", "--help"], ["check", "-h"]])
def test_help_has_an_example(arguments):
    done = call(*arguments)
    assert done.exit_code == 0
    assert re.search(r"Example:\n +dishtrace ", done.stdout)


def test_version():
    assert call("--version").stdout == f"dishtrace {dishtrace.__version__}\n"


def test_help_loads_nothing_heavy():
    heavy = "numpy", "numba", "scipy", "matplotlib", "pvlib", "pandas", "trimesh", "shapely"
    code = (
        "import sys, dishtrace.cli\n"
        "try: dishtrace.cli.app(['trace', '--help'])\n"
        "except SystemExit: pass\n"
        f"print([name for name in {heavy!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(("text", "number"), [("500000", 500000), ("2_000_000", 2000000), ("2e6", 2000000), ("-3", -3)])
def test_counts_as_people_write_them(text, number):
    assert count(text) == number


def test_an_output_without_the_characters_gets_others(scene):
    scene.write_text(SCENE.replace("Invented test dish", "Töpfchen 鍋"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "dishtrace", "trace", str(scene)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 0
    assert done.stdout.startswith(b"T?pfchen ?   8192 rays")
    assert b"+-" in done.stdout


def test_public_names_are_fetched_on_first_use():
    assert dishtrace.Scene.__name__ == "Scene"
    assert dishtrace.Result.__name__ == "Result"
    assert dishtrace.InputError.exit_code == 2
    assert {"trace", "load_scene", "__version__"} <= set(dir(dishtrace))
    with pytest.raises(AttributeError, match="no attribute 'tracer'"):
        _ = dishtrace.tracer


def test_the_tracer_folder_is_also_the_call():
    import dishtrace.trace.points as points

    assert points.__name__ == "dishtrace.trace.points"
    assert callable(dishtrace.trace)
