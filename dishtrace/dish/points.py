"""Points on a measured mirror: from a mesh file, and whether they cover the dish."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dishtrace.dish.outline import Outline
from dishtrace.scene.point_list import LEAST_POINTS, MOST_POINTS
from dishtrace.units import LENGTH_UNITS

LARGEST_HOLE = 0.15
"""No place of the mirror may be farther from a point than this share of the width. [–]"""
FARTHEST_BEYOND = 0.05
"""How far the rim may lie beyond the line around all points, as a share of the dish's width. [–]"""
UNLIKELY_RATIO = 10.0
"""Points this many times wider or narrower than the dish are in another unit. [–]"""


class MeasuredError(ValueError):
    """Measured points that cannot be used; the text ends the sentence that starts with the file.

    Parameters
    ----------
    allowed : str
        What is wrong, as the end of that sentence.
    remedy : str
        What to do about it.
    """

    def __init__(self, allowed: str, remedy: str = "") -> None:
        super().__init__(allowed)
        self.remedy = remedy


def mesh_points(path: Path, unit: str) -> np.ndarray:
    """Corners of the triangles of a mesh that look up, each once: the reflecting side of a sheet or a solid.

    Parameters
    ----------
    path : Path
        STL, OBJ, PLY or GLB file.
    unit : str
        Unit of its numbers.

    Returns
    -------
    (n, 3) float64
        [m]

    Raises
    ------
    MeasuredError
        If the file cannot be read, or has too few or too many of them.
    """
    import trimesh

    try:
        mesh = trimesh.load(path, force="mesh", process=False)
    except (OSError, ValueError, KeyError, IndexError, TypeError, AttributeError, NotImplementedError) as error:
        raise MeasuredError(f"cannot be read as a mesh: {error}", "export it again") from error
    corners = np.asarray(mesh.vertices, dtype=float)
    faces = np.asarray(mesh.faces, dtype=int).reshape(-1, 3)
    if not np.isfinite(corners).all():
        raise MeasuredError("has corners that are NaN or infinite", "export it again")
    a, b, c = (corners[faces[:, k], :2] for k in range(3))
    up = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] > 0.0
    found = np.unique(np.round(corners[np.unique(faces[up])] * LENGTH_UNITS[unit], 9), axis=0)
    if len(found) < LEAST_POINTS:
        allowed = f"has {len(found)} corners on its upper side, fewer than the {LEAST_POINTS} that a fit needs"
        raise MeasuredError(allowed, "the reflecting side must look towards +z")
    if len(found) > MOST_POINTS:
        raise MeasuredError(f"has {len(found)} corners, more than {MOST_POINTS}", "thin the mesh out")
    return found


def refuse_holes(points: np.ndarray, outline: Outline, *, what: str = "dish") -> None:
    """Points must cover a mirror or a facet, since a fit is worth nothing beyond them.

    Parameters
    ----------
    points : (n, 3) float64
        In the frame of the outline. [m]
    outline : Outline
        [m]
    what : str
        What it is the outline of, for messages.

    Raises
    ------
    MeasuredError
        If they do not.
    """
    import shapely
    from scipy.spatial import cKDTree

    width = float(np.ptp(points[:, :2], axis=0).max())
    if not 1.0 / UNLIKELY_RATIO < width / outline.span < UNLIKELY_RATIO:
        allowed = f"has points over {width:.4g} m, but the {what} is {outline.span:.4g} m wide"
        raise MeasuredError(allowed, "check the unit")
    around = shapely.MultiPoint(points[:, :2]).convex_hull.buffer(FARTHEST_BEYOND * outline.span)
    rim = outline.boundary(360)
    beyond = ~shapely.contains_xy(around, rim[:, 0], rim[:, 1])
    if beyond.any():
        x, y = rim[np.flatnonzero(beyond)[0]]
        raise MeasuredError(f"has no points near the rim at [{x:.3g}, {y:.3g}] m", "measure out to the rim")
    x0, x1, y0, y1 = outline.extent()
    places = np.stack(np.meshgrid(np.linspace(x0, x1, 61), np.linspace(y0, y1, 61)), axis=-1).reshape(-1, 2)
    places = places[outline.contains(places)]
    distance = cKDTree(points[:, :2]).query(places)[0]
    worst = int(np.argmax(distance))
    if distance[worst] > LARGEST_HOLE * outline.span:
        (x, y), far = places[worst], distance[worst]
        raise MeasuredError(f"has no point within {far:.2g} m of [{x:.3g}, {y:.3g}] m", "measure more points there")
