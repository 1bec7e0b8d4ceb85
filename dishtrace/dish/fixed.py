"""The dish that stands still."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.pose import Pose, axes_for, lean_of, off_axis_angle, refuse_sun_behind
from dishtrace.errors import InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import direction_of

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

NOTED_ANGLE_DEG = 2.0
"""Angle between the axis of a fixed dish and the sun from which the result says so [deg]."""


def fixed_pose(scene: Scene, sun_state: SunState) -> Pose:
    """Pose of a dish that points where it was set; the pointing offset leans it from there.

    Raises
    ------
    InputError
        If there is no sun direction, the sun is behind the dish, or more than half of the mirror is turned
        away from it.
    """
    if not sun_state.has_direction:
        raise InputError(
            scene.fault(
                ("sun",),
                allowed="must give a direction, because the mount is fixed",
                remedy="give [sun] time with [site], or azimuth_deg and elevation_deg",
            )
        )
    focal_length = nominal(scene.dish.focal_length_m)
    axis = direction_of(nominal(scene.mount.axis_azimuth_deg), nominal(scene.mount.axis_elevation_deg))
    rotation = lean_of(scene) @ axes_for(axis)
    sun = rotation @ sun_state.direction
    refuse_sun_behind(
        scene,
        sun,
        sun_state,
        key=("mount", "axis_azimuth_deg"),
        remedy="turn the fixed axis towards the sun, or choose another time",
    )
    return Pose(rotation, sun, np.array([0.0, 0.0, focal_length]), focal_length, notes=_off_axis_notes(sun))


def _off_axis_notes(sun: np.ndarray) -> tuple[str, ...]:
    angle = np.degrees(off_axis_angle(sun))
    if angle < NOTED_ANGLE_DEG:
        return ()
    return (f"the sun stands {angle:.1f} deg from the axis of the fixed dish, so the spot lies beside the focus",)
