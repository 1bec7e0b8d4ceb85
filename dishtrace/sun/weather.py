"""Direct normal irradiance out of a typical-year weather file, at a time of a scene."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np

from dishtrace.errors import Fault, InputError

HIGHEST_BELIEVED_DNI_W_M2 = 1500.0


@dataclass(frozen=True, eq=False)
class WeatherYear:
    """Hourly direct normal irradiance of one (typical) year.

    Parameters
    ----------
    name : str
        The file as the user wrote it.
    month, day, hour : (n,) int64
        Date in the file's zone and the hour, 1 to 24, at whose end the interval ends. [–]
    dni_w_m2 : (n,) float64
        Mean over the hour that ends at `hour`. [W/m2]
    zone_hours : float
        The file's zone, east of Greenwich positive. [h]
    latitude_deg, longitude_deg : float
        Place of the station, north and east positive. [deg]
    """

    name: str
    month: np.ndarray
    day: np.ndarray
    hour: np.ndarray
    dni_w_m2: np.ndarray
    zone_hours: float
    latitude_deg: float
    longitude_deg: float


def read_weather(path: Path, *, name: str) -> WeatherYear:
    """Read an EPW (``.epw``) or TMY3 (``.csv``) file through pvlib's readers.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        The file as the user wrote it, for messages.

    Returns
    -------
    WeatherYear

    Raises
    ------
    InputError
        For another file name ending, a missing file or one that does not read as its kind.
    """
    readers = {".epw": ("EPW", _read_epw), ".csv": ("TMY3", _read_tmy3)}
    if path.suffix.lower() not in readers:
        raise InputError(Fault(name, "", "", "must be an EPW file (.epw) or a TMY3 file (.csv)"))
    kind, reader = readers[path.suffix.lower()]
    try:
        return reader(path, name)
    except OSError as error:
        raise InputError(Fault(name, "", "", f"weather file cannot be read: {error.strerror}")) from error
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        # What pandas raises for text that is not a table of this kind; ParserError and UnicodeDecodeError are
        # ValueErrors.
        detail = f"{error} is missing" if isinstance(error, KeyError) else str(error)
        raise InputError(Fault(name, "", "", f"does not read as {kind} weather data ({detail})")) from error


def _read_epw(path: Path, name: str) -> WeatherYear:
    """EPW: columns month, day and hour 1 to 24; the hour is the end of the interval."""
    from pvlib.iotools import read_epw

    data, head = read_epw(path)
    return WeatherYear(
        name,
        data["month"].to_numpy(int),
        data["day"].to_numpy(int),
        data["hour"].to_numpy(int),
        data["dni"].to_numpy(float),
        head["TZ"],
        head["latitude"],
        head["longitude"],
    )


def _read_tmy3(path: Path, name: str) -> WeatherYear:
    """TMY3: date as MM/DD/YYYY and time as HH:MM from 01:00 to 24:00, the end of the interval."""
    from pvlib.iotools import read_tmy3

    data, head = read_tmy3(path, map_variables=True)
    date = data["Date (MM/DD/YYYY)"].str.split("/", expand=True)
    clock = data["Time (HH:MM)"].str.split(":", expand=True)
    if (clock[1].astype(int) != 0).any() or not clock[0].astype(int).between(1, 24).all():
        raise ValueError("times must be full hours from 01:00 to 24:00")
    return WeatherYear(
        name,
        date[0].to_numpy(int),
        date[1].to_numpy(int),
        clock[0].to_numpy(int),
        data["dni"].to_numpy(float),
        head["TZ"],
        head["latitude"],
        head["longitude"],
    )


def _hour_of_year(month: np.ndarray, day: np.ndarray, hour: np.ndarray, *, has_leap_day: bool) -> np.ndarray:
    """Hours since the start of a year of 366 or 365 days; `hour` is hours since midnight. [h]."""
    february = 29 if has_leap_day else 28
    lengths = np.array([31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    before = np.append(0, np.cumsum(lengths))[np.asarray(month) - 1]
    return 24.0 * (before + np.asarray(day) - 1) + np.asarray(hour)


def dni_at(weather: WeatherYear, time: datetime) -> float:
    """Direct normal irradiance at a time of any year, between the middles of the hourly intervals.

    A value of the file is the mean over the hour that ends at the hour printed, so it stands for the middle
    of that hour; in between the irradiance is linear. The year of the file is ignored: rows are matched by
    date and hour in the file's own zone (standard time). For 29 February a file without one gives 28
    February. The year is closed: the last hour of December stands before the first of January.

    Parameters
    ----------
    weather : WeatherYear
        The file.
    time : datetime
        With its zone.

    Returns
    -------
    float
        [W/m2]

    Raises
    ------
    InputError
        When the file has no believable values within an hour on both sides of the time.
    """
    local = time.astimezone(timezone(timedelta(hours=weather.zone_hours)))
    has_leap_day = bool(np.any((weather.month == 2) & (weather.day == 29)))
    day = 28 if (local.month, local.day) == (2, 29) and not has_leap_day else local.day
    clock = local.hour + local.minute / 60.0 + (local.second + 1e-6 * local.microsecond) / 3600.0
    wanted = float(_hour_of_year(local.month, day, clock, has_leap_day=has_leap_day))
    middles = _hour_of_year(weather.month, weather.day, weather.hour - 0.5, has_leap_day=has_leap_day)
    year = 24.0 * (366 if has_leap_day else 365)
    ahead = (middles - wanted) % year
    after, before = int(np.argmin(ahead)), int(np.argmin((wanted - middles) % year))
    gap_after, gap_before = float(ahead[after]), float((wanted - middles[before]) % year)
    pair = weather.dni_w_m2[[before, after]]
    if gap_after > 1.0 or gap_before > 1.0:
        raise InputError(Fault(weather.name, "", "", f"holds no hours around {local:%d %B %H:%M} (its own zone)"))
    if not np.all((pair >= 0.0) & (pair <= HIGHEST_BELIEVED_DNI_W_M2)):
        raise InputError(
            Fault(
                weather.name,
                "direct normal irradiance",
                ", ".join(f"{value:g}" for value in pair),
                f"around {local:%d %B %H:%M} (its own zone) must lie from 0 to 1500 (W/m2)",
                "values are missing there: choose another time or give sun.dni_w_m2",
            )
        )
    span = gap_before + gap_after
    share = gap_before / span if span > 0.0 else 0.0
    return float((1.0 - share) * pair[0] + share * pair[1])


def distance_to_station_km(weather: WeatherYear, *, latitude_deg: float, longitude_deg: float) -> float:
    """Great-circle distance from a place to the weather station, on a sphere of 6371 km. [km]."""
    lat1, lat2 = np.radians(latitude_deg), np.radians(weather.latitude_deg)
    turn = np.radians(longitude_deg - weather.longitude_deg)
    half = np.sin(0.5 * (lat1 - lat2)) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin(0.5 * turn) ** 2
    return float(2.0 * 6371.0 * np.arcsin(np.sqrt(half)))
