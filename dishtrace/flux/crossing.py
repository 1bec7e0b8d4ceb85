"""Compiled sums over sampled rays that cross a plane square to the dish axis, receivers not there.

Rays are `Tally.legs` (b, k, 9): origin, unit direction, power, end, end without receivers. [m, –, W]
"""

from __future__ import annotations

import math

from dishtrace.flux.planes import CLEAR_END
from dishtrace.trace.compiling import device, kernel


@device
def crossing(legs, i, j, height):
    """Where ray j of block i crosses z = height: (x, y, power), power 0 when it does not."""
    dz = legs[i, j, 5]
    if dz <= 0.0:
        return 0.0, 0.0, 0.0
    t = (height - legs[i, j, 2]) / dz
    if t <= 0.0 or t > legs[i, j, CLEAR_END]:
        return 0.0, 0.0, 0.0
    return legs[i, j, 0] + t * legs[i, j, 3], legs[i, j, 1] + t * legs[i, j, 4], legs[i, j, 6]


@kernel
def total_and_middle(legs, height):
    """Power that crosses and its centroid: (power, x, y), zeros when none does."""
    total = sum_x = sum_y = 0.0
    for i in range(legs.shape[0]):
        for j in range(legs.shape[1]):
            x, y, power = crossing(legs, i, j, height)
            total += power
            sum_x += power * x
            sum_y += power * y
    if total <= 0.0:
        return 0.0, 0.0, 0.0
    return total, sum_x / total, sum_y / total


@kernel
def longest_radius(legs, height, x0, y0):
    """Largest distance of a crossing from (x0, y0)."""
    longest = 0.0
    for i in range(legs.shape[0]):
        for j in range(legs.shape[1]):
            x, y, power = crossing(legs, i, j, height)
            r2 = (x - x0) ** 2 + (y - y0) ** 2
            if power > 0.0 and r2 > longest:
                longest = r2
    return math.sqrt(longest)


@kernel
def count_radii(legs, height, x0, y0, width, counts):
    """Add the power of each block over distance from (x0, y0) into counts (b, bins) of a width."""
    last = counts.shape[1] - 1
    for i in range(legs.shape[0]):
        for j in range(legs.shape[1]):
            x, y, power = crossing(legs, i, j, height)
            if power > 0.0:
                counts[i, min(int(math.sqrt((x - x0) ** 2 + (y - y0) ** 2) / width), last)] += power


@kernel
def count_pixels(legs, height, x0, y0, pixel, counts):
    """Add the power of all blocks over place into counts (rows, columns), the first corner at (x0, y0)."""
    for i in range(legs.shape[0]):
        for j in range(legs.shape[1]):
            x, y, power = crossing(legs, i, j, height)
            column, row = math.floor((x - x0) / pixel), math.floor((y - y0) / pixel)
            if power > 0.0 and 0 <= column < counts.shape[1] and 0 <= row < counts.shape[0]:
                counts[row, column] += power


@kernel
def power_within(legs, height, x0, y0, radius, sums):
    """Add the power of each block within a radius of (x0, y0) into sums (b,)."""
    for i in range(legs.shape[0]):
        for j in range(legs.shape[1]):
            x, y, power = crossing(legs, i, j, height)
            if (x - x0) ** 2 + (y - y0) ** 2 <= radius * radius:
                sums[i] += power
