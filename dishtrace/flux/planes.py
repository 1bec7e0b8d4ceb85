"""Planes on which light is recorded: the user's screens and those of the spot, as the kernels want them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.scene.uncertain import nominal
from dishtrace.trace.optics import Screens, no_screens
from dishtrace.vec import normalise, perpendicular_axes

if TYPE_CHECKING:
    from dishtrace.dish.mount import Pose
    from dishtrace.scene.model import Scene
    from dishtrace.scene.tables import Screen

OPAQUE_END, CLEAR_END = 7, 8


@dataclass(frozen=True, eq=False)
class Plane:
    """A plane that records light arriving on its front.

    Parameters
    ----------
    name : str
        As shown to the user.
    origin, facing, axis_x, axis_y : (3,) float64
        Centre [m], unit normal of the front, and the map's axes, dish frame.
    is_clear : bool
        Whether receivers and covers let the light through to it.
    radii : tuple of float
        Radii about the centre whose power is asked for. [m]
    half_width : float or None
        Half the side of the map; None: chosen from a pilot sample. [m]
    offset : float or None
        Distance from the focus along the dish axis, where that is how it was placed. [m]
    """

    name: str
    origin: np.ndarray
    facing: np.ndarray
    axis_x: np.ndarray
    axis_y: np.ndarray
    is_clear: bool
    radii: tuple[float, ...]
    half_width: float | None
    offset: float | None


def map_axes(facing: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Axes of a map: x and y of the frame for a plane square to z, else any two square to the facing."""
    if abs(facing[2]) > 1.0 - 1e-12:
        return np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    return perpendicular_axes(facing)


def spot_plane(name: str, *, focal_length: float, offset: float, half_width: float | None = None) -> Plane:
    """Plane square to the dish axis at an offset from the focus, facing the mirror, receivers transparent."""
    facing = np.array([0.0, 0.0, -1.0])
    axis_x, axis_y = map_axes(facing)
    origin = np.array([0.0, 0.0, focal_length + offset])
    return Plane(name, origin, facing, axis_x, axis_y, True, (), half_width, offset)


def user_planes(scene: Scene, pose: Pose) -> tuple[Plane, ...]:
    """The scene's screens, placed in the dish frame."""
    return tuple(_user_plane(screen, pose) for screen in scene.screens)


def _user_plane(screen: Screen, pose: Pose) -> Plane:
    offset = None if screen.offset_m is None else nominal(screen.offset_m)
    if offset is not None:
        center, frame = np.array([0.0, 0.0, offset]), "dish"
    else:
        center, frame = np.array([nominal(value) for value in screen.center_m]), screen.frame
    facing = normalise(np.array([nominal(value) for value in screen.facing]))
    axis_x, axis_y = map_axes(facing)
    return Plane(
        name=screen.name,
        origin=pose.points_to_dish(center, frame, pose.focal_length),
        facing=pose.vectors_to_dish(facing, screen.frame),
        axis_x=pose.vectors_to_dish(axis_x, screen.frame),
        axis_y=pose.vectors_to_dish(axis_y, screen.frame),
        is_clear=screen.through_receivers,
        radii=tuple(nominal(radius) for radius in screen.radii_m),
        half_width=None if screen.half_width_m is None else nominal(screen.half_width_m),
        offset=offset,
    )


def crossings(plane: Plane, legs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where sampled rays cross a plane from the front.

    Parameters
    ----------
    plane : Plane
    legs : (b, k, 9) float64
        Origin, unit direction, power, end, end without receivers of rays leaving the mirror; power 0: no ray.

    Returns
    -------
    places : (b, k, 2) float64
        In the map's axes. [m]
    power : (b, k) float64
        Zero where a ray does not cross. [W, times any common factor]
    """
    origin, direction = legs[..., :3], legs[..., 3:6]
    towards = direction @ plane.facing
    is_front = towards < 0.0
    t = np.divide((plane.origin - origin) @ plane.facing, towards, out=np.full(towards.shape, -1.0), where=is_front)
    end = legs[..., CLEAR_END if plane.is_clear else OPAQUE_END]
    power = np.where((t > 0.0) & (t <= end), legs[..., 6], 0.0)
    relative = origin + t[..., np.newaxis] * direction - plane.origin
    return np.stack([relative @ plane.axis_x, relative @ plane.axis_y], axis=-1), power


def pilot_figures(plane: Plane, legs: np.ndarray) -> tuple[np.ndarray, float, float]:
    """Centroid (2,), R50 and R99 about it on a plane from sampled rays; zeros when none crosses. [m]"""
    places, power = crossings(plane, legs)
    is_lit = power > 0.0
    places, power = places[is_lit], power[is_lit]
    if len(power) == 0:
        return np.zeros(2), 0.0, 0.0
    center = power @ places / power.sum()
    radius = np.hypot(*(places - center).T)
    by_radius = np.argsort(radius)
    share = np.cumsum(power[by_radius]) / power.sum()
    r50, r99 = (radius[by_radius][min(np.searchsorted(share, q), len(share) - 1)] for q in (0.5, 0.99))
    return center, float(r50), float(r99)


def framed(plane: Plane, legs: np.ndarray, *, focal_length: float) -> tuple[Plane, np.ndarray, float]:
    """The plane with a half width, and centre and scale for its radial histogram, from sampled rays.

    Where the user gave no half width it reaches 1.3 R99 beyond the centroid, rounded up to two digits.
    """
    center, r50, r99 = pilot_figures(plane, legs)
    half_width = plane.half_width
    if half_width is None:
        half_width = _rounded_up(np.abs(center).max() + 1.3 * r99) if r99 > 0.0 else 0.1 * focal_length
    scale = r50 if r50 > 0.0 else half_width
    framed_plane = Plane(**{**vars(plane), "half_width": half_width})
    return framed_plane, center, scale


def _rounded_up(length: float) -> float:
    step = 10.0 ** (np.floor(np.log10(length)) - 1.0)
    return float(np.round(np.ceil(length / step) * step, 12))


def kernel_screens(planes: tuple[Plane, ...], centers: np.ndarray, scales: np.ndarray) -> Screens:
    """Planes as the kernels see them.

    Parameters
    ----------
    planes : tuple of Plane
        All with a half width.
    centers : (s, 2) float64
        Centres of the radial histograms. [m]
    scales : (s,) float64
        Their scales, > 0. [m]
    """
    if not planes:
        return no_screens()
    n_radii = max(len(plane.radii) for plane in planes)
    radii = np.full((len(planes), n_radii), -1.0)
    for row, plane in zip(radii, planes, strict=True):
        row[: len(plane.radii)] = plane.radii
    return Screens(
        origin=np.stack([plane.origin for plane in planes]),
        facing=np.stack([plane.facing for plane in planes]),
        axes=np.stack([np.concatenate([plane.axis_x, plane.axis_y]) for plane in planes]),
        half_width=np.array([plane.half_width for plane in planes]),
        is_clear=np.array([plane.is_clear for plane in planes], dtype=np.bool_),
        spot_center=np.ascontiguousarray(centers),
        spot_scale=np.ascontiguousarray(scales),
        radii=radii,
    )
