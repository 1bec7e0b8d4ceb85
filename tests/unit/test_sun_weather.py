"""Irradiance out of weather files of our own invention: hours, zones, leap days, gaps."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from dishtrace.errors import InputError
from dishtrace.sun.weather import WeatherYear, distance_to_station_km, dni_at, read_weather
from tests.support.weather_files import hours_of_year, invented_dni, write_epw, write_tmy3

ZONE = timezone(timedelta(hours=-7))


def year_of(is_leap=False, dni=invented_dni, zone_hours=-7.0):
    month, day, hour = np.array(list(hours_of_year(is_leap))).T
    return WeatherYear("invented", month, day, hour, dni(month, day, hour), zone_hours, 40.0, -105.0)


def test_middle_of_the_hour_gives_the_row_itself():
    # Hour 13 is the mean from 12:00 to 13:00.
    assert dni_at(year_of(), datetime(2026, 3, 21, 12, 30, tzinfo=ZONE)) == pytest.approx(invented_dni(3, 21, 13))


def test_full_hour_lies_half_way_between_two_rows():
    expected = 0.5 * (invented_dni(3, 21, 12) + invented_dni(3, 21, 13))
    assert dni_at(year_of(), datetime(2026, 3, 21, 12, 0, tzinfo=ZONE)) == pytest.approx(expected, rel=1e-12)


def test_linear_in_between_to_the_second():
    before, after = invented_dni(3, 21, 12), invented_dni(3, 21, 13)
    time = datetime(2026, 3, 21, 11, 48, 36, tzinfo=ZONE)
    assert dni_at(year_of(), time) == pytest.approx(before + 0.31 * (after - before), rel=1e-12)


def test_zone_of_the_file_counts_not_that_of_the_time():
    here = datetime(2026, 3, 21, 12, 20, tzinfo=ZONE)
    assert dni_at(year_of(), here.astimezone(UTC)) == dni_at(year_of(), here)
    summer_time = here.astimezone(timezone(timedelta(hours=-6)))
    assert dni_at(year_of(), summer_time) == dni_at(year_of(), here)
    shifted = dni_at(year_of(zone_hours=5.5), datetime(2026, 3, 21, 7, 0, tzinfo=UTC))
    assert shifted == pytest.approx(invented_dni(3, 21, 13), rel=1e-12)


def test_year_is_ignored_and_closed():
    weather = year_of()
    assert dni_at(weather, datetime(1950, 6, 1, 9, 30, tzinfo=ZONE)) == pytest.approx(invented_dni(6, 1, 10))
    new_year = 0.5 * (invented_dni(12, 31, 24) + invented_dni(1, 1, 1))
    assert dni_at(weather, datetime(2026, 1, 1, 0, 0, tzinfo=ZONE)) == pytest.approx(new_year, rel=1e-12)


@pytest.mark.parametrize(("is_leap", "row_day"), [(False, 28), (True, 29)])
def test_leap_day(is_leap, row_day):
    weather = year_of(is_leap)
    assert dni_at(weather, datetime(2028, 2, 29, 12, 30, tzinfo=ZONE)) == pytest.approx(invented_dni(2, row_day, 13))
    for time in (datetime(2028, 3, 1, 12, 30, tzinfo=ZONE), datetime(2026, 3, 1, 12, 30, tzinfo=ZONE)):
        assert dni_at(weather, time) == pytest.approx(invented_dni(3, 1, 13), rel=1e-12)


@pytest.mark.parametrize("bad", [9999.0, -1.0, np.nan])
def test_missing_values_are_refused(bad):
    weather = year_of(dni=lambda month, day, hour: np.where((month == 5) & (day == 3) & (hour == 12), bad, 500.0))
    assert dni_at(weather, datetime(2026, 5, 3, 10, 0, tzinfo=ZONE)) == 500.0
    with pytest.raises(InputError, match=r"invented: direct normal irradiance = .* around 03 May 11:45"):
        dni_at(weather, datetime(2026, 5, 3, 11, 45, tzinfo=ZONE))


def test_file_of_part_of_a_year():
    full = year_of()
    keep = full.month == 6
    part = WeatherYear("june", full.month[keep], full.day[keep], full.hour[keep], full.dni_w_m2[keep], -7.0, 40.0, 0.0)
    assert dni_at(part, datetime(2026, 6, 9, 12, 30, tzinfo=ZONE)) == pytest.approx(invented_dni(6, 9, 13))
    with pytest.raises(InputError, match="june: holds no hours around 09 July 12:30"):
        dni_at(part, datetime(2026, 7, 9, 12, 30, tzinfo=ZONE))


@pytest.mark.parametrize(("name", "write"), [("place.epw", write_epw), ("place.csv", write_tmy3)])
def test_files_are_read_with_hours_as_interval_ends(tmp_path, name, write):
    write(tmp_path / name)
    weather = read_weather(tmp_path / name, name=name)
    assert (weather.zone_hours, weather.latitude_deg, weather.longitude_deg) == (-7.0, 40.0, -105.0)
    assert np.array_equal(np.array(list(hours_of_year())).T, [weather.month, weather.day, weather.hour])
    assert weather.dni_w_m2 == pytest.approx(year_of().dni_w_m2)
    assert dni_at(weather, datetime(2026, 3, 21, 12, 30, tzinfo=ZONE)) == pytest.approx(invented_dni(3, 21, 13))


def test_half_hour_clock_is_refused(tmp_path):
    write_tmy3(tmp_path / "place.csv", clock="{:02d}:30")
    with pytest.raises(InputError, match="full hours from 01:00 to 24:00"):
        read_weather(tmp_path / "place.csv", name="place.csv")


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("a.txt", b"", "a.txt: must be an EPW file"),
        ("a.epw", b"", "a.epw: does not read as EPW weather data"),
        ("a.epw", b"hello,world\n1,2\n", "does not read as EPW weather data .'altitude' is missing"),
        ("a.csv", b"", "a.csv: does not read as TMY3 weather data"),
        ("a.csv", b"1,N,S,-7,40,-105,1800\na,b\n1,2\n", "does not read as TMY3 weather data .*Date"),
        ("a.epw", bytes(range(256)), "a.epw: does not read as EPW weather data"),
    ],
)
def test_files_of_another_kind(tmp_path, name, content, message):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_weather(tmp_path / name, name=name)


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match="no.epw: weather file cannot be read: No such file"):
        read_weather(tmp_path / "no.epw", name="no.epw")


def test_distance_to_the_station():
    # A degree along a meridian is pi/180 of 6371 km; the antipode is half a turn away.
    assert distance_to_station_km(year_of(), latitude_deg=41.0, longitude_deg=-105.0) == pytest.approx(111.19, abs=0.01)
    assert distance_to_station_km(year_of(), latitude_deg=-40.0, longitude_deg=75.0) == pytest.approx(
        np.pi * 6371.0, rel=1e-7
    )
