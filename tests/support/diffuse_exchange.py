"""Light in a diffusely reflecting cylindrical cavity, by radiosity over rings."""

from __future__ import annotations

import numpy as np


def disc_exchange(first, second, distance):
    """Area times view factor between coaxial parallel discs of two radii. [m2]

    Closed form of textbooks of heat transfer, e.g. F.P. Incropera and D.P. DeWitt, *Fundamentals of Heat and Mass
    Transfer*, table of view factors, coaxial parallel discs (from memory): F = (S - sqrt(S^2 - 4 (r2 / r1)^2)) / 2,
    S = 1 + (1 + R2^2) / R1^2, R = r / distance; the discs in contact see each other whole.
    """
    if first == 0.0 or second == 0.0:
        return 0.0
    if distance == 0.0:
        return np.pi * min(first, second) ** 2
    s = 1.0 + (distance**2 + second**2) / first**2
    return np.pi * first**2 * 0.5 * (s - np.sqrt(s * s - 4.0 * (second / first) ** 2))


def cavity_absorption(*, radius, depth, opening_radius, absorptance, first_on_floor, n=40):
    """Where light ends that first meets the floor of a cavity and is reflected diffusely ever after.

    Parameters
    ----------
    first_on_floor : callable
        Share of the light that meets the floor within a radius. [–]
    n : int
        Rings of the floor and of the lid, and bands of the wall.

    Returns
    -------
    floor, wall, lid, escaped : float
        Shares of the light absorbed by each, and what leaves through the opening. [–]
    """
    floor = [(r0, r1, 0.0) for r0, r1 in pairs(np.linspace(0.0, radius, n + 1))]
    lid = [(r0, r1, depth) for r0, r1 in pairs(np.linspace(opening_radius, radius, n + 1))]
    bands = pairs(np.linspace(0.0, depth, n + 1))
    opening = [(0.0, opening_radius, depth)]
    flats = [*floor, *lid, *opening]
    size = len(flats) + n
    exchange = np.zeros((size, size))
    for i, (a0, a1, za) in enumerate(flats):
        for j, (b0, b1, zb) in enumerate(flats):
            if za != zb:
                exchange[i, j] = sum(
                    sign * disc_exchange(ra, rb, depth) for sign, ra, rb in ((1, a1, b1), (-1, a0, b1), (-1, a1, b0), (1, a0, b0))
                )
        for k, (z0, z1) in enumerate(bands):
            near, far = sorted((abs(z0 - za), abs(z1 - za)))
            seen = [disc_exchange(r, radius, near) - disc_exchange(r, radius, far) for r in (a1, a0)]
            exchange[i, len(flats) + k] = exchange[len(flats) + k, i] = seen[0] - seen[1]
    for k, (z0, z1) in enumerate(bands):
        for m, (y0, y1) in enumerate(bands):
            exchange[len(flats) + k, len(flats) + m] = band_exchange(radius, z0, z1, y0, y1)
    areas = np.array([np.pi * (b * b - a * a) for a, b, _ in flats] + [2.0 * np.pi * radius * (z1 - z0) for z0, z1 in bands])
    view = exchange / areas[:, np.newaxis]
    first = np.zeros(size)
    first[:n] = np.diff(first_on_floor(np.linspace(0.0, radius, n + 1)))
    reflects = np.full(size, 1.0 - absorptance)
    reflects[len(flats) - 1] = 0.0
    arrivals = np.linalg.solve(np.eye(size) - (reflects[:, np.newaxis] * view).T, first)
    taken = (1.0 - reflects) * arrivals
    return taken[:n].sum(), taken[len(flats) :].sum(), taken[n : 2 * n].sum(), taken[len(flats) - 1]


def pairs(edges):
    """Neighbouring pairs of a sequence of edges."""
    return list(zip(edges[:-1], edges[1:], strict=True))


def band_exchange(radius, z0, z1, y0, y1):
    """Area times view factor between two bands of one cylinder wall, or of a band with itself. [m2]"""
    if (z0, z1) == (y0, y1):
        disc = np.pi * radius**2
        return 2.0 * np.pi * radius * (z1 - z0) - 2.0 * (disc - disc_exchange(radius, radius, z1 - z0))
    if z0 > y0:
        z0, z1, y0, y1 = y0, y1, z0, z1
    near = disc_exchange(radius, radius, y0 - z1) - disc_exchange(radius, radius, y1 - z1)
    return near - disc_exchange(radius, radius, y0 - z0) + disc_exchange(radius, radius, y1 - z0)
