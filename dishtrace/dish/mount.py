"""How the mount holds the dish: its pose under the sun, and what the day makes of its mirror."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish import outline as outlines
from dishtrace.dish.facets import Facets
from dishtrace.dish.fixed import fixed_pose
from dishtrace.dish.outline import Outline, outline_of
from dishtrace.dish.polar import polar_pose
from dishtrace.dish.pose import Pose, axes_for, is_behind, normals_of, normals_over
from dishtrace.dish.section import vector_area
from dishtrace.dish.stationary import Reset, stationary_reset
from dishtrace.dish.two_axis import two_axis_pose
from dishtrace.sun.position import direction_of

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

__all__ = ["PlacedMirror", "Pose", "axes_for", "direction_of", "has_sun_behind", "placed_mirror", "pose"]

POSES = {"two-axis": two_axis_pose, "fixed": fixed_pose, "polar-axis": polar_pose}
N_RIM = 720
"""Corners of the polygon that stands for a section's rim, seen along the axis. [–]"""


@dataclass(frozen=True, eq=False)
class PlacedMirror:
    """The mirror at the scene's moment.

    Parameters
    ----------
    pose : Pose
    focal_length : float
        Of the moment; `pose.focal_length`. [m]
    outline : Outline
        Of the moment, seen along the dish axis. Where a section's rim is no plain shape it is a polygon of the
        exact area. [m]
    vector_area : (3,) float64
        Exact area of the mirror surface within the outline, its hole left out, as a vector in the dish frame:
        `dni * vector_area @ pose.sun` is the power that a whole mirror takes up. [m2]
    facets : Facets or None
        The continuous mirror, when it is not simply the parent paraboloid over `outline`.
    reset : Reset or None
        How a section with a stationary focus was re-set.
    """

    pose: Pose
    focal_length: float
    outline: Outline
    vector_area: np.ndarray
    facets: Facets | None = None
    reset: Reset | None = None


def pose(scene: Scene, sun_state: SunState) -> Pose:
    """How the mount holds the dish under the given sun.

    Parameters
    ----------
    scene : Scene
        As read and checked.
    sun_state : SunState
        The sun at the scene's moment.

    Returns
    -------
    Pose
        With the sun in the dish frame. A two-axis mount points its axis at the sun's centre, now or when its
        drive last moved, a fixed one where it is set, a clock-driven one where clock and hand have put it; all
        of them err by `pointing_offset_mrad`.

    Raises
    ------
    InputError
        If the mount cannot stand like this, or has the sun behind the dish or behind more than half of it.
    """
    if scene.mount.kind == "stationary-focus":
        return stationary_reset(scene, sun_state).pose
    return POSES[scene.mount.kind](scene, sun_state)


def placed_mirror(scene: Scene, sun_state: SunState) -> PlacedMirror:
    """Pose, focal length, outline and surface of the mirror at the scene's moment.

    Parameters
    ----------
    scene : Scene
        As read and checked.
    sun_state : SunState
        The sun at the scene's moment.

    Returns
    -------
    PlacedMirror

    Raises
    ------
    InputError
        As `pose` and `outline_of`.
    """
    if scene.mount.kind != "stationary-focus":
        there, outline = pose(scene, sun_state), outline_of(scene)
        return PlacedMirror(there, there.focal_length, outline, plan_vector_area(outline, there.focal_length))
    reset = stationary_reset(scene, sun_state)
    area = vector_area(reset.day)
    return PlacedMirror(
        pose=reset.pose,
        focal_length=reset.pose.focal_length,
        outline=_seen_along_axis(reset.day, area=float(area[2])),
        vector_area=area,
        facets=reset.day,
        reset=reset,
    )


def has_sun_behind(mirror: PlacedMirror, sun: np.ndarray) -> bool:
    """Whether a sun (3,), dish frame, is behind the dish or behind more than half of its mirror: no scene may be so."""
    if mirror.facets is None:
        return bool(is_behind(sun, normals_over(mirror.outline, focal_length=mirror.focal_length)))
    return bool(is_behind(sun, normals_of(mirror.facets)))


def plan_vector_area(outline: Outline, focal_length: float) -> np.ndarray:
    """Area of the parent paraboloid over an outline, its hole left out, as a vector: exact, (3,). [m2]"""
    moment, _ = outline.moments()
    return np.array([*(-moment / (2.0 * focal_length)), outline.area])


def _seen_along_axis(mirror: Facets, *, area: float) -> Outline:
    """A one-facet mirror seen along the dish axis: a polygon through its rim, widened to its exact area. [m]"""
    rim, _ = mirror.surface(0, mirror.outlines[0].boundary(N_RIM)[:-1])
    plan = outlines.polygon(rim[:, :2])
    return outlines.polygon(plan.center + (plan.vertices - plan.center) * np.sqrt(area / plan.area))
