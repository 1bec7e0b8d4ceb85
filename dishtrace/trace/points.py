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
# Points are put in another order within blocks of at most 2**ORDER_BITS.
ORDER_BITS = 14
STREAM_MIRROR = 1
STREAM_DIRECT = 2
STREAM_MIRROR_LATER = 3
STREAM_DIRECT_LATER = 4
# Dimensions of a mirror ray: 0-1 point of the facet, 2-3 place on the sun, 4-5 slope error, 6-7 beam spread,
# 8-9 pointing jitter, 10 what the first part does, 11-12 where it sends the light, 13 facet. On a skin what turns
# light (2 to 9) is counted from the way outwards (kernels/batch.py:outwards).
N_DIMENSIONS_MIRROR = 14
# Dimension that picks the facet.
FACET_DIMENSION = 13
# Sobol dimensions of the dimensions of a mirror ray, where there are facets: the third, which goes best with the first
# two, picks the facet, so that points are even on each; the slope, which spreads the light most, has the next ones.
SOBOL_WITH_FACETS = (0, 1, 5, 6, 3, 4, *range(7, 14), 2)
# Dimensions of a direct ray: 0 triangle, 1-2 place in it, 3-4 place on the sun, 5 what the part does, 6-7 where to.
N_DIMENSIONS_DIRECT = 8


class Points(NamedTuple):
    """What the kernels need to step through the points of one stream.

    columns : (32, d, 32) uint32, scrambled direction numbers; shifts : (32, d) uint32, digital shifts;
    numbering : (32, 32) uint32, what each bit of the Gray code of a place in the order does to that of a point's index;
    seed_low, seed_high : both halves of the random seed; later_stream : stream of the random numbers of later bounces.
    """

    columns: np.ndarray
    shifts: np.ndarray
    numbering: np.ndarray
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


def mirror_points(*, seed: int, has_facets: bool) -> Points:
    """The points of mirror rays.

    Parameters
    ----------
    seed : int
        0 <= seed < 2**64. [–]
    has_facets : bool
        Whether the mirror has more than one facet.
    """
    return scrambled_points(
        seed=seed,
        stream=STREAM_MIRROR,
        later_stream=STREAM_MIRROR_LATER,
        n_dimensions=N_DIMENSIONS_MIRROR,
        sobol=SOBOL_WITH_FACETS if has_facets else None,
    )


def direct_points(*, seed: int) -> Points:
    """The points of direct rays, 0 <= seed < 2**64."""
    return scrambled_points(
        seed=seed, stream=STREAM_DIRECT, later_stream=STREAM_DIRECT_LATER, n_dimensions=N_DIMENSIONS_DIRECT
    )


def scrambled_points(
    *, seed: int, stream: int, later_stream: int, n_dimensions: int, sobol: tuple[int, ...] | None = None
) -> Points:
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
    sobol : tuple of int, optional
        Sobol dimension of each; left out, the first ones in order.

    Returns
    -------
    Points

    References
    ----------
    .. [1] J. Matousek, "On the L2-discrepancy for anchored boxes", J. Complexity 14 (1998) 527-556.
    """
    columns = direction_numbers(n_dimensions)
    if sobol is not None:
        columns = columns[list(sobol)]
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
        numbering=np.tile(np.uint32(1) << np.arange(N_BITS, dtype=np.uint32), (N_SCRAMBLES, 1)),
        seed_low=seed & 0xFFFFFFFF,
        seed_high=seed >> 32,
        later_stream=later_stream,
    )


def neighbours_in_turn(points: Points, *, n_bits: int, dimensions: tuple[int, ...]) -> Points:
    """The same points in an order in which those that follow each other start close to each other on the mirror.

    Every whole block of 2**n_bits points holds what it held before; within it, points go through the cells of some
    dimensions, each cell whole before the next, down to cells of one point. Rays next to each other then meet the
    same triangles, which the processor has at hand.

    Parameters
    ----------
    points : Points
        As scrambled_points gives them.
    n_bits : int
        At most ORDER_BITS, so that the arithmetic is exact. [–]
    dimensions : tuple of int
        (0, 1), or one alone: in these the blocks of points are nets with one point to a cell. [–]

    Returns
    -------
    Points
        With the numbering that tells the index of each.

    Notes
    -----
    The leading digits of those dimensions, taken in turn, are a linear map of the Gray code's bits over the
    field of two elements; it can be undone, since the points are a net. So a change of basis sorts them. The inverse is
    that over the real numbers, times the determinant, which is odd.
    """
    place = np.arange(n_bits)
    level = n_bits - 1 - place
    chosen, digit = np.asarray(dimensions)[level % len(dimensions)], N_BITS - 1 - level // len(dimensions)
    leading = points.columns[:, chosen, :n_bits] >> digit.astype(np.uint32)[:, np.newaxis]
    digits = (leading & 1).astype(np.float64)
    adjugate = np.linalg.det(digits)[:, np.newaxis, np.newaxis] * np.linalg.inv(digits)
    basis = (np.rint(adjugate).astype(np.int64) & 1).astype(np.uint32)
    columns, numbering = points.columns.copy(), points.numbering.copy()
    terms = points.columns[:, :, :n_bits, np.newaxis] * basis[:, np.newaxis]
    columns[:, :, :n_bits] = np.bitwise_xor.reduce(terms, axis=2)
    numbering[:, :n_bits] = np.bitwise_xor.reduce(points.numbering[:, :n_bits, np.newaxis] * basis, axis=1)
    return points._replace(columns=columns, numbering=numbering)


def point_values(
    points: Points, *, scramble: int, start: int, count: int, dimensions: slice = slice(None)
) -> np.ndarray:
    """Points of one scramble, computed one by one from their index (the plain twin of the kernels' stepping).

    Parameters
    ----------
    points : Points
    scramble : int
        0 to 31.
    start, count : int
        First index and number of points.
    dimensions : slice
        Those wanted; left out, all.

    Returns
    -------
    (count, d) float64
        In the open interval (0, 1). [–]
    """
    index = np.arange(start, start + count, dtype=np.uint64)
    gray = index ^ (index >> np.uint64(1))
    n_bits = (start + count - 1).bit_length()
    bits = ((gray[:, np.newaxis] >> np.arange(n_bits, dtype=np.uint64)) & np.uint64(1)).astype(bool)
    columns = points.columns[scramble, dimensions, :n_bits]
    chosen = np.where(bits[:, np.newaxis, :], columns[np.newaxis], np.uint32(0))
    state = np.bitwise_xor.reduce(chosen, axis=2) ^ points.shifts[scramble, dimensions]
    return (state.astype(np.float64) + 0.5) * 2.0**-N_BITS
