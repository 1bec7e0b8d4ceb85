"""A day as a whole: spot, imperfect drives, hazards, heating, stopping."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from datetime import date as Date
from types import SimpleNamespace

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.study import tracer
from dishtrace.study.day import whole
from dishtrace.study.day.drive import CLOCK_ERRORS_MIN, DAYS_STALE
from dishtrace.study.day.notes import coarseness, spot_moves
from dishtrace.sun import state
from tests.support.day_scenes import PLATE, day_scene
from tests.support.small_scenes import sunshape_once

SHEET = (
    '[[part]]\nname = "sheet"\nrole = "stand"\nshape = "rectangle"\nsize_m = [0.30, 0.10]\ncenter_m = [0.21, 0, 0]\n'
    "axis = [0, 0, -1]\nsurface = { absorptance = 0.7, emittance = 0.6 }\n"
)
CLOCK = 'kind = "polar-axis"\nset_declination_deg = 0.0'


@pytest.fixture(autouse=True)
def _known_sunshape(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "sunshape_of", sunshape_once)


@pytest.fixture(scope="module")
def clock_day():
    """A day near equinox of a dish that a clock turns, set by hand, with a sheet of steel east of its plate."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(state, "sunshape_of", sunshape_once)
        scene = day_scene(PLATE + SHEET, mount=CLOCK)
        return dt.day(scene, date="2026-03-21", rays=8192, step_min=60.0, zone="+00:00")


def test_spot_moves_by_the_clock_error(clock_day):
    """f x 0.25 deg a minute near declination 0; a clock ahead leaves the sun east, so the spot goes west of the axis: x
    is east when the dish faces south, and what stands at -x in the sky is seen at +x in the focal plane. Catches a
    factor 2 and the sign."""
    moved = {slip.clock_error_min: slip for slip in clock_day.slips if slip.kind == "clock"}
    assert sorted(moved) == sorted(CLOCK_ERRORS_MIN)
    for minutes, slip in moved.items():
        assert abs(slip.shift_m[0].value) == pytest.approx(2.0 * np.radians(0.25) * abs(minutes), rel=0.03)
        assert np.sign(slip.shift_m[0].value) == -np.sign(minutes)
        assert abs(slip.shift_m[1].value) < 1e-3


def test_spot_moves_by_the_stale_setting(clock_day):
    """Set n days ago the declination is the sun's of then: f x the change since the scene's own setting (0)."""
    stale = {slip.days: slip for slip in clock_day.slips if slip.kind == "setting"}
    assert sorted(stale) == sorted(DAYS_STALE)
    sun = clock_day.table.facts["declination_deg"].mean()
    for days, slip in stale.items():
        set_to = slip.declination_error_deg + sun
        assert set_to == pytest.approx(sun - 0.393 * days, abs=0.25)  # 0.393 deg a day at equinox
        assert slip.shift_m[1].value == pytest.approx(2.0 * np.radians(set_to), rel=0.03, abs=2e-4)
    shares = [stale[days].share.value for days in sorted(stale)]
    assert shares == [0.0, 0.0, 0.0]  # 94 mm and more beside the middle of a plate of 50 mm radius
    assert clock_day.slips[0].share.value > 0.95


def test_beam_leaves_the_receiver_when_the_drive_stops(clock_day):
    """The spot's middle crosses the plate's edge, 50 mm from it, after 50 mm / (2 m x 15 deg an hour) = 5.73 min, less
    what it is beside the middle at first; then the steel east of it gets the light."""
    assert clock_day.drift.half_min.value == pytest.approx(0.05 / (2.0 * np.radians(0.25)), rel=0.15)
    after = {standing.minutes: standing for standing in clock_day.standings}
    assert after[0.0].share.value > 0.95
    assert after[20.0].share.value == 0.0
    assert after[10.0].first_w["sheet"].value > 10.0
    kinds = {(hazard.kind, hazard.part) for hazard in clock_day.hazards}
    assert ("stopped-drive", "sheet") in kinds
    sheet = next(hazard for hazard in clock_day.hazards if (hazard.kind, hazard.part) == ("stopped-drive", "sheet"))
    assert clock_day.worst_at < sheet.start <= sheet.at <= sheet.end <= clock_day.worst_at + timedelta(minutes=80)
    assert sheet.peak_w_m2.value > 4000.0


def test_rows_are_tidy_and_everything_goes_to_json(clock_day):
    rows = clock_day.rows()
    assert len(rows) == len(clock_day.table.path.time)
    assert len({tuple(row) for row in rows}) == 1
    assert {
        "time",
        "dni_w_m2",
        "receiver_w",
        "receiver_w_se",
        "spot_x_m",
        "absorbed_w:plate",
        "peak_w_m2:sheet",
    } <= set(rows[0])
    told = json.loads(json.dumps(clock_day.to_dict(), allow_nan=False))
    energy = sum(row["receiver_w"] * row["step_s"] for row in rows) / 3.6e6
    assert told["energy_kwh"]["receiver"]["value"] == pytest.approx(energy, rel=1e-9)
    assert told["energy_kwh"]["receiver"]["se"] > 0.0


def test_a_fixed_dish_loses_its_spot_and_tells_what_gets_it():
    """Aimed at the noon sun: most of the day the beam is beside the plate; the list says when, and the steel beside the
    plate is in it. The plate has its light around noon alone."""
    at = dt.day(day_scene(PLATE), date="2026-03-20", rays=8192, step_min=10.0, zone="+00:00")
    noon = int(np.argmax(at.table.path.elevation))
    axis = np.degrees([at.table.path.azimuth[noon], at.table.path.elevation[noon]])
    mount = f'kind = "fixed"\naxis_azimuth_deg = {axis[0]!r}\naxis_elevation_deg = {axis[1]!r}'.replace(
        "np.float64", ""
    )
    mount = mount.replace("(", "").replace(")", "")
    scene = day_scene(PLATE + SHEET, mount=mount)
    found = dt.day(scene, date="2026-03-20", rays=8192, step_min=10.0, zone="+00:00", most_traces=30)
    share = found.table.columns["intercept_factor"][0]
    assert share[noon] > 0.95
    assert np.nanmax(share[: noon - 3]) < 0.2
    off = [hazard for hazard in found.hazards if hazard.kind == "off-receiver"]
    assert {hazard.part for hazard in off} >= {"sheet", None}
    assert found.traces <= 30
    assert any("interpolated" in note for note in found.notes)


def test_heating_follows_the_light_and_closes_its_balance():
    """A block of 2 kg in the day's light: energy absorbed is the part's of the day, absorbed = stored + lost, and the
    steel without a wall is told apart. Catches a course that starts at the wrong hour or is scaled twice."""
    block = (
        '[[part]]\nname = "block"\nrole = "receiver"\nshape = "cylinder"\nradius_m = 0.05\nheight_m = 0.05\n'
        "center_m = [0, 0, 0.025]\nsurface = { absorptance = 0.9, emittance = 0.9 }\n[part.contents]\n"
        'kind = "solid"\nmass_kg = 2.0\nheat_capacity_j_kgk = 500.0\n'
    )
    found = dt.day(day_scene(block + SHEET), date="2026-06-21", rays=8192, step_min=30.0, zone="+00:00")
    (timeline,) = found.timelines
    assert timeline.part == "block"
    assert timeline.energy_gap() < 1e-5
    absorbed = timeline.columns["absorbed_j"][-1] / 3.6e6
    assert absorbed == pytest.approx(found.energy_kwh["absorbed:block"].value, rel=0.01)
    hottest = timeline.columns["time_s"][np.argmax(timeline.columns["temperature_c"])]
    at = found.heats[0].start + timedelta(seconds=float(hottest))
    assert 12 <= at.hour <= 15
    assert [warmth.part for warmth in found.warmths] == ["sheet"]
    assert found.warmths[0].kind == "settled"


def test_what_was_traced_is_kept_when_the_user_stops(monkeypatch):
    """Ctrl-C in the third trace: a day from two, marked, without errors of what lies between, drives or heating."""
    count = {"traces": 0}
    plain = tracer.trace

    def stopping(scene, **options):
        count["traces"] += 1
        if count["traces"] > 2:
            raise KeyboardInterrupt
        return plain(scene, **options)

    monkeypatch.setattr(tracer, "trace", stopping)
    found = dt.day(day_scene(PLATE, mount=CLOCK), date="2026-05-20", rays=8192, step_min=10.0)
    assert found.stopped
    assert found.traces == 2
    assert found.energy_kwh["receiver"].se is None
    assert found.standings == ()
    assert any("stopped early" in note for note in found.notes)


def test_stopping_before_anything_was_traced_is_told(monkeypatch):
    def stopping(scene, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr(tracer, "trace", stopping)
    with pytest.raises(KeyboardInterrupt):
        dt.day(day_scene(PLATE), date="2026-05-20", rays=8192)


def test_years_beyond_the_sun_position_are_refused():
    with pytest.raises(dt.InputError, match="year = 2300 must be from 1800 to 2200"):
        whole.year(day_scene(PLATE), year=2300)
    for date in ("2300-01-01", Date(2300, 1, 1), datetime(2300, 1, 1, 12)):
        with pytest.raises(dt.InputError, match="date = 2300-01-01.* must lie in the years 1800 to 2200"):
            dt.day(day_scene(PLATE), date=date)


def test_clouds_of_the_weather_file_are_in_the_heating(tmp_path):
    """Invented weather that falls to nothing from 10 to 14 o'clock: the block cools meanwhile, and the absorbed energy
    grows by what the hours give. Catches a clear sky taken for the weather, and hours that are shifted by one."""
    from dishtrace.scene.read import load_scene
    from tests.support.weather_files import write_epw

    write_epw(tmp_path / "invented.epw")
    lines = (tmp_path / "invented.epw").read_text().splitlines()
    cloudy = []
    for line in lines:
        cells = line.split(",")
        if len(cells) > 20 and cells[1:3] == ["6", "21"]:
            cells[14] = "0" if 11 <= int(cells[3]) <= 14 else "800"
        cloudy.append(",".join(cells))
    (tmp_path / "invented.epw").write_text("\n".join(cloudy) + "\n")
    (tmp_path / "scene.toml").write_text(
        "[site]\nlatitude_deg = 40\nlongitude_deg = -105\n[sun]\ntime = 2026-03-20T12:00:00-07:00\n"
        'weather_file = "invented.epw"\n[dish]\nfocal_length_m = 2\nreflectance = 0.9\n'
        '[dish.outline]\nshape = "circle"\nradius_m = 0.1\n'
        '[[part]]\nname = "block"\nrole = "receiver"\nshape = "cylinder"\nradius_m = 0.05\nheight_m = 0.05\n'
        "center_m = [0, 0, 0.025]\nsurface = { absorptance = 0.9, emittance = 0.9 }\n[part.contents]\n"
        'kind = "solid"\nmass_kg = 0.2\nheat_capacity_j_kgk = 500.0\n'
    )
    found = dt.day(load_scene(tmp_path / "scene.toml"), date="2026-06-21", rays=8192, step_min=60.0)
    assert found.sky.kind == "weather"
    (timeline,) = found.timelines
    hours = found.heats[0].start.hour + found.heats[0].start.minute / 60.0 + timeline.columns["time_s"] / 3600.0
    warm = timeline.columns["temperature_c"]
    before, under, after = (float(np.interp(hour, hours, warm)) for hour in (9.5, 13.4, 17.0))
    assert under < before - 5.0
    assert after > under + 5.0
    rows = {row["start"][11:13]: row["receiver_w"] for row in found.rows()}
    assert rows["10"] == rows["13"] == 0.0
    assert rows["09"] > 0.0
    assert rows["14"] > 0.0


def test_a_filling_that_heat_refuses_leaves_the_light_told():
    """Air in a plate that encloses nothing: the day is there, and the note says what heat would."""
    shut = PLATE + '[part.contents]\nkind = "air"\n'
    found = dt.day(day_scene(shut), date="2026-06-21", rays=8192, step_min=60.0)
    assert found.energy_kwh["receiver"].value > 0.0
    assert found.timelines == ()
    assert any("no heating is told" in note and "volume_m3 is missing" in note for note in found.notes)


def test_a_year_tells_a_stop_at_its_worst_moment_and_heats_two_days():
    """The stop is at the step with most power of the receivers; the day with most light absorbed and the middle one are
    heated. Catches a stop at the first step, and days that are mixed up."""
    scene = day_scene(PLATE + SHEET)
    found = dt.year(scene, year=2026, rays=8192, step_min=120.0, zone="+00:00")
    power = found.table.columns["receiver_w"][0]
    assert found.worst_at == found.table.path.time[int(np.argmax(power))]
    assert found.standings[0].minutes == 0.0
    assert {hazard.kind for hazard in found.hazards} >= {"stopped-drive"}
    assert found.drift is not None
    dates = np.array([start.date() for start in found.table.path.start])
    parts = ("plate", "sheet")
    absorbed = sum(found.table.columns[f"absorbed_w:{part}"][0] for part in parts)
    sums = {day: absorbed[dates == day].sum() for day in np.unique(dates)}
    middle, most = found.heats
    assert sums[most.day] == max(sums.values())
    assert sorted(sums.values()).index(sums[middle.day]) == len(sums) // 2
    assert [warmth.part for warmth in most.warmths] == list(parts)
    assert most.start.date() == most.day
    assert not any("DOUBTFUL" in note for note in found.notes)


def test_coarse_steps_of_a_dish_that_stands_still_are_doubted():
    """By hours the sun moves 15 degrees, and the spot by 2 m x 0.26, past a plate of 50 mm radius; by 4 minutes it does
    not (35 mm), and the plate's light takes several steps to come and go. A dish that follows has no doubt."""
    mount = 'kind = "fixed"\naxis_azimuth_deg = 180\naxis_elevation_deg = 50'
    options = {"date": "2026-03-20", "rays": 8192}
    fixed = dt.day(day_scene(PLATE, mount=mount), step_min=60.0, most_traces=16, **options)
    (note,) = [note for note in fixed.notes if "DOUBTFUL: the spot moves" in note]
    assert "of 60 min, past receivers of about 50 mm" in note
    moved, receiver = spot_moves(fixed.scene, fixed.light, fixed.table, fixed.poses)
    assert moved == pytest.approx(2.0 * np.radians(15.0), rel=0.01)
    assert receiver == pytest.approx(0.05, rel=0.01)
    follows = dt.day(day_scene(PLATE), step_min=60.0, **options)
    assert not any("DOUBTFUL" in note for note in follows.notes)


def test_coarseness_is_the_midpoint_rule_s():
    """Light that is there for one step of ten alone may be wrong by 4 / 24 of it; light that grows evenly by none."""
    start = [datetime(2026, 3, 20, 8 + k, tzinfo=UTC) for k in range(10)]
    table = SimpleNamespace(path=SimpleNamespace(start=start, step_s=3600.0), reaching_w_m2=np.full(10, 800.0))

    def light(values):
        return SimpleNamespace(column=lambda name: (np.asarray(values, dtype=float), None))

    assert coarseness(light(np.arange(10) == 5), table) == pytest.approx(4.0 / 24.0)
    assert coarseness(light(np.arange(10)), table) == pytest.approx(0.0, abs=1e-12)


def test_re_setting_seldom_costs_energy():
    """Set on 1 January and never again, the plate (1.4 deg from middle to edge) gets light while the sun stands low
    alone; set daily it gets all that its own shade (a quarter) leaves,
    and the sun on its back."""
    scene = day_scene(PLATE, mount='kind = "polar-axis"')
    at = {"year": 2026, "rays": 8192, "step_min": 120.0, "most_traces": 40}
    daily, yearly = dt.year(scene, reset_days=1, **at), dt.year(scene, reset_days=366, **at)
    assert yearly.energy_kwh["receiver"].value < 0.3 * daily.energy_kwh["receiver"].value
    whole = daily.energy_kwh["sunlight"].value
    assert daily.energy_kwh["receiver"].value == pytest.approx(0.9 * (0.9 * 0.75 + 0.25) * whole, rel=0.02)
