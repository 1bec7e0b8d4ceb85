"""Counter-based random numbers."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.chance import normals, philox


@pytest.mark.parametrize(
    ("counter", "seed", "words"),
    [
        ([0, 0, 0, 0], 0, [0x6627E8D5, 0xE169C58D, 0xBC57AC4C, 0x9B00DBD8]),
        ([0xFFFFFFFF] * 4, 0xFFFFFFFFFFFFFFFF, [0x408F276D, 0x41C83B0E, 0xA20BC7C6, 0x6D5451FD]),
    ],
)
def test_known_answers(counter, seed, words):
    """The first two of the three published known answers of philox4x32-10 (Salmon et al. 2011; from memory)."""
    assert philox(np.array([counter], dtype=np.uint64), seed=seed)[0].tolist() == words


def test_a_draw_depends_on_its_index_alone():
    every = normals(5, 7, 100)
    assert np.array_equal(normals(5, 7, np.array([93, 3])), every[[93, 3]])
    assert not np.any(np.isin(every, normals(5, 8, 100)))
    assert not np.any(np.isin(every, normals(6, 7, 100)))
    assert normals(5, 7, np.array([2**40]))[0] != normals(5, 7, np.array([0]))[0]


def test_moments_and_tails(seed):
    """Mean, variance, fourth moment, share beyond 2, and covariance of two purposes: 5 numbers, each within 4.6
    standard errors: false alarms below 3e-5. Fails when the draws are not scaled by sqrt(-2 ln u)."""
    n = 200_000
    x, y = normals(seed, 1, n), normals(seed, 2, n)
    outside = 0.04550026389635842  # 2 (1 - Phi(2))
    assert abs(x.mean()) < 4.6 / np.sqrt(n)
    assert abs(np.mean(x**2) - 1.0) < 4.6 * np.sqrt(2.0 / n)
    assert abs(np.mean(x**4) - 3.0) < 4.6 * np.sqrt(96.0 / n)
    assert abs(np.mean(np.abs(x) > 2.0) - outside) < 4.6 * np.sqrt(outside * (1.0 - outside) / n)
    assert abs(np.mean(x * y)) < 4.6 / np.sqrt(n)
