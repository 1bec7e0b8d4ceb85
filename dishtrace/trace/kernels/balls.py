"""Which rays come near what a tree holds at all: those that pass through the ball around it, all lanes at once."""

from __future__ import annotations

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import BATCH


@device
def passes(ball, px, py, pz, vx, vy, vz):
    """Whether the line through p along the unit vector v passes through a ball (4,): middle, square of its radius."""
    px, py, pz = px - ball[0], py - ball[1], pz - ball[2]
    along = px * vx + py * vy + pz * vz
    px, py, pz = px - along * vx, py - along * vy, pz - along * vz
    return px * px + py * py + pz * pz <= ball[3]


@device
def count_passed(balls, columns, place, direction, n, g, counted):
    """How many of the balls each of the first n lanes passes through, into a column of g.

    place, direction: the first of three columns each, of another array or of g.
    """
    for j in range(n):
        g[counted + j] = 0.0
    for k in range(balls.shape[0]):
        for j in range(n):
            is_near = passes(
                balls[k],
                columns[place + j],
                columns[place + BATCH + j],
                columns[place + 2 * BATCH + j],
                columns[direction + j],
                columns[direction + BATCH + j],
                columns[direction + 2 * BATCH + j],
            )
            g[counted + j] += 1.0 if is_near else 0.0
