"""How a dish stands: the turn from the ground frame to the dish frame, and where the sun is in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.outline import Outline, outline_of
from dishtrace.dish.paraboloid import normal
from dishtrace.errors import InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.vec import normalise, rotation_to

if TYPE_CHECKING:
    from dishtrace.dish.facets import Facets
    from dishtrace.scene.lines import KeyPath
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

ZENITH_LIMIT = 1e-9
"""Sine of the angle from `up` below which an axis counts as parallel to it and x becomes east [–]."""
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Pose:
    """How the dish stands at the moment of the scene.

    Parameters
    ----------
    rotation : (3, 3) float64
        Takes ground-frame vectors (x east, y north, z up) to the dish frame; the pointing offset is in it.
        [–]
    sun : (3,) float64
        Unit vector towards the sun's centre as it really stands and is seen, dish frame. [–]
    ground_origin : (3,) float64
        Origin of the ground frame, in the dish frame (whose origin is the vertex). [m]
    focal_length : float
        Focal length of the moment: that of the scene, but for a section with a stationary focus. [m]
    has_direction : bool
        False when the scene gives no sun direction; ground-frame parts are then refused.
    notes : tuple of str
        What the user should know.
    """

    rotation: np.ndarray
    sun: np.ndarray
    ground_origin: np.ndarray
    focal_length: float
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


def axes_for(axis: np.ndarray, *, up: np.ndarray = UP) -> np.ndarray:
    """Turn from the ground frame to a dish frame whose +z is the given direction.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector along the dish axis, towards the sky, ground frame. [–]
    up : (3,) float64
        Unit vector to which +y leans: the vertical, or the celestial pole. [–]

    Returns
    -------
    (3, 3) float64
        Rows are the dish axes: x = up cross z (east when the axis is parallel to `up`), y = z cross x. [–]
    """
    x = np.cross(up, axis)
    if np.linalg.norm(x) < ZENITH_LIMIT:
        x = np.array([1.0, 0.0, 0.0])
        axis = np.copysign(1.0, axis @ up) * up
    x = normalise(x)
    return np.stack([x, np.cross(axis, x), axis])


def lean_of(scene: Scene) -> np.ndarray:
    """Turn of the dish frame by `mount.pointing_offset_mrad`, (3, 3) for column vectors. [–]

    The offset (ox, oy) is by how much the axis leans from where it was meant to point, towards +x and +y. What
    was meant to stand on the axis then stands at (-tan ox, -tan oy, 1), normalised, and light reflected near
    the vertex crosses the focal plane at +f (tan ox, tan oy).
    """
    ox, oy = (nominal(value) * 1e-3 for value in scene.mount.pointing_offset_mrad)
    return rotation_to(normalise(np.array([-np.tan(ox), -np.tan(oy), 1.0])))


def pivot_of(scene: Scene) -> np.ndarray:
    """The point of the dish that stays put when it turns, dish frame, (3,): `pivot_m`, else the vertex. [m]"""
    pivot = scene.mount.pivot_m
    return np.zeros(3) if pivot is None else np.array([nominal(value) for value in pivot])


def off_axis_angle(sun: np.ndarray) -> float:
    """Angle between the dish axis and the sun, from its direction in the dish frame. [rad]"""
    return float(np.arctan2(np.hypot(sun[0], sun[1]), sun[2]))


def share_turned_away(normals: np.ndarray, suns: np.ndarray) -> np.ndarray:
    """Share of a mirror's surface that suns stand behind, (...). [–]

    Parameters
    ----------
    normals : (m, 3) float64
        Of the mirror at places spread evenly over it: `normals_over` an outline, or `normals_of` a section. [–]
    suns : (3,) or (n, 3) float64
        Unit vectors towards the sun, dish frame. [–]
    """
    return np.mean(normals @ suns.T <= 0.0, axis=0)


def is_behind(suns: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Whether suns are behind the dish, or behind more than half of its mirror, (...); see `share_turned_away`.

    Then the scene is most likely wrong, and a mirror of one skin would shade itself, which is not traced.
    """
    return (suns[..., 2] <= 0.0) | (share_turned_away(normals, suns) > 0.5)


def normals_over(outline: Outline, *, focal_length: float) -> np.ndarray:
    """Normals of the parent paraboloid at 64 x 64 places spread evenly over an outline, (4096, 3). [–]"""
    x, y = even_places(outline).T
    return normal(x, y, focal_length=focal_length)


def normals_of(mirror: Facets) -> np.ndarray:
    """Normals of a mirror of one facet at 64 x 64 places spread evenly over it, (4096, 3). [–]"""
    return mirror.surface(0, even_places(mirror.outlines[0]))[1]


def even_places(outline: Outline) -> np.ndarray:
    """64 x 64 places spread evenly over an outline, (4096, 2). [m]"""
    places = (np.arange(64) + 0.5) / 64
    return outline.map_unit_square(*np.meshgrid(places, places)).reshape(-1, 2)


def refuse_sun_behind(
    scene: Scene,
    sun: np.ndarray,
    sun_state: SunState,
    *,
    key: KeyPath,
    remedy: str,
    normals: np.ndarray | None = None,
) -> None:
    """Raise when the sun is behind the dish or behind more than half of its mirror.

    Parameters
    ----------
    scene : Scene
    sun : (3,) float64
        Unit vector towards the sun, dish frame. [–]
    sun_state : SunState
        Where the sun stands.
    key : tuple
        The key at fault, such as ``("mount", "clock_error_min")``.
    remedy : str
        What to do about it.
    normals : (m, 3) float64, optional
        Of the mirror, as for `share_turned_away`; left out, those over the scene's outline. [–]

    Raises
    ------
    InputError
        With one fault.
    """
    if normals is None:
        normals = normals_over(outline_of(scene), focal_length=nominal(scene.dish.focal_length_m))
    if not is_behind(sun, normals):
        return
    where = f"(azimuth {sun_state.azimuth_deg:.1f}, elevation {sun_state.elevation_deg:.1f} deg)"
    behind = "behind the dish" if sun[2] <= 0.0 else f"behind {share_turned_away(normals, sun):.0%} of the mirror"
    raise InputError(
        scene.fault(
            key,
            allowed=f"leaves the sun {where} {np.degrees(off_axis_angle(sun)):.0f} deg from the axis, {behind}",
            remedy=remedy,
        )
    )
