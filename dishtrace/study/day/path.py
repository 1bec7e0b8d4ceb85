"""The sun's path in equal steps of time: where it is seen, its hour angle and declination, and how long it is up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import REFRACTION_AT_HORIZON_DEG, air_pressure, next_rise_and_set

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

MINUTES_A_DAY = 1440
FINE_MIN = 10.0
"""The sun is looked at least so often within a step, to see for how much of it it is up. [min]"""


@dataclass(frozen=True, eq=False)
class SunPath:
    """The sun at the steps in which it is up.

    Parameters
    ----------
    first : date
        By the clock of the zone.
    days : int
        Followed from there.
    start : tuple of datetime
        Beginning of each step, (n,).
    time : tuple of datetime
        Middle of what the sun is up of it, (n,).
    step_s : float
        [s]
    azimuth, elevation : (n,) float64
        At `time`: east of north; as seen, with refraction. [rad]
    hour_angle, declination : (n,) float64
        True ones at `time`, west and north positive. [rad]
    fine_elevation, fine_azimuth : (n, m) float64
        As seen, at m even times within each step. [rad]
    fine_time : (n, m) datetime64[ns]
        These times, UTC.
    """

    first: date
    days: int
    start: tuple[datetime, ...]
    time: tuple[datetime, ...]
    step_s: float
    azimuth: np.ndarray
    elevation: np.ndarray
    hour_angle: np.ndarray
    declination: np.ndarray
    fine_elevation: np.ndarray
    fine_azimuth: np.ndarray
    fine_time: np.ndarray

    @property
    def directions(self) -> np.ndarray:
        """Unit vectors to the sun as seen, ground frame, (n, 3). [–]"""
        return directions_of(self.azimuth, self.elevation)


def span_fault(first: date, days: int, *, allowed: str, remedy: str) -> Fault:
    """A fault of the day or year that is followed: of the option that names it."""
    option, found = ("--date", f"{first:%Y-%m-%d}") if days == 1 else ("--year", str(first.year))
    return Fault(COMMAND_LINE, option, found, allowed, remedy)


def directions_of(azimuth: np.ndarray, elevation: np.ndarray) -> np.ndarray:
    """Unit vectors of azimuths and elevations [rad], ground frame x east, y north, z up, (..., 3). [–]"""
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)


def zone_of(scene: Scene, zone: str | None) -> tuple[tzinfo, str]:
    """Zone by which days are counted, and a note where it is guessed.

    Parameters
    ----------
    scene : Scene
        With `site`.
    zone : str or None
        "+02:00", or a name such as "Europe/Athens"; None: that of `sun.time`, else the full hours nearest to the sun.

    Raises
    ------
    InputError
        If there is no such zone.
    """
    if zone is not None:
        return _named_zone(zone), ""
    if scene.sun.time is not None:
        return scene.sun.time.tzinfo, ""
    hours = round(scene.site.longitude_deg / 15.0)
    note = f"days and times are those of UTC{hours:+d}:00, the zone nearest to the sun; name another with --zone"
    return timezone(timedelta(hours=hours)), note


def _named_zone(zone: str) -> tzinfo:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        offset = datetime.fromisoformat(f"2000-01-01T00:00:00{zone}").tzinfo
        if offset is not None:
            return offset
    except ValueError:
        pass
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        remedy = 'for instance "+02:00" or "Europe/Athens"'
        raise InputError(Fault(COMMAND_LINE, "--zone", zone, "is not a known zone", remedy)) from error


def sun_path(scene: Scene, *, first: date, days: int, step_min: float, zone: tzinfo) -> SunPath:
    """The sun's path over whole days.

    Parameters
    ----------
    scene : Scene
        Read: `site`, `air`.
    first : date
        By the clock of the zone.
    days : int
    step_min : float
        Divides a day. [min]
    zone : tzinfo

    Returns
    -------
    SunPath
        Steps in which the sun, as seen, is above the level horizon at one of the fine times at least.

    Raises
    ------
    InputError
        If the sun does not rise in these days.

    References
    ----------
    .. [1] I. Reda, A. Andreas, NREL/TP-560-34302, revised 2008; computed by ``pvlib.solarposition.spa_python``.
    """
    import pandas as pd

    midnight = datetime(first.year, first.month, first.day, tzinfo=zone)
    end = midnight + timedelta(days=days)
    seconds = end.timestamp() - midnight.timestamp()
    n_steps, n_fine = round(seconds / (60.0 * step_min)), max(1, round(step_min / FINE_MIN))
    step_ns = round(60e9 * step_min)
    begins = pd.Timestamp(midnight).tz_convert("UTC").as_unit("ns").value + step_ns * np.arange(n_steps)
    offsets = ((np.arange(n_fine) + 0.5) / n_fine * step_ns).round().astype(np.int64)
    fine_ns = begins[:, np.newaxis] + offsets
    seen, _, azimuth = _positions(scene, fine_ns.ravel())
    seen, azimuth = seen.reshape(fine_ns.shape), azimuth.reshape(fine_ns.shape)
    is_up = seen > 0.0
    rows = is_up.any(axis=1)
    if not rows.any():
        raise InputError(_never_up(scene, midnight, days, highest=float(np.degrees(seen.max()))))
    fine_ns, seen, azimuth, is_up = fine_ns[rows], seen[rows], azimuth[rows], is_up[rows]
    middles = (np.where(is_up, fine_ns - fine_ns[:, :1], 0).sum(axis=1) // is_up.sum(axis=1)) + fine_ns[:, 0]
    elevation, true, place = _positions(scene, middles)
    hour_angle, declination = _equatorial(place, true, latitude=np.radians(scene.site.latitude_deg))
    return SunPath(
        first=first,
        days=days,
        start=_times(begins[rows], zone),
        time=_times(middles, zone),
        step_s=60.0 * step_min,
        azimuth=place,
        elevation=elevation,
        hour_angle=hour_angle,
        declination=declination,
        fine_elevation=seen,
        fine_azimuth=azimuth,
        fine_time=fine_ns.astype("datetime64[ns]"),
    )


def _times(nanoseconds: np.ndarray, zone: tzinfo) -> tuple[datetime, ...]:
    import pandas as pd

    index = pd.DatetimeIndex(nanoseconds.astype("datetime64[ns]"), tz="UTC").round("s").tz_convert(zone)
    return tuple(index.to_pydatetime())


def _positions(scene: Scene, nanoseconds: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Elevation as seen and true, and azimuth, (n,). [rad]"""
    import pandas as pd
    from pvlib.solarposition import spa_python

    table: Any = spa_python(
        pd.DatetimeIndex(nanoseconds.astype("datetime64[ns]"), tz="UTC"),
        scene.site.latitude_deg,
        scene.site.longitude_deg,
        altitude=scene.site.altitude_m,
        pressure=air_pressure(scene),
        temperature=nominal(scene.air.temperature_c),
        delta_t=None,
        atmos_refract=REFRACTION_AT_HORIZON_DEG,
        how="numpy",
    )
    return tuple(np.radians(table[key].to_numpy()) for key in ("apparent_elevation", "elevation", "azimuth"))


def _equatorial(azimuth: np.ndarray, elevation: np.ndarray, *, latitude: float) -> tuple[np.ndarray, np.ndarray]:
    """Hour angles (west positive) and declinations of directions, (n,). [rad]"""
    east, north, up = np.moveaxis(directions_of(azimuth, elevation), -1, 0)
    to_equator = up * np.cos(latitude) - north * np.sin(latitude)
    to_pole = up * np.sin(latitude) + north * np.cos(latitude)
    return np.arctan2(-east, to_equator), np.arctan2(to_pole, np.hypot(east, to_equator))


def _never_up(scene: Scene, midnight: datetime, days: int, *, highest: float) -> Fault:
    """Fault of days without sun."""
    site = scene.site
    noon = midnight + timedelta(hours=12)
    rise, fall = next_rise_and_set(noon, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
    since = f"it set last on {fall:%Y-%m-%d}" if fall else "no sunset is found in the year before"
    until = f"rises next on {rise:%Y-%m-%d at %H:%M}" if rise else "no sunrise is found in the year after"
    span = "all day" if days == 1 else f"for all of {days} days"
    allowed = f"is polar night at latitude {site.latitude_deg:g} deg: the sun stays at least {-highest:.1f} deg below "
    allowed += f"the horizon {span}; {since} and {until}"
    return span_fault(midnight.date(), days, allowed=allowed, remedy="choose a day on which the sun rises")
