"""Sample points: scrambled Sobol points for the good dimensions, counter-based random numbers for the rest.

Ray i is point i // 32 of scramble i % 32. The 32 scrambles are independent, so they give the standard error of
every number. A point depends on (seed, stream, scramble, index, dimension) and on nothing else.
"""

from __future__ import annotations

import csv
from importlib import resources
from typing import NamedTuple

import numpy as np

from dishtrace.chance import philox

N_SCRAMBLES = 32
N_BITS = 32
STREAM_MIRROR = 1
STREAM_DIRECT = 2
STREAM_MIRROR_LATER = 3
STREAM_DIRECT_LATER = 4
# Dimensions of a mirror ray: 0-1 mirror point, 2-3 place on the sun, 4-5 slope error, 6-7 beam spread,
# 8-9 pointing jitter, 10 what the first part does, 11-12 where it sends the light.
N_DIMENSIONS_MIRROR = 13
# Dimensions of a direct ray: 0 triangle, 1-2 place in it, 3-4 place on the sun, 5 what the part does, 6-7 where to.
N_DIMENSIONS_DIRECT = 8


class Points(NamedTuple):
    """What the kernels need to step through the points of one stream.

    columns : (32, d, 32) uint32, scrambled direction numbers; shifts : (32, d) uint32, digital shifts;
    seed_low, seed_high : both halves of the random seed; later_stream : stream of the random numbers of later bounces.
    """

    columns: np.ndarray
    shifts: np.ndarray
    seed_low: int
    seed_high: int
    later_stream: int


def direction_numbers(n_dimensions: int) -> np.ndarray:
    """Unscrambled Sobol direction numbers.

    Parameters
    ----------
    n_dimensions : int
        1 to 16. [–]

    Returns
    -------
    (n_dimensions, 32) uint32
        Column k belongs to bit k of the Gray code of the index; the most significant bit is the first binary digit.
    """
    table = resources.files("dishtrace.data").joinpath("sobol_directions.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in table.splitlines() if not line.startswith("#")))
    columns = np.empty((n_dimensions, N_BITS), dtype=np.uint32)
    columns[0] = [1 << (N_BITS - 1 - k) for k in range(N_BITS)]
    for dimension, row in zip(range(1, n_dimensions), rows, strict=False):
        degree, coefficients = int(row["degree"]), int(row["coefficients"])
        m = [int(row[f"m{i + 1}"]) for i in range(degree)]
        for k in range(degree, N_BITS):
            value = m[k - degree] ^ (m[k - degree] << degree)
            for i in range(1, degree):
                if (coefficients >> (degree - 1 - i)) & 1:
                    value ^= m[k - i] << i
            m.append(value)
        columns[dimension] = [m[k] << (N_BITS - 1 - k) for k in range(N_BITS)]
    return columns


def scrambled_points(*, seed: int, stream: int, later_stream: int, n_dimensions: int) -> Points:
    """Thirty-two independent scrambles of the Sobol points of one stream.

    Each is a random linear matrix scramble with a digital shift, which leaves every point uniform, keeps the net's
    equidistribution and gives the variance of full nested scrambling.

    Parameters
    ----------
    seed : int
        0 <= seed < 2**64. [–]
    stream, later_stream : int
        Names of the purposes, so that a draw added to one leaves the others unchanged. [–]
    n_dimensions : int
        Dimensions wanted, at most 16. [–]

    Returns
    -------
    Points

    References
    ----------
    .. [1] J. Matousek, "On the L2-discrepancy for anchored boxes", J. Complexity 14 (1998) 527-556.
    """
    columns = direction_numbers(n_dimensions)
    scramble, dimension, row = np.meshgrid(
        np.arange(N_SCRAMBLES), np.arange(n_dimensions), np.arange(N_BITS + 1), indexing="ij"
    )
    counters = np.stack([scramble, dimension, row, np.full_like(row, stream)], axis=-1).reshape(-1, 4)
    words = philox(counters, seed=seed)[:, 0].reshape(scramble.shape).astype(np.uint32)
    bit = np.arange(N_BITS, dtype=np.uint32)
    diagonal = np.uint32(1) << (np.uint32(N_BITS - 1) - bit)
    above = ~((diagonal << np.uint32(1)) - np.uint32(1))
    matrix = (words[:, :, :N_BITS] & above) | diagonal
    parity = np.bitwise_count(matrix[:, :, :, np.newaxis] & columns[np.newaxis, :, np.newaxis, :]) & 1
    scrambled = np.sum(parity.astype(np.uint64) * diagonal.astype(np.uint64)[:, np.newaxis], axis=2)
    return Points(
        columns=np.ascontiguousarray(scrambled.astype(np.uint32)),
        shifts=np.ascontiguousarray(words[:, :, N_BITS]),
        seed_low=seed & 0xFFFFFFFF,
        seed_high=seed >> 32,
        later_stream=later_stream,
    )


def point_values(points: Points, *, scramble: int, start: int, count: int) -> np.ndarray:
    """Points of one scramble, computed one by one from their index (the plain twin of the kernels' stepping).

    Parameters
    ----------
    points : Points
    scramble : int
        0 to 31.
    start, count : int
        First index and number of points.

    Returns
    -------
    (count, d) float64
        In the open interval (0, 1). [–]
    """
    index = np.arange(start, start + count, dtype=np.uint64)
    gray = index ^ (index >> np.uint64(1))
    bits = ((gray[:, np.newaxis] >> np.arange(N_BITS, dtype=np.uint64)) & np.uint64(1)).astype(bool)
    chosen = np.where(bits[:, np.newaxis, :], points.columns[scramble][np.newaxis], np.uint32(0))
    state = np.bitwise_xor.reduce(chosen, axis=2) ^ points.shifts[scramble]
    return (state.astype(np.float64) + 0.5) * 2.0**-N_BITS
