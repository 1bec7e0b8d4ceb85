"""What the surroundings take from the dish: the horizon all of it at once, obstacles part of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.outline import Outline, outline_of
from dishtrace.errors import InputError
from dishtrace.parts.meshes import MeshError, read_triangles, turn_matrix
from dishtrace.parts.solids import box
from dishtrace.scene.surroundings import read_horizon
from dishtrace.scene.uncertain import nominal
from dishtrace.units import LENGTH_UNITS

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.path import SunPath
    from dishtrace.study.day.poses import Poses

SUN_RADIUS = 4.65e-3
"""Of the solar disc that a horizon covers bit by bit. [rad]"""
N_PLACES = 16
"""Places along each side of the square that is spread over the mirror. [–]"""
CHUNK = 4_000_000


def horizon_of(scene: Scene) -> np.ndarray | None:
    """Azimuths and elevations of the horizon, (n, 2); None without one. [rad]"""
    if scene.horizon is None:
        return None
    table = scene.horizon
    points = table.profile_deg if table.file is None else read_horizon(scene.path(table.file), table.file)
    return np.radians(np.asarray(points, dtype=float))


def share_above(horizon: np.ndarray | None, azimuth: np.ndarray, elevation: np.ndarray) -> np.ndarray:
    """Share of the solar disc that stands above a horizon.

    Parameters
    ----------
    horizon : (n, 2) float64 or None
        Azimuths, rising, and elevations; straight between them and from the last to the first; None is level. [rad]
    azimuth, elevation : (...) float64
        Of the sun's centre, as seen. [rad]

    Returns
    -------
    (...) float64
        Area above a straight edge through the disc at the sun's azimuth over that of the disc. [–]
    """
    if horizon is None:
        return np.ones(np.shape(elevation))
    edge = np.interp(azimuth % (2.0 * np.pi), *horizon.T, period=2.0 * np.pi)
    above = np.clip((elevation - edge) / SUN_RADIUS, -1.0, 1.0)
    return 0.5 + (np.arcsin(above) + above * np.sqrt(1.0 - above**2)) / np.pi


def obstacle_triangles(scene: Scene) -> np.ndarray:
    """Triangles of all obstacles, ground frame, (n, 3, 3). [m]

    Raises
    ------
    InputError
        With every mesh file that cannot be used.
    """
    found, faults = [np.zeros((0, 3, 3))], []
    for index, obstacle in enumerate(scene.obstacles):
        try:
            if obstacle.file is None:
                own = box(tuple(float(side) for side in obstacle.size_m)).triangles
            else:
                own = read_triangles(scene.path(obstacle.file)) * LENGTH_UNITS[obstacle.unit]
        except MeshError as error:
            faults.append(scene.fault(("obstacle", index, error.key), allowed=str(error), remedy=error.remedy))
            continue
        found.append(own @ turn_matrix(obstacle.turn_deg).T + np.asarray(obstacle.center_m))
    if faults:
        raise InputError(faults)
    return np.concatenate(found)


def shaded_share(scene: Scene, path: SunPath, poses: Poses) -> np.ndarray:
    """Share of the mirror's sunlight that obstacles take at each step.

    Parameters
    ----------
    scene : Scene
    path : SunPath
    poses : Poses
        How the dish stands at the steps.

    Returns
    -------
    (n,) float64
        Counted over 256 places that are spread over the outline, each by its light; obstacles are followed to the
        sun's centre. [–]
    """
    triangles = obstacle_triangles(scene)
    shares = np.zeros(len(path.time))
    if not len(triangles):
        return shares
    outline = outline_of(scene)
    places, normals = mirror_places(outline, focal_length=float(nominal(scene.dish.focal_length_m)))
    middle, reach = places.mean(axis=0), float(np.linalg.norm(places - places.mean(axis=0), axis=1).max())
    for k, direction in enumerate(path.directions):
        turn, origin = poses.rotations[k], poses.ground_origin
        near = _near_line((middle - origin) @ turn, direction, triangles, reach=reach)
        if not near.any():
            continue
        light = np.maximum(normals @ poses.suns[k], 0.0)
        light = light / normals[:, 2]
        is_hit = blocked((places - origin) @ turn, direction, triangles[near])
        shares[k] = float((light * is_hit).sum() / light.sum()) if light.sum() > 0.0 else 0.0
    return shares


def mirror_places(outline: Outline, *, focal_length: float) -> tuple[np.ndarray, np.ndarray]:
    """Places spread evenly over the mirror and the normals there, dish frame, (256, 3) each. [m], [–]"""
    from dishtrace.dish.paraboloid import normal

    along = (np.arange(N_PLACES) + 0.5) / N_PLACES
    x, y = outline.map_unit_square(*np.meshgrid(along, along)).reshape(-1, 2).T
    return np.stack([x, y, (x**2 + y**2) / (4.0 * focal_length)], axis=1), normal(x, y, focal_length=focal_length)


def _near_line(middle: np.ndarray, direction: np.ndarray, triangles: np.ndarray, *, reach: float) -> np.ndarray:
    """Triangles whose bounding ball comes near the line from the mirror's middle to the sun, (n,)."""
    centers = triangles.mean(axis=1)
    radii = np.linalg.norm(triangles - centers[:, np.newaxis], axis=2).max(axis=1)
    ahead = (centers - middle) @ direction
    beside = np.linalg.norm(centers - middle - ahead[:, np.newaxis] * direction, axis=1)
    return (beside < radii + reach) & (ahead > -radii - reach)


def blocked(points: np.ndarray, direction: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Whether a half-line from each point along a direction meets a triangle.

    Parameters
    ----------
    points : (m, 3) float64
        [m]
    direction : (3,) float64
        Unit vector. [–]
    triangles : (n, 3, 3) float64
        [m]

    Returns
    -------
    (m,) bool

    References
    ----------
    .. [1] T. Möller, B. Trumbore, "Fast, minimum storage ray-triangle intersection", J. Graphics Tools 2 (1997) 21-28.
    """
    is_hit = np.zeros(len(points), dtype=bool)
    for part in np.array_split(triangles, max(1, len(points) * len(triangles) // CHUNK)):
        one, two = part[:, 1] - part[:, 0], part[:, 2] - part[:, 0]
        across = np.cross(direction, two)
        scale = np.einsum("ij,ij->i", one, across)
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = 1.0 / scale
            from_corner = points[:, np.newaxis] - part[:, 0]
            u = np.einsum("mij,ij->mi", from_corner, across) * inverse
            other = np.cross(from_corner, one)
            v = other @ direction * inverse
            ahead = np.einsum("mij,ij->mi", other, two) * inverse
        inside = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (ahead > 0.0)
        is_hit |= (inside & (scale != 0.0)).any(axis=1)
    return is_hit
