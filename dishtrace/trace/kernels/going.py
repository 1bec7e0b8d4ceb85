"""Columns for light under way: the lanes of a batch, one stretch after the other, and what each still carries.

Lanes are packed: after every meeting those that go on move to the front. Lane i of the first stretch is ray i of the
batch.
"""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.sampling import point_index
from dishtrace.trace.points import N_SCRAMBLES

# Columns of World.going, each BATCH long: place, unit direction, power now and at the start of the walk, where the
# stretch ends [m], and where it would end were receivers and covers not there; then what a screen sees of it: place of
# crossing [m], power there, cells of two histograms, distance from the middle [m]; whether it may meet the mirror,
# whether it still asks what it meets of a body, the triangle that it should meet of it, and triangles on trial.
PX, PY, PZ, VX, VY, VZ, POWER_NOW, POWER_FIRST, END, CLEAR_END = (BATCH * k for k in range(10))
CROSS_A, CROSS_B, CROSSING, SPOT_CELL, RING_CELL, RADIUS, MAY_MEET, ASKING, GUESSED, TRIAL = (
    BATCH * k for k in range(10, 20)
)
# Triangles on trial fill two columns.
N_GOING = 21
# Columns of World.marks: ray of the batch; facet and triangle left, or -1; facet and triangle met, or -1; draws made,
# and the draw that serves the next part; whether a part was touched; whether it is sunlight still.
LANE, FACET_LEFT, TRIANGLE_LEFT, FACET_MET, TRIANGLE_MET, DRAWS, PART_DRAW, TOUCHED, FROM_SUN = (
    BATCH * k for k in range(9)
)
N_MARKS = 9
# How far off a surface light starts again, as a share of the dish's size and of its place's coordinates.
HAIR = 1e-12


@device
def off_surface(size, x, y, z, nx, ny, nz, sign):
    """A place on a surface moved a hair off it, to the side its light came from (sign 1: the normal's side) [m].

    size: of the dish, about [m]. The hair is some thousand times the rounding error of the place, so that a second
    surface in the same plane is behind the light that is thrown back, and ahead of the light that goes straight on.
    """
    hair = sign * HAIR * (size + abs(x) + abs(y) + abs(z))
    return x + hair * nx, y + hair * ny, z + hair * nz


@device
def note_place(path, n_path, x, y, z):
    """Append a place to the path of a ray that is being watched."""
    n = n_path[0]
    if n < path.shape[0]:
        path[n, 0], path[n, 1], path[n, 2] = x, y, z
        n_path[0] = n + 1


@device
def is_finite(x, y, z):
    """Whether a place is a place."""
    return math.isfinite(x) and math.isfinite(y) and math.isfinite(z)


@device
def ray_number(numbering, m, scramble, first, i):
    """Number of the ray in lane i, of the batch whose first point has the place `first` in the order."""
    return point_index(numbering, scramble, first + m[LANE + i]) * N_SCRAMBLES + scramble


@device
def moved(g, m, i, to):
    """Move lane i of light under way to lane `to`, which is not beyond it."""
    for column in (PX, PY, PZ, VX, VY, VZ, POWER_NOW, POWER_FIRST):
        g[column + to] = g[column + i]
    for column in (LANE, FACET_LEFT, TRIANGLE_LEFT, DRAWS, PART_DRAW, TOUCHED, FROM_SUN):
        m[column + to] = m[column + i]
