"""The README keeps its word: its commands and code run, and it tells every key of the scene file."""

from __future__ import annotations

import math
import re
import shlex
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import dishtrace as dt
from dishtrace.cli import app
from dishtrace.report.tables import BUDGET_NAMES
from dishtrace.scene.materials import known_surfaces

PROJECT = Path(__file__).parents[2]
README = (PROJECT / "README.md").read_text(encoding="utf-8")
FEW_RAYS = 8192
FIGURES_SHOWN = ("mirror_m2", "facets", "first_hit_receiver_w")


def blocks(language: str, text: str = README) -> list[str]:
    """Contents of the fenced blocks of one language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def commands() -> list[str]:
    """Every line of the shell blocks that calls dishtrace, without what installs it."""
    lines = "\n".join(blocks("sh")).splitlines()
    calls = [re.sub(r"^.*\.venv/bin/dishtrace", "dishtrace", line) for line in lines]
    return [call for call in calls if call.startswith("dishtrace ")]


def first_scene() -> str:
    """The scene that the step-by-step section puts together."""
    section = README.split("## A first scene")[1].split("\n## ")[0]
    return "\n".join(blocks("toml", section))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder as the README's reader has it: the demo scenes, and the first scene as written."""
    shutil.copytree(PROJECT / "scenes", tmp_path / "scenes")
    (tmp_path / "first-scene.toml").write_text(first_scene(), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_first_two_commands_install_and_are_one_line_each() -> None:
    main_job, tests = blocks("sh")[:2]
    for block in (main_job, tests):
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert ".venv/bin/dishtrace trace scenes/" in main_job
    assert "pytest" in tests


@pytest.mark.parametrize("command", commands())
def test_command_runs(command: str, folder: Path) -> None:
    arguments = shlex.split(command)[1:]
    if arguments[0] in ("trace", "compare", "fit", "day", "size", "sweep", "improve"):
        arguments += ["--rays", str(FEW_RAYS)]
    if arguments[0] == "compare":
        arguments += ["--dishes", "1"]
    outcome = CliRunner().invoke(app, arguments, catch_exceptions=False)
    assert outcome.exit_code == 0, outcome.output
    written = {
        "trace": "results/*/results.json",
        "compare": "results/*/comparison/comparison.csv",
        "build": "results/*/making/plan.dxf",
        "fit": "results/*/fit/fit.json",
        "size": "results/*/size/size.csv",
        "sweep": "results/*/sweep/sweep.csv",
        "improve": "results/*/improve/improve.csv",
    }
    if arguments[0] in written:
        assert list(folder.glob(written[arguments[0]]))


def test_first_scene_has_spill_and_a_useful_receiver(folder: Path) -> None:
    result = dt.trace(dt.load_scene(folder / "first-scene.toml"), rays=FEW_RAYS, seed=1)
    assert 0.8 < result.intercept_factor.value < 0.99
    assert result.first_hit_w["stand"].value > 0.0


@pytest.mark.parametrize("code", blocks("python"))
def test_python_runs(code: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    cheap, n_replaced = re.subn(r"rays=[\d_]+", f"rays={FEW_RAYS}", code)
    assert n_replaced >= 1
    exec(compile(cheap, "README.md", "exec"), {})
    assert len(capsys.readouterr().out.splitlines()) == code.count("print(")


def keys_of(schema: dict[str, Any]) -> set[str]:
    """Every key that the JSON Schema of scene files knows, at any depth."""
    found: set[str] = set()
    for name, value in schema.items():
        if name in ("properties", "$defs") and isinstance(value, dict):
            found |= set(value) if name == "properties" else set()
            for item in value.values():
                found |= keys_of(item)
        elif isinstance(value, dict):
            found |= keys_of(value)
        elif isinstance(value, list):
            for item in value:
                found |= keys_of(item) if isinstance(item, dict) else set()
    return found


def test_readme_tells_every_key() -> None:
    section = README.split("## The scene file in full")[1].split("\n## ")[0]
    told = set(re.findall(r"[a-z][a-z0-9_]*", section))
    keys = keys_of(dt.Scene.model_json_schema())
    assert {"latitude_deg", "opening_radius_m", "through_receivers", "csr"} <= keys
    assert keys - told == set()


def test_readme_tells_every_entry_of_the_ledger(folder: Path) -> None:
    result = dt.trace(dt.load_scene(folder / "first-scene.toml"), rays=FEW_RAYS, seed=1)
    told = set(re.findall(r"`(\w+)`", README))
    assert set(result.budget_w) | set(result.first_hit_w) | set(result.direct_w) <= told


def test_readme_names_every_surface() -> None:
    section = README.split("## The scene file in full")[1].split("\n## ")[0]
    assert set(known_surfaces()) <= set(re.findall(r"`([a-z][a-z-]+)`", section))


def test_summary_shown_in_the_readme_is_what_the_first_scene_gives(folder: Path) -> None:
    """Each watt figure of the ledger shown agrees with a short run within 5 of its errors (2 in 10 million each)."""
    shown = re.findall(r"^  ([a-z][a-z, ]+?)  +#* +([\d.]+) ± ([\d.]+) +W", blocks("text")[0], flags=re.MULTILINE)
    result = dt.trace(dt.load_scene(folder / "first-scene.toml"), rays=FEW_RAYS, seed=5)
    keys = {name: key for key, name in BUDGET_NAMES.items()}
    assert {keys[name] for name, _, _ in shown} >= {"shaded", "mirror_absorbed", "receiver", "stand", "escaped"}
    for name, value, error in shown:
        again = result.budget_w[keys[name]]
        assert abs(again.value - float(value)) < 5.0 * math.hypot(again.se, float(error)), name


def test_comparison_shown_in_the_readme_is_what_the_scene_gives(folder: Path) -> None:
    """Each dish's watts on the receiver agree with a short run to 1 %, several of its errors."""
    table = next(text for text in blocks("text") if text.startswith("Comparison of"))
    shown = re.findall(r"^  [A-D] +([\d.]+) +(\d+) +([\d.]+) ", table, flags=re.MULTILINE)
    scene = dt.load_scene(folder / "scenes" / "workshop-tiles.toml")
    rows = dt.compare(scene, rays=FEW_RAYS, seed=5, dishes=1).rows()
    again = {key: [row["value"] for row in rows if row["figure"] == key] for key in FIGURES_SHOWN}
    assert len(shown) == 4
    for place, (area, facets, power) in enumerate(shown):
        assert again["mirror_m2"][place] == pytest.approx(float(area), rel=1e-3)
        assert again["facets"][place] == int(facets)
        assert again["first_hit_receiver_w"][place] == pytest.approx(float(power), rel=0.01)
