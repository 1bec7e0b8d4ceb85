"""The command `fit`, called in-process on a small scene with invented readings: exit codes, texts, files, recovery."""

from __future__ import annotations

import json
import os
import signal

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import dishtrace as dt
from dishtrace.cli import app
from dishtrace.scene.read import scene_from_text
from dishtrace.study import tracer
from dishtrace.sun import state
from dishtrace.trace.interrupt import StopFlag
from tests.support.fit_readings import heated, stretch
from tests.support.small_scenes import sunshape_once

SCENE = """title = "Invented test dish"
[sun]
dni_w_m2 = { value = 900.0, sd = 9.0 }
[dish]
focal_length_m = 0.6
reflectance = 0.9
slope_error_mrad = 4.0
outline = { shape = "circle", radius_m = 0.5 }
[[part]]
name = "pot"
role = "receiver"
shape = "disc"
radius_m = 0.012
axis = [0, 0, -1]
surface = "soot"
[run]
rays = 65536
seed = 3
"""
SLOPE_MRAD, AIM_MRAD = 6.0, (2.0, -1.0)
MM, SIZE = 0.4, (240, 300)


def call(*arguments):
    return CliRunner().invoke(app, ["fit", *(str(argument) for argument in arguments)])


@pytest.fixture(autouse=True, scope="module")
def one_sunshape():
    """Its table takes longer than the trace of so small a scene, so it is made once for all tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(state, "sunshape_of", sunshape_once)
        yield


@pytest.fixture(scope="module")
def built():
    """The dish that was really built, traced with other random points; the pot does not hinder its spot."""

    text = SCENE.replace("slope_error_mrad = 4.0", f"slope_error_mrad = {SLOPE_MRAD}")
    text = text.replace("[dish]", f'[mount]\nkind = "two-axis"\npointing_offset_mrad = {list(AIM_MRAD)}\n[dish]')
    text += '[[screen]]\nname = "target"\noffset_m = 0.0\nhalf_width_m = 0.07\nthrough_receivers = true\n'
    return dt.trace(scene_from_text(text), rays=2**19, seed=77)


@pytest.fixture
def folder(tmp_path, monkeypatch, built, seed):
    """Scene, log and photo in the current folder."""
    from scipy import ndimage

    monkeypatch.chdir(tmp_path)
    (tmp_path / "yard.toml").write_text(SCENE, encoding="utf-8")
    noise = np.random.default_rng(seed)
    power = built.budget_w["receiver"].value + built.parts["pot"].direct_absorbed_w.value
    one = stretch(range(50), on=np.arange(50) < 36)
    warm = heated(one, noise, noise_k=0.2, power_w=power, loss_w_k=2.0, capacity_j_k=2.5 * 4190.0 + 400.0)
    lines = [f"{k},{heat:.1f},{'on' if k < 36 else 'off'}" for k, heat in enumerate(warm.heat_c)]
    head = "# water_kg = 2.5 +- 0.02\n# vessel_j_k = 400 +- 40\n# air_c = 20\ntime_min,temperature_c,sun\n"
    (tmp_path / "log.csv").write_text(head + "\n".join(lines) + "\n", encoding="utf-8")
    screen = built.screens["target"]
    flux = screen.map_w_m2
    rows, columns = np.indices(SIZE, dtype=np.float64)
    x, y = (-1e-3 * MM * (one - 0.5 * (n - 1)) for one, n in ((columns, SIZE[1]), (rows, SIZE[0])))
    pitch = 2.0 * screen.half_width_m / len(flux)
    places = [(one + screen.half_width_m) / pitch - 0.5 for one in (y, x)]
    light = 0.02 + 0.8 * ndimage.map_coordinates(flux, places, order=3) / flux.max()
    light = light + 0.01 * np.sqrt(np.abs(light)) * noise.standard_normal(SIZE)
    Image.fromarray((np.clip(light, 0.0, 1.0) * 65535.0).astype(np.uint16)).save("photo.png")
    return tmp_path


def test_known_dish_comes_back_from_all_readings(folder):
    """Slope error, aim, loss and efficiency of the dish that made the readings lie in (twice) their intervals.

    Each is a 95 % interval from one data set: doubled, it is missed in about 1 of 10 000 cases. Found by it: a factor
    of two between slope and beam, radians for milliradians, x for -x, power of another irradiance.
    """
    photo = ["--spot", "photo.png", "--scale", f"{MM} mm/px", "--axis", "149.5,119.5"]
    done = call("yard.toml", "--log", "log.csv", *photo, "--write", "built.toml", "--rays", 65536)
    assert done.exit_code == 0, done.output
    folder_made = folder / "results" / "yard" / "fit"
    names = ["fit-log.csv", "fit-log.png", "fit-power.png", "fit-spot.png", "fit.csv", "fit.json"]
    assert sorted(path.name for path in folder_made.iterdir()) == names
    found = json.loads((folder_made / "fit.json").read_text(encoding="utf-8"))["findings"]
    truth = {
        "slope_error_from_spot_mrad": SLOPE_MRAD,
        "slope_error_from_power_mrad": SLOPE_MRAD,
        "pointing_offset_x_mrad": AIM_MRAD[0],
        "pointing_offset_y_mrad": AIM_MRAD[1],
        "loss_w_k": 2.0,
    }
    for key, value in truth.items():
        one = found[key]
        middle, half = 0.5 * (one["low"] + one["high"]), 0.5 * (one["high"] - one["low"])
        assert abs(middle - value) < 2.0 * half, (key, one)
    assert found["slope_error_mrad"]["told"]
    assert found["slope_error_from_spot_mrad"]["se"] < 0.15
    assert "slope error of the mirror mrad" in done.stdout
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    written = dt.load_scene("built.toml")
    assert written.dish.slope_error_mrad.value == pytest.approx(found["slope_error_mrad"]["value"], rel=1e-3)
    assert written.mount.pointing_offset_mrad[0] == pytest.approx(found["pointing_offset_x_mrad"]["value"], abs=1e-3)


def test_log_alone_as_json_and_in_python_alike(folder):
    done = call("yard.toml", "--log", "log.csv", "--rays", 8192, "--json", "--given", "water_kg=2.6 +- 0.1")
    assert done.exit_code == 0
    told = json.loads(done.stdout)
    assert not (folder / "results").exists()
    assert told["log"]["given"]["water_kg"] == {"value": 2.6, "sd": 0.1}
    fit = dt.fit(dt.load_scene("yard.toml"), log="log.csv", rays=8192, given={"water_kg": (2.6, 0.1)})
    assert fit.to_dict() == told
    rows = {row["quantity"]: row for row in fit.rows()}
    assert rows["power_w"]["low"] < rows["power_w"]["value"] < rows["power_w"]["high"]
    assert told["error_shares"]["power_w"]["water_kg"] > told["error_shares"]["power_w"]["readings"]


def test_radii_by_hand(folder):
    done = call("yard.toml", "--target", "14,15,14.5 mm", "--edge", "10-50", "--offset", "0 +- 1 mm", "--rays", 8192)
    assert done.exit_code == 0, done.output
    assert "radii by hand" in done.stdout
    written = {path.name for path in (folder / "results" / "yard" / "fit").iterdir()}
    assert written == {"fit.json", "fit.csv", "fit-target.png"}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([], "command line: --log, --spot or --target must be given"),
        (["--spot", "photo.png"], "a photo without scale tells no size"),
        (["--spot", "photo.png", "--scale", "0.4"], "scale"),
        (["--spot", "none.png", "--scale", "0.4 mm/px"], "does not exist"),
        (["--log", "none.csv"], "cannot be read"),
        (["--target", "31,33,30"], "must be radii with their unit"),
        (["--target", "3,3,3 mm", "--edge", "50-10"], "must be two rising percentages"),
        (["--target", "3,3,3 mm", "--offset", "5"], "must be a length with its unit"),
        (["--log", "log.csv", "--given", "water_kg"], "must be KEY=VALUE"),
        (["--spot", "photo.png", "--scale", "0.4 mm/px", "--axis", "5"], "must be a column and a row"),
    ],
)
def test_bad_input_is_told_with_exit_code_2(folder, options, said):
    done = call("yard.toml", *options)
    assert done.exit_code == 2
    assert said in " ".join(done.stderr.split())


def test_faults_of_log_photo_and_radii_come_together(folder):
    (folder / "log.csv").write_text("time_min,temperature_c\n1,2\n", encoding="utf-8")
    done = call("yard.toml", "--log", "log.csv", "--spot", "photo.png", "--target", "3 mm", "--json")
    assert done.exit_code == 2
    assert len(json.loads(done.stdout)["faults"]) >= 3


def test_a_log_without_the_mass_of_water_is_refused(folder):
    text = (folder / "log.csv").read_text(encoding="utf-8").split("\n", 1)[1]
    (folder / "log.csv").write_text(text, encoding="utf-8")
    done = call("yard.toml", "--log", "log.csv")
    assert done.exit_code == 2
    assert "water_kg is missing" in done.stderr


def test_stopping_keeps_what_needs_no_tracing(folder, monkeypatch):
    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(tracer, "trace", stopped)
    done = call("yard.toml", "--log", "log.csv", "--spot", "photo.png", "--scale", "0.4 mm/px")
    assert done.exit_code == 130
    assert "STOPPED EARLY" in done.stdout
    assert "loss coefficient" in done.stdout
    assert "R50 on the photo" in done.stdout
    assert (folder / "results" / "yard" / "fit" / "fit.json").exists()


def test_stopping_while_the_photo_is_matched_keeps_what_radii_and_log_say(folder, monkeypatch):
    """Shown to fail on: what is handed over only when all of it is done. Ctrl-C comes as the eighth trace ends."""
    real, calls = tracer.trace, []

    def trace(*arguments, **options):
        calls.append(options)
        result = real(*arguments, **options)
        if len(calls) == 8:
            with StopFlag():
                os.kill(os.getpid(), signal.SIGINT)
        return result

    monkeypatch.setattr(tracer, "trace", trace)
    readings = ["--log", "log.csv", "--spot", "photo.png", "--scale", "0.4 mm/px", "--target", "14,15,14.5 mm"]
    done = call("yard.toml", *readings, "--rays", 8192, "--json")
    assert done.exit_code == 130 and len(calls) == 8
    told = json.loads(done.stdout)
    assert told["stopped"] is True
    assert {"slope_error_from_power_mrad", "slope_error_from_target_mrad", "power_w"} <= set(told["findings"])
    assert "slope_error_from_spot_mrad" not in told["findings"] and told["spot"]["misfit"] is None
