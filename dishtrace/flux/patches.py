"""Patches of a surface: the triangles nearest to one of them that face the same way, up to a given area."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

# A part of fewer patches than this is looked at whole: its patches may never reach their full area.
SMALL_PART = 4.0
# Normals of a patch lie within 60 degrees of the middle one's.
LEAST_COSINE = 0.5
# Pairs of triangles that are looked at together.
MOST_PAIRS = 1_000_000


@dataclass(frozen=True, eq=False)
class Surface:
    """Triangles of one side of a part.

    Parameters
    ----------
    areas : (n,) float64
        [m2]
    centers, normals : (n, 3) float64
        Centres [m] and unit normals.
    """

    areas: np.ndarray
    centers: np.ndarray
    normals: np.ndarray


@dataclass(frozen=True, eq=False)
class Around:
    """What lies around some triangles.

    Parameters
    ----------
    middles : (m,) int64
        Those triangles. [–]
    near : (p,) int64
        Triangles around the first one, then those around the second, and so on. [–]
    distance : (p,) float64
        From that one. [m]
    start : (m + 1,) int64
        Where those of each begin, and where all end. [–]
    """

    middles: np.ndarray
    near: np.ndarray
    distance: np.ndarray
    start: np.ndarray

    def of(self, k: int) -> np.ndarray:
        """Triangles around the k-th from the nearest on, itself first; those equally far in the order of numbers."""
        mine = slice(self.start[k], self.start[k + 1])
        near = self.near[mine]
        return near[np.lexsort((near, near != self.middles[k], self.distance[mine]))]

    def largest(self, values: np.ndarray) -> np.ndarray:
        """Largest of (n,) values around each, (m,)."""
        return np.maximum.reduceat(values[self.near], self.start[:-1])


class Cubes:
    """Triangles sorted into cubes as wide as a reach, so that those within it lie in the 27 about a triangle's own.

    Parameters
    ----------
    surface : Surface
    reach : float
        [m]
    """

    def __init__(self, surface: Surface, reach: float) -> None:
        self.surface, self.reach = surface, reach
        cube = np.floor((surface.centers - surface.centers.min(axis=0)) / reach).astype(np.int64) + 1
        _, n_y, n_z = cube.max(axis=0) + 2
        key = (cube[:, 0] * n_y + cube[:, 1]) * n_z + cube[:, 2]
        self.key, self.order = key, np.argsort(key, kind="stable")
        self.sorted = key[self.order]
        self.steps = np.array([(x * n_y + y) * n_z for x in (-1, 0, 1) for y in (-1, 0, 1)])

    def columns(self, middles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where in the order the 9 columns of 3 cubes about each middle begin, and how many they hold, (m, 9) each."""
        columns = self.key[middles, np.newaxis] + self.steps
        first = np.searchsorted(self.sorted, columns - 1, side="left")
        return first, np.searchsorted(self.sorted, columns + 1, side="right") - first

    def around(self, middles: np.ndarray) -> Around:
        """Triangles within the reach of each middle that face the same way."""
        first, counts = self.columns(middles)
        n, ends = counts.ravel(), np.cumsum(counts)
        near = self.order[np.repeat(first.ravel() - (ends - n), n) + np.arange(ends[-1])]
        which = np.repeat(np.arange(len(middles)), counts.sum(axis=1))
        square = np.zeros(len(near))
        for places in self.surface.centers.T.copy():
            square += (places[near] - places[middles][which]) ** 2
        distance = np.sqrt(square)
        kept = np.flatnonzero(distance <= self.reach)
        near, which, distance = near[kept], which[kept], distance[kept]
        normals = self.surface.normals
        kept = np.flatnonzero(np.einsum("ij,ij->i", normals[near], normals[middles[which]]) > LEAST_COSINE)
        start = np.searchsorted(which[kept], np.arange(len(middles) + 1))
        return Around(middles, near[kept], distance[kept], start)


def around(middles: np.ndarray, surface: Surface, patch_area: float) -> Iterator[tuple[np.ndarray, Around]]:
    """Triangles around each of some, at least up to the area of a patch where there is so much.

    Parameters
    ----------
    middles : (m,) int64
        Numbers of triangles. [–]
    surface : Surface
    patch_area : float
        [m2]

    Yields
    ------
    some : (k,) int64
        Places in `middles`, each once, so many that what lies around them fits the memory. [–]
    Around
        What lies around those.
    """
    reach = float(np.sqrt(patch_area / np.pi) + np.sqrt(surface.areas.max()))
    widest = float(np.linalg.norm(np.ptp(surface.centers, axis=0))) + reach
    if surface.areas.sum() < SMALL_PART * patch_area:
        reach = 2.0 * widest
    waiting = np.arange(len(middles))
    while len(waiting):
        cubes, too_small = Cubes(surface, reach), []
        for bundle in _bundles(cubes.columns(middles[waiting])[1].sum(axis=1)):
            some = waiting[bundle]
            found = cubes.around(middles[some])
            area = np.add.reduceat(surface.areas[found.near], found.start[:-1])
            is_done = (area >= patch_area) | (reach > widest)
            if not is_done.all():
                too_small.append(some[~is_done])
                some = some[is_done]
            if len(some):
                yield some, found if is_done.all() else cubes.around(middles[some])
        waiting = np.concatenate(too_small) if too_small else waiting[:0]
        reach *= 1.5


def shares_of(near: np.ndarray, areas: np.ndarray, patch_area: float) -> np.ndarray:
    """Share of each triangle, from the nearest on, that belongs to the patch; all of the middle one."""
    before = np.concatenate([[0.0], np.cumsum(areas[near])[:-1]])
    share = np.clip((patch_area - before) / areas[near], 0.0, 1.0)
    share[0] = 1.0
    return share


def _bundles(counts: np.ndarray) -> list[np.ndarray]:
    """Numbers 0 ... m - 1 in bundles whose counts add up to about `MOST_PAIRS`, or of one."""
    bundle = (np.cumsum(counts) - counts // 2) // MOST_PAIRS
    return np.split(np.arange(len(counts)), np.flatnonzero(np.diff(bundle)) + 1)
