"""The dish that follows the sun about two axes, all the time or in steps."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from dishtrace.dish.pose import (
    Pose,
    axes_for,
    lean_of,
    off_axis_angle,
    pivot_of,
    refuse_sun_behind,
)
from dishtrace.scene.uncertain import nominal
from dishtrace.sun.position import sun_at

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

SAME_STEP = 1e-9
"""Share of a step by which a time may lie before it and still belong to it, for rounding. [–]"""


def two_axis_pose(scene: Scene, sun_state: SunState) -> Pose:
    """Pose of a dish that points at the sun, as seen, now or when its drive last moved.

    Raises
    ------
    InputError
        If the sun has gone behind the dish, or behind more than half of its mirror, since the drive moved.
    """
    focal_length = nominal(scene.dish.focal_length_m)
    if scene.mount.encoder_step_s is None:
        rotation = lean_of(scene) @ axes_for(sun_state.direction)
        sun = rotation @ sun_state.direction
        return Pose(rotation, sun, pivot_of(scene), focal_length, sun_state.has_direction)
    moved = last_step(scene.sun.time, step_s=nominal(scene.mount.encoder_step_s))
    rotation = lean_of(scene) @ axes_for(sun_at(scene, moved).direction)
    sun = rotation @ sun_state.direction
    refuse_sun_behind(
        scene,
        sun,
        sun_state,
        key=("mount", "encoder_step_s"),
        remedy="make the step shorter",
    )
    note = (
        f"the drive last moved at {moved:%H:%M:%S}, {(scene.sun.time - moved).total_seconds():g} s before; "
        f"the sun stands {1e3 * off_axis_angle(sun):.2f} mrad from the dish axis"
    )
    return Pose(rotation, sun, pivot_of(scene), focal_length, notes=(note,))


def last_step(time: datetime, *, step_s: float) -> datetime:
    """When a drive that moves every so many seconds last moved.

    Parameters
    ----------
    time : datetime
        With its zone.
    step_s : float
        Steps are counted from midnight by the clock of that zone. [s]

    Returns
    -------
    datetime
        The latest step that is not after `time`, in the same zone.
    """
    midnight = time.replace(hour=0, minute=0, second=0, microsecond=0)
    steps = math.floor((time - midnight).total_seconds() / step_s + SAME_STEP)
    return min(midnight + timedelta(seconds=steps * step_s), time)
