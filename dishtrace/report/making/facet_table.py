"""Where each facet sits, where it looks, and how high its corners stand over the flat frame."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.report.making.cutting import bend_of
from dishtrace.report.making.frame import Frame, corners
from dishtrace.report.making.sketch import MM

DOWN = np.array([0.0, 0.0, -1.0])
"""Way of light that comes along the dish axis, dish frame [–]."""


def aim_directions(facets: Facets) -> np.ndarray:
    """Directions in which facets send light that comes along the axis to their middles.

    Parameters
    ----------
    facets : Facets
        The mirror.

    Returns
    -------
    (n, 3) float64
        Unit vectors, dish frame. [–]
    """
    return reflected(np.broadcast_to(DOWN, facets.origin.shape), facets.axes[:, 2])


def reflected(directions: np.ndarray, normals: np.ndarray) -> np.ndarray:
    """Directions after a mirror: d - 2 (d . n) n, (k, 3) of the same length [–]."""
    return directions - 2.0 * np.sum(directions * normals, axis=-1, keepdims=True) * normals


def facet_columns(facets: Facets, frame: Frame, kinds: dict[int, str]) -> dict[str, list]:
    """The table of facets.

    Parameters
    ----------
    facets : Facets
        The mirror.
    frame : Frame
        The flat frame.
    kinds : dict of int to str
        Letter of what is cut for a facet; facets that cannot be cut flat are missing.

    Returns
    -------
    dict of str to list
        Columns: number; middle in the dish frame and on the frame with its height; normal; aim direction; tilt of the
        normal from the axis and the way it leans (from x towards y); curve and its radius; size and area.
    """
    normals, aims, on_frame = facets.axes[:, 2], aim_directions(facets), frame.places(facets.origin)
    columns: dict[str, list] = {"facet": facets.number.tolist()}
    for axis, values in zip("xyz", facets.origin.T, strict=True):
        columns[f"{axis}_mm"] = _mm(values)
    for axis, values in zip(("frame_a_mm", "frame_b_mm", "frame_height_mm"), on_frame.T, strict=True):
        columns[axis] = _mm(values)
    for word, vectors in (("normal", normals), ("aim", aims)):
        for axis, values in zip("xyz", vectors.T, strict=True):
            columns[f"{word}_{axis}"] = [f"{value:.7f}" for value in values + 0.0]
    tilt = np.degrees(np.arctan2(np.hypot(normals[:, 0], normals[:, 1]), normals[:, 2]))
    leans = np.degrees(np.arctan2(normals[:, 1], normals[:, 0]))
    columns["tilt_deg"] = [f"{value:.4f}" for value in tilt]
    columns["leans_to_deg"] = [f"{value:.4f}" if angle > 1e-6 else "" for value, angle in zip(leans, tilt, strict=True)]
    columns["curve"], columns["radius_mm"] = map(list, zip(*(_curve(q) for q in facets.quadric), strict=True))
    columns["mirror_m2"] = [f"{value:.9f}" for value in facets.surface_areas()]
    columns["cut"] = [kinds.get(number, "") for number in facets.number.tolist()]
    return columns


def shim_columns(facets: Facets, frame: Frame) -> dict[str, list]:
    """The table of corners: where each stands on the flat frame and how high.

    Returns
    -------
    dict of str to list
        Columns: facet, corner (counted counter-clockwise, seen from the mirror side), place on the frame, height.
    """
    columns: dict[str, list] = {"facet": [], "corner": [], "frame_a_mm": [], "frame_b_mm": [], "height_mm": []}
    for i, number in enumerate(facets.number.tolist()):
        places = corner_places(facets, i, frame)
        columns["facet"] += [number] * len(places)
        columns["corner"] += list(range(1, len(places) + 1))
        for key, values in zip(("frame_a_mm", "frame_b_mm", "height_mm"), places.T, strict=True):
            columns[key] += _mm(values)
    return columns


def corner_places(facets: Facets, i: int, frame: Frame) -> np.ndarray:
    """Corners of facet i on the frame: a, b and height of the mirror surface, (k, 3). [m]"""
    return frame.places(facets.surface(i, corners(facets.outlines[i]))[0])


def _curve(quadric: np.ndarray) -> tuple[str, str]:
    """A word for a facet's curve, and its radius or the two of them in millimetres."""
    bend = bend_of(quadric)
    if bend is None:
        uu, vv, _, uv = quadric[:4]
        radii = 0.5 / np.linalg.eigvalsh(np.array([[uu, uv], [uv, vv]]))[::-1]
        return "hollow", " and ".join(f"{radius * MM:.2f}" for radius in radii)
    return ("flat", "") if bend.is_flat else ("bent", f"{bend.radius() * MM:.2f}")


def _mm(values: np.ndarray) -> list[str]:
    return [f"{value:.3f}" for value in np.round(values * MM, 3) + 0.0]
