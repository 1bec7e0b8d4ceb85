"""The command `heat`, called in-process: exit codes, texts, files."""

from __future__ import annotations

import csv
import json

import pytest
from typer.testing import CliRunner

import dishtrace as dt
from dishtrace.cli import app

SCENE = """title = "heat trial (invented)"
[sun]
dni_w_m2 = { value = 800.0, sd = 40.0 }
[dish]
focal_length_m = 0.6
reflectance = 0.8
slope_error_mrad = 6.0
[dish.outline]
shape = "circle"
radius_m = 0.5
[[part]]
name = "plate"
role = "receiver"
shape = "disc"
radius_m = 0.05
axis = [0.0, 0.0, -1.0]
center_m = [0.0, 0.0, 0.03]
surface = "black-paint"
wall = { material = "copper", thickness_m = 0.002 }
limit_c = 100.0
[[part]]
name = "ring"
role = "stand"
shape = "tube"
radius_m = 0.06
height_m = 0.02
surface = "steel-oxidised"
[air]
wind_m_s = { low = 0.5, high = 2.0 }
[run]
rays = 8192
"""


def call(*arguments):
    return CliRunner().invoke(app, ["heat", *(str(argument) for argument in arguments)])


@pytest.fixture
def scene(tmp_path, monkeypatch):
    """A scene file with a wall and two uncertain numbers, in the current folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "yard.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


def test_summary_and_files(scene, tmp_path):
    done = call(scene, "--minutes", "5")
    assert done.exit_code == 0, done.output
    text = done.stdout
    assert max(len(line) for line in text.splitlines()) <= 80
    for piece in (
        "!! TOO HOT",
        '"plate" reaches',
        "Walls: hottest place",
        "Heat to draw off from plate",
        "Limits of",
        "sun.dni_w_m2",
        "Cautions",
        "Local codes",
    ):
        assert piece in text
    names = {path.name for path in (tmp_path / "results" / "yard" / "heat").iterdir()}
    assert names >= {
        "heat.json",
        "heat.csv",
        "heat-wall-plate.csv",
        "heat-wall-plate.png",
        "heat-curves.png",
        "heat-limits.png",
        "heat-inputs-plate.png",
        "heat-curve-ring.csv",
        "heat-limits-ring.csv",
    }
    lines = (tmp_path / "results" / "yard" / "heat" / "heat.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert [(row["part"], row["figure"]) for row in rows] == [
        ("plate", "stagnation_c"),
        ("plate", "wall_peak_c"),
        ("ring", "stagnation_c"),
    ]
    assert all(float(row["low"]) < float(row["value"]) < float(row["high"]) for row in rows)


def test_json_alone_is_printed_and_is_that_of_python(scene, tmp_path):
    done = call(scene, "--json", "--seed", "3")
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert not (tmp_path / "results").exists()
    plate = found["parts"]["plate"]
    assert plate["state"] == "steady"
    assert plate["wall"]["imbalance"] < 1e-6
    assert plate["wall"]["peak_c"]["value"] > plate["wall"]["mean_c"] > plate["wall"]["lowest_c"]
    assert plate["curve"][0]["temperature_c"] == pytest.approx(20.0)
    assert found["parts"]["ring"]["wall"] is None
    again = dt.heat(dt.load_scene(scene), seed=3).to_dict()
    assert again == found


def test_trace_tells_the_quick_balance(scene):
    done = CliRunner().invoke(app, ["trace", str(scene), "--json"])
    found = json.loads(done.stdout)
    assert set(found["heat"]) == {"plate", "ring"}
    assert found["heat"]["plate"]["stagnation_c"]["value"] > 300.0


@pytest.mark.parametrize("minutes", ["-3", "0", "10001", "nan"])
def test_minutes_out_of_range_are_refused_with_the_range(scene, minutes):
    done = call(scene, "--minutes", minutes, "--json")
    assert done.exit_code == 2
    said = f"command line: --minutes = {minutes} must be from 0.01 to 10000 (minutes); leave it out for the steady"
    assert said in done.stderr
    assert json.loads(done.stdout)["ok"] is False
    with pytest.raises(dt.InputError, match="--minutes"):
        dt.heat(dt.load_scene(scene), minutes=float(minutes))


def test_scene_without_emittance_is_refused(tmp_path):
    path = tmp_path / "bare.toml"
    text = SCENE.replace('"black-paint"', "{ absorptance = 0.9 }").replace('"steel-oxidised"', "{ absorptance = 0.9 }")
    path.write_text(text, encoding="utf-8")
    done = call(path)
    assert done.exit_code == 2
    assert "has no emittance" in done.output


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"copper"', '"cooper"', 'did you mean "copper"?'),
        ("thickness_m = 0.002", "thickness_m = 0.0", "must be a number > 0 and <= 0.5 (metres)"),
        ('"copper", thickness', '"copper", density_kg_m3 = 8000, thickness', "cannot stand beside material"),
        ('material = "copper", ', "", "give all of conductivity_w_mk, density_kg_m3, heat_capacity_j_kgk"),
        ("limit_c = 100.0", "limit_c = 9000.0", "must be a number >= -50 and <= 3500 (degrees C)"),
        (
            'shape = "disc"\nradius_m = 0.05',
            'shape = "box"\nspins = true\nsize_m = [0.1, 0.1, 0.1]',
            "is only for round",
        ),
    ],
)
def test_faults_of_walls_are_told(tmp_path, old, new, told):
    assert old in SCENE
    path = tmp_path / "bad.toml"
    path.write_text(SCENE.replace(old, new, 1), encoding="utf-8")
    done = call(path)
    assert done.exit_code == 2
    assert told in done.output
    assert "bad.toml:" in done.output


def test_a_filling_in_a_part_without_emittance_is_refused(tmp_path):
    """Not left out in silence: its hazards would go untold."""
    tank = (
        '[[part]]\nname = "tank"\nrole = "receiver"\nshape = "cylinder"\nradius_m = 0.05\nheight_m = 0.1\n'
        'center_m = [0.0, 0.0, 0.2]\nsurface = { absorptance = 0.9 }\ncontents = { kind = "water", mass_kg = 0.3 }\n'
    )
    path = tmp_path / "tank.toml"
    path.write_text(SCENE.replace("[air]", tank + "[air]"), encoding="utf-8")
    found = call(path, "--rays", 8192)
    assert found.exit_code == 2
    assert "has no emittance, so what the filling loses is not known" in found.output
    assert 'part "tank"' in found.output
