"""From a log with its head to findings: the demo's invented log, infrared readings, walls, and what is missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.study.fit.heat_test import heat_test
from dishtrace.study.fit.infrared import shown_temperature
from dishtrace.study.fit.log import read_log
from dishtrace.study.fit.readings import judge
from tests.support.fit_readings import WATER_J_KG_K, heated, stretch

SCENES = Path(__file__).parents[2] / "scenes"
OUTLINE_M2, DNI = 1.5, 850.0
MADE_WITH = {"power_w": 737.9, "loss_w_k": 4.0}
"""What scenes/make_readings.py put into the demo's log."""


@pytest.fixture(scope="module")
def scene():
    return dt.load_scene(SCENES / "schoolyard-pot.toml")


def evaluated(path, scene, **given):
    return heat_test(read_log(path, given=given), scene, outline_m2=OUTLINE_M2, dni_w_m2=DNI)


def written(tmp_path, head, one, **columns):
    extra = "".join(f",{name}" for name in columns)
    lines = [
        ",".join([f"{time:g}", f"{heat:.3f}", *(str(column[k]) for column in columns.values())])
        for k, (time, heat) in enumerate(zip(one.time_s, one.heat_c, strict=True))
    ]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([*(f"# {line}" for line in head), f"time_s,temperature_c{extra}", *lines]) + "\n")
    return path


def test_the_demo_tells_what_it_was_made_with(scene):
    """One fixed data set; its gap, cloud and slip of the unit are told."""
    test = evaluated(SCENES / "schoolyard-heating.csv", scene)
    for key, value in MADE_WITH.items():
        assert test.findings[key].low < value < test.findings[key].high
    said = " ".join(test.notes)
    for word in ("mixed units", "a gap from 16.0 to 23.0 min", "though the sun is on"):
        assert word in said
    assert test.findings["optical_efficiency"].value == pytest.approx(
        test.findings["power_w"].value / (OUTLINE_M2 * DNI)
    )


def test_an_infrared_log_of_bright_wall_is_corrected(scene, tmp_path):
    """Emissivity 0.5 read with 0.95: uncorrected, the power comes out a third too low; corrected, to 1 %."""
    one = heated(stretch(range(40)), power_w=700.0, loss_w_k=2.0, capacity_j_k=2.0 * WATER_J_KG_K)
    how = {"set_emissivity": 0.95, "emissivity": 0.5, "reflected_c": 15.0, "instrument_c": 20.0}
    shown = type(one)(**{**vars(one), "heat_c": shown_temperature(one.heat_c, **how)})
    head = ["water_kg = 2.0", "air_c = 20", *(f"{key} = {value}" for key, value in how.items()), "wall_k_w = 0"]
    path = written(tmp_path, [*head, "spot = wall"], shown)
    assert evaluated(path, scene).findings["power_w"].value == pytest.approx(700.0, rel=0.01)
    assert evaluated(path, scene, emissivity=0.95, reflected_c=20).findings["power_w"].value < 500.0


def test_emissivity_of_a_wall_must_be_given(scene, tmp_path):
    path = written(tmp_path, ["water_kg = 2", "thermometer = infrared", "spot = wall"], heated(stretch(range(20))))
    with pytest.raises(InputError, match="emissivity is missing"):
        evaluated(path, scene)


def test_wall_alone_with_the_sun_always_on_is_told_to_be_unknown(scene, tmp_path):
    path = written(tmp_path, ["water_kg = 2", "spot = wall"], heated(stretch(range(20)), wall_k_w=0.01))
    test = evaluated(path, scene)
    assert "wall_k_w" not in test.findings
    assert any("hotter than the water by an unknown amount" in note for note in test.notes)


def test_wall_and_water_by_turns_tell_the_lead_of_the_wall(scene, tmp_path):
    on_wall = np.arange(40) % 2 == 1
    one = heated(stretch(range(40), is_wall=on_wall), wall_k_w=0.012, capacity_j_k=2.0 * WATER_J_KG_K)
    path = written(tmp_path, ["water_kg = 2", "air_c = 20"], one, spot=np.where(on_wall, "wall", "water"))
    found = evaluated(path, scene).findings["wall_k_w"]
    assert found.value == pytest.approx(0.012, rel=0.01)
    assert found.told


def test_a_short_log_cannot_tell_the_losses(scene, tmp_path, seed):
    one = heated(stretch(range(10)), np.random.default_rng(seed), noise_k=0.3)
    found = evaluated(written(tmp_path, ["water_kg = 2.8"], one), scene).findings["loss_w_k"]
    assert not found.told
    assert "cannot tell the losses" in found.remark


def test_readings_that_only_fall_are_refused(scene, tmp_path):
    one = heated(stretch(range(20)), power_w=0.0, start_c=90.0)
    with pytest.raises(InputError, match="leaves .* usable readings.*though the sun is on"):
        evaluated(written(tmp_path, ["water_kg = 2.8"], one), scene)


def test_given_errors_widen_as_they_should(scene, tmp_path):
    """2 % of the mass are 2 % of power and loss, and nothing else."""
    one = heated(stretch(range(40), on=np.arange(40) < 25), capacity_j_k=2.0 * WATER_J_KG_K)
    sun = np.where(one.is_on, "on", "off")
    test = evaluated(written(tmp_path, ["water_kg = 2.0 +- 0.04", "air_c = 20"], one, sun=sun), scene)
    for key in ("power_w", "loss_w_k"):
        assert test.shares[key]["water_kg"] == pytest.approx(0.02 * test.findings[key].value, rel=1e-2)
    assert test.shares["optical_efficiency"]["dni_w_m2"] == pytest.approx(
        test.findings["optical_efficiency"].value * 40.0 / 850.0, rel=0.01
    )


def test_clean_logs_are_seldom_complained_about(seed):
    """300 logs with noise of 0.3 K and nothing wrong: a note on at most 9 (expected below 1)."""
    noise = np.random.default_rng(seed)
    one = stretch(range(60), on=np.arange(60) < 40)
    noted = 0
    for _ in range(300):
        heat = heated(one, noise, noise_k=0.3, power_w=400.0, loss_w_k=8.0).heat_c
        how = {"is_sun_on": one.is_on, "dni_w_m2": None, "is_wall": None, "boils_at_c": 100.0, "step_k": 0.0}
        noted += bool(judge(one.time_s, heat, **how).notes)
    assert noted <= 9
