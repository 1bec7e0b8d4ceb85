"""Flat drawings of the surfaces of parts, for flux maps: each triangle gets a place in a plane, in metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Chart:
    """Flat drawing of a group of triangles.

    Parameters
    ----------
    name : str
        What it shows, "wall unrolled".
    index : (m,) int64
        Which triangles of the part. [–]
    uv : (m, 3, 2) float64
        Their corners in the drawing. [m]
    labels : tuple of 2 str
        What the two directions are, with unit.
    """

    name: str
    index: np.ndarray
    uv: np.ndarray
    labels: tuple[str, str]

    def shifted(self, first: int) -> Chart:
        """The same chart of triangles that start at number `first` of the part."""
        return Chart(self.name, self.index + first, self.uv, self.labels)


def plan(name: str, triangles: np.ndarray, *, across: int = 0, up: int = 1, mirrored: bool = False) -> Chart:
    """Drawing of flat triangles along two of their own axes.

    Parameters
    ----------
    name : str
        What it shows.
    triangles : (m, 3, 3) float64
        In the part's own axes. [m]
    across, up : int
        Which axes run right and up. [–]
    mirrored : bool
        Run the first axis to the left, so that the front is seen as it looks from outside.
    """
    uv = triangles[:, :, [across, up]].copy()
    if mirrored:
        uv[:, :, 0] *= -1.0
    sign = "−" if mirrored else ""
    return Chart(name, np.arange(len(triangles)), uv, (f"{sign}{'xyz'[across]} (m)", f"{'xyz'[up]} (m)"))


def unrolled_wall(name: str, triangles: np.ndarray, *, n_around: int) -> Chart:
    """Wall of a regular prism about z, unrolled: way around the polygon against height.

    Parameters
    ----------
    name : str
        What it shows.
    triangles : (m, 3, 3) float64
        In the part's own axes, corners on the polygon with `n_around` sides whose first corner lies on +x.
        [m]
    n_around : int
        Sides. [–]

    Returns
    -------
    Chart
        Lengths and areas are those of the triangles; the way runs from +x over +y, 0 to the perimeter. [m]
    """
    radius = np.hypot(triangles[..., 0], triangles[..., 1]).max()
    steps = _unwrapped(triangles) * n_around / (2.0 * np.pi)
    side = 2.0 * radius * np.sin(np.pi / n_around)
    uv = np.stack([np.round(steps) * side, triangles[..., 2]], axis=-1)
    return Chart(name, np.arange(len(triangles)), uv, ("way around from +x over +y (m)", "height z (m)"))


def unrolled_cone(name: str, triangles: np.ndarray, *, apex_z: float, n_around: int) -> Chart:
    """Wall of a regular pyramid about z, cut open along +x and laid flat as a fan about its apex.

    Parameters
    ----------
    name : str
        What it shows.
    triangles : (m, 3, 3) float64
        In the part's own axes, corners on the pyramid's slanting edges, the first of which lies over +x. [m]
    apex_z : float
        Height of the apex. [m]
    n_around : int
        Sides. [–]

    Returns
    -------
    Chart
        Lengths and areas are those of the triangles. [m]
    """
    slant = np.hypot(np.hypot(triangles[..., 0], triangles[..., 1]), apex_z - triangles[..., 2])
    far = np.unravel_index(np.argmax(slant), slant.shape)
    base = 2.0 * np.hypot(triangles[far][0], triangles[far][1]) * np.sin(np.pi / n_around)
    facet = 2.0 * np.arcsin(0.5 * base / slant[far])
    angle = _unwrapped(triangles) * n_around / (2.0 * np.pi) * facet
    uv = np.stack([slant * np.cos(angle), slant * np.sin(angle)], axis=-1)
    return Chart(name, np.arange(len(triangles)), uv, ("wall unrolled about the apex (m)", "same (m)"))


def equal_area_half(name: str, triangles: np.ndarray, *, index: np.ndarray, radius: float, top: bool) -> Chart:
    """Half of a sphere about the origin on a flat disc of the same area.

    Parameters
    ----------
    name : str
        What it shows.
    triangles : (m, 3, 3) float64
        All in one half, in the part's own axes. [m]
    index : (m,) int64
        Their numbers in the part. [–]
    radius : float
        Of the sphere. [m]
    top : bool
        The half about +z; else the one about -z, seen from outside (x runs to the left).

    Notes
    -----
    Azimuthal equal-area map: distance from the middle 2 R sin(c / 2) at the angle c from the pole; the rim
    lies at sqrt(2) R.

    References
    ----------
    .. [1] J. P. Snyder, *Map Projections: A Working Manual*, USGS Professional Paper 1395, 1987, section 24
           (from memory).
    """
    across = np.hypot(triangles[..., 0], triangles[..., 1])
    colatitude = np.arctan2(across, triangles[..., 2] if top else -triangles[..., 2])
    scale = 2.0 * radius * np.sin(0.5 * colatitude) / np.where(across > 0.0, across, 1.0)
    x = triangles[..., 0] if top else -triangles[..., 0]
    uv = np.stack([scale * x, scale * triangles[..., 1]], axis=-1)
    sign = "" if top else "−"
    return Chart(name, index, uv, (f"towards {sign}x, equal-area (m)", "towards y, equal-area (m)"))


def _unwrapped(triangles: np.ndarray) -> np.ndarray:
    """Angle of each corner about z, continuous within a triangle, (m, 3); on the axis the others' mean."""
    x, y = triangles[..., 0], triangles[..., 1]
    angle = np.arctan2(y, x) % (2.0 * np.pi)
    on_axis = np.hypot(x, y) < 1e-12 * np.hypot(x, y).max()
    angle = np.where(on_axis, np.nan, angle)
    angle = np.where(angle > 2.0 * np.pi - 1e-9, 0.0, angle)
    far = np.nanmax(angle, axis=1, keepdims=True)
    angle = np.where((angle < np.pi) & (far - angle > np.pi), angle + 2.0 * np.pi, angle)
    return np.where(np.isnan(angle), np.nanmean(angle, axis=1, keepdims=True), angle)
