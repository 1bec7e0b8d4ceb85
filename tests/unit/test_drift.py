"""How long the spot of a fixed dish stays on the receiver, against closed forms."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from dishtrace.cli import app
from dishtrace.errors import InputError
from dishtrace.flux.measure import prepare
from dishtrace.report.drift import drift_text
from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate
from dishtrace.study import drift as study
from dishtrace.study.day.drive import stopped_drive
from dishtrace.study.drift import Drift, leaving_times
from dishtrace.sun import state
from dishtrace.sun.state import sun_state
from tests.support.small_scenes import sunshape_once

FOCAL_LENGTH = 2.0
HALF_ANGLE = 4.65e-3  # of the pillbox sun that scenes have by default [rad]
TURN_PER_MIN = np.radians(0.25)  # 15 deg an hour
RADIUS = 0.05
NOON = "time = 2026-03-20T12:07:00Z"  # invented; the sun is near the zenith of latitude 0, longitude 0
PLATE = (
    '[[part]]\nname = "plate"\nrole = "receiver"\nshape = "disc"\nradius_m = %r\naxis = [0, 0, -1]\n'
    "surface = { absorptance = 0.9 }\n"
)


@pytest.fixture(autouse=True)
def _known_sunshape(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "sunshape_of", sunshape_once)


def text(*, sun: str = NOON, axis: tuple[float, float] = (180.0, 89.0), parts: str = PLATE % RADIUS) -> str:
    """An invented dish, 0.2 m across, f = 2 m, that stands still at latitude 0."""
    return (
        f"[site]\nlatitude_deg = 0\nlongitude_deg = 0\n[sun]\n{sun}\ndni_w_m2 = 900\n"
        f'[mount]\nkind = "fixed"\naxis_azimuth_deg = {axis[0]!r}\naxis_elevation_deg = {axis[1]!r}\n'
        f"[dish]\nfocal_length_m = {FOCAL_LENGTH}\nreflectance = 0.9\n"
        f'[dish.outline]\nshape = "circle"\nradius_m = 0.1\n{parts}'
    )


def aimed(*, sun: str = NOON, parts: str = PLATE % RADIUS) -> Scene:
    """Such a dish set to look exactly at the sun at its time."""
    at_start = sun_state(scene_from_text(text(sun=sun)))
    return scene_from_text(text(sun=sun, axis=(at_start.azimuth_deg, at_start.elevation_deg), parts=parts))


@pytest.mark.parametrize(
    ("sun", "declination_deg"),
    [(NOON, 0.0), ("time = 2026-06-21T12:02:00Z", 23.44)],
)
def test_spot_leaves_when_its_centre_has_gone_a_radius_and_is_gone_half_a_spot_later(
    sun: str, declination_deg: float
) -> None:
    """Declinations at equinox and solstice from memory.

    The centre goes f tan(angle); the spot is a disc of radius f * 4.65 mrad. Half of it is off a straight edge when the
    centre is on that edge; the edge here is a circle, which leaves half at a centre of about a radius less r^2 / (8 R).
    Of a disc, 1 % is left beyond a straight chord 0.931 r from its middle (segment area pi r^2 / 100).
    Coma and tilt of a dish of f/10 blur that by some percent of the spot's radius.
    """
    drift = leaving_times(aimed(sun=sun), seed=2, threads=1)
    speed = FOCAL_LENGTH * TURN_PER_MIN * np.cos(np.radians(declination_deg))
    spot = FOCAL_LENGTH * HALF_ANGLE
    half = (RADIUS - spot**2 / (8.0 * RADIUS)) / speed
    tolerance = 0.08 * spot / speed
    assert drift.share == Estimate(1.0, 0.0)
    assert drift.notes == ()
    assert drift.half_min.value == pytest.approx(half, abs=tolerance)
    assert 0.0 < drift.half_min.se < 0.05
    # The curved edge leaves less than a straight one: at most r^2 / (2 R) earlier.
    gone = (RADIUS + 0.931 * spot) / speed
    assert gone - spot**2 / (2.0 * RADIUS) / speed - tolerance < drift.gone_min.value < gone + tolerance
    assert drift.gone_min.value <= drift.followed_min


def test_times_grow_with_the_receiver_and_half_is_before_gone() -> None:
    drifts = [leaving_times(aimed(parts=PLATE % radius), seed=3, threads=1) for radius in (0.03, 0.05, 0.09)]
    halves = [drift.half_min.value for drift in drifts]
    assert halves == sorted(halves)
    assert np.all(np.diff(halves) > 1.0)
    assert all(drift.half_min.value < drift.gone_min.value for drift in drifts)


def test_share_never_rises_once_the_spot_is_at_the_edge() -> None:
    start = prepare(aimed(), seed=4)
    with study.StopFlag() as stop:
        shares = study._Shares(start, 256, 4, 1, stop)
        seen = [shares.relative(minutes).value for minutes in np.arange(0.0, 9.0, 0.75)]
    assert seen[0] == 1.0
    assert np.all(np.diff(seen) <= 1e-12)
    assert seen[-1] == 0.0


def test_error_is_that_of_the_seeds() -> None:
    """The error told has the bracket in it, so seeds scatter by less than twice of it."""
    drifts = [leaving_times(aimed(), seed=seed, threads=1).half_min for seed in range(4)]
    told = float(np.mean([drift.se for drift in drifts]))
    assert np.std([drift.value for drift in drifts], ddof=1) < 2.0 * told
    assert told < 0.05


def test_same_to_the_last_bit_with_two_threads() -> None:
    one, two = (leaving_times(aimed(), seed=5, threads=threads) for threads in (1, 2))
    assert one == two


def test_a_time_missing_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(study, "prepare", None)  # nothing may be traced
    drift = leaving_times(scene_from_text(text(sun="azimuth_deg = 180\nelevation_deg = 88")))
    assert (drift.half_min, drift.gone_min, drift.share) == (None, None, None)
    assert "without a time" in drift_text(drift)


def test_no_receiver_is_said() -> None:
    drift = leaving_times(aimed(parts=(PLATE % RADIUS).replace("receiver", "stand")))
    assert drift.notes == ("the scene has no receiver that the spot could leave",)


def test_nothing_on_the_receiver_at_first_is_said() -> None:
    drift = leaving_times(aimed(parts=PLATE % RADIUS + "center_m = [0.5, 0.5, 0.0]\n"), threads=1)
    assert drift.half_min is None
    assert drift.share.value == 0.0
    assert "no light meets a receiver at the scene's time" in drift_text(drift)


def test_sunset_ends_it() -> None:
    """The centre sets about 6 h after noon and, by refraction of 34' (from memory), 2.3 min later: near 18:09.8."""
    scene = aimed(sun="time = 2026-03-20T18:06:00Z")
    drift = leaving_times(scene, threads=1)
    assert drift.half_min is None
    assert drift.followed_min == pytest.approx(3.8, abs=0.5)
    at_end = study.sun_after(prepare(scene, seed=1), drift.followed_min)
    assert 0.0 < at_end.elevation_deg < 0.05  # 0.1 min are 0.025 deg
    assert "the sun sets after" in drift_text(drift)
    assert "100 % of the first light still meets" in drift_text(drift)


def test_sun_behind_the_dish_ends_it() -> None:
    """A dish that looks east has the sun square to its axis, and so behind it, when the sun crosses the zenith."""
    scene = scene_from_text(text(sun="time = 2026-03-20T11:30:00Z", axis=(90.0, 0.0)))
    start = prepare(scene, seed=1)
    last, ending = study._last_sun(start)
    assert ending == "the sun goes behind the dish"
    assert start.mirror.pose.rotation[2] @ study.sun_after(start, last).direction == pytest.approx(0.0, abs=1e-3)
    assert last == pytest.approx(37.5, abs=2.0)  # noon at 12:07.5 by the equation of time, from memory


def stood_min(scene: Scene) -> list[float]:
    """Minutes after which a day tells where the light of a dish that stands still goes."""
    options = {"dni": 900.0, "set_declination": None, "rays": 8192, "seed": 1, "threads": 1}
    found, is_stopped = stopped_drive(scene, scene.sun.time, **options)
    assert not is_stopped
    return [standing.minutes for standing in found]


def test_sun_behind_more_than_half_of_a_mirror_beside_its_axis_ends_it() -> None:
    """f = 0.25 m, a circle about x = -1 m (west): its middle sees the sun square to itself when that stands atan(0.5) =
    26.57 deg west of the zenith, 106.3 min after noon at 12:07.5 (equation of time, from memory): 13.8 min after the
    scene's time. Catches a look at the axis alone, behind which the sun is at 18:10.
    """
    beside = text(sun="time = 2026-03-20T13:40:00Z", axis=(0.0, 90.0)).replace(
        "focal_length_m = 2.0", "focal_length_m = 0.25"
    )
    scene = scene_from_text(beside.replace("radius_m = 0.1\n", "radius_m = 0.1\ncenter_m = [-1.0, 0.0]\n", 1))
    last, ending = study._last_sun(prepare(scene, seed=1))
    assert ending == "the sun goes behind the dish"
    assert last == pytest.approx(13.8, abs=0.5)
    assert stood_min(scene) == [0.0, 2.0, 5.0, 10.0]


def test_sunset_ends_what_a_day_tells_too() -> None:
    """4.5 min before the centre sets, see above. Catches a limb's true elevation held against the centre's seen."""
    assert stood_min(aimed(sun="time = 2026-03-20T18:05:20Z")) == [0.0, 2.0]


def test_another_mount_is_refused() -> None:
    with pytest.raises(InputError, match=r'mount.kind = "two-axis" must be "fixed" to ask when'):
        leaving_times(scene_from_text(text().replace('"fixed"\naxis', '"two-axis"\n#').replace("axis_elev", "#")))


def test_text_tells_both_times_in_one_sentence() -> None:
    told = drift_text(Drift(half_min=Estimate(3.1, 0.03), gone_min=Estimate(6.4, 0.04)))
    assert told == (
        "the sun moves on: half of the light has left the receiver after 3.100 +- 0.030 min, "
        "all but 1 % after 6.400 +- 0.040 min"
    )


def test_trace_tells_it_in_summary_and_json(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "still.toml").write_text(text() + "[run]\nrays = 8192\n", encoding="utf-8")
    done = CliRunner().invoke(app, ["trace", "still.toml", "--out", "out"])
    assert done.exit_code == 0, done.output
    assert "the sun moves on: half of the light has left the receiver after" in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) <= 80
    written = json.loads((tmp_path / "out" / "results.json").read_text(encoding="utf-8"))
    printed = json.loads(CliRunner().invoke(app, ["trace", "still.toml", "--json"]).stdout)
    assert printed == written
    assert set(written["drift"]) == {"half_min", "gone_min", "share", "followed_min", "rays", "stopped", "notes"}
    assert written["drift"]["half_min"]["value"] < written["drift"]["gone_min"]["value"]
