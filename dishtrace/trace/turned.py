"""Bodies turned about an axis as the kernels see them: a hull, and where on it which triangle lies."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dishtrace.parts.turned import Turned, triangles_in

# Columns of Bodies.hulls: the body's axes in the dish frame, then its origin [m]; lower and upper end [m]; x^2 + y^2 =
# alpha + beta z + gamma z^2 on the wall; how near to it is not plain [m]; whether it widens upwards (1) or downwards
# (-1); whether it is flat; its part, and the first of its triangles in Bodies.number.
AXES, ORIGIN = 0, 9
LOW, HIGH, ALPHA, BETA, GAMMA, REACH, WIDENS, IS_FLAT, PART, FIRST_NUMBER = range(12, 22)
# Then, four times each for wall, lower and upper end: first place, cells per metre, first cell and number of cells.
LOOKUP = 22
FROM, PER, START, NUMBER_OF = range(LOOKUP, LOOKUP + 4)
N_HULL_COLUMNS = LOOKUP + 12
# Columns of Bodies.bands: sectors; tangent of half of one; the band's line in the middle of a sector from (a, z) on, a
# out from the axis, to a there [m]; its normal and distance from the origin [m]; what (a, z) are multiplied by to give
# the place along it [1/m]; how triangles lie in it; its first triangle; bands before and after; first of its middles.
TURN, TAN, A0, Z0, A1, NR, NZ, OFF, UA, UZ, KIND, FIRST, PREVIOUS, NEXT, MIDDLES = range(15)
N_BAND_COLUMNS = 15
PAIRS, FAN, HALVING = range(3)
# The hull is larger than the body by such a share of its size, far more than rounding can move a ray.
SPARE = 1e-7
# A body whose rings keep so far off a wall of second order, as a share of its size, is met through the tree.
OFF_WALL = 1e-9
# Cells of a lookup for each band.
CELLS_PER_BAND = 4


class Bodies(NamedTuple):
    """Bodies without dents, turned about their axes.

    hulls (f, 34); cells (c,) int64: the band in each cell, of the wall by height, of the ends by radius; bands (b, 15);
    middles (s, 2): unit vector to the middle of each sector; number (t,) int64: number of each body's triangles in the
    kernels' list.
    """

    hulls: np.ndarray
    cells: np.ndarray
    bands: np.ndarray
    middles: np.ndarray
    number: np.ndarray


def wall_of(turned: Turned) -> np.ndarray | None:
    """alpha, beta, gamma of the wall that holds a body, (3,) [m2, m, -]; None where its rings lie on no such wall."""
    bands = turned.bands
    is_wall = bands[:, 3] != bands[:, 5]
    if not is_wall.any():
        return np.array([bands[:, 2].max() ** 2, 0.0, 0.0])
    places = np.concatenate([bands[is_wall, 2:4], bands[is_wall, 4:6]])
    size = np.abs(places).max()
    r2, z = (places[:, 0] / size) ** 2, places[:, 1] / size
    for degree in range(3):
        powers = z[:, np.newaxis] ** np.arange(degree + 1)
        found = np.linalg.lstsq(powers, r2, rcond=None)[0]
        if np.abs(powers @ found - r2).max() < OFF_WALL:
            found = np.append(found, np.zeros(2 - degree)) * size ** np.array([2.0, 1.0, 0.0])
            return found if found[2] <= 0.0 or is_cone(found) else None
    return None


def is_cone(wall: np.ndarray) -> bool:
    """Whether x^2 + y^2 = alpha + beta z + gamma z^2 is a cone: a square on the right."""
    return bool(abs(wall[1] ** 2 - 4.0 * wall[0] * wall[2]) < 1e-6 * (wall[1] ** 2 + abs(4.0 * wall[0] * wall[2])))


def is_flat(turned: Turned) -> bool:
    """Whether all rings lie at one height."""
    return bool(np.ptp(turned.bands[:, [3, 5]]) == 0.0)


def hull_of(turned: Turned) -> np.ndarray:
    """What Bodies.hulls has from LOW to IS_FLAT."""
    heights = turned.bands[:, [3, 5]]
    radii = turned.bands[:, [2, 4]]
    low, high = float(heights.min()), float(heights.max())
    size = max(float(radii.max()), high - low)
    spare = SPARE * size
    alpha, beta, gamma = wall_of(turned)
    widens = 1.0 if radii[np.unravel_index(heights.argmax(), heights.shape)] > 0.0 else -1.0
    flat = 1.0 if is_flat(turned) else 0.0
    return np.array([low - spare, high + spare, alpha + 2.0 * size * spare, beta, gamma, 4.0 * spare, widens, flat])


def surfaces_of(bands: np.ndarray) -> list[np.ndarray]:
    """Numbers of the bands of wall, lower and upper end; both ends of a flat body are the same."""
    is_flat = bands[:, 3] == bands[:, 5]
    low, high = bands[:, [3, 5]].min(), bands[:, [3, 5]].max()
    return [np.flatnonzero(~is_flat), *(np.flatnonzero(is_flat & (bands[:, 3] == z)) for z in (low, high))]


def neighbours_of(bands: np.ndarray) -> np.ndarray:
    """Bands beyond the outer and the inner ring of each, on the same surface, (b, 2); -1 for none."""
    found = np.full((len(bands), 2), -1.0)
    for chosen in surfaces_of(bands):
        at = {}
        for k in chosen:
            for side in (2, 4):
                at.setdefault(tuple(np.round(bands[k, side : side + 2], 12)), []).append(k)
        for k in chosen:
            for column, side in enumerate((2, 4)):
                others = [i for i in at[tuple(np.round(bands[k, side : side + 2], 12))] if i != k]
                found[k, column] = others[0] if others else -1
    return found


def band_rows(bands: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of Bodies.bands of one body, numbers counted from its own first ones, and the middles of its sectors."""
    rows = np.zeros((len(bands), N_BAND_COLUMNS))
    firsts = np.cumsum(triangles_in(bands)) - triangles_in(bands)
    middle = 0.5 * (bands[:, [3, 5]].min() + bands[:, [3, 5]].max())
    middles: dict[float, np.ndarray] = {}
    starts: dict[float, int] = {}
    neighbours = neighbours_of(bands)
    for k, (outer, inner, r0, z0, r1, z1) in enumerate(bands):
        kind = FAN if inner == 1.0 else (PAIRS if inner == outer else HALVING)
        n = inner if kind == HALVING else outer
        half = np.pi / n
        a0, a1 = (r0 if kind == HALVING else r0 * np.cos(half)), r1 * np.cos(half)
        length2 = (a1 - a0) ** 2 + (z1 - z0) ** 2
        nr, nz = (z1 - z0) / np.sqrt(length2), (a0 - a1) / np.sqrt(length2)
        outward = -1.0 if nr * a0 + nz * (z0 - middle) < 0.0 else 1.0
        if n not in middles:
            starts[n] = sum(len(some) for some in middles.values())
            angle = 2.0 * half * (np.arange(n) + 0.5)
            middles[n] = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        line = (n, np.tan(half), a0, z0, a1, outward * nr, outward * nz, outward * (nr * a0 + nz * z0))
        rows[k] = (*line, (a1 - a0) / length2, (z1 - z0) / length2, kind, firsts[k], *neighbours[k], starts[n])
    return rows, np.concatenate(list(middles.values()))


def lookup_of(bands: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What Bodies.hulls has from LOOKUP on, (3, 4), and the cells, numbers counted from its own first ones."""
    rows, cells = np.zeros((3, 4)), [np.zeros(0, dtype=np.int64)]
    for surface, chosen in enumerate(surfaces_of(bands)):
        if len(chosen) == 0:
            continue
        ends = np.sort(bands[chosen][:, [3, 5] if surface == 0 else [2, 4]], axis=1)
        low, high = ends[:, 0].min(), ends[:, 1].max()
        n = CELLS_PER_BAND * len(chosen)
        places = low + (high - low) * (np.arange(n) + 0.5) / n
        within = (places[:, np.newaxis] >= ends[:, 0]) & (places[:, np.newaxis] <= ends[:, 1])
        rows[surface] = low, n / (high - low), sum(len(some) for some in cells), n
        cells.append(chosen[within.argmax(axis=1)])
    return rows, np.concatenate(cells)


def no_bodies() -> Bodies:
    """A set of no bodies."""
    return gathered([], [], [])


def gathered(bodies: list[Turned], parts: list[int], numbers: list[np.ndarray]) -> Bodies:
    """Bodies as the kernels see them.

    Parameters
    ----------
    bodies : list of Turned
        Each with a wall (`wall_of`).
    parts : list of int
        Part of each.
    numbers : list of (t,) int64
        Number of each of its triangles in the kernels' list.
    """
    rows, lookups = [band_rows(body.bands) for body in bodies], [lookup_of(body.bands) for body in bodies]
    first_band = np.cumsum([0] + [len(some) for some, _ in rows])
    first_middle = np.cumsum([0] + [len(middles) for _, middles in rows])
    first_cell = np.cumsum([0] + [len(cells) for _, cells in lookups])
    for k, (some, _) in enumerate(rows):
        some[:, PREVIOUS : NEXT + 1] += np.where(some[:, PREVIOUS : NEXT + 1] >= 0.0, first_band[k], 0.0)
        some[:, MIDDLES] += first_middle[k]
        lookups[k][0][:, START - LOOKUP] += first_cell[k]
    first_number = np.cumsum([0] + [len(some) for some in numbers])
    hulls = [
        (*body.rotation.T.ravel(), *body.origin, *hull_of(body), parts[k], first_number[k], *lookups[k][0].ravel())
        for k, body in enumerate(bodies)
    ]
    return Bodies(
        hulls=np.array(hulls, dtype=float).reshape(-1, N_HULL_COLUMNS),
        cells=np.concatenate([np.zeros(0, np.int64), *(c + first_band[k] for k, (_, c) in enumerate(lookups))]),
        bands=np.concatenate([np.zeros((0, N_BAND_COLUMNS)), *(some for some, _ in rows)]),
        middles=np.concatenate([np.zeros((0, 2)), *(middles for _, middles in rows)]),
        number=np.concatenate([np.zeros(0, np.int64), *numbers]),
    )
