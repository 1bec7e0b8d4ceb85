"""Peak flux over a patch of stated area: the place from one half of the blocks, the value from the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dishtrace.flux.smooth import smoothed
from dishtrace.stats import Estimate, total

PATCH_AREA = 1e-4
# Triangles around which patches are tried, the brightest first.
N_CANDIDATES = 2000
# A part of fewer patches than this is looked at whole: its patches may never reach their full area.
SMALL_PART = 4.0


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
    means = np.empty((len(power), len(candidates)))
    patch_areas = np.empty(len(candidates))
    for k, (near, share) in enumerate(_patches(candidates, areas, centers, normals, patch_area)):
        patch_areas[k] = share @ areas[near]
        means[:, k] = power[:, near] @ share / patch_areas[k]
    allowed = np.stack([np.isin(candidates, half) for half in halves])
    value, best = unbiased_peak(means, allowed if allowed.any(axis=1).all() else None)
    index = int(candidates[best])
    return Peak(value, float(patch_areas[best]), centers[index], index)


def patch_about(
    triangle: int, *, areas: np.ndarray, centers: np.ndarray, normals: np.ndarray, patch_area: float = PATCH_AREA
) -> tuple[np.ndarray, np.ndarray]:
    """The patch about one triangle: its triangles, that one first, and the share of each; as in `surface_peak`."""
    return next(_patches(np.array([triangle]), areas, centers, normals, patch_area))


def _brightest(flux: np.ndarray) -> np.ndarray:
    """Triangles with the highest flux, at most N_CANDIDATES, none without light."""
    first = np.argsort(-flux, kind="stable")[:N_CANDIDATES]
    return first[flux[first] > 0.0]


def _patches(
    middles: np.ndarray, areas: np.ndarray, centers: np.ndarray, normals: np.ndarray, patch_area: float
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Triangles of the patch about each middle one, and the share of each that belongs to it."""
    from scipy.spatial import cKDTree

    tree = cKDTree(centers)
    first_reach = np.sqrt(patch_area / np.pi) + np.sqrt(areas.max())
    widest = float(np.linalg.norm(np.ptp(centers, axis=0))) + first_reach
    if areas.sum() < SMALL_PART * patch_area:
        first_reach = 2.0 * widest
    for i in middles:
        reach = first_reach
        while True:
            near = np.array(tree.query_ball_point(centers[i], reach))
            near = near[normals[near] @ normals[i] > 0.5]
            if areas[near].sum() >= patch_area or reach > widest:
                break
            reach *= 1.5
        near = near[np.argsort(np.linalg.norm(centers[near] - centers[i], axis=1), kind="stable")]
        before = np.concatenate([[0.0], np.cumsum(areas[near])[:-1]])
        share = np.clip((patch_area - before) / areas[near], 0.0, 1.0)
        share[0] = 1.0
        yield near, share
