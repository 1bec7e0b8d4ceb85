"""The sun of a scene: direction, direct normal irradiance and sunshape in one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.scene.model import Scene
from dishtrace.sun.irradiance import irradiance_of
from dishtrace.sun.position import SunPosition, air_pressure, direction_of, position_at_time
from dishtrace.sun.sunshape import SunShape, sunshape_of


@dataclass(frozen=True, eq=False)
class SunState:
    """The sun at the moment of a scene.

    Parameters
    ----------
    direction : (3,) float64
        Unit vector towards the sun's centre in the ground frame x east, y north, z up; the zenith when the
        scene gives no direction. [–]
    azimuth_deg : float or None
        East of north; None without a direction. [deg]
    elevation_deg : float or None
        Above the horizon as seen, with refraction when it comes from a time; None without a direction. [deg]
    dni_w_m2 : float
        Direct normal irradiance with the whole sunshape in it. [W/m2]
    shape : SunShape
        Radiance over the angle from the centre.
    has_direction : bool
        Whether the scene gives a time or azimuth and elevation.
    notes : tuple of str
        Where direction and irradiance come from.
    """

    direction: np.ndarray
    azimuth_deg: float | None
    elevation_deg: float | None
    dni_w_m2: float
    shape: SunShape
    has_direction: bool
    notes: tuple[str, ...]


def sun_state(scene: Scene) -> SunState:
    """Direction, irradiance and sunshape of a scene.

    Parameters
    ----------
    scene : Scene
        Read: ``sun``, ``site``, ``air``.

    Returns
    -------
    SunState

    Raises
    ------
    InputError
        When the sun is below the horizon or has no irradiance, or a file of the scene is at fault.
    """
    sun = scene.sun
    at_time: SunPosition | None = None
    azimuth, elevation, notes = None, None, ()
    if sun.time is not None:
        at_time = position_at_time(scene)
        azimuth, elevation = at_time.azimuth_deg, at_time.elevation_deg
        notes = (
            f"Sun at azimuth {azimuth:.2f} deg, elevation {elevation:.2f} deg by the SPA of pvlib, with "
            f"refraction for {air_pressure(scene):.0f} Pa (without it {at_time.true_elevation_deg:.2f} deg).",
        )
    elif sun.azimuth_deg is not None and sun.elevation_deg is not None:
        azimuth, elevation = float(sun.azimuth_deg), float(sun.elevation_deg)
    dni, irradiance_notes = irradiance_of(scene, at_time)
    has_direction = azimuth is not None and elevation is not None
    direction = direction_of(azimuth, elevation) if has_direction else np.array([0.0, 0.0, 1.0])
    return SunState(direction, azimuth, elevation, dni, sunshape_of(scene), has_direction, notes + irradiance_notes)
