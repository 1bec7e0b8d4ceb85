"""The sun of a scene, through the scene file."""

import numpy as np
import pytest

from dishtrace.errors import InputError
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.position import direction_of
from dishtrace.sun.state import sun_state
from tests.support.weather_files import invented_dni, write_epw

DISH = """
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 0.6
"""
SITE = """
[site]
latitude_deg = 40.0
longitude_deg = -105.0
altitude_m = 1800
"""
NOON = "time = 2026-03-21T12:30:00-07:00\n"


def state(sun, *, site=SITE, rest="", folder=None):
    return sun_state(scene_from_text(f"{site}\n[sun]\n{sun}\n{DISH}\n{rest}", folder=folder))


@pytest.mark.parametrize(
    ("azimuth", "elevation", "direction"),
    [
        (0.0, 0.0, (0, 1, 0)),
        (90.0, 0.0, (1, 0, 0)),
        (180.0, 0.0, (0, -1, 0)),
        (270.0, 0.0, (-1, 0, 0)),
        (123.0, 90.0, (0, 0, 1)),
        (90.0, 30.0, (np.sqrt(0.75), 0, 0.5)),
    ],
)
def test_direction_axes(azimuth, elevation, direction):
    assert direction_of(azimuth, elevation) == pytest.approx(direction, abs=1e-15)


def test_without_a_direction_the_sun_is_at_the_zenith():
    sun = state("dni_w_m2 = 900", site="")
    assert np.array_equal(sun.direction, [0.0, 0.0, 1.0])
    assert (sun.azimuth_deg, sun.elevation_deg) == (None, None)
    assert (sun.has_direction, sun.dni_w_m2, sun.notes) == (False, 900.0, ())


def test_azimuth_and_elevation_are_used_as_they_are():
    sun = state("azimuth_deg = 90\nelevation_deg = 30\ndni_w_m2 = 850", site="")
    assert sun.direction == pytest.approx([np.sqrt(0.75), 0.0, 0.5], abs=1e-15)
    assert (sun.azimuth_deg, sun.elevation_deg, sun.has_direction, sun.dni_w_m2) == (90.0, 30.0, True, 850.0)
    assert sun.notes == ()


@pytest.mark.parametrize("text", ["{ value = 850, sd = 40 }", "{ low = 800, high = 900 }"])
def test_uncertain_irradiance_is_traced_at_its_middle(text):
    assert state(f"dni_w_m2 = {text}", site="").dni_w_m2 == 850.0


def test_time_and_place_with_refraction_from_the_air():
    low_sun = "time = 2026-03-21T06:40:00-07:00\ndni_w_m2 = 300\n"
    sun = state(low_sun)
    assert sun.has_direction
    assert 85.0 < sun.azimuth_deg < 100.0
    thin = state(low_sun, rest="[air]\npressure_pa = 20000")
    assert 0.0 < thin.elevation_deg < sun.elevation_deg
    assert "refraction for 20000 Pa" in thin.notes[0]
    # Standard atmosphere at 1800 m: 81.49 kPa (U.S. Standard Atmosphere 1976; from memory).
    standard = float(sun.notes[0].partition("refraction for ")[2].partition(" Pa")[0])
    assert standard == pytest.approx(81_490.0, abs=15.0)
    assert np.degrees(np.arcsin(sun.direction[2])) == pytest.approx(sun.elevation_deg, abs=1e-12)


def test_sun_below_the_horizon_says_when_it_rises():
    with pytest.raises(InputError) as caught:
        state("time = 2026-03-21T22:00:00-07:00\ndni_w_m2 = 900")
    (fault,) = caught.value.faults
    assert fault.key == "sun.time" and fault.where == "scene:8"
    # Sunset 18:13 and next sunrise 05:59 at 40 N, 105 W on the day after the equinox.
    assert "deg below the horizon: it set at 2026-03-21 18:1" in str(fault)
    assert "and rises next at 2026-03-22 05:5" in str(fault)
    assert "(UTC-07:00)" in str(fault)


def test_sun_on_the_horizon():
    # 06:02 is a minute after sunrise: the upper limb is up, the centre is not.
    with pytest.raises(InputError, match=r"stands on the horizon, its centre 0\.\d deg below it; choose a time"):
        state("time = 2026-03-21T06:02:00-07:00\ndni_w_m2 = 900")


def test_polar_night_names_the_day_on_which_it_ends():
    site = SITE.replace("40.0", "78.0").replace("-105.0", "15.0")
    with pytest.raises(InputError, match=r"set at 2025-10-2\d .* rises next at 2026-02-1\d .*UTC\+01:00"):
        state("time = 2025-12-21T12:00:00+01:00\ndni_w_m2 = 900", site=site)


def test_clear_sky_with_turbidity_given_and_from_the_table():
    hazy, clear = (state(NOON + f'dni = "clear-sky"\nlinke_turbidity = {turbidity}') for turbidity in (6, 2))
    table = state(NOON + 'dni = "clear-sky"')
    assert 400.0 < hazy.dni_w_m2 < table.dni_w_m2 < clear.dni_w_m2 < 1200.0
    assert "Linke turbidity 6.00 as given" in hazy.notes[1]
    assert "from the monthly world table shipped with pvlib" in table.notes[1]


def test_clear_sky_sees_the_air_pressure():
    thin, thick = (
        state(NOON + 'dni = "clear-sky"\nlinke_turbidity = 3', rest=f"[air]\npressure_pa = {pressure}")
        for pressure in (70_000, 100_000)
    )
    assert thin.dni_w_m2 > 1.03 * thick.dni_w_m2


def test_clear_sky_without_light():
    # The centre of the sun stands less than 1 deg above the horizon, in thick haze.
    with pytest.raises(InputError, match=r"sun.dni .* gives a direct normal irradiance of .* at least 1 W/m2"):
        state('time = 2026-03-21T06:06:00-07:00\ndni = "clear-sky"\nlinke_turbidity = 15')


def test_weather_file(tmp_path):
    write_epw(tmp_path / "place.epw")
    sun = state(NOON + 'weather_file = "place.epw"', folder=tmp_path)
    assert sun.dni_w_m2 == pytest.approx(invented_dni(3, 21, 13))
    assert len(sun.notes) == 2 and "the middle of its hour" in sun.notes[1]
    away = state(NOON + 'weather_file = "place.epw"', site=SITE.replace("40.0", "41.0"), folder=tmp_path)
    assert away.notes[2] == "The weather station of place.epw is 111 km away from the site."


def test_weather_file_without_sunshine(tmp_path):
    write_epw(tmp_path / "place.epw")
    text = (tmp_path / "place.epw").read_text().replace(f",{invented_dni(3, 21, 13)},", ",0,")
    (tmp_path / "place.epw").write_text(text)
    with pytest.raises(InputError, match=r'sun.weather_file = "place.epw" gives a direct normal irradiance of 0 W/m2'):
        state(NOON + 'weather_file = "place.epw"', folder=tmp_path)


@pytest.mark.parametrize(
    "sun",
    [
        NOON + "dni_w_m2 = 900",
        'dni = "clear-sky"',
        'azimuth_deg = 180\nelevation_deg = 50\ndni = "clear-sky"',
        'weather_file = "place.epw"',
    ],
)
def test_what_needs_place_or_time_says_so(sun):
    with pytest.raises(InputError, match=r"scene:\d+: .*(place|site|time)"):
        state(sun, site="")
