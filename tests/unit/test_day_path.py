"""Sun path, sky and what is refused of a day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.scene.read import load_scene, scene_from_text
from dishtrace.study.day.light import light_along
from dishtrace.study.day.path import sun_path, zone_of
from dishtrace.study.day.poses import poses_along
from dishtrace.study.day.sky import sky_along
from dishtrace.sun.irradiance import clear_sky_dni
from dishtrace.sun.position import air_pressure
from dishtrace.sun.weather import dni_at, read_weather
from tests.support.day_scenes import day_scene
from tests.support.weather_files import write_epw


def path_of(scene, day="2026-03-20", *, step_min=30.0, days=1):
    return sun_path(scene, first=date.fromisoformat(day), days=days, step_min=step_min, zone=UTC)


def test_steps_are_those_with_sun_and_their_middles_lie_in_what_is_lit():
    path = path_of(day_scene(), step_min=60.0)
    assert 12 <= len(path.time) <= 14
    assert np.all(path.elevation > 0.0)
    for start, time in zip(path.start, path.time, strict=True):
        assert start < time < start + timedelta(hours=1)
    full = path.fine_elevation.min(axis=1) > 0.0
    middles = [(time - start).total_seconds() for start, time in zip(path.start, path.time, strict=True)]
    assert np.allclose(np.array(middles)[full], 1800.0, atol=1.0)
    assert all(middle != 1800.0 for middle in np.array(middles)[~full])


def test_hour_angle_is_zero_near_noon_and_west_positive():
    """Catches a sign: in the afternoon the hour angle is positive and the azimuth beyond 180 deg."""
    path = path_of(day_scene())
    afternoon = np.array([time.hour >= 13 for time in path.time])
    assert np.all(path.hour_angle[afternoon] > 0.0)
    assert np.all(np.degrees(path.azimuth[afternoon]) > 180.0)
    assert np.degrees(np.abs(path.declination)).max() < 0.5  # equinox


def test_midnight_sun_is_up_in_every_step():
    assert len(path_of(day_scene(latitude_deg=80.0), "2026-06-21", step_min=60.0).time) == 24


def test_polar_night_is_refused_with_the_next_sunrise():
    said = r"--date = 2026-12-21 is polar night at latitude 80 deg.*rises next on 2027-02"
    with pytest.raises(InputError, match=said):
        dt.day(day_scene(latitude_deg=80.0), date="2026-12-21")


def test_clear_sky_is_that_of_a_single_moment():
    """Every fine time against `clear_sky_dni`, which has checks of its own; the mean over a step is its column."""
    scene = day_scene()
    path = path_of(scene)
    sky = sky_along(scene, path, "clear-sky")
    for row, column in ((2, 0), (10, 1), (len(path.time) - 3, 2)):
        time = datetime.fromtimestamp(path.fine_time[row, column].astype("int64") / 1e9, tz=UTC)
        alone = clear_sky_dni(
            time,
            elevation_deg=float(np.degrees(path.fine_elevation[row, column])),
            altitude_m=0.0,
            pressure_pa=air_pressure(scene),
            linke_turbidity=3.0,
        )
        assert sky.fine_w_m2[row, column] == pytest.approx(alone, rel=1e-9)
    assert sky.dni_w_m2 == pytest.approx(sky.fine_w_m2.mean(axis=1))


def weather_scene(folder, *, without_june=False):
    write_epw(folder / "invented.epw")
    if without_june:
        lines = (folder / "invented.epw").read_text().splitlines()
        kept = [line for line in lines if not line.startswith("1996,6,")]
        (folder / "invented.epw").write_text("\n".join(kept) + "\n")
    (folder / "scene.toml").write_text(
        "[site]\nlatitude_deg = 40\nlongitude_deg = -105\n[sun]\ntime = 2026-03-20T12:00:00-07:00\n"
        'weather_file = "invented.epw"\n[dish]\nfocal_length_m = 2\nreflectance = 0.9\n'
        '[dish.outline]\nshape = "circle"\nradius_m = 0.1\n'
    )
    return load_scene(folder / "scene.toml")


def test_weather_is_read_at_the_middle_of_each_step(tmp_path):
    """By hours the middles are those of the file, so each step has its hour's own mean, also where the sun rises
    within it."""
    scene = weather_scene(tmp_path)
    zone = timezone(timedelta(hours=-7))
    path = sun_path(scene, first=date(2026, 6, 21), days=1, step_min=60.0, zone=zone)
    sky = sky_along(scene, path, "weather")
    weather = read_weather(tmp_path / "invented.epw", name="invented.epw")
    for start, dni in zip(path.start, sky.dni_w_m2, strict=True):
        assert dni == pytest.approx(dni_at(weather, start + timedelta(minutes=30)))
        assert dni == pytest.approx(6 + 21**2 / 10 + (start.hour + 1) ** 2)
    assert np.all(sky.fine_w_m2[path.fine_elevation <= 0.0] == 0.0)


def test_a_date_without_weather_is_refused(tmp_path):
    scene = weather_scene(tmp_path, without_june=True)
    with pytest.raises(InputError, match="invented.epw.*holds no hours around 21 June"):
        dt.day(scene, date="2026-06-21", rays=8192)


def dark_scene(folder):
    """With a weather file whose direct sunlight, the fifteenth entry of each row, is 0."""
    scene = weather_scene(folder)
    lines = [line.split(",") for line in (folder / "invented.epw").read_text().splitlines()]
    dark = [",".join([*line[:14], "0", *line[15:]] if len(line) > 30 else line) for line in lines]
    (folder / "invented.epw").write_text("\n".join(dark) + "\n")
    return scene


def test_a_day_and_a_year_without_light_are_faults_of_their_own_options(tmp_path):
    """Catches keys that are no options, and a year that is told by a date."""
    dark = dark_scene(tmp_path)
    of_day = "--date = 2026-06-21 has no direct sunlight on this day; choose another day or sky"
    of_year = "--year = 2026 has no direct sunlight in this year; choose another year or sky"
    with pytest.raises(InputError, match=of_day):
        dt.day(dark, date="2026-06-21", rays=8192)
    with pytest.raises(InputError, match=of_year):
        dt.year(dark, year=2026, rays=8192)
    scene = day_scene()
    of_day, of_year = "--date = 2026-01-01 has .*choose another day", "--year = 2026 has .*turn the dish$"
    for days, said in ((1, of_day), (365, of_year)):
        path = path_of(scene, "2026-01-01", days=days, step_min=60.0)
        poses = poses_along(scene, path)
        behind = replace(poses, is_lit=np.zeros_like(poses.is_lit))
        with pytest.raises(InputError, match=said):
            light_along(scene, path, behind, np.ones(len(path.time)), most=16, tracer=None)


def test_what_is_wrong_is_told_at_once():
    scene = scene_from_text(
        "[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = 1\nreflectance = 0.9\n"
        '[dish.outline]\nshape = "circle"\nradius_m = 0.5\n'
    )
    with pytest.raises(InputError) as raised:
        dt.day(scene, date="2026-06-21", step_min=7.0, most_traces=3)
    text = str(raised.value)
    assert "site is missing" in text
    assert "step = 7 must be from 1 to 120 and divide a day" in text
    assert "--traces = 3 must be from 16" in text


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"date": "21 June"}, "date = 21 June must be a date; for instance 2026-06-21"),
        ({"date": "2026-06-21", "zone": "Nowhere"}, 'zone = Nowhere is not a known zone; for instance "[+]02:00"'),
        ({"date": "2026-06-21", "sky": "blue"}, "sky = blue must be one of clear-sky, weather, held"),
        ({"date": "2026-06-21", "sky": "weather"}, "sun.weather_file is missing"),
        ({"date": "2026-06-21", "sky": "held"}, "sun.dni_w_m2 is missing"),
        ({"date": "2026-06-21", "reset_days": 7}, "must be turned by a clock to be re-set"),
    ],
)
def test_bad_options_are_told(options, message):
    with pytest.raises(InputError, match=message):
        dt.day(day_scene(), rays=8192, **options)


def test_zone_is_that_of_the_scene_else_the_one_nearest_to_the_sun():
    assert zone_of(day_scene(), None)[0].utcoffset(None) == timedelta(0)
    assert zone_of(day_scene(), "+05:30")[0].utcoffset(None) == timedelta(hours=5.5)
    scene = day_scene(longitude_deg=-104.0)
    untimed = scene.model_copy(update={"sun": scene.sun.model_copy(update={"time": None})})
    zone, note = zone_of(untimed, None)
    assert zone.utcoffset(None) == timedelta(hours=-7)
    assert "UTC-7:00" in note
