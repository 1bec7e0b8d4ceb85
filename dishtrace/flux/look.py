"""Look back from places over the mirror: the flux of first arrivals at a point or over a patch, without bins."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.stats import Estimate, total
from dishtrace.trace.cpu import Optics, world_of
from dishtrace.trace.kernels.backward import (
    SCORE_JITTER,
    SCORE_SLOPE,
    SCORE_SPREAD,
    SCORE_SUN,
    Sight,
    look_back,
    weigh_cells,
)
from dishtrace.trace.optics import World, empty_tally, no_screens
from dishtrace.trace.points import N_SCRAMBLES, Points, point_values, scrambled_points

if TYPE_CHECKING:
    from dishtrace.dish.facets import Facets
    from dishtrace.sun.state import SunState

STREAM_LOOK, STREAM_LOOK_LATER = 5, 6
STREAM_PATCH, STREAM_PATCH_LATER = 7, 8
STREAM_SEARCH, STREAM_SEARCH_LATER = 9, 10
# As for a mirror ray: 0-1 mirror point, 2-3 place on the sun, 4-5 slope, 6-7 spread, 8-9 jitter; then the place in a
# patch. Both are of one point: two sets of points that are each even go together badly.
N_DIMENSIONS, N_PLACE = 10, 3
# Cells that the mirror is divided into; facets beyond that number have one each.
N_CELLS = 4096
# Cells that the sun's image sweeps across by more than this of its width are cut in four, so many times, the heaviest
# first; not those that matter less than the mean cell by this factor.
FINE, N_DIVISIONS, NEGLIGIBLE = 1.0, 6, 0.05
MOST_DIVIDED = 4096
# Share of the samples that go to all cells alike, so that none is ever left out.
EVEN_SHARE = 0.1
STEPS_PER_PANEL = 64
# One Gaussian standard deviation holds half of the power within so many of itself: sqrt(2 ln 2).
HALF_POWER = 1.17741


@dataclass(frozen=True, eq=False)
class Cells:
    """The mirror in cells: facet (n,); place (n, 4), corner and size in its outline's unit square; area (n,) [m2]."""

    facet: np.ndarray
    place: np.ndarray
    area: np.ndarray

    def taken(self, which: np.ndarray) -> Cells:
        """Some of the cells."""
        return Cells(self.facet[which], np.ascontiguousarray(self.place[which]), self.area[which])

    def quartered(self) -> Cells:
        """Every cell cut into four, side by side."""
        half = np.concatenate([self.place[:, 2:], self.place[:, 2:]], axis=1) * 0.5
        steps = np.array([[0.0, 0.0], [0.0, 1.0], [1.0, 0.0], [1.0, 1.0]])
        corners = self.place[:, np.newaxis, :2] + steps * half[:, np.newaxis, :2]
        place = np.concatenate([corners, np.broadcast_to(half[:, np.newaxis, 2:], corners.shape)], axis=2)
        return Cells(np.repeat(self.facet, 4), place.reshape(-1, 4), np.repeat(0.25 * self.area, 4))

    def joined(self, other: Cells) -> Cells:
        """These cells and others."""
        pairs = ((self.facet, other.facet), (self.place, other.place), (self.area, other.area))
        return Cells(*(np.concatenate(pair) for pair in pairs))


def cells_of(areas: np.ndarray, *, n_cells: int = N_CELLS) -> Cells:
    """Divide facets into cells of about equal area, at least one each.

    Parameters
    ----------
    areas : (f,) float64
        Areas of the facets' outlines in their own planes, in the kernels' order. [m2]
    n_cells : int
        About how many. [–]
    """
    wanted = np.maximum(1.0, n_cells * areas / areas.sum())
    across = np.maximum(1, np.round(np.sqrt(wanted))).astype(np.int64)
    facet, place, area = [], [], []
    for i, n in enumerate(across):
        row, column = np.divmod(np.arange(n * n), n)
        facet.append(np.full(n * n, i, dtype=np.int64))
        place.append(np.stack([row, column, np.ones(n * n), np.ones(n * n)], axis=1) / n)
        area.append(np.full(n * n, areas[i] / (n * n)))
    return Cells(np.concatenate(facet), np.ascontiguousarray(np.concatenate(place)), np.concatenate(area))


def radiance_table(sun: SunState) -> tuple[np.ndarray, np.ndarray]:
    """Radiance of the sun, panel by panel, so that its jumps stay sharp.

    Returns
    -------
    chord : (m + 1,) float64
        2 sin(theta / 2) of the panels' edges. [–]
    radiance : (m, 65) float64
        At equal steps of the chord within each panel; DNI is the integral of it times cos(theta) over solid angle.
        [W/m2/sr]
    """
    radial = sun.shape.radial
    edges = radial.panel_edges[radial.panel_edges <= sun.shape.edge_rad * (1.0 + 1e-9)]
    chord = 2.0 * np.sin(0.5 * edges)
    steps = np.linspace(0.0, 1.0, STEPS_PER_PANEL + 1)
    nodes = chord[:-1, np.newaxis] + np.diff(chord)[:, np.newaxis] * steps
    inset = 1e-9 * np.diff(chord)[:, np.newaxis]
    nodes = np.clip(nodes, chord[:-1, np.newaxis] + inset, chord[1:, np.newaxis] - inset)
    shape = radial.radiance(2.0 * np.arcsin(0.5 * nodes).ravel()).reshape(nodes.shape)
    return chord, np.ascontiguousarray(shape * sun.dni_w_m2 / (2.0 * np.pi * radial.total))


@dataclass(frozen=True, eq=False)
class Look:
    """A scene made ready for looking back.

    Parameters
    ----------
    optics : Optics
        Of the scene.
    cells : Cells
    points, search_points, patch_points : Points
        Sample points of the mirror; others for the search of a peak, so that luck there does not bias its value; and
        those of a patch's places and the mirror together. The search has places in its points, too.
    sun_width : float
        Gaussian width per axis that holds as much of the sun within it, with the jitter. [rad]
    sight : Sight
        With the scene's sun; the cells' shares are filled in by `aimed`, the places for each look.
    threads : int
    """

    optics: Optics
    cells: Cells
    points: Points
    search_points: Points
    patch_points: Points
    sun_width: float
    sight: Sight
    threads: int

    def with_optics(self, optics: Optics) -> Look:
        """The same looks through another scene with the same mirror and sun."""
        return replace(self, optics=optics)

    def aimed(self, place: np.ndarray, normal: np.ndarray, *, blur: float = 0.0) -> Look:
        """The look whose samples go where on the mirror they matter for a place and what lies around it.

        Parameters
        ----------
        place, normal : (3,) float64
            Dish frame [m]; unit normal of the side that light arrives on.
        blur : float
            How far around the place looks will be taken from. [m]
        """
        sight = self.sight._replace(places=place[np.newaxis].copy(), normals=normal[np.newaxis].copy())
        cells, (weights, sweeps) = self.cells, self._weights(sight, self.cells, blur)
        for _ in range(N_DIVISIONS):
            coarse = np.flatnonzero((sweeps > FINE) & (weights > NEGLIGIBLE * weights.sum() / len(weights)))
            coarse = coarse[np.argsort(-weights[coarse], kind="stable")[:MOST_DIVIDED]]
            if len(coarse) == 0:
                break
            is_kept = np.ones(len(weights), dtype=bool)
            is_kept[coarse] = False
            quarters = cells.taken(coarse).quartered()
            cells = cells.taken(is_kept).joined(quarters)
            found = self._weights(sight, quarters, blur)
            weights, sweeps = (
                np.concatenate([old[is_kept], new]) for old, new in zip((weights, sweeps), found, strict=True)
            )
        share = cells.area / cells.area.sum()
        if weights.sum() > 0.0:
            share = EVEN_SHARE * share + (1.0 - EVEN_SHARE) * weights / weights.sum()
        cdf = np.cumsum(share)
        sight = sight._replace(
            cell_facet=cells.facet, cell_place=cells.place, cell_cdf=cdf / cdf[-1], cell_scale=cells.area / share
        )
        return replace(self, sight=sight)

    def _weights(self, sight: Sight, cells: Cells, blur: float) -> tuple[np.ndarray, np.ndarray]:
        """How much light each cell should send to the sight's first place, in a common unit, and its sweep, (n,)."""
        weights, sweeps = np.empty(len(cells.facet)), np.empty(len(cells.facet))
        sight = sight._replace(cell_facet=cells.facet, cell_place=cells.place)
        weigh_cells(self.optics.mirror, self.optics.sun, sight, self.sun_width, blur, weights, sweeps)
        return weights * cells.area, sweeps

    def at(self, places: np.ndarray, normals: np.ndarray, *, count: int) -> np.ndarray:
        """Flux of each block at places.

        Parameters
        ----------
        places, normals : (k, 3) float64
            Dish frame [m]; unit normals of the sides that light arrives on.
        count : int
            Samples of each of the 32 scrambles. [–]

        Returns
        -------
        (k, 32) float64
            Contribution of each scramble; the sum over the last axis is the flux. [W/m2]
        """
        return self._sums(places, normals, count=count, is_patch=False) / (count * N_SCRAMBLES)

    def over(self, places: np.ndarray, normals: np.ndarray) -> Estimate:
        """Mean flux over places (32 n, 3), place 32 i + k looked at by sample i of scramble k. [W/m2]"""
        count = len(places) // N_SCRAMBLES
        sums = replace(self, points=self.patch_points)._sums(places, normals, count=count, is_patch=True)
        return total(sums[0] / len(places))

    def world(self) -> World:
        """What the kernel looks through."""
        nothing = empty_tally(n_parts=len(self.optics.parts.role), n_triangles=0, n_screens=0, n_radii=0, n_legs=0)
        return world_of(self.optics, no_screens(), nothing, self.points, 0)

    def _sums(self, places: np.ndarray, normals: np.ndarray, *, count: int, is_patch: bool) -> np.ndarray:
        sight = self.sight._replace(places=np.ascontiguousarray(places), normals=np.ascontiguousarray(normals))
        sums = np.zeros((1 if is_patch else len(places), N_SCRAMBLES))

        def some(first: int) -> None:
            world, state = self.world(), np.empty(self.points.shifts.shape[1], dtype=np.uint32)
            for scramble in range(first, N_SCRAMBLES, self.threads):
                look_back(world, sight, is_patch, scramble, count, state, sums)

        if self.threads == 1:
            some(0)
            return sums
        with ThreadPoolExecutor(max_workers=self.threads) as pool:
            for done in [pool.submit(some, first) for first in range(self.threads)]:
                done.result()
        return sums


def looking(
    optics: Optics,
    *,
    sun: SunState,
    facets: Facets,
    seed: int,
    threads: int,
    has_receivers: bool = True,
    is_cover_clear: bool = True,
) -> Look:
    """A scene made ready for looking back.

    Parameters
    ----------
    optics : Optics
        What the rays meet.
    sun : SunState
    facets : Facets
        In any order; their areas are found by place.
    seed : int
    threads : int
    has_receivers : bool
        Whether receivers and covers stand in the way of reflected light; on its way in, sunlight always meets them.
    is_cover_clear : bool
        Whether covers let through what they transmit, or stop all.
    """
    areas = _areas_in_order(optics, facets)
    cells = cells_of(areas)
    chord, radiance = radiance_table(sun)
    half = float(sun.shape.radial.angle_outside(np.array([0.5]))[0]) / HALF_POWER
    mirror = optics.mirror
    sun_width = math.hypot(half, mirror.jitter)
    alike = (np.full(len(areas), width) for width in (half, mirror.spread, mirror.jitter))
    widths = np.stack([*alike, 2.0 * mirror.slope])
    sight = Sight(
        places=np.zeros((1, 3)),
        normals=np.zeros((1, 3)),
        cell_facet=cells.facet,
        cell_place=cells.place,
        cell_cdf=np.ones(len(cells.facet)),
        cell_scale=np.ones(len(cells.facet)),
        score=np.array([SCORE_SUN, SCORE_SPREAD, SCORE_JITTER, SCORE_SLOPE], dtype=np.int64)[np.argmax(widths, axis=0)],
        chord=chord,
        radiance=radiance,
        dni=float(sun.dni_w_m2),
        has_receivers=has_receivers,
        is_cover_clear=is_cover_clear,
    )
    points, search_points, patch_points = (
        scrambled_points(seed=seed, stream=stream, later_stream=later, n_dimensions=n)
        for stream, later, n in (
            (STREAM_LOOK, STREAM_LOOK_LATER, N_DIMENSIONS),
            (STREAM_SEARCH, STREAM_SEARCH_LATER, N_DIMENSIONS + N_PLACE),
            (STREAM_PATCH, STREAM_PATCH_LATER, N_DIMENSIONS + N_PLACE),
        )
    )
    return Look(optics, cells, points, search_points, patch_points, sun_width, sight, threads)


def _areas_in_order(optics: Optics, facets: Facets) -> np.ndarray:
    """Areas of the facets' outlines in the kernels' order. [m2]"""
    mine, theirs = facets.origin, optics.mirror.origin
    by_place, by_their_place = np.lexsort(mine.T), np.lexsort(theirs.T)
    ordered = mine[by_place]
    if not np.array_equal(ordered, theirs[by_their_place]) or np.any(np.all(np.diff(ordered, axis=0) == 0.0, axis=1)):
        from scipy.spatial import cKDTree

        return facets.plan_areas()[cKDTree(mine).query(theirs)[1]]
    which = np.empty(len(mine), dtype=np.int64)
    which[by_their_place] = by_place
    return facets.plan_areas()[which]


def places_in_patch(
    triangles: np.ndarray, shares: np.ndarray, points: Points, *, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Places spread evenly over triangles, the last of which counts in part.

    Parameters
    ----------
    triangles : (m, 3, 3) float64
        Corners. [m]
    shares : (m,) float64
        Share of each triangle's area that belongs to the patch. [–]
    points : Points
        Whose last three dimensions are those of the place.
    count : int
        Places of each of the 32 scrambles. [–]

    Returns
    -------
    places : (32 count, 3) float64
        Place 32 i + k is point i of scramble k. [m]
    which : (32 count,) int64
        The triangle that each lies in.
    """
    edges = triangles[:, 1:] - triangles[:, :1]
    areas = 0.5 * np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1) * shares
    cdf = np.cumsum(areas) / areas.sum()
    last = slice(-N_PLACE, None)
    u = [point_values(points, scramble=k, start=0, count=count, dimensions=last) for k in range(N_SCRAMBLES)]
    u = np.stack(u, axis=1).reshape(-1, N_PLACE)
    which = np.minimum(np.searchsorted(cdf, u[:, 0], side="right"), len(cdf) - 1)
    root = np.sqrt(u[:, 1])
    b, c = root * (1.0 - u[:, 2]), root * u[:, 2]
    places = triangles[which, 0] + b[:, np.newaxis] * edges[which, 0] + c[:, np.newaxis] * edges[which, 1]
    return places, which
