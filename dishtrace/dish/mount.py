"""How the mount holds the dish: the turn from ground to dish frame, and where the sun stands in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.outline import Outline, outline_of
from dishtrace.dish.paraboloid import normal
from dishtrace.errors import InputError
from dishtrace.scene.quantity import nominal
from dishtrace.vec import normalise, rotation_to

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

ZENITH_LIMIT = 1e-9
"""Sine of the angle from the vertical below which an axis counts as vertical and x becomes east [–]."""
NOTED_ANGLE_DEG = 2.0
"""Angle between the axis of a fixed dish and the sun from which the result says so [deg]."""


@dataclass(frozen=True, eq=False)
class Pose:
    """How the dish stands at the moment of the scene.

    Parameters
    ----------
    rotation : (3, 3) float64
        Takes ground-frame vectors (x east, y north, z up) to the dish frame; the pointing offset is in it.
        [–]
    sun : (3,) float64
        Unit vector towards the sun's centre, dish frame. [–]
    ground_origin : (3,) float64
        Origin of the ground frame, in the dish frame (whose origin is the vertex). [m]
    has_direction : bool
        False when the scene gives no sun direction; ground-frame parts are then refused.
    notes : tuple of str
        What the user should know.
    """

    rotation: np.ndarray
    sun: np.ndarray
    ground_origin: np.ndarray
    has_direction: bool = True
    notes: tuple[str, ...] = ()

    def points_to_dish(self, points: np.ndarray, frame: str, focal_length: float) -> np.ndarray:
        """Points as the user places them, in the dish frame.

        Parameters
        ----------
        points : (..., 3) float64
            Relative to the focus for "dish", to the ground origin for "ground". [m]
        frame : str
            "dish" or "ground".
        focal_length : float
            Focal length f. [m]

        Returns
        -------
        (..., 3) float64
            Relative to the vertex, in dish axes. [m]
        """
        rotation, origin = self.user_frame(frame, focal_length)
        return np.asarray(points, dtype=float) @ rotation + origin

    def vectors_to_dish(self, vectors: np.ndarray, frame: str) -> np.ndarray:
        """Directions given in "dish" or "ground" axes, in dish axes, (..., 3) of the same unit."""
        vectors = np.asarray(vectors, dtype=float)
        return vectors @ self.rotation.T if frame == "ground" else vectors.copy()

    def user_frame(self, frame: str, focal_length: float) -> tuple[np.ndarray, np.ndarray]:
        """The user's frame seen from the dish frame.

        Returns
        -------
        rotation : (3, 3) float64
            Takes dish-frame vectors to the user's frame. [–]
        origin : (3,) float64
            Its origin in the dish frame, so `user = rotation @ (point - origin)`. [m]
        """
        if frame == "ground":
            return self.rotation.T.copy(), self.ground_origin.copy()
        return np.eye(3), np.array([0.0, 0.0, focal_length])


def axes_for(axis: np.ndarray) -> np.ndarray:
    """Turn from the ground frame to a dish frame whose +z is the given direction.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector along the dish axis, towards the sky, ground frame. [–]

    Returns
    -------
    (3, 3) float64
        Rows are the dish axes: x = up cross z (east when the axis is vertical), y = z cross x. [–]
    """
    x = np.array([-axis[1], axis[0], 0.0])
    if np.hypot(x[0], x[1]) < ZENITH_LIMIT:
        x = np.array([1.0, 0.0, 0.0])
        axis = np.array([0.0, 0.0, np.copysign(1.0, axis[2])])
    x = normalise(x)
    return np.stack([x, np.cross(axis, x), axis])


def direction_of(azimuth_deg: float, elevation_deg: float) -> np.ndarray:
    """Unit vector of an azimuth (east of north) and elevation, ground frame, (3,) [–]."""
    azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
    return np.array([np.cos(elevation) * np.sin(azimuth), np.cos(elevation) * np.cos(azimuth), np.sin(elevation)])


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
        With the sun in the dish frame. A two-axis mount points its axis at the sun's centre and errs by
        `pointing_offset_mrad`; a fixed one points where it is set, and errs alike.

    Raises
    ------
    InputError
        If a fixed dish has no sun direction, the sun behind it, or more than half of its mirror turned away
        from the sun.

    Notes
    -----
    The offset (ox, oy) is by how much the axis leans from where it was meant to point, towards +x and +y. A
    two-axis dish then sees the sun at (-tan ox, -tan oy, 1), normalised, and light reflected near the vertex
    crosses the focal plane at +f (tan ox, tan oy).
    """
    offset = [nominal(value) * 1e-3 for value in scene.mount.pointing_offset_mrad]
    lean = rotation_to(normalise(np.array([-np.tan(offset[0]), -np.tan(offset[1]), 1.0])))
    focal_length = nominal(scene.dish.focal_length_m)
    if scene.mount.kind == "two-axis":
        rotation = lean @ axes_for(sun_state.direction)
        pivot = scene.mount.pivot_m
        origin = np.zeros(3) if pivot is None else np.array([nominal(value) for value in pivot])
        return Pose(rotation, rotation @ sun_state.direction, origin, sun_state.has_direction)
    if not sun_state.has_direction:
        raise InputError(
            scene.fault(
                ("sun",),
                found="",
                allowed="must give a direction, because the mount is fixed",
                remedy="give [sun] time with [site], or azimuth_deg and elevation_deg",
            )
        )
    axis = direction_of(nominal(scene.mount.axis_azimuth_deg), nominal(scene.mount.axis_elevation_deg))
    rotation = lean @ axes_for(axis)
    sun = rotation @ sun_state.direction
    _refuse_sun_behind(scene, sun, sun_state)
    return Pose(rotation, sun, np.array([0.0, 0.0, focal_length]), True, _off_axis_notes(sun))


def share_turned_away(outline: Outline, sun: np.ndarray, *, focal_length: float) -> float:
    """Share of the outline where the sun stands behind the mirror surface, from 64 x 64 places.

    Parameters
    ----------
    outline : Outline
        Outline of the mirror. [m]
    sun : (3,) float64
        Unit vector towards the sun, dish frame. [–]
    focal_length : float
        Focal length f, > 0. [m]
    """
    places = (np.arange(64) + 0.5) / 64
    x, y = outline.map_unit_square(*np.meshgrid(places, places)).reshape(-1, 2).T
    return float(np.mean(normal(x, y, focal_length=focal_length) @ sun <= 0.0))


def _refuse_sun_behind(scene: Scene, sun: np.ndarray, sun_state: SunState) -> None:
    share = 1.0
    if sun[2] > 0.0:
        share = share_turned_away(outline_of(scene), sun, focal_length=nominal(scene.dish.focal_length_m))
    if share <= 0.5:
        return
    angle = np.degrees(np.arccos(np.clip(sun[2], -1.0, 1.0)))
    where = f"(azimuth {sun_state.azimuth_deg:.1f}, elevation {sun_state.elevation_deg:.1f} deg)"
    behind = "behind the dish" if sun[2] <= 0.0 else f"behind {share:.0%} of the mirror"
    raise InputError(
        scene.fault(
            ("mount", "axis_azimuth_deg"),
            allowed=f"leaves the sun {where} {angle:.0f} deg from the axis, {behind}",
            remedy="turn the fixed axis towards the sun, or choose another time",
        )
    )


def _off_axis_notes(sun: np.ndarray) -> tuple[str, ...]:
    angle = float(np.degrees(np.arctan2(np.hypot(sun[0], sun[1]), sun[2])))
    if angle < NOTED_ANGLE_DEG:
        return ()
    return (f"the sun stands {angle:.1f} deg from the axis of the fixed dish, so the spot lies beside the focus",)
