"""Sun position against printed and independent values.

"Report" is I. Reda, A. Andreas, "Solar Position Algorithm for Solar Radiation Applications",
NREL/TP-560-34302, revised January 2008, worked example in its appendix; values from memory. The
other rows were worked out with two independent ephemeris libraries (one of them on VSOP87) and with the SPA,
Delta T 69.2 s; zeniths without refraction agree within 0.0004 deg and azimuths within 0.0012 deg.
"""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from dishtrace.sun.position import direction_of, locate_sun, next_rise_and_set

REPORT_TIME = datetime(2003, 10, 17, 12, 30, 30, tzinfo=timezone(timedelta(hours=-7)))
REPORT_PLACE = {"latitude_deg": 39.742476, "longitude_deg": -105.1786}


def report_sun():
    return locate_sun(
        REPORT_TIME,
        **REPORT_PLACE,
        altitude_m=1830.14,
        pressure_pa=82_000.0,
        temperature_c=11.0,
        delta_t_s=67.0,
    )


def test_report_zenith_and_azimuth():
    # Report: topocentric zenith 50.11162 deg with refraction, azimuth 194.34024 deg; it claims 0.0003 deg.
    sun = report_sun()
    assert 90.0 - sun.elevation_deg == pytest.approx(50.11162, abs=1e-5)
    assert sun.azimuth_deg == pytest.approx(194.34024, abs=1e-5)
    assert 90.0 - sun.true_elevation_deg == pytest.approx(50.127954, abs=1e-5)


def test_report_incidence_on_a_tilted_surface():
    # Report: slope 30 deg, surface azimuth 10 deg east of south: incidence 25.18700 deg. Checks the signs.
    sun = report_sun()
    normal = direction_of(170.0, 60.0)
    cosine = direction_of(sun.azimuth_deg, sun.elevation_deg) @ normal
    assert np.degrees(np.arccos(cosine)) == pytest.approx(25.18700, abs=1e-4)


def test_report_rise_and_set():
    # Report: sunrise 13:12:43.46 UT on 17 October, sunset 00:20:19.19 UT on the 18th; seen from either night.
    rise, _ = next_rise_and_set(datetime(2003, 10, 17, 8, 0, tzinfo=UTC), **REPORT_PLACE)
    _, fall = next_rise_and_set(datetime(2003, 10, 18, 3, 0, tzinfo=UTC), **REPORT_PLACE)
    second = timedelta(seconds=1)
    assert abs(rise - datetime(2003, 10, 17, 13, 12, 43, 460_000, tzinfo=UTC)) < second
    assert abs(fall - datetime(2003, 10, 18, 0, 20, 19, 190_000, tzinfo=UTC)) < second


@pytest.mark.parametrize(
    ("time", "place", "air", "zenith", "refracted", "azimuth"),
    [
        ((2024, 6, 20, 12, 0), (51.4779, 0.0, 47.0), (101_325.0, 15.0), 28.0432, 28.0343, 179.1678),
        ((2024, 12, 21, 1, 30), (-33.8688, 151.2093, 58.0), (101_325.0, 25.0), 11.6043, 11.6010, 27.4959),
        ((2025, 3, 20, 5, 0), (12.9716, 77.5946, 920.0), (91_000.0, 30.0), 31.8083, 31.7995, 111.9420),
        ((2025, 9, 22, 20, 0), (-23.0, -46.6, 760.0), (92_600.0, 22.0), 76.4556, 76.3961, 275.8394),
    ],
    ids=["zero meridian", "south", "tropic", "south, low sun"],
)
def test_independent_ephemerides(time, place, air, zenith, refracted, azimuth):
    sun = locate_sun(
        datetime(*time, tzinfo=UTC),
        latitude_deg=place[0],
        longitude_deg=place[1],
        altitude_m=place[2],
        pressure_pa=air[0],
        temperature_c=air[1],
    )
    assert 90.0 - sun.true_elevation_deg == pytest.approx(zenith, abs=1e-3)
    assert 90.0 - sun.elevation_deg == pytest.approx(refracted, abs=1e-3)
    assert sun.azimuth_deg == pytest.approx(azimuth, abs=3e-3)


@pytest.mark.parametrize(
    ("time", "latitude_deg"),
    [
        (datetime(2024, 6, 20, 20, 51, tzinfo=UTC), 90.0),
        (datetime(2024, 12, 21, 9, 20, tzinfo=UTC), -90.0),
    ],
)
def test_solstice_declination_seen_from_the_poles(time, latitude_deg):
    # Declination at the solstices of 2024: +23.4382 and -23.4384 deg (SPA, Delta T 69.2 s). At a pole the
    # elevation is the declination less the horizontal parallax of 8.794" times the cosine of the elevation.
    sun = locate_sun(
        time,
        latitude_deg=latitude_deg,
        longitude_deg=0.0,
        altitude_m=0.0,
        pressure_pa=101_325.0,
        temperature_c=0.0,
    )
    parallax_deg = 8.794 / 3600.0 * np.cos(np.radians(sun.true_elevation_deg))
    assert sun.true_elevation_deg + parallax_deg == pytest.approx(23.4383, abs=5e-4)
