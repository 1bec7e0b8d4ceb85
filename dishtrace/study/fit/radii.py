"""Centroid and radii of the spot on a photograph as it is, without any tracing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.study.fit.blocks import variance
from dishtrace.study.fit.patch import Patch

SHARES = {"r50_m": 0.5, "r90_m": 0.9}
FINE = 16
"""Steps of the encircled light within the side of a bin. [–]"""
BORDER = 0.86
"""Light farther out than this share of the grid's half width is taken as background. [–]"""


@dataclass(frozen=True, eq=False)
class Radii:
    """What a photograph tells of its spot.

    Parameters
    ----------
    values, errors : dict of float
        centroid_x_m, centroid_y_m, r50_m, r90_m about the centroid, and their standard errors. [m]
    """

    values: dict[str, float]
    errors: dict[str, float]


def radii(patch: Patch, *, light: np.ndarray | None = None, noise: np.ndarray | None = None) -> Radii:
    """Centroid, R50 and R90 of the light within the circle that fits into the grid.

    Parameters
    ----------
    patch : Patch
    light : (n, n) float64, optional
        In place of the patch's own light, with holes filled in.
    noise : (n, n) float64, optional
        What the photo has beside its true light, as far as known; left out, each bin less the mean of its neighbours,
        which shows noise that is new in each bin.

    Notes
    -----
    What blurs the photo's light (pixels, softening) is taken out of the radii as for a Gaussian spot, for which
    R^2 = -2 s^2 ln(1 - p). The background is the plane through the light near the border. An error e of a bin's light
    moves the radius that holds the share p by `(p - [inside]) e / (dE/dR)`, and the centroid by
    `(place - centroid) e / E`; these are summed block by block. The background's own error counts alike.
    """
    given = patch.light if light is None else light
    x, y = np.meshgrid(patch.x_m, patch.y_m)
    middle = patch.centre_m
    out = np.hypot(x - middle[0], y - middle[1]) / patch.half_width_m
    known = np.isfinite(given)
    border = known & (out > BORDER)
    plane = np.stack([np.ones(x.shape), (x - middle[0]) / patch.half_width_m, (y - middle[1]) / patch.half_width_m], -1)
    base, base_noise = _background(plane, given, border)
    clean = np.where(known, given - base, 0.0)
    shaken = _new_noise(given) if noise is None else np.nan_to_num(noise)
    clipped = np.where(out <= 1.0, clean, 0.0)
    centroid = _centroid(clipped, x, y)
    values = {"centroid_x_m": centroid[0], "centroid_y_m": centroid[1]}
    distance = np.hypot(x - centroid[0], y - centroid[1])
    is_used = (distance <= patch.half_width_m) & (out <= 1.0)
    whole = float(clipped[is_used].sum())
    influence = {
        "centroid_x_m": np.where(is_used, (x - centroid[0]) / whole, 0.0),
        "centroid_y_m": np.where(is_used, (y - centroid[1]) / whole, 0.0),
    }
    for key, share in SHARES.items():
        seen, density = _radius(distance[is_used], clipped[is_used], share, patch.pitch_m)
        values[key] = float(np.sqrt(max(seen**2 + 2.0 * patch.blur_m**2 * np.log(1.0 - share), 0.0)))
        influence[key] = np.where(is_used, (share - (distance < seen)) / density, 0.0)
    errors = {key: _block_error(weight, shaken, plane, base_noise, border) for key, weight in influence.items()}
    return Radii(values, errors)


def _background(plane: np.ndarray, light: np.ndarray, border: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The plane through the border's light, and the matrix that takes the border's noise to its three numbers."""
    solve = np.linalg.pinv(plane[border])
    return plane @ (solve @ light[border]), solve


def _new_noise(light: np.ndarray) -> np.ndarray:
    """Each bin less the mean of its four neighbours, scaled to the noise of one bin; 0 where one is missing."""
    noise = np.zeros_like(light)
    around = 0.25 * (light[:-2, 1:-1] + light[2:, 1:-1] + light[1:-1, :-2] + light[1:-1, 2:])
    noise[1:-1, 1:-1] = (light[1:-1, 1:-1] - around) / np.sqrt(1.25)
    return np.nan_to_num(noise)


def _centroid(light: np.ndarray, x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    whole = light.sum()
    return float((light * x).sum() / whole), float((light * y).sum() / whole)


def _radius(distance: np.ndarray, light: np.ndarray, share: float, pitch: float) -> tuple[float, float]:
    """Radius that holds a share of the light [m], and how fast the light inside grows with it there.

    Each bin's light is taken to lie in a ring about as thick as the bin, so that the curve has no steps.
    """
    fine = pitch / FINE
    rings = np.bincount(np.floor(distance / fine + 0.5).astype(np.int64) + FINE, weights=light)
    rings = np.concatenate([rings, np.zeros(FINE)])
    sums = np.concatenate([[0.0], np.cumsum(np.cumsum(rings))])
    inside = (sums[FINE:] - sums[:-FINE]) / FINE
    edges = (np.arange(len(inside)) - 0.5 * FINE) * fine
    wanted = share * inside[-1]
    above = max(int(np.argmax(inside >= wanted)), 1)
    part = (wanted - inside[above - 1]) / (inside[above] - inside[above - 1])
    radius = float(edges[above - 1] + part * (edges[above] - edges[above - 1]))
    low, high = (np.interp(radius + step, edges, inside) for step in (-pitch, pitch))
    return radius, float(high - low) / (2.0 * pitch)


def _block_error(
    weight: np.ndarray, noise: np.ndarray, plane: np.ndarray, solve: np.ndarray, border: np.ndarray
) -> float:
    """Standard error of a sum of weighted noise, less the background that is fitted to the border's noise."""
    per_number = (weight[..., np.newaxis] * plane).sum(axis=(0, 1))
    total = weight.copy()
    total[border] -= per_number @ solve
    return float(np.sqrt(variance(total * noise)))
