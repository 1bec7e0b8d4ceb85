"""Direct normal irradiance along the sun's path: of a clear sky, out of a weather file, or held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.study.day.path import span_fault
from dishtrace.sun.position import air_pressure
from dishtrace.sun.weather import distance_to_station_km, dni_at, read_weather

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.path import SunPath

SKIES = ("clear-sky", "weather", "held")
FAR_STATION_KM = 50.0


@dataclass(frozen=True, eq=False)
class Sky:
    """Direct normal irradiance at the steps of a path.

    Parameters
    ----------
    kind : str
        One of `SKIES`.
    dni_w_m2 : (n,) float64
        Mean over each step. [W/m2]
    fine_w_m2 : (n, m) float64
        At the path's fine times, so that its mean is `dni_w_m2`. [W/m2]
    notes : tuple of str
    """

    kind: str
    dni_w_m2: np.ndarray
    fine_w_m2: np.ndarray
    notes: tuple[str, ...]

    def open_w_m2(self, above: np.ndarray) -> np.ndarray:
        """Mean over each step of what comes from above the horizon, (n,). [W/m2]

        Parameters
        ----------
        above : (n, m) float64
            Share of the sun's disc above the horizon at the path's fine times. [–]
        """
        return (self.fine_w_m2 * above).mean(axis=1)


def sky_kind(scene: Scene, asked: str | None) -> str:
    """Which irradiance is taken: the one asked for, else the weather file of the scene, else the clear sky.

    Raises
    ------
    InputError
        If it is not one of `SKIES`, or the scene does not have what it needs.
    """
    sun = scene.sun
    if asked is None:
        return "weather" if sun.weather_file is not None else "clear-sky"
    if asked not in SKIES:
        raise InputError(Fault(COMMAND_LINE, "--sky", asked, f"must be one of {', '.join(SKIES)}"))
    if asked == "weather" and sun.weather_file is None:
        raise InputError(scene.fault(("sun", "weather_file"), allowed="is missing", remedy="name an EPW or TMY3 file"))
    if asked == "held" and sun.dni_w_m2 is None:
        remedy = "give a number, or leave out --sky held"
        raise InputError(scene.fault(("sun", "dni_w_m2"), allowed="is missing", remedy=remedy))
    return asked


def sky_along(scene: Scene, path: SunPath, kind: str) -> Sky:
    """Irradiance at all steps of a path.

    Parameters
    ----------
    scene : Scene
    path : SunPath
    kind : str
        From `sky_kind`.

    Raises
    ------
    InputError
        If the weather file has no believable values at a step, or there is no irradiance at all.
    """
    is_up = path.fine_elevation > 0.0
    if kind == "clear-sky":
        fine, notes = _clear(scene, path, is_up)
    elif kind == "held":
        level = float(nominal(scene.sun.dni_w_m2))
        notes = (f"irradiance held at {level:g} W/m2 whenever the sun is up, which no sky does",)
        fine = np.where(is_up, level, 0.0)
    else:
        fine, notes = _weather(scene, path, is_up)
    if not fine.max() > 0.0:
        span, when = ("day", "on this day") if path.days == 1 else ("year", "in this year")
        allowed = f"has no direct sunlight {when}" if kind == "weather" else "gives no direct sunlight"
        remedy = f"choose another {span} or sky"
        raise InputError(span_fault(path.first, path.days, allowed=allowed, remedy=remedy))
    return Sky(kind, fine.mean(axis=1), fine, notes)


def _clear(scene: Scene, path: SunPath, is_up: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """The clear sky of Ineichen and Perez, as in `dishtrace.sun.irradiance.clear_sky_dni`."""
    import pandas as pd
    from pvlib.atmosphere import get_absolute_airmass, get_relative_airmass
    from pvlib.clearsky import ineichen, lookup_linke_turbidity
    from pvlib.irradiance import get_extra_radiation

    site = scene.site
    times = pd.DatetimeIndex(path.fine_time.ravel(), tz="UTC")
    if scene.sun.linke_turbidity is not None:
        turbidity, source = np.full(len(times), scene.sun.linke_turbidity), "as given"
    else:
        turbidity = lookup_linke_turbidity(times, site.latitude_deg, site.longitude_deg).to_numpy()
        source = "by the monthly world table shipped with pvlib"
    zenith = 90.0 - np.degrees(np.where(is_up, path.fine_elevation, np.radians(1.0)).ravel())
    air_mass = get_absolute_airmass(get_relative_airmass(zenith), air_pressure(scene))
    extra = np.asarray(get_extra_radiation(times.day_of_year.to_numpy()))
    sky = ineichen(zenith, air_mass, turbidity, altitude=site.altitude_m, dni_extra=extra)
    dni = np.nan_to_num(np.asarray(sky["dni"], dtype=float)).reshape(is_up.shape)
    span = f"{turbidity.min():.2f}" if np.ptp(turbidity) < 0.005 else f"{turbidity.min():.2f} to {turbidity.max():.2f}"
    notes = [f"clear sky after Ineichen and Perez (2002) by pvlib, Linke turbidity {span} {source}: no clouds in it"]
    if scene.sun.dni_w_m2 is not None:
        notes.append("dni_w_m2 of the scene is one moment's: over the day the clear sky is taken (--sky held holds it)")
    return np.where(is_up, np.maximum(dni, 0.0), 0.0), tuple(notes)


def _weather(scene: Scene, path: SunPath, is_up: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """Irradiance of a weather file at the middles of the steps; what it has while the sun is down is left out."""
    name, site = str(scene.sun.weather_file), scene.site
    weather = read_weather(scene.path(scene.sun.weather_file), name=name)
    half = timedelta(seconds=0.5 * path.step_s)
    dni = np.array([dni_at(weather, start + half) for start in path.start])
    fine = dni[:, np.newaxis] * is_up * (is_up.shape[1] / is_up.sum(axis=1))[:, np.newaxis]
    notes = [f"irradiance from {name}: hourly means, each placed at the middle of its hour; the file's year is ignored"]
    away = distance_to_station_km(weather, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg)
    if away > FAR_STATION_KM:
        notes.append(f"the weather station of {name} is {away:.0f} km away from the site")
    return fine, tuple(notes)
