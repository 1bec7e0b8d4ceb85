"""Sample points: the generator's published answers, the Sobol numbers, and what scrambling must keep.

Planted errors that these tests catch: a swapped pair of output words, a wrong round constant (generator); a wrong
coefficient bit (direction numbers); a scramble matrix with its free bits below instead of above the diagonal (the
nets); stepping by the index's lowest set bit of index + 1 instead of index.
"""

from functools import cache

import numpy as np
import pytest
from scipy.stats import qmc

from dishtrace.trace.kernels import sampling
from dishtrace.trace.points import (
    FACET_DIMENSION,
    N_BITS,
    N_SCRAMBLES,
    ORDER_BITS,
    STREAM_MIRROR,
    STREAM_MIRROR_LATER,
    direction_numbers,
    neighbours_in_turn,
    philox,
    point_values,
    scrambled_points,
)
from tests.support.called import from_python

first_point = from_python(sampling.first_point)
next_point = from_python(sampling.next_point)
philox_words = from_python(sampling.philox_words)
point_index = from_python(sampling.point_index)
uniform_four = from_python(sampling.uniform_four)

# Known answers of philox4x32-10: counter, key, words. Source: kat_vectors of the Random123 library (from memory).
KNOWN_ANSWERS = [
    ([0, 0, 0, 0], [0, 0], [0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8]),
    ([0xFFFFFFFF] * 4, [0xFFFFFFFF] * 2, [0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD]),
    (
        [0x243F6A88, 0x85A308D3, 0x13198A2E, 0x03707344],
        [0xA4093822, 0x299F31D0],
        [0xD16CFE09, 0x94FDCCEB, 0x5001E420, 0x24126EA1],
    ),
]


@cache
def points(seed=1, n_dimensions=14):
    return scrambled_points(
        seed=seed, stream=STREAM_MIRROR, later_stream=STREAM_MIRROR_LATER, n_dimensions=n_dimensions
    )


@pytest.mark.parametrize(("counter", "key", "words"), KNOWN_ANSWERS)
def test_generator_gives_its_known_answers(counter, key, words):
    assert philox(np.array([counter]), seed=key[0] | key[1] << 32).tolist() == [words]


@pytest.mark.parametrize(("counter", "key", "words"), KNOWN_ANSWERS)
def test_generator_of_the_kernels_gives_its_known_answers(counter, key, words):
    assert philox_words(*(np.uint64(word) for word in (*counter, *key))) == tuple(words)


def test_later_numbers_are_addressed_by_ray_draw_stream_and_seed():
    """Each coordinate of the address changes all four numbers; the order of the counter's words is fixed."""
    ray, draw, stream, seed = (7 << 32) + 5, 3, 4, (9 << 32) + 8
    words = philox(np.array([[5, 7, draw, stream]]), seed=seed)[0]
    assert uniform_four(ray, draw, stream, 8, 9) == tuple((words + 0.5) / 2.0**32)


def test_numbers_never_reach_zero_or_one():
    """The smallest and largest word lie half a step inside, so quantiles and logarithms stay finite."""
    lowest, highest = (np.array([0, 2**32 - 1]) + 0.5) / 2.0**32
    assert 0.0 < lowest < highest < 1.0
    assert highest == 1.0 - 2.0**-33


def test_direction_numbers_are_those_of_joe_and_kuo():
    """Against scipy's unscrambled Sobol points, which use the table of Joe and Kuo (2008)."""
    n_dimensions, count = 16, 4096
    columns = direction_numbers(n_dimensions)
    index = np.arange(count)
    gray = index ^ (index >> 1)
    bits = ((gray[:, np.newaxis] >> np.arange(N_BITS)) & 1).astype(bool)
    ours = np.bitwise_xor.reduce(np.where(bits[:, np.newaxis], columns, np.uint32(0)), axis=2)
    expected = qmc.Sobol(n_dimensions, scramble=False, bits=32).random(count)
    assert np.array_equal(ours / 2.0**32, expected)


@pytest.mark.parametrize("m", [1, 5, 10])
def test_each_scrambled_dimension_is_a_net(m):
    """The first 2^m points fall one in each interval of length 2^-m, in every dimension of every scramble."""
    for scramble in range(N_SCRAMBLES):
        values = point_values(points(), scramble=scramble, start=0, count=2**m)
        cells = np.sort((values * 2**m).astype(int), axis=0)
        assert np.array_equal(cells, np.broadcast_to(np.arange(2**m)[:, np.newaxis], cells.shape))


def test_every_aligned_stretch_is_a_net_too():
    """Points k 2^m .. (k + 1) 2^m - 1 are as even as the first ones."""
    values = point_values(points(), scramble=3, start=5 * 256, count=256)
    assert np.array_equal(np.sort((values * 256).astype(int), axis=0)[:, 0], np.arange(256))
    assert all(len(np.unique((column * 256).astype(int))) == 256 for column in values.T)


@pytest.mark.parametrize(("pair", "k"), [((0, 1), 8), ((2, 3), 6)])
def test_pairs_that_belong_together_are_nets(pair, k):
    """256 points fill every box of volume 2^-k alike, in every scramble: mirror points, and places on the sun.

    Dimensions 0 and 1 of Sobol's sequence are a (0, 2)-sequence, one point a box; for 2 and 3 t is at most 2.
    """
    for scramble in range(N_SCRAMBLES):
        values = point_values(points(), scramble=scramble, start=0, count=256)[:, list(pair)]
        for i in range(k + 1):
            cells = (values[:, 0] * 2**i).astype(int) * 2 ** (k - i) + (values[:, 1] * 2 ** (k - i)).astype(int)
            assert np.array_equal(np.bincount(cells, minlength=2**k), np.full(2**k, 256 // 2**k))


def test_scrambles_are_independent():
    """The numbers of two scrambles are uncorrelated: |r| < 4.4 / sqrt(n); chance of a false alarm 32 31/2 x 1e-5."""
    first = np.stack([point_values(points(), scramble=k, start=1, count=1)[0] for k in range(N_SCRAMBLES)])
    many = np.concatenate(
        [
            np.stack([point_values(points(seed), scramble=k, start=1, count=1)[0] for k in range(N_SCRAMBLES)])
            for seed in range(100, 110)
        ],
        axis=1,
    )
    assert len(np.unique(first)) == first.size
    r = np.corrcoef(many)
    assert np.abs(r - np.eye(N_SCRAMBLES)).max() < 4.4 / np.sqrt(many.shape[1])


def test_seed_and_stream_change_every_number():
    one = point_values(points(1), scramble=0, start=0, count=8)
    other = point_values(points(2), scramble=0, start=0, count=8)
    stream = point_values(
        scrambled_points(seed=1, stream=2, later_stream=4, n_dimensions=14), scramble=0, start=0, count=8
    )
    assert not np.any(one == other)
    assert not np.any(one == stream)


@pytest.mark.parametrize("start", [0, 1, 255, 4096, 123457, 2**31 - 5, 2**32 - 300])
def test_stepping_gives_the_points_by_index_bit_for_bit(start):
    given = points(seed=(3 << 32) + 77)
    state, count, scramble = np.empty(14, dtype=np.uint32), 290, 17
    expected = point_values(given, scramble=scramble, start=start, count=count)
    first_point(given.columns, given.shifts, scramble, start, state)
    for k in range(count):
        if k > 0:
            next_point(given.columns, scramble, start + k, state)
        assert np.array_equal((state + 0.5) / 2.0**32, expected[k])


@pytest.mark.parametrize("n_bits", [8, 9, ORDER_BITS])
@pytest.mark.parametrize("dimensions", [(0, 1), (FACET_DIMENSION,)])
def test_points_in_another_order_are_the_same_points(n_bits, dimensions):
    """Each block of 2^n keeps its points, and the numbering tells which is which, in later blocks too.

    Planted: the basis in place of its inverse (fails at all sizes), rows and columns of the numbering exchanged.
    """
    before, size = points(), 2**n_bits
    after = neighbours_in_turn(before, n_bits=n_bits, dimensions=dimensions)
    for scramble, start in ((0, 0), (7, 0), (31, 5 * size)):
        there = point_values(after, scramble=scramble, start=start, count=size)
        index = [point_index(after.numbering, scramble, start + k) for k in range(size)]
        assert sorted(index) == list(range(start, start + size))
        here = point_values(before, scramble=scramble, start=start, count=size)
        assert np.array_equal(there, here[np.array(index) - start])
        assert point_index(before.numbering, scramble, start + 3) == start + 3


def test_points_that_follow_each_other_lie_close_together():
    """Of 16384 points each quarter of the block fills one quarter of the square, and so on down to one point a cell."""
    there = point_values(
        neighbours_in_turn(points(), n_bits=ORDER_BITS, dimensions=(0, 1)), scramble=3, start=0, count=2**ORDER_BITS
    )
    for level in range(ORDER_BITS // 2 + 1):
        cell = np.floor(there[:, :2] * 2**level).astype(int) @ [2**level, 1]
        blocks = cell.reshape(4**level, -1)
        assert np.all(blocks == blocks[:, :1])
        assert len(np.unique(blocks[:, 0])) == 4**level


def test_rays_of_one_facet_follow_each_other():
    """By one dimension alone: the points of a block in the order of its values."""
    order = neighbours_in_turn(points(), n_bits=ORDER_BITS, dimensions=(FACET_DIMENSION,))
    there = point_values(order, scramble=9, start=2**ORDER_BITS, count=2**ORDER_BITS)[:, FACET_DIMENSION]
    cell = np.floor(there * 64).astype(int).reshape(64, -1)
    assert np.all(cell == cell[:, :1])
    assert sorted(cell[:, 0]) == list(range(64))
