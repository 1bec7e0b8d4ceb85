"""Clocks that turn a dish about the polar axis: hour angle, declination, and the dish on such a mount."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.pose import (
    Pose,
    axes_for,
    lean_of,
    off_axis_angle,
    pivot_of,
    refuse_sun_behind,
)
from dishtrace.errors import InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import position_at_time

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

HOUR_ANGLE_PER_MINUTE = np.radians(0.25)
"""The sun's mean motion, 15 deg/h. [rad/min]"""


@dataclass(frozen=True, eq=False)
class PolarSetting:
    """Where a clock and a hand have put the dish axis, and where the sun is.

    Parameters
    ----------
    latitude : float
        North positive. [rad]
    hour_angle : float
        Of the dish axis, by the clock, west positive. [rad]
    declination : float
        Of the dish axis, as set, north positive. [rad]
    sun_hour_angle, sun_declination : float
        Of the sun, without refraction. [rad]
    """

    latitude: float
    hour_angle: float
    declination: float
    sun_hour_angle: float
    sun_declination: float

    @property
    def is_south(self) -> bool:
        """Whether the pole above the horizon is the south celestial pole."""
        return self.latitude < 0.0

    @property
    def summer_declination(self) -> float:
        """Declination set, counted positive in the summer of the site's own hemisphere. [rad]"""
        return -self.declination if self.is_south else self.declination

    @property
    def axis(self) -> np.ndarray:
        """Direction of the dish axis, ground frame, (3,). [–]"""
        return equatorial_direction(self.hour_angle, self.declination, latitude=self.latitude)

    @property
    def axes(self) -> np.ndarray:
        """Turn from the ground frame to the dish frame; +y leans to the celestial pole above the horizon. [–]"""
        return axes_for(self.axis, up=visible_pole(self.latitude))

    def note(self, sun: np.ndarray) -> str:
        """What the setting is, with the angle to the sun's direction (3,) in the dish frame."""
        hour, declination, sun_hour, sun_declination = np.degrees(
            [self.hour_angle, self.declination, self.sun_hour_angle, self.sun_declination]
        )
        return (
            f"the clock has turned the dish to hour angle {hour:.2f} deg (sun {sun_hour:.2f}) and it is set to "
            f"declination {declination:.2f} deg (sun {sun_declination:.2f}); with refraction the sun stands "
            f"{1e3 * off_axis_angle(sun):.2f} mrad from the dish axis"
        )


def visible_pole(latitude: float) -> np.ndarray:
    """Direction of the celestial pole that stands above the horizon, ground frame, (3,). [–]

    The north pole on the equator itself.
    """
    pole = np.array([0.0, np.cos(latitude), np.sin(latitude)])
    return -pole if latitude < 0.0 else pole


def equatorial_direction(hour_angle: float, declination: float, *, latitude: float) -> np.ndarray:
    """Direction of an hour angle and a declination.

    Parameters
    ----------
    hour_angle : float
        From the meridian, west positive. [rad]
    declination : float
        North positive. [rad]
    latitude : float
        North positive. [rad]

    Returns
    -------
    (3,) float64
        Unit vector, ground frame: x east, y north, z up. [–]
    """
    north, up = np.cos(declination) * np.cos(hour_angle), np.sin(declination)
    sine, cosine = np.sin(latitude), np.cos(latitude)
    return np.array([-np.cos(declination) * np.sin(hour_angle), up * cosine - north * sine, up * sine + north * cosine])


def hour_angle_and_declination(direction: np.ndarray, *, latitude: float) -> tuple[float, float]:
    """Hour angle (west positive, in (-pi, pi]) and declination of a direction in the ground frame. [rad]

    Exact inverse of `equatorial_direction`; at a celestial pole the hour angle is 0.
    """
    east, north, up = direction
    sine, cosine = np.sin(latitude), np.cos(latitude)
    to_equator, to_pole = up * cosine - north * sine, up * sine + north * cosine
    return float(np.arctan2(-east, to_equator)), float(np.arctan2(to_pole, np.hypot(east, to_equator)))


def polar_setting(scene: Scene, sun_state: SunState) -> PolarSetting:
    """How clock and hand have set a polar mount at the scene's moment.

    Parameters
    ----------
    scene : Scene
        With `site`, and a time or a direction of the sun.
    sun_state : SunState

    Returns
    -------
    PolarSetting
        The clock shows the sun's true (unrefracted) hour angle plus its error at 15 deg/h, and the declination
        is that set, else the sun's true one.

    Raises
    ------
    InputError
        If the declination is left out and the sun given by azimuth and elevation stands where it never is.
    """
    from dishtrace.scene.mounts import LARGEST_DECLINATION_DEG

    latitude = np.radians(nominal(scene.site.latitude_deg))
    direction = _true_direction(scene, sun_state)
    sun_hour_angle, sun_declination = hour_angle_and_declination(direction, latitude=latitude)
    given = scene.mount.set_declination_deg
    if given is None and abs(np.degrees(sun_declination)) > LARGEST_DECLINATION_DEG:
        raise InputError(
            scene.fault(
                ("sun", "elevation_deg"),
                allowed=f"puts the sun at declination {np.degrees(sun_declination):.1f} deg, "
                f"where it never stands (+-{LARGEST_DECLINATION_DEG:g})",
                remedy="check azimuth, elevation and latitude, or give mount.set_declination_deg",
            )
        )
    return PolarSetting(
        latitude=float(latitude),
        hour_angle=sun_hour_angle + nominal(scene.mount.clock_error_min) * float(HOUR_ANGLE_PER_MINUTE),
        declination=sun_declination if given is None else float(np.radians(nominal(given))),
        sun_hour_angle=sun_hour_angle,
        sun_declination=sun_declination,
    )


def _true_direction(scene: Scene, sun_state: SunState) -> np.ndarray:
    """Direction of the sun without refraction where a time gives it, else as the scene has it, ground frame. [–]"""
    if scene.sun.time is None:
        return sun_state.direction
    return position_at_time(scene).true_direction


def polar_pose(scene: Scene, sun_state: SunState) -> Pose:
    """Pose of a dish that a clock turns about the polar axis, its declination set by hand.

    Raises
    ------
    InputError
        If the setting leaves the sun behind the dish or behind more than half of its mirror.
    """
    setting = polar_setting(scene, sun_state)
    focal_length = nominal(scene.dish.focal_length_m)
    rotation = lean_of(scene) @ setting.axes
    sun = rotation @ sun_state.direction
    refuse_sun_behind(
        scene,
        sun,
        sun_state,
        key=("mount", "kind"),
        remedy="check clock_error_min (minutes, ahead positive) and set_declination_deg",
    )
    return Pose(rotation, sun, pivot_of(scene), focal_length, notes=(setting.note(sun),))
