"""Peak flux over a patch of stated area: the place from one half of the blocks, the value from the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.flux.patches import Surface, around, shares_of
from dishtrace.flux.smooth import smoothed
from dishtrace.stats import Estimate, total

PATCH_AREA = 1e-4
# Triangles around which patches are tried, the brightest first.
N_CANDIDATES = 2000
# Patches that are looked at first, to tell which others can be brighter.
N_FIRST = 16


@dataclass(frozen=True, eq=False)
class Peak:
    """Highest mean flux over a patch.

    Parameters
    ----------
    flux : Estimate
        Mean incident flux over the patch. [W/m2]
    area : float
        Area of the patch. [m2]
    place : (k,) float64
        Its centre: on a map (2,), or in the dish frame (3,). [m]
    index : int
        Triangle or pixel at its centre.
    """

    flux: Estimate
    area: float
    place: np.ndarray
    index: int


def unbiased_peak(patches: np.ndarray, allowed: np.ndarray | None = None) -> tuple[Estimate, int]:
    """Largest of many patch means without the bias of picking the luckiest.

    Each half of the blocks (every other one) names its best patch, and tells the value of the other half's.

    Parameters
    ----------
    patches : (b, m) float64
        What each of b blocks contributes to the mean flux of each of m patches. [W/m2]
    allowed : (2, m) bool, optional
        Patches that the even and the odd half may name; all, when left out.

    Returns
    -------
    flux : Estimate
    best : int
        The patch that is best by all blocks.
    """
    best = int(np.argmax(patches.sum(axis=0)))
    n_blocks = len(patches)
    if n_blocks < 4:
        return total(patches[:, best]), best
    named = [patches[half::2].sum(axis=0) for half in (0, 1)]
    if allowed is not None:
        named = [np.where(may, sums, -np.inf) for may, sums in zip(allowed, named, strict=True)]
    chosen = np.empty(n_blocks)
    chosen[0::2] = patches[0::2, np.argmax(named[1])]
    chosen[1::2] = patches[1::2, np.argmax(named[0])]
    return total(chosen), best


def map_peak(maps: np.ndarray, *, half_width: float, patch_area: float = PATCH_AREA) -> Peak:
    """Peak over a disc on a map.

    Parameters
    ----------
    maps : (b, n, n) float64
        Power of each block in each pixel, row = y. [W]
    half_width : float
        Half the side of the map. [m]
    patch_area : float
        Area of the disc; one pixel where pixels are larger. [m2]
    """
    n = maps.shape[1]
    pixel = 2.0 * half_width / n
    radius = np.sqrt(patch_area / np.pi)
    disc = _disc_shares(radius, pixel, most=n - 1)
    is_cut = radius > (len(disc) // 2 + 0.5) * pixel
    area = patch_area if is_cut else float(disc.sum() * pixel**2)
    patches = smoothed(maps, disc) / area
    flux, index = unbiased_peak(patches.reshape(len(maps), -1))
    row, column = divmod(index, n)
    place = (np.array([column, row]) + 0.5) * pixel - half_width
    return Peak(flux, area, place, index)


def _disc_shares(radius: float, pixel: float, *, most: int) -> np.ndarray:
    """Share of each pixel that a centred disc covers, by 16 x 16 places in a pixel; one pixel for a tiny disc.

    At most `most` pixels to either side of the middle one.
    """
    if np.pi * radius**2 <= pixel**2:
        return np.ones((1, 1))
    reach = int(min(np.ceil(radius / pixel - 0.5), most))
    n = 2 * reach + 1
    places = ((np.arange(16 * n) + 0.5) / 16.0 - 0.5 * n) * pixel
    inside = np.hypot(*np.meshgrid(places, places)) <= radius
    return inside.reshape(n, 16, n, 16).mean(axis=(1, 3))


def surface_peak(
    power: np.ndarray,
    *,
    areas: np.ndarray,
    centers: np.ndarray,
    normals: np.ndarray,
    patch_area: float = PATCH_AREA,
) -> Peak:
    """Peak over a patch of one side of a part.

    A patch is the triangles nearest to a triangle's centre whose normals lie within 60 degrees of its own, the last
    one counted in part, so that the areas add up to the patch's; a single triangle where that is larger. Each half of
    the blocks has the patches about its own brightest triangles to choose from.

    Parameters
    ----------
    power : (b, n) float64
        Incident power of each block on each triangle. [W]
    areas : (n,) float64
        [m2]
    centers, normals : (n, 3) float64
        Centres [m] and unit normals.
    patch_area : float
        Area asked for. [m2]
    """
    halves = [_brightest(power[half::2].sum(axis=0) / areas) for half in (0, 1)]
    candidates = np.union1d(*halves)
    if len(candidates) == 0:
        return Peak(Estimate(0.0, None), float(min(patch_area, areas.sum())), centers[0], 0)
    allowed = np.stack([np.isin(candidates, half) for half in halves])
    allowed = allowed if allowed.any(axis=1).all() else np.ones_like(allowed)
    surface = Surface(areas, centers, normals)
    sums = np.stack([power.sum(axis=0), power[0::2].sum(axis=0), power[1::2].sum(axis=0)])
    may = np.stack([np.ones(len(candidates), dtype=bool), *allowed])
    bounds = _bounds(sums, candidates, may, surface, patch_area)
    kept, means, patch_areas = [], [], []
    for some, about in around(candidates, surface, patch_area):
        bright = np.stack([about.largest(each / areas) for each in sums]) >= bounds[:, np.newaxis]
        promising = np.flatnonzero(np.any(bright & may[:, some], axis=0))
        kept.append(some[promising])
        for found in (_patch_mean(power, about.of(k), areas, patch_area) for k in promising):
            means.append(found[0])
            patch_areas.append(found[1])
    numbers = np.concatenate(kept)
    order = np.argsort(numbers)
    numbers = numbers[order]
    value, best = unbiased_peak(np.stack(means, axis=1)[:, order], allowed[:, numbers])
    index = int(candidates[numbers[best]])
    return Peak(value, float(patch_areas[order[best]]), centers[index], index)


def _patch_mean(power: np.ndarray, near: np.ndarray, areas: np.ndarray, patch_area: float) -> tuple[np.ndarray, float]:
    """Mean flux over a patch of each row of power, (b,) [W/m2], and its area [m2]."""
    share = shares_of(near, areas, patch_area)
    area = share @ areas[near]
    return power[:, near] @ share / area, float(area)


def _bounds(
    sums: np.ndarray, candidates: np.ndarray, may: np.ndarray, surface: Surface, patch_area: float
) -> np.ndarray:
    """Fluxes that the best patch reaches, by all blocks and by either half of them: those of a few bright patches.

    A patch's mean flux is not above that of its brightest triangle, so a patch of dimmer triangles is not the best.

    Parameters
    ----------
    sums : (3, n) float64
        Power on each triangle of all blocks, and of either half. [W]
    candidates : (m,) int64
    may : (3, m) bool
        Candidates that each of them may name.

    Returns
    -------
    (3,) float64
        [W/m2]
    """
    best = np.zeros(3)
    for which, (total_power, allowed) in enumerate(zip(sums, may, strict=True)):
        mine = candidates[allowed]
        first = mine[np.argsort(-(total_power / surface.areas)[mine])[:N_FIRST]]
        for _, about in around(first, surface, patch_area):
            for k in range(len(about.middles)):
                mean, _ = _patch_mean(sums[which : which + 1], about.of(k), surface.areas, patch_area)
                best[which] = max(best[which], float(mean[0]))
    return best * (1.0 - 1e-9)


def patch_about(
    triangle: int, *, areas: np.ndarray, centers: np.ndarray, normals: np.ndarray, patch_area: float = PATCH_AREA
) -> tuple[np.ndarray, np.ndarray]:
    """The patch about one triangle: its triangles, that one first, and the share of each; as in `surface_peak`."""
    ((_, about),) = around(np.array([triangle]), Surface(areas, centers, normals), patch_area)
    near = about.of(0)
    return near, shares_of(near, areas, patch_area)


def _brightest(flux: np.ndarray) -> np.ndarray:
    """Triangles with the highest flux, at most N_CANDIDATES, none without light."""
    first = np.argsort(-flux, kind="stable")[:N_CANDIDATES]
    return first[flux[first] > 0.0]
