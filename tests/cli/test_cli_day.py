"""The command `day`: exit codes, texts, files."""

from __future__ import annotations

import csv
import json

import pytest
from typer.testing import CliRunner

from dishtrace.cli import app
from dishtrace.sun import state
from tests.support.small_scenes import sunshape_once

SCENE = """title = "Invented day"
[site]
latitude_deg = 40
longitude_deg = 0
[sun]
time = 2026-03-20T12:00:00+00:00
dni = "clear-sky"
[dish]
focal_length_m = 2
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 0.3
[[part]]
name = "plate"
role = "receiver"
shape = "disc"
radius_m = 0.05
axis = [0, 0, -1]
surface = { absorptance = 0.9, emittance = 0.9 }
[part.contents]
kind = "solid"
mass_kg = 1.0
heat_capacity_j_kgk = 500.0
[[part]]
name = "arm"
role = "stand"
shape = "cylinder"
radius_m = 0.01
height_m = 0.5
axis = [1, 0, 0]
center_m = [0.31, 0, 0]
surface = { absorptance = 0.7, emittance = 0.6 }
"""


@pytest.fixture(autouse=True)
def _folder(tmp_path, monkeypatch):
    (tmp_path / "yard.toml").write_text(SCENE)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(state, "sunshape_of", sunshape_once)


def call(*arguments):
    return CliRunner().invoke(app, ["day", "yard.toml", *arguments])


def test_a_day_is_told_and_written(tmp_path):
    done = call("--date", "2026-06-21", "--step", "60", "--rays", "8192")
    assert done.exit_code == 0, done.output
    for text in ("Energy over the day", "Through the day", "If the dish stops moving", "Where strong light goes"):
        assert text in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    folder = tmp_path / "results" / "yard" / "day"
    written = {path.name for path in folder.iterdir()}
    assert {"day.json", "day.csv", "day.png", "day-hazards.csv", "timeline-plate.csv", "timeline-plate.png"} <= written
    lines = (folder / "day.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    told = json.loads((folder / "day.json").read_text())
    exact = [row["receiver_w"] for row in told["rows"]]
    assert [float(row["receiver_w"]) for row in rows] == pytest.approx(exact, rel=1e-11)
    assert told["cautions"]


def test_a_year_is_one_json_object(tmp_path):
    done = call("--year", "2026", "--rays", "8192", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["span"] == "year"
    assert len(told["months"]) == 12
    assert told["traces"] == 1
    assert not (tmp_path / "results").exists()


def test_a_year_is_drawn(tmp_path):
    done = call("--year", "2026", "--rays", "8192", "--step", "120", "--out", "year", "--quiet")
    assert done.exit_code == 0, done.output
    assert done.stdout == ""
    assert {"day.json", "day.csv", "day-months.csv", "year.png"} <= {
        path.name for path in (tmp_path / "year").iterdir()
    }


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "--date or --year must be given, one of them"),
        (("--date", "2026-06-21", "--year", "2026"), "--date or --year must be given, one of them"),
        (("--date", "tomorrow"), "date = tomorrow must be a date"),
        (("--date", "2026-06-21", "--step", "7"), "must be from 1 to 120 and divide a day"),
        (("--date", "2026-06-21", "--rays", "0"), "--rays = 0 must be from 1 to 137438945280"),
    ],
)
def test_bad_options_end_with_2(arguments, message):
    done = call(*arguments)
    assert done.exit_code == 2
    assert message in done.stderr


def test_polar_night_ends_with_2(tmp_path):
    (tmp_path / "yard.toml").write_text(SCENE.replace("latitude_deg = 40", "latitude_deg = 80"))
    done = call("--date", "2026-12-21")
    assert done.exit_code == 2
    assert "polar night" in done.stderr
