"""How the dish stands at each step of a day, and which steps look alike from the dish."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.outline import outline_of
from dishtrace.dish.polar import HOUR_ANGLE_PER_MINUTE, equatorial_direction, visible_pole
from dishtrace.dish.pose import axes_for, is_behind, lean_of, normals_over, pivot_of
from dishtrace.dish.two_axis import last_step
from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import direction_of, sun_at

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.path import SunPath

CLOCK_DRIVEN = ("polar-axis", "stationary-focus")
NEAR = 5e-3
"""Angle from the dish axis from which on directions count as closer together, as the spot is about as wide. [rad]"""
NEAR_SETTING = 0.1
"""The same of a declination that is set wrong, which moves the spot by half its distance or so. [rad]"""


@dataclass(frozen=True, eq=False)
class Poses:
    """The dish at the steps of a path.

    Parameters
    ----------
    rotations : (n, 3, 3) float64
        Ground frame to dish frame. [–]
    suns : (n, 3) float64
        Unit vectors to the sun as seen, dish frame. [–]
    ground_origin : (3,) float64
        In the dish frame of every step. [m]
    set_declination : (n,) float64 or None
        As the dish is set by hand where it is re-set from time to time; None: as the scene says. [rad]
    is_lit : (n,) bool
        Whether the sun stands before the mirror, and before more than half of it.
    places : (n, k) float64
        Coordinates by which steps look alike: equal ones give the same light per irradiance. [rad], scaled
    """

    rotations: np.ndarray
    suns: np.ndarray
    ground_origin: np.ndarray
    set_declination: np.ndarray | None
    is_lit: np.ndarray
    places: np.ndarray


def poses_along(scene: Scene, path: SunPath, *, reset_days: int | None = None) -> Poses:
    """The dish at all steps.

    Parameters
    ----------
    scene : Scene
    path : SunPath
    reset_days : int, optional
        A dish that a clock turns is set to the sun's declination at noon of the first day, and again after so many
        days; left out, as the scene says.

    Raises
    ------
    InputError
        If `reset_days` is given for another mount, or beside a declination that is set.
    """
    set_declination = None if reset_days is None else _re_set(scene, path, reset_days)
    rotations = _rotations(scene, path, set_declination)
    suns = np.einsum("nij,nj->ni", rotations, path.directions)
    is_at_focus = scene.mount.kind in ("fixed", "stationary-focus")
    focus = np.array([0.0, 0.0, float(nominal(scene.dish.focal_length_m))])
    return Poses(
        rotations,
        suns,
        focus if is_at_focus else pivot_of(scene),
        set_declination,
        _lit(scene, suns),
        _places(scene, path, suns, set_declination),
    )


def _rotations(scene: Scene, path: SunPath, set_declination: np.ndarray | None) -> np.ndarray:
    """Turns from the ground frame to the dish frame, the pointing offset in them, (n, 3, 3). [–]"""
    mount, lean = scene.mount, lean_of(scene)
    if mount.kind == "fixed":
        axis = direction_of(float(nominal(mount.axis_azimuth_deg)), float(nominal(mount.axis_elevation_deg)))
        return np.broadcast_to(lean @ axes_for(axis), (len(path.time), 3, 3))
    if mount.kind == "two-axis":
        if mount.encoder_step_s is None:
            directions = path.directions
        else:
            step = float(nominal(mount.encoder_step_s))
            directions = np.array([sun_at(scene, last_step(time, step_s=step)).direction for time in path.time])
        return np.array([lean @ axes_for(direction) for direction in directions])
    latitude = float(np.radians(nominal(scene.site.latitude_deg)))
    hour_angles = path.hour_angle + float(nominal(mount.clock_error_min)) * HOUR_ANGLE_PER_MINUTE
    if set_declination is not None:
        declinations = set_declination
    elif mount.set_declination_deg is not None:
        declinations = np.full(len(hour_angles), np.radians(nominal(mount.set_declination_deg)))
    else:
        declinations = path.declination
    up = visible_pole(latitude)
    pairs = zip(hour_angles, declinations, strict=True)
    return np.array([lean @ axes_for(equatorial_direction(h, d, latitude=latitude), up=up) for h, d in pairs])


def _re_set(scene: Scene, path: SunPath, reset_days: int) -> np.ndarray:
    """Declination that the dish is set to at each step, (n,). [rad]"""
    if scene.mount.kind not in CLOCK_DRIVEN:
        raise InputError(
            scene.fault(("mount", "kind"), allowed="must be turned by a clock to be re-set", remedy="drop --reset-days")
        )
    if scene.mount.set_declination_deg is not None:
        remedy = "keep the one that is meant"
        allowed = "cannot stand beside --reset-days"
        raise InputError(scene.fault(("mount", "set_declination_deg"), allowed=allowed, remedy=remedy))
    if reset_days < 1:
        raise InputError(Fault(COMMAND_LINE, "--reset-days", str(reset_days), "must be a whole number > 0 (days)"))
    first = path.time[0].date()
    kept: dict[date, float] = {}
    settings = np.empty(len(path.time))
    for k, time in enumerate(path.time):
        day = first + timedelta(days=(time.date() - first).days // reset_days * reset_days)
        if day not in kept:
            kept[day] = declination_at(scene, datetime(day.year, day.month, day.day, 12, tzinfo=time.tzinfo))
        settings[k] = kept[day]
    return settings


def declination_at(scene: Scene, time: datetime) -> float:
    """True declination of the sun at a time, also by night. [rad]"""
    from dishtrace.dish.polar import hour_angle_and_declination

    direction = sun_at(scene, time).true_direction
    return hour_angle_and_declination(direction, latitude=float(np.radians(scene.site.latitude_deg)))[1]


def _lit(scene: Scene, suns: np.ndarray) -> np.ndarray:
    """Whether the sun stands before the mirror, (n,); as `dishtrace.dish.pose.refuse_sun_behind` asks."""
    is_lit = suns[:, 2] > 0.0
    if scene.mount.kind == "stationary-focus":
        return is_lit
    normals = normals_over(outline_of(scene), focal_length=float(nominal(scene.dish.focal_length_m)))
    flattest = float(normals[:, 2].min())
    doubtful = np.flatnonzero(is_lit & (suns[:, 2] < np.sqrt(max(1.0 - flattest**2, 0.0)) + 1e-9))
    for rows in np.array_split(doubtful, max(1, len(doubtful) // 500)):
        is_lit[rows] = ~is_behind(suns[rows], normals)
    return is_lit


def _places(scene: Scene, path: SunPath, suns: np.ndarray, set_declination: np.ndarray | None) -> np.ndarray:
    """Coordinates by which steps look alike, (n, k).

    Where nothing stands on the ground and the mirror keeps its shape, only the sun's direction in the dish frame
    matters; angles from the axis are drawn together, asinh(angle / 5 mrad), since the light changes fast near the axis
    and slowly far from it. Else hour angle and declination; where the declination is set by hand, the difference to the
    setting, drawn together likewise, and the declination beside it only where the setting changes.
    """
    kind = scene.mount.kind
    has_ground = any(part.frame == "ground" for part in scene.parts)
    if kind == "fixed" or (kind in ("two-axis", "polar-axis") and not has_ground):
        angle = np.arctan2(np.hypot(suns[:, 0], suns[:, 1]), suns[:, 2])
        drawn = np.arcsinh(angle / NEAR) * NEAR
        across = suns[:, :2] / np.maximum(np.hypot(suns[:, 0], suns[:, 1]), 1e-300)[:, np.newaxis]
        return drawn[:, np.newaxis] * across
    columns = [path.hour_angle]
    given = getattr(scene.mount, "set_declination_deg", None)
    setting = set_declination if given is None else np.radians(nominal(given))
    if setting is None or set_declination is not None:
        columns.append(path.declination)
    if setting is not None:
        columns.append(NEAR_SETTING * np.arcsinh((path.declination - setting) / NEAR_SETTING))
    return np.stack(columns, axis=1)
