"""A thin wall on the triangles of a part: two surfaces of shared corners, front and back, with the solid in between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

    from dishtrace.scene.wall import Solid


@dataclass(frozen=True, eq=False)
class Shell:
    """Triangles with shared corners.

    Parameters
    ----------
    points : (n, 3) float64
        Corners, each once. [m]
    corners : (m, 3) int64
        Of each triangle. [–]
    areas : (m,) float64
        [m2]
    stiffness : (m, 3, 3) float64
        Integral over each triangle of the product of the gradients of its linear shape functions. [–]
    """

    points: np.ndarray
    corners: np.ndarray
    areas: np.ndarray
    stiffness: np.ndarray

    @property
    def n_points(self) -> int:
        """Corners of one surface."""
        return len(self.points)

    def to_points(self, per_area: np.ndarray, index: np.ndarray | None = None) -> np.ndarray:
        """What comes per area on triangles (all, or those of `index`), shared out to their corners, (n,)."""
        chosen = slice(None) if index is None else index
        shares = np.repeat(per_area * self.areas[chosen] / 3.0, 3)
        return np.bincount(self.corners[chosen].ravel(), weights=shares, minlength=self.n_points)

    def of_triangles(self, values: np.ndarray) -> np.ndarray:
        """Mean of the values at the corners (n,) of each triangle, (m,)."""
        return values[self.corners].mean(axis=1)


def shell_of(triangles: np.ndarray) -> Shell:
    """The shell of triangles (m, 3, 3) [m]; corners nearer than a billionth of the part's size are one."""
    size = float(np.ptp(triangles.reshape(-1, 3), axis=0).max())
    keys = np.round((triangles.reshape(-1, 3) - triangles.reshape(-1, 3).min(axis=0)) / (1e-9 * size)).astype(np.int64)
    keys //= 4
    _, first, corners = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    a, b, c = np.moveaxis(triangles, 1, 0)
    edges = np.stack([c - b, a - c, b - a], axis=1)
    areas = 0.5 * np.linalg.norm(np.cross(edges[:, 2], -edges[:, 1]), axis=1)
    stiffness = np.einsum("mik,mjk->mij", edges, edges) / (4.0 * areas[:, np.newaxis, np.newaxis])
    return Shell(triangles.reshape(-1, 3)[first], corners.reshape(-1, 3), areas, stiffness)


@dataclass(frozen=True, eq=False)
class Plate:
    """The solid of a shell: conduction along and through it, and the heat it stores.

    The unknowns are the temperatures of both surfaces at all corners, front first, (2 n,). Between the surfaces the
    temperature is linear: conduction along the sheet is shared 1/3, 1/6, 1/6, 1/3, through it flows k / t times the
    difference, and each surface stores half. That is exact for uniform fluxes on both sides.
    """

    shell: Shell
    solid: Solid
    thickness: float

    def conductivity(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Of each triangle and its change per kelvin, at the mean of its six corners, (m,) and (m,)."""
        solid, n = self.solid, self.shell.n_points
        mean = 0.5 * (self.shell.of_triangles(values[:n]) + self.shell.of_triangles(values[n:]))
        return interpolated(mean, solid.temperature, solid.conductivity)

    def flow(self, values: np.ndarray) -> np.ndarray:
        """Heat that leaves each unknown by conduction, (2 n,). [W]"""
        conductivity, _ = self.conductivity(values)
        along, across = self._element_flows(values)
        return self._gathered(conductivity[:, np.newaxis] * (along + across))

    def _element_flows(self, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Flows per conductivity along and through each triangle, (m, 6) each, front corners first. [m K]"""
        n, corners = self.shell.n_points, self.shell.corners
        front, back = values[:n][corners], values[n:][corners]
        slopes = [np.einsum("mij,mj->mi", self.shell.stiffness, side) for side in (front, back)]
        along = self.thickness * np.concatenate(
            [slopes[0] / 3.0 + slopes[1] / 6.0, slopes[0] / 6.0 + slopes[1] / 3.0], axis=1
        )
        drop = (front - back) * (self.shell.areas / (3.0 * self.thickness))[:, np.newaxis]
        return along, np.concatenate([drop, -drop], axis=1)

    def _gathered(self, per_element: np.ndarray) -> np.ndarray:
        n = self.shell.n_points
        return np.bincount(self._unknowns.ravel(), weights=per_element.ravel(), minlength=2 * n)

    @property
    def _unknowns(self) -> np.ndarray:
        return np.concatenate([self.shell.corners, self.shell.corners + self.shell.n_points], axis=1)

    def flow_slope(self, values: np.ndarray) -> csc_matrix:
        """How `flow` changes with the unknowns, (2 n, 2 n). [W/K]"""
        from scipy.sparse import coo_matrix

        conductivity, change = self.conductivity(values)
        stiff = self.thickness * self.shell.stiffness
        through = (self.shell.areas / (3.0 * self.thickness))[:, np.newaxis, np.newaxis] * np.eye(3)
        same, other = stiff / 3.0 + through, stiff / 6.0 - through
        local = np.concatenate([np.concatenate([same, other], axis=2), np.concatenate([other, same], axis=2)], axis=1)
        matrix = conductivity[:, np.newaxis, np.newaxis] * local
        if np.any(change):
            along, across = self._element_flows(values)
            matrix = matrix + (change[:, np.newaxis] * (along + across) / 6.0)[:, :, np.newaxis]
        unknowns = self._unknowns
        rows, columns = np.repeat(unknowns, 6, axis=1).ravel(), np.tile(unknowns, (1, 6)).ravel()
        n = 2 * self.shell.n_points
        return coo_matrix((matrix.ravel(), (rows, columns)), shape=(n, n)).tocsc()

    def mass(self) -> np.ndarray:
        """Mass of the solid at each unknown, (2 n,). [kg]"""
        half = self.shell.to_points(np.full(len(self.shell.areas), 0.5 * self.thickness * self.solid.density))
        return np.concatenate([half, half])

    def stored(self, values: np.ndarray) -> np.ndarray:
        """Heat stored at each unknown, counted from the first point of the solid's table, (2 n,). [J]"""
        return self.mass() * enthalpy(values, self.solid.temperature, self.solid.heat_capacity)

    def capacity(self, values: np.ndarray) -> np.ndarray:
        """Heat capacity at each unknown, (2 n,). [J/K]"""
        return self.mass() * interpolated(values, self.solid.temperature, self.solid.heat_capacity)[0]


def interpolated(place: np.ndarray, places: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values between points joined by straight lines, and their slopes; level beyond both ends."""
    found = np.interp(place, places, values)
    if len(places) == 1:
        return found, np.zeros_like(found)
    cell = np.clip(np.searchsorted(places, place, side="right") - 1, 0, len(places) - 2)
    slope = (np.diff(values) / np.diff(places))[cell]
    return found, np.where((place < places[0]) | (place > places[-1]), 0.0, slope)


def enthalpy(place: np.ndarray, places: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Integral of what `interpolated` gives, from the first point on."""
    if len(places) == 1:
        return values[0] * (place - places[0])
    whole = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(places))])
    cell = np.clip(np.searchsorted(places, place, side="right") - 1, 0, len(places) - 2)
    into = np.clip(place, places[0], places[-1]) - places[cell]
    slope = (np.diff(values) / np.diff(places))[cell]
    inside = whole[cell] + values[cell] * into + 0.5 * slope * into**2
    return inside + values[0] * np.minimum(place - places[0], 0.0) + values[-1] * np.maximum(place - places[-1], 0.0)
