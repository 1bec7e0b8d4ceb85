"""Where along the axis the spot is smallest, and where its peak is highest, from a pilot sample of rays.

The offsets found place the planes on which all rays are then tallied, so the figures on those planes carry no bias
from the search; the offsets themselves have the error of the pilot sample.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dishtrace.flux.crossing import (
    count_pixels,
    count_radii,
    longest_radius,
    power_within,
    total_and_middle,
)
from dishtrace.flux.planes import CLEAR_END
from dishtrace.flux.smooth import smoothed
from dishtrace.stats import Estimate, from_left_out

N_STEPS = 17
# Half the range searched first, in focal lengths, and by how much a range is narrowed or widened.
FIRST_RANGE = 0.1
WIDEST_RANGE = 0.8
NARROWING = 0.125
# Points about the best one that the parabola is laid through.
N_FITTED = 7
# A stretch as low as the minimum that is longer than this many of its standard errors is no parabola's.
LEVEL_OF_PARABOLA = 12.0
LEVEL_ERRORS = 6.0
N_BINS = 4096
N_PIXELS = 64
PATCH_AREA = 1e-4


def places_at(legs: np.ndarray, height: float) -> tuple[np.ndarray, np.ndarray]:
    """Where rays going up cross the plane z = height, receivers not there: places (b, k, 2) [m] and power (b, k)."""
    dz = legs[..., 5]
    t = np.divide(height - legs[..., 2], dz, out=np.full(dz.shape, -1.0), where=dz > 0.0)
    power = np.where((t > 0.0) & (t <= legs[..., CLEAR_END]), legs[..., 6], 0.0)
    return legs[..., :2] + t[..., np.newaxis] * legs[..., 3:5], power


def left_out(rows: np.ndarray) -> np.ndarray:
    """Sums over blocks: all of them first, then with each block left out, (b + 1, ...)."""
    everything = rows.sum(axis=0, keepdims=True)
    return np.concatenate([everything, everything - rows])


def radius_90(legs: np.ndarray, height: float) -> np.ndarray:
    """R90 about the centroid at a height, for all blocks and with each left out, (b + 1,). [m]"""
    total, x, y = total_and_middle(legs, height)
    if total == 0.0:
        return np.full(len(legs) + 1, np.inf)
    longest = longest_radius(legs, height, x, y) * (1.0 + 1e-12) or 1.0
    counted = np.zeros((len(legs), N_BINS))
    count_radii(legs, height, x, y, longest / N_BINS, counted)
    enclosed = np.cumsum(left_out(counted), axis=1)
    wanted = 0.9 * enclosed[:, -1:]
    above = np.argmax(enclosed >= wanted, axis=1)
    row = np.arange(len(enclosed))
    below = np.where(above > 0, enclosed[row, above - 1], 0.0)
    share = (wanted[:, 0] - below) / np.maximum(enclosed[row, above] - below, 1e-300)
    return (above + share) * longest / N_BINS


def patch_power(legs: np.ndarray, height: float) -> np.ndarray:
    """Power through the brightest disc of 1 cm2 at a height, all blocks and each left out, (b + 1,)."""
    total, *_ = total_and_middle(legs, height)
    sums = np.zeros(len(legs))
    if total == 0.0:
        return np.zeros(len(legs) + 1)
    radius = np.sqrt(PATCH_AREA / np.pi)
    x, y = _brightest(legs, height, radius)
    power_within(legs, height, x, y, radius, sums)
    return left_out(sums)


def _brightest(legs: np.ndarray, height: float, radius: float) -> np.ndarray:
    """Middle of the disc of a given radius that takes most power, to a pixel of the map about the median.

    The map is 64 pixels wide and reaches four times the median distance, or the radius where that is more; the median
    is that of every eighth ray.
    """
    places, power = places_at(legs[:, ::8], height)
    lit = places[power > 0.0]
    if len(lit) == 0:
        places, power = places_at(legs, height)
        lit = places[power > 0.0]
    middle = np.median(lit, axis=0)
    half = 4.0 * max(radius, float(np.median(np.hypot(*(lit - middle).T))))
    pixel = 2.0 * half / N_PIXELS
    counted = np.zeros((N_PIXELS, N_PIXELS))
    count_pixels(legs, height, *(middle - half), pixel, counted)
    reach = int(np.ceil(radius / pixel))
    steps = np.arange(-reach, reach + 1) * pixel
    disc = (np.hypot(*np.meshgrid(steps, steps)) <= radius).astype(float)
    smooth = smoothed(counted, disc)
    row, column = np.unravel_index(np.argmax(smooth), smooth.shape)
    return middle - half + (np.array([column, row]) + 0.5) * pixel


def _lowest(curves: np.ndarray, offsets: np.ndarray) -> Estimate:
    """Offset of the minimum of the first curve, with the jackknife error from the others.

    A parabola is laid through the points about the lowest; without a clear one the lowest point is taken and its
    error is unknown.
    """
    best = int(np.argmin(curves[0]))
    first = min(max(best - N_FITTED // 2, 0), len(offsets) - N_FITTED)
    window = slice(first, first + N_FITTED)
    x = (offsets[window] - offsets[best]) / (offsets[1] - offsets[0])
    a, b, _ = np.polynomial.polynomial.polyfit(x, curves[:, window].T, 2)[::-1]
    if not np.all(np.isfinite(curves[:, window])) or np.any(a <= 0.0):
        return Estimate(float(offsets[best]), None)
    vertex = -b / (2.0 * a)
    if not x[0] <= vertex[0] <= x[-1]:
        return Estimate(float(offsets[best]), None)
    found = offsets[best] + vertex * (offsets[1] - offsets[0])
    return from_left_out(float(found[0]), found[1:])


def _search(curve: Callable[[np.ndarray, float], np.ndarray], legs: np.ndarray, *, focal_length: float) -> Estimate:
    """Lowest point of a curve along the axis: a coarse look, widened while the end is lowest, then a close one.

    The focus itself, with an unknown error, where the curve is level: no light crosses any of the planes.
    """

    def values(offsets: np.ndarray) -> np.ndarray:
        return np.stack([curve(legs, focal_length + offset) for offset in offsets], axis=1)

    half = FIRST_RANGE * focal_length
    while True:
        offsets = np.linspace(-half, half, N_STEPS)
        coarse = values(offsets)
        if np.all(coarse[0] == coarse[0, 0]):
            return Estimate(0.0, None)
        best = int(np.argmin(coarse[0]))
        if best not in (0, N_STEPS - 1) or half >= WIDEST_RANGE * focal_length:
            break
        half *= 2.0
    close = offsets[best] + np.linspace(-half, half, N_STEPS) * NARROWING
    near = values(close)
    found = _lowest(near, close)
    level = level_width(np.concatenate([coarse, near], axis=1), np.concatenate([offsets, close]))
    if found.se is None or level <= LEVEL_OF_PARABOLA * found.se:
        return found
    if level >= half or found.se == 0.0:
        return Estimate(found.value, None)
    widened = level / (LEVEL_ERRORS * found.se) * (found.left_out - found.left_out.mean())
    return from_left_out(found.value, found.value + widened)


def level_width(curves: np.ndarray, offsets: np.ndarray) -> float:
    """Length of the stretch whose values lie within 2 standard errors of the lowest one. [m]

    Parameters
    ----------
    curves : (b + 1, n) float64
        Of all blocks, then with each left out.
    offsets : (n,) float64
        [m]

    Notes
    -----
    The errors are those of the differences, by the jackknife. About the minimum x0 of a parabola they grow with
    |x - x0|, and the stretch is 8 standard errors of x0 long. A much longer one is a plain, anywhere on which the
    minimum may lie: a sixth of it is then the standard error, since few minima lie near its ends. Planes that no light
    crosses (infinite values) are left out.
    """
    is_crossed = np.all(np.isfinite(curves), axis=0)
    curves, offsets = curves[:, is_crossed], offsets[is_crossed]
    beside = curves - curves[:, [int(np.argmin(curves[0]))]]
    n_blocks = len(curves) - 1
    spread = beside[1:] - beside[1:].mean(axis=0)
    errors = np.sqrt((n_blocks - 1) / n_blocks * np.sum(spread**2, axis=0))
    return float(np.ptp(offsets[beside[0] <= 2.0 * errors]))


def smallest_spot(legs: np.ndarray, *, focal_length: float) -> Estimate:
    """Offset from the focus at which R90 is smallest.

    Parameters
    ----------
    legs : (b, k, 9) float64
        Sampled rays of b independent blocks, as `Tally.legs`.
    focal_length : float
        Focal length f, > 0. [m]

    Returns
    -------
    Estimate
        Offset along the axis, towards the sun positive. [m]
    """
    return _search(radius_90, legs, focal_length=focal_length)


def highest_peak(legs: np.ndarray, *, focal_length: float) -> Estimate:
    """Offset from the focus at which the mean flux over the brightest 1 cm2 is highest; as `smallest_spot`."""
    return _search(lambda rays, height: -patch_power(rays, height), legs, focal_length=focal_length)
