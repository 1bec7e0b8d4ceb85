"""Counter-based random numbers: a number depends on (seed, purpose, index) and on nothing else."""

from __future__ import annotations

import numpy as np

_PHILOX_M0 = np.uint64(0xD2511F53)
_PHILOX_M1 = np.uint64(0xCD9E8D57)
_PHILOX_W0 = np.uint64(0x9E3779B9)
_PHILOX_W1 = np.uint64(0xBB67AE85)
_LOW = np.uint64(0xFFFFFFFF)


def philox(counters: np.ndarray, *, seed: int) -> np.ndarray:
    """Philox-4x32-10, a counter-based generator, on arrays.

    Parameters
    ----------
    counters : (n, 4) integers below 2**32
        The counter words.
    seed : int
        0 <= seed < 2**64; its halves are the key.

    Returns
    -------
    (n, 4) uint64
        Words below 2**32.

    References
    ----------
    .. [1] J.K. Salmon et al., "Parallel Random Numbers: As Easy as 1, 2, 3", SC11, 2011, doi 10.1145/2063384.2063405.
    """
    c0, c1, c2, c3 = (np.asarray(counters[:, i], dtype=np.uint64) for i in range(4))
    k0, k1 = np.uint64(seed & 0xFFFFFFFF), np.uint64(seed >> 32)
    for _ in range(10):
        p0, p1 = c0 * _PHILOX_M0, c2 * _PHILOX_M1
        c0, c1, c2, c3 = (
            (p1 >> np.uint64(32)) ^ c1 ^ k0,
            p1 & _LOW,
            (p0 >> np.uint64(32)) ^ c3 ^ k1,
            p0 & _LOW,
        )
        k0, k1 = (k0 + _PHILOX_W0) & _LOW, (k1 + _PHILOX_W1) & _LOW
    return np.stack([c0, c1, c2, c3], axis=1)


def normals(seed: int, purpose: int, index: np.ndarray | int) -> np.ndarray:
    """Standard normal draws.

    Parameters
    ----------
    seed : int
        0 <= seed < 2**64. [–]
    purpose : int
        Name of what the draws are for, below 2**32; draws of different purposes are independent. [–]
    index : (n,) int64, or int
        Numbers of the draws, >= 0; a single number n stands for 0 to n - 1. [–]

    Returns
    -------
    (n,) float64
        Mean 0, standard deviation 1, by Box and Muller's polar form of two uniform numbers of 52 bits. [–]

    References
    ----------
    .. [1] G.E.P. Box and M.E. Muller, "A Note on the Generation of Random Normal Deviates", Annals of Mathematical
       Statistics 29 (1958) 610-611 (from memory).
    """
    places = np.arange(index, dtype=np.uint64) if np.ndim(index) == 0 else np.asarray(index).astype(np.uint64)
    counters = np.zeros((len(places), 4), dtype=np.uint64)
    counters[:, 0], counters[:, 1] = places & _LOW, places >> np.uint64(32)
    counters[:, 3] = purpose
    words = philox(counters, seed=seed)
    first, second = (_open_unit(words[:, k], words[:, k + 1]) for k in (0, 2))
    return np.sqrt(-2.0 * np.log(first)) * np.cos(2.0 * np.pi * second)


def _open_unit(high: np.ndarray, low: np.ndarray) -> np.ndarray:
    """Numbers in (0, 1) from 52 of 64 bits, middles of their cells."""
    bits = (high << np.uint64(20)) | (low >> np.uint64(12))
    return (bits.astype(np.float64) + 0.5) * 2.0**-52
