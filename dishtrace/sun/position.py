"""Where the sun stands: azimuth and elevation from place and time, and the direction in the ground frame."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

REFRACTION_AT_HORIZON_DEG = 0.5667
LIMB_ON_HORIZON_DEG = -0.8333  # true elevation of the centre when the upper limb rises or sets (as SPA has it)
DAYS_SEARCHED = 370


@dataclass(frozen=True)
class SunPosition:
    """Place of the sun's centre in the sky.

    Parameters
    ----------
    azimuth_deg : float
        East of north, in [0, 360). [deg]
    elevation_deg : float
        Above the horizon as seen, that is with refraction. [deg]
    true_elevation_deg : float
        Without refraction. [deg]
    """

    azimuth_deg: float
    elevation_deg: float
    true_elevation_deg: float

    @property
    def direction(self) -> np.ndarray:
        """Unit vector to the sun as seen, ground frame, (3,). [–]"""
        return direction_of(self.azimuth_deg, self.elevation_deg)

    @property
    def true_direction(self) -> np.ndarray:
        """Unit vector to the sun without refraction, ground frame, (3,). [–]"""
        return direction_of(self.azimuth_deg, self.true_elevation_deg)


def direction_of(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """Unit vector towards azimuth (east of north) and elevation, in the ground frame x east, y north, z up.

    Parameters
    ----------
    azimuth_deg, elevation_deg : float
        [deg]

    Returns
    -------
    (3,) float64
        [–]
    """
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    level = np.cos(elevation)
    return np.array([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)])


def locate_sun(
    time: datetime,
    *,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    pressure_pa: float,
    temperature_c: float,
    delta_t_s: float | None = None,
) -> SunPosition:
    """Position of the sun by the Solar Position Algorithm (SPA), with its refraction model.

    Parameters
    ----------
    time : datetime
        With its zone; years 1800 to 2200.
    latitude_deg, longitude_deg : float
        North and east are positive. [deg]
    altitude_m : float
        Above sea level. [m]
    pressure_pa : float
        Air pressure at the site. [Pa]
    temperature_c : float
        Air temperature at the site. [°C]
    delta_t_s : float, optional
        Terrestrial time minus UT1; when left out, the estimate of pvlib for the year and month. [s]

    Returns
    -------
    SunPosition

    Notes
    -----
    The algorithm claims 0.0003 deg; real refraction near the horizon differs by more than that.

    References
    ----------
    .. [1] I. Reda, A. Andreas, "Solar Position Algorithm for Solar Radiation Applications",
       NREL/TP-560-34302, revised 2008; computed by ``pvlib.solarposition.spa_python``.
    """
    import pandas as pd
    from pvlib.solarposition import spa_python

    row = spa_python(
        pd.DatetimeIndex([pd.Timestamp(time)]),
        latitude_deg,
        longitude_deg,
        altitude=altitude_m,
        pressure=pressure_pa,
        temperature=temperature_c,
        delta_t=delta_t_s,
        atmos_refract=REFRACTION_AT_HORIZON_DEG,
        how="numpy",
    ).iloc[0]
    return SunPosition(float(row["azimuth"]), float(row["apparent_elevation"]), float(row["elevation"]))


def next_rise_and_set(
    time: datetime, *, latitude_deg: float, longitude_deg: float
) -> tuple[datetime | None, datetime | None]:
    """Next sunrise and last sunset around a time at which the sun is down.

    Parameters
    ----------
    time : datetime
        With its zone.
    latitude_deg, longitude_deg : float
        North and east are positive. [deg]

    Returns
    -------
    sunrise : datetime or None
        First sunrise after `time` within 370 days, in the zone of `time`.
    sunset : datetime or None
        Last sunset before `time` within 370 days.
    """
    import pandas as pd
    from pvlib.solarposition import sun_rise_set_transit_spa

    moment = pd.Timestamp(time)
    noon = moment.normalize() + pd.Timedelta(hours=12)
    days = pd.DatetimeIndex([noon + pd.Timedelta(days=day) for day in range(-DAYS_SEARCHED, DAYS_SEARCHED + 1)])
    events = sun_rise_set_transit_spa(days, latitude_deg, longitude_deg, how="numpy", delta_t=None)
    rises = [rise for rise in events["sunrise"] if rise > moment]
    sets = [fall for fall in events["sunset"] if fall < moment]
    return (
        min(rises).to_pydatetime(warn=False) if rises else None,
        max(sets).to_pydatetime(warn=False) if sets else None,
    )


def air_pressure(scene: Scene) -> float:
    """Air pressure at the site: as given, else of the standard atmosphere at the site's altitude. [Pa]."""
    from pvlib.atmosphere import alt2pres

    given = scene.air.pressure_pa
    return float(nominal(given) if given is not None else alt2pres(scene.site.altitude_m))


def sun_at(scene: Scene, time: datetime) -> SunPosition:
    """Position of the sun for the scene's place and air at a time, also by night."""
    site = scene.site
    return locate_sun(
        time,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        altitude_m=site.altitude_m,
        pressure_pa=air_pressure(scene),
        temperature_c=nominal(scene.air.temperature_c),
    )


def position_at_time(scene: Scene) -> SunPosition:
    """Position of the sun for the scene's place and time.

    Parameters
    ----------
    scene : Scene
        Read: ``sun.time`` and ``site``, both given, and ``air``.

    Returns
    -------
    SunPosition

    Raises
    ------
    InputError
        When the sun is below the horizon.
    """
    position = sun_at(scene, scene.sun.time)
    if position.elevation_deg <= 0.0:
        raise InputError(_below_horizon(scene, position))
    return position


def _below_horizon(scene: Scene, position: SunPosition) -> Fault:
    """Fault that says how far the sun is below the horizon, since when and until when."""
    below = f"{-position.elevation_deg:.1f} deg below"
    if position.true_elevation_deg > LIMB_ON_HORIZON_DEG:
        return scene.fault(
            ("sun", "time"),
            allowed=f"is a time at which the sun stands on the horizon, its centre {below} it",
            remedy="choose a time at which the whole sun is up",
        )
    rise, fall = next_rise_and_set(
        scene.sun.time, latitude_deg=scene.site.latitude_deg, longitude_deg=scene.site.longitude_deg
    )
    since = f"it set at {fall:%Y-%m-%d %H:%M}" if fall else "no sunset is found in the year before"
    until = f"rises next at {rise:%Y-%m-%d %H:%M}" if rise else "no sunrise is found in the year after"
    zone = f"{scene.sun.time:%z}"
    return scene.fault(
        ("sun", "time"),
        allowed=f"is a time at which the sun is {below} the horizon: {since} and {until} (UTC{zone[:3]}:{zone[3:5]})",
        remedy="choose a time of day, and check latitude, longitude (east positive) and zone",
    )
