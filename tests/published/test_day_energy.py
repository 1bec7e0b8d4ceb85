"""A day against the outside: the sun's path by printed and independent rows, energy by direct integration."""

from __future__ import annotations

from datetime import date, timedelta, timezone

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text
from dishtrace.study.day.path import sun_path
from tests.support.day_scenes import PLATE, day_scene

ROWS = [
    # time (UTC), latitude, longitude, altitude m, Pa, C, zenith with refraction, azimuth: pvlib's SPA, checked without
    # refraction against astropy and ephem to 0.0004 deg (zenith) and 0.0012 deg (azimuth).
    ("2024-06-20", 12, 0, 51.4779, 0.0, 47.0, 101325.0, 15.0, 28.0343, 179.1678),
    ("2024-12-21", 1, 30, -33.8688, 151.2093, 58.0, 101325.0, 25.0, 11.6010, 27.4959),
    ("2025-03-20", 5, 0, 12.9716, 77.5946, 920.0, 91000.0, 30.0, 31.7995, 111.9420),
    ("2025-09-22", 20, 0, -23.0, -46.6, 760.0, 92600.0, 22.0, 76.3961, 275.8394),
]


def site_scene(latitude: float, longitude: float, altitude: float, pressure: float, temperature: float) -> Scene:
    return scene_from_text(
        f"[site]\nlatitude_deg = {latitude!r}\nlongitude_deg = {longitude!r}\naltitude_m = {altitude!r}\n"
        f"[sun]\ndni_w_m2 = 900\n[air]\npressure_pa = {pressure!r}\ntemperature_c = {temperature!r}\n"
        '[dish]\nfocal_length_m = 1\nreflectance = 0.9\n[dish.outline]\nshape = "circle"\nradius_m = 0.5\n'
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_path_goes_through_independent_rows(row):
    """Steps of 2 min in a zone of +1 min have their middles at even minutes UTC. Catches a step's beginning taken for
    its middle (0.25 deg), east for west, degrees for radians, and refraction left out (0.003 to 0.06 deg)."""
    day, hour, minute, *place, zenith, azimuth = row
    zone = timezone(timedelta(minutes=1))
    path = sun_path(site_scene(*place), first=date.fromisoformat(day), days=1, step_min=2.0, zone=zone)
    wanted = [
        k
        for k, time in enumerate(path.time)
        if time.astimezone(timezone.utc).strftime("%H%M%S") == f"{hour:02}{minute:02}00"
    ]
    k = wanted[0] if wanted else -1
    assert wanted
    assert 90.0 - np.degrees(path.elevation[k]) == pytest.approx(zenith, abs=4e-4)
    assert np.degrees(path.azimuth[k]) == pytest.approx(azimuth, abs=1.2e-3)


def test_path_goes_through_the_worked_example_of_the_algorithm():
    """Reda and Andreas, NREL/TP-560-34302, appendix (values from memory, reproduced with pvlib): 17 October 2003,
    12:30:30 at UTC-7; the middle of a step of one minute."""
    scene = site_scene(39.742476, -105.1786, 1830.14, 82000.0, 11.0)
    zone = timezone(timedelta(hours=-7))
    path = sun_path(scene, first=date(2003, 10, 17), days=1, step_min=1.0, zone=zone)
    k = next(k for k, time in enumerate(path.time) if time.strftime("%H%M%S") == "123030")
    assert 90.0 - np.degrees(path.elevation[k]) == pytest.approx(50.11162, abs=3e-4)
    assert np.degrees(path.azimuth[k]) == pytest.approx(194.34024, abs=3e-4)
    assert np.degrees(path.declination[k]) == pytest.approx(-9.31434, abs=3e-3)  # from earth's middle: parallax 0.002
    assert np.degrees(path.hour_angle[k]) == pytest.approx(11.105900, abs=3e-3)


def pvlib_clear_kwh_m2(day: str, *, latitude: float) -> float:
    """Direct normal irradiation of a clear day by pvlib's own classes every 30 s. [kWh/m2]"""
    import pandas as pd
    from pvlib.location import Location

    place = Location(latitude, 0.0, altitude=0.0)
    times = pd.date_range(f"{day} 00:00:15", periods=2880, freq="30s", tz="UTC")
    sky = place.get_clearsky(times, model="ineichen", linke_turbidity=3.0)
    return float(sky["dni"].sum() * 30.0 / 3.6e6)


@pytest.mark.parametrize(("day", "latitude"), [("2026-06-21", 40.0), ("2026-12-21", -33.0)])
def test_energy_of_an_ideal_dish_is_the_integral_of_the_irradiance(day, latitude):
    """Ideal two-axis dish, black plate larger than the spot: receiver = 0.9 x 0.9 x (outline area - plate's shade) x
    integral, and the plate's own face in the sun. Catches a forgotten reflectance, minutes for seconds, and steps
    counted twice. The integral by steps of 10 min is good to 0.3 %."""
    found = dt.day(day_scene(PLATE, latitude_deg=latitude), date=day, rays=8192, zone="+00:00")
    integral = pvlib_clear_kwh_m2(day, latitude=latitude)
    assert found.dni_kwh_m2 == pytest.approx(integral, rel=3e-3)
    area, plate = np.pi * 0.1**2, np.pi * 0.05**2
    assert found.energy_kwh["sunlight"].value == pytest.approx(area * found.dni_kwh_m2, rel=1e-4)
    expected = 0.9 * (0.9 * (area - plate) + plate) * integral
    receiver = found.energy_kwh["receiver"]
    assert receiver.value == pytest.approx(expected, rel=3e-3 + 4.3 * receiver.se / receiver.value)
    assert found.traces == 1


def test_year_is_the_sum_of_its_months_and_needs_few_traces():
    """Twelve months add up to the year, to rounding; a year of a two-axis dish takes a single trace."""
    found = dt.year(day_scene(PLATE), year=2026, rays=8192)
    assert sorted(found.months) == list(range(1, 13))
    for key, whole in found.energy_kwh.items():
        assert sum(told[key].value for told in found.months.values()) == pytest.approx(whole.value, rel=1e-9)
    assert sum(told["dni_kwh_m2"] for told in found.months.values()) == pytest.approx(found.dni_kwh_m2, rel=1e-9)
    assert found.traces == 1
