"""Peak flux over a patch of stated area: the place from one half of the blocks, the value from the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.stats import Estimate, total

PATCH_AREA = 1e-4
# Triangles around which patches are tried, the brightest first.
N_CANDIDATES = 2000


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


def unbiased_peak(patches: np.ndarray) -> tuple[Estimate, int]:
    """Largest of many patch means without the bias of picking the luckiest.

    Each half of the blocks (every other one) names its best patch, and tells the value of the other half's.

    Parameters
    ----------
    patches : (b, m) float64
        What each of b blocks contributes to the mean flux of each of m patches. [W/m2]

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
    chosen = np.empty(n_blocks)
    chosen[0::2] = patches[0::2, np.argmax(patches[1::2].sum(axis=0))]
    chosen[1::2] = patches[1::2, np.argmax(patches[0::2].sum(axis=0))]
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
    from scipy.signal import fftconvolve

    n = maps.shape[1]
    pixel = 2.0 * half_width / n
    disc = _disc_shares(np.sqrt(patch_area / np.pi), pixel)
    disc = disc[: 2 * n - 1, : 2 * n - 1] if len(disc) <= 2 * n - 1 else np.ones((1, 1))
    area = float(disc.sum() * pixel**2)
    patches = fftconvolve(maps, disc[np.newaxis], mode="same", axes=(1, 2)) / area
    flux, index = unbiased_peak(patches.reshape(len(maps), -1))
    row, column = divmod(index, n)
    place = (np.array([column, row]) + 0.5) * pixel - half_width
    return Peak(flux, area, place, index)


def _disc_shares(radius: float, pixel: float) -> np.ndarray:
    """Share of each pixel that a centred disc covers, by 16 x 16 places in a pixel; one pixel for a tiny disc."""
    if np.pi * radius**2 <= pixel**2:
        return np.ones((1, 1))
    reach = int(np.ceil(radius / pixel - 0.5))
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
    one counted in part, so that the areas add up to the patch's; a single triangle where that is larger.

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
    from scipy.spatial import cKDTree

    flux = power.sum(axis=0) / areas
    candidates = np.argsort(-flux, kind="stable")[:N_CANDIDATES]
    candidates = candidates[flux[candidates] > 0.0]
    if len(candidates) == 0:
        return Peak(Estimate(0.0, None), float(min(patch_area, areas.sum())), centers[0], 0)
    tree = cKDTree(centers)
    reach = np.sqrt(patch_area / np.pi) + 2.0 * np.sqrt(areas.max())
    means = np.empty((len(power), len(candidates)))
    patch_areas = np.empty(len(candidates))
    for k, i in enumerate(candidates):
        near = np.array(tree.query_ball_point(centers[i], reach))
        near = near[normals[near] @ normals[i] > 0.5]
        near = near[np.argsort(np.linalg.norm(centers[near] - centers[i], axis=1), kind="stable")]
        before = np.concatenate([[0.0], np.cumsum(areas[near])[:-1]])
        share = np.clip((patch_area - before) / areas[near], 0.0, 1.0)
        share[0] = 1.0
        patch_areas[k] = share @ areas[near]
        means[:, k] = power[:, near] @ share / patch_areas[k]
    value, best = unbiased_peak(means)
    index = int(candidates[best])
    return Peak(value, float(patch_areas[best]), centers[index], index)
