"""Turns facets so that their centre rays meet their aim."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.layouts.plan import Laid, rotations_to
from dishtrace.vec import normalise

NEAREST_M = 1e-6
"""An aim nearer to a facet's middle than this lies on the mirror. [m]"""


def aim_points(
    laid: Laid, *, aim: tuple[float, float, float], ring: float, middle: np.ndarray, focal_length: float
) -> np.ndarray:
    """Where each facet sends its centre ray.

    Parameters
    ----------
    laid : Laid
    aim : (x, y, z)
        Point from the focus. [m]
    ring : float
        Radius of a ring about that point, square to the axis; each facet aims at the ring's point on its own side. [m]
    middle : (2,) float64
        Place in plan from which sides are told; a facet there aims at the ring's centre. [m]
    focal_length : float
        Focal length f. [m]

    Returns
    -------
    (n, 3) float64
        Dish frame. [m]
    """
    points = np.tile(np.array(aim) + [0.0, 0.0, focal_length], (len(laid), 1))
    offset = laid.center[:, :2] - middle
    distance = np.hypot(offset[:, 0], offset[:, 1])
    far = distance > NEAREST_M
    points[:, :2] += ring * np.where(far, 1.0 / np.where(far, distance, 1.0), 0.0)[:, np.newaxis] * offset
    return points


def behind(laid: Laid, aim: np.ndarray) -> np.ndarray:
    """Places of the facets whose aim lies behind the parent's tangent plane there, or on the facet itself, (k,)."""
    path = aim - laid.center
    height = np.einsum("ni,ni->n", path, laid.axes[:, 2])
    return np.flatnonzero(height <= NEAREST_M)


def aimed_normals(center: np.ndarray, aim: np.ndarray) -> np.ndarray:
    """Normals that send light from +z to the aim: they halve the angle between the two.

    Parameters
    ----------
    center, aim : (n, 3) float64
        Dish frame. [m]

    Returns
    -------
    (n, 3) float64
        Unit vectors. [–]
    """
    return normalise(normalise(aim - center) + [0.0, 0.0, 1.0])


def aimed_axes(laid: Laid, aim: np.ndarray) -> np.ndarray:
    """Frames of the facets turned from touching the parent to their aim.

    Parameters
    ----------
    laid : Laid
    aim : (n, 3) float64
        In front of the facets. [m]

    Returns
    -------
    (n, 3, 3) float64
        Rows u, v, w. A frame that came from the horizontal by the smallest rotation to the parent's normal now has
        come from it by the smallest rotation to the aimed normal. [–]
    """
    aimed = rotations_to(aimed_normals(laid.center, aim))
    touching = rotations_to(laid.axes[:, 2])
    return laid.axes @ touching @ aimed.transpose(0, 2, 1)
