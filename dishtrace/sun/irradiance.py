"""Direct normal irradiance: as given, of a clear sky, or out of a weather file."""

from __future__ import annotations

from datetime import UTC, datetime

from dishtrace.errors import InputError
from dishtrace.scene.model import Scene, nominal
from dishtrace.sun.position import SunPosition, air_pressure
from dishtrace.sun.weather import distance_to_station_km, dni_at, read_weather

LOWEST_DNI_W_M2 = 1.0
FAR_STATION_KM = 50.0


def clear_sky_dni(
    time: datetime,
    *,
    elevation_deg: float,
    altitude_m: float,
    pressure_pa: float,
    linke_turbidity: float,
    extraterrestrial_w_m2: float | None = None,
) -> float:
    """Direct normal irradiance of a clear sky by the model of Ineichen and Perez.

    Parameters
    ----------
    time : datetime
        For the distance of the sun.
    elevation_deg : float
        Of the sun with refraction, > 0. [deg]
    altitude_m : float
        Above sea level. [m]
    pressure_pa : float
        Air pressure, for the absolute air mass (Kasten and Young 1989). [Pa]
    linke_turbidity : float
        About 2 (very clear) to 7 (hazy). [–]
    extraterrestrial_w_m2 : float, optional
        Outside the air; when left out, Spencer's series for the day times 1366.1 W/m2, the constant that
        pvlib takes. [W/m2]

    Returns
    -------
    float
        [W/m2]

    References
    ----------
    .. [1] P. Ineichen, R. Perez, Solar Energy 73 (2002) 151-157; computed by ``pvlib.clearsky.ineichen``.
    """
    from pvlib.atmosphere import get_absolute_airmass, get_relative_airmass
    from pvlib.clearsky import ineichen
    from pvlib.irradiance import get_extra_radiation

    zenith = 90.0 - elevation_deg
    air_mass = get_absolute_airmass(get_relative_airmass(zenith), pressure_pa)
    extra = extraterrestrial_w_m2
    if extra is None:
        extra = get_extra_radiation(time.astimezone(UTC).timetuple().tm_yday)
    sky = ineichen(zenith, air_mass, linke_turbidity, altitude=altitude_m, dni_extra=extra)
    return float(sky["dni"])


def turbidity_from_table(time: datetime, *, latitude_deg: float, longitude_deg: float) -> float:
    """Linke turbidity of a place and day from the monthly world table that pvlib ships. [–]."""
    import pandas as pd
    from pvlib.clearsky import lookup_linke_turbidity

    return float(lookup_linke_turbidity(pd.DatetimeIndex([pd.Timestamp(time)]), latitude_deg, longitude_deg).iloc[0])


def irradiance_of(scene: Scene, position: SunPosition | None) -> tuple[float, tuple[str, ...]]:
    """Direct normal irradiance that a scene asks for, and notes that say where it comes from.

    ``sun.dni_w_m2`` is taken as it is; ``sun.dni = "clear-sky"`` is the Ineichen-Perez model with the
    turbidity given or out of pvlib's table; ``sun.weather_file`` is interpolated to the time. The scene's own
    checks see to it that one of the three is given, and the last two only with a time and a site.

    Parameters
    ----------
    scene : Scene
        Read: ``sun``, ``site``, ``air``.
    position : SunPosition or None
        From place and time; None when the scene gives no time.

    Returns
    -------
    dni_w_m2 : float
        [W/m2]
    notes : tuple of str
        For the report.

    Raises
    ------
    InputError
        When the irradiance comes out below 1 W/m2, or the weather file is at fault.
    """
    sun = scene.sun
    if sun.dni_w_m2 is not None:
        key, dni, notes = "dni_w_m2", float(nominal(sun.dni_w_m2)), ()
    elif position is not None and sun.dni == "clear-sky":
        key, (dni, notes) = "dni", _clear_sky(scene, position)
    else:
        key, (dni, notes) = "weather_file", _weather(scene)
    if dni < LOWEST_DNI_W_M2:
        raise InputError(
            scene.fault(
                ("sun", key),
                allowed=f"gives a direct normal irradiance of {dni:.3g} W/m2; it must be at least 1 W/m2",
                remedy="choose a time with sunshine or give dni_w_m2 as a number",
            )
        )
    return dni, notes


def _clear_sky(scene: Scene, position: SunPosition) -> tuple[float, tuple[str, ...]]:
    """Clear-sky irradiance of the scene's place and time, with its note."""
    site, time = scene.site, scene.sun.time
    if scene.sun.linke_turbidity is not None:
        turbidity, source = scene.sun.linke_turbidity, "as given"
    else:
        turbidity = turbidity_from_table(time, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
        source = "from the monthly world table shipped with pvlib"
    dni = clear_sky_dni(
        time,
        elevation_deg=position.elevation_deg,
        altitude_m=site.altitude_m,
        pressure_pa=air_pressure(scene),
        linke_turbidity=turbidity,
    )
    note = (
        f"Irradiance {dni:.0f} W/m2: clear sky after Ineichen and Perez (2002) by pvlib, "
        f"Linke turbidity {turbidity:.2f} {source}."
    )
    return dni, (note,)


def _weather(scene: Scene) -> tuple[float, tuple[str, ...]]:
    """Irradiance out of the scene's weather file, with its notes."""
    name, site = str(scene.sun.weather_file), scene.site
    weather = read_weather(scene.path(scene.sun.weather_file), name=name)
    dni = dni_at(weather, scene.sun.time)
    note = (
        f"Irradiance {dni:.0f} W/m2 from {name}: between hourly means, each placed at the middle of its "
        f"hour; the file's year is ignored and its zone is UTC{weather.zone_hours:+g} h."
    )
    away = distance_to_station_km(weather, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
    if away <= FAR_STATION_KM:
        return dni, (note,)
    return dni, (note, f"The weather station of {name} is {away:.0f} km away from the site.")
