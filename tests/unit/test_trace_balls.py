"""Balls around what trees hold: who passes them by meets nothing.

Planted errors that these tests catch: a radius that leaves corners out, or its square forgotten; the way along the ray
not taken off; balls of other trees counted.
"""

import numpy as np
import pytest

from dishtrace.parts.solids import box, sphere
from dishtrace.trace.assembly import ball_around
from dishtrace.trace.compiling import kernel
from dishtrace.trace.kernels.balls import count_passed
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.triangles import FAR
from dishtrace.vec import normalise
from tests.support.search import hits_by_search
from tests.support.small_scenes import PLATE, POT, prepared, scene_text
from tests.support.trees import corners_of

SHAPES = {"box": box((0.1, 0.2, 0.5)).triangles, "ball": sphere(0.3).triangles + np.array([5.0, -3.0, 1.0])}


@kernel
def counts(balls, columns, found):
    """Balls that each lane passes through: start and direction in the first six columns, the answer in the last."""
    count_passed(balls, columns, np.int64(0), np.int64(3 * BATCH), BATCH, found, np.int64(6 * BATCH))


def passed(balls, origin, direction):
    """Number of balls that each ray passes through, (n,)."""
    found = []
    for start in range(0, len(origin), BATCH):
        columns = np.zeros((7, BATCH))
        count = len(origin[start : start + BATCH])
        columns[:3, :count], columns[3:6, :count] = origin[start : start + BATCH].T, direction[start : start + BATCH].T
        flat = columns.ravel()
        counts(np.atleast_2d(balls), flat, flat)
        found.append(flat.reshape(7, BATCH)[6, :count].copy())
    return np.concatenate(found)


@pytest.mark.parametrize("triangles", SHAPES.values(), ids=SHAPES.keys())
def test_what_is_met_lies_in_the_ball(triangles, seed):
    """Rays at corners and by chance, from near and from a thousand sizes away."""
    generator = np.random.default_rng(seed)
    n = 4000
    target = triangles[generator.integers(len(triangles), size=n), 0]
    direction = normalise(generator.normal(size=(n, 3)))
    origin = target - direction * np.where(np.arange(n) % 2 == 0, 0.5, 500.0)[:, np.newaxis]
    t, number = np.empty(n), np.empty(n, dtype=np.int64)
    hits_by_search(corners_of(triangles), origin, direction, np.full(n, -1), t, number)
    is_passed = passed(ball_around(triangles, reach=500.0), origin, direction)
    assert np.count_nonzero(t < FAR) > 0.5 * n
    assert np.all(is_passed[t < FAR] == 1.0)


def test_a_ball_is_no_larger_than_it_must_be():
    """Through the middle, and by a hundredth of the radius inside and outside, from any side."""
    ball = ball_around(SHAPES["ball"], reach=10.0)
    assert np.allclose(ball, [5.0, -3.0, 1.0, 0.3**2], rtol=3e-3, atol=1e-3)
    direction = normalise(np.random.default_rng(1).normal(size=(300, 3)))
    across = normalise(np.cross(direction, [0.3, 0.1, 0.9]))
    for share, expected in ((0.0, 1.0), (0.99, 1.0), (1.01, 0.0)):
        origin = ball[:3] + share * np.sqrt(ball[3]) * across - 2.0 * direction
        assert np.all(passed(ball, origin, direction) == expected)


def test_balls_are_counted_one_by_one():
    balls = np.array([[0.0, 0.0, 0.0, 1.0], [3.0, 0.0, 0.0, 1.0], [0.0, 9.0, 0.0, 1.0]])
    origin = np.array([[-5.0, 0.0, 0.0], [0.0, -5.0, 0.0], [0.0, 0.0, 5.0], [5.0, 5.0, 5.0]])
    direction = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])
    assert passed(balls, origin, direction).tolist() == [2.0, 2.0, 1.0, 0.0]


def test_every_root_has_its_ball():
    placed = prepared(scene_text(POT + PLATE))
    optics = placed.assembly.optics
    assert optics.balls.shape == (len(optics.roots), 4) == (2, 4)
    meshes = {mesh.role: mesh.triangles.reshape(-1, 3) for mesh in placed.meshes}
    for ball, role in zip(optics.balls, ("stand", "receiver"), strict=True):
        far = np.sum((meshes[role] - ball[:3]) ** 2, axis=1)
        assert far.max() == pytest.approx(ball[3], rel=1e-5)
