"""The bounding-volume tree: its build, and that its answer is that of a search through all triangles.

Planted errors that these tests catch: boxes not widened before they are rounded; the children still to be looked into
forgotten; the limit of an old hit kept; the last triangle of a leaf left out.
"""

import numpy as np
import pytest

from dishtrace.dish.facets import skin
from dishtrace.dish.outline import circle
from dishtrace.parts.solids import cylinder, sphere
from dishtrace.trace.kernels import triangles
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.going import N_GOING, N_MARKS
from dishtrace.trace.kernels.triangles import FAR
from dishtrace.trace.tree import STACK_SIZE, WIDTH, build_tree, joined, new_flock, new_stack
from dishtrace.vec import normalise
from tests.support.aimed import IN_PLANE, aimed
from tests.support.called import from_python
from tests.support.mirrors import mirror_of
from tests.support.search import hits_by_search, hits_by_tree, hits_together
from tests.support.trees import children, corners_of, depth, leaves, nodes

triangle_hit = from_python(triangles.triangle_hit)


def tree_over(triangles, *, first, reach=0.0):
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    return build_tree(low, high, first=first, reach=reach, corners=corners_of(triangles))


def scattered(n, *, size=0.1, seed=0):
    """Random triangles."""
    generator = np.random.default_rng(seed)
    return generator.uniform(-1.0, 1.0, (n, 1, 3)) + size * generator.normal(size=(n, 3, 3))


MESHES = {
    "one": scattered(1),
    "two": scattered(2),
    "five": scattered(5),
    "scattered": scattered(700),
    "slivers": scattered(400) * np.array([1.0, 1.0, 1e-4]),
    "sphere": sphere(0.5).triangles,
    "cylinder": cylinder(0.12, 0.3).triangles,
    "twice the same": np.concatenate([scattered(150), scattered(150)]),
    "all the same": np.repeat(scattered(1), 60, axis=0),
    "one centre": np.array([scattered(1)[0] * s - scattered(1)[0].mean(axis=0) * s for s in np.linspace(0.1, 2, 80)]),
    "sizes from 1e-6 to 1": scattered(300) * 10.0 ** np.random.default_rng(5).uniform(-6, 0, (300, 1, 1)),
    "far from the origin": scattered(300) + np.array([500.0, -900.0, 30.0]),
    "level grid": np.array(
        [[[i, j, 0], [i + 1, j, 0], [i, j + 1, 0]] for i in range(12) for j in range(12)], dtype=float
    ),
}


@pytest.mark.parametrize("triangles", MESHES.values(), ids=MESHES.keys())
def test_each_triangle_lies_in_one_leaf_and_its_boxes_hold_it(triangles):
    first = 1000
    tree, order = tree_over(triangles, first=first)
    assert np.array_equal(np.sort(order), np.arange(len(triangles)))
    placed = triangles[order]
    covered = np.zeros(len(triangles), dtype=int)
    for start, count, box in leaves(tree):
        assert 1 <= count <= WIDTH
        held = placed[start - first : start - first + count]
        covered[start - first : start - first + count] += 1
        assert np.all(held.min(axis=(0, 1)) > box[:3])
        assert np.all(held.max(axis=(0, 1)) < box[3:])
    assert np.array_equal(covered, np.ones(len(triangles)))


@pytest.mark.parametrize("triangles", MESHES.values(), ids=MESHES.keys())
def test_boxes_of_inner_nodes_hold_those_below(triangles):
    tree, _ = tree_over(triangles, first=0)
    for node in nodes(tree):
        for box, child, _ in children(tree, node):
            if child >= 0:
                below = np.array([held for held, _, _ in children(tree, child)])
                assert np.all(below[:, :3].min(axis=0) >= box[:3])
                assert np.all(below[:, 3:].max(axis=0) <= box[3:])


def test_leaves_hold_their_triangles_side_by_side():
    """Corners and edges of each, and beyond the last one numbers that no ray can meet."""
    triangles = MESHES["scattered"]
    tree, order = tree_over(triangles, first=30)
    corners = corners_of(triangles[order])
    for leaf, (start, count) in enumerate(zip(tree.leaf_first, lengths(tree), strict=True)):
        assert np.array_equal(tree.packs[leaf, :, :count].T, corners[start - 30 : start - 30 + count])
        assert np.all(np.isnan(tree.packs[leaf, :, count:]))


def lengths(tree):
    """Number of triangles in each leaf, by leaf."""
    found = np.zeros(len(tree.leaf_first), dtype=int)
    for node in nodes(tree):
        for _, child, count in children(tree, node):
            if child < 0:
                found[-1 - child] = count
    return found


def test_joined_trees_are_both():
    """From either root the triangles of that tree, in the joint numbering."""
    one, other = MESHES["scattered"], MESHES["cylinder"]
    tree_one, order_one = tree_over(one, first=0)
    tree_other, order_other = tree_over(other, first=len(one))
    tree, roots = joined(tree_one, tree_other)
    assert roots[0] == 0
    for start, mesh, order in zip(roots, (one, other), (order_one, order_other), strict=True):
        origin, direction = awkward_rays(mesh, 2000, 1)
        skip = np.full(2000, -1)
        t, number = run_tree(tree, origin, direction, skip, root=start)
        expected, expected_number = run_search(corners_of(mesh[order]), origin, direction, skip)
        is_plane = np.arange(2000) % 8 == IN_PLANE
        assert np.array_equal(t[~is_plane], expected[~is_plane])
        assert np.all(number[number >= 0] >= (0 if start == 0 else len(one)))
        assert expected_number.max() > 0


def test_a_node_is_four_lines_of_memory():
    tree, _ = tree_over(MESHES["scattered"], first=0)
    assert tree.boxes.shape[1:] == tree.links.shape[1:] == (64,)
    assert tree.boxes.strides == (256, 4)
    assert tree.boxes.ctypes.data % 64 == 0
    assert np.shares_memory(tree.boxes, tree.links)


def test_boxes_are_widened_by_what_single_precision_can_shift_a_ray():
    """By 3e-7 at least and 1e-6 at most of the largest coordinate that rays start from."""
    for reach in (0.0, 50.0):
        triangles = scattered(300)
        tree, order = tree_over(triangles, first=0, reach=reach)
        largest = max(reach, np.abs(triangles).max())
        for start, count, box in leaves(tree):
            held = triangles[order[start : start + count]]
            room = np.concatenate([held.min(axis=(0, 1)) - box[:3], box[3:] - held.max(axis=(0, 1))])
            assert room.min() > 3e-7 * largest
            assert room.max() < 1e-6 * largest


@pytest.mark.parametrize("triangles", MESHES.values(), ids=MESHES.keys())
def test_no_arrangement_outgrows_the_stack(triangles):
    tree, _ = tree_over(triangles, first=0)
    assert depth(tree) < STACK_SIZE


def test_deepest_arrangement_keeps_to_the_stack():
    """Sizes and places that halve from triangle to triangle, so that every split takes off only a few."""
    scale = 0.5 ** np.arange(700.0)[:, np.newaxis, np.newaxis]
    tree, order = tree_over(scattered(1) * scale + scale, first=0)
    assert depth(tree) < STACK_SIZE
    assert len(order) == 700


def test_empty_tree_has_no_leaves():
    tree, order = tree_over(np.zeros((0, 3, 3)), first=7)
    assert len(order) == 0
    assert leaves(tree) == []
    out = run_tree(tree, np.zeros((1, 3)), np.array([[0.0, 0.0, 1.0]]), np.array([-1]))
    assert (out[0][0], out[1][0]) == (FAR, -1)


def run_tree(tree, origin, direction, skip, *, root=0):
    """Distances and numbers, of rays one by one; those of rays together are the same to the last bit."""
    t, number = np.empty((2, len(origin))), np.empty((2, len(origin)), dtype=np.int64)
    hits_by_tree(tree, root, NO_MIRROR, origin, direction, skip, new_stack(), t[0], number[0])
    going, marks = np.zeros(N_GOING * BATCH), np.zeros(N_MARKS * BATCH, dtype=np.int64)
    hits_together(tree, root, origin, direction, skip, going, marks, new_flock(), t[1], number[1])
    assert np.array_equal(t[0], t[1]) and np.array_equal(number[0], number[1])
    return t[0], number[0]


def run_search(corners, origin, direction, skip):
    t, number = np.empty(len(origin)), np.empty(len(origin), dtype=np.int64)
    hits_by_search(corners, origin, direction, skip, t, number)
    return t, number


# Trees over triangles do not look at the mirror.
NO_MIRROR = mirror_of(skin(circle(1.0), focal_length=1.0, slope=0.0))


def awkward_rays(triangles, n, seed):
    """Rays at random, at corners, at edges, in the triangles' planes, along the axes, and from on the triangles."""
    generator = np.random.default_rng(seed)
    middle, size = triangles.mean(axis=(0, 1)), np.ptp(triangles, axis=(0, 1)).max() + 1e-3
    chosen = triangles[generator.integers(len(triangles), size=n)]
    kind = np.arange(n) % 8
    origin = middle + size * generator.uniform(-1.0, 1.0, (n, 3))
    target, direction = aimed(chosen, origin, kind, generator, off_edge=lambda _: 0.0)
    along = kind == 5
    axis = np.eye(3)[generator.integers(3, size=np.count_nonzero(along))]
    origin[along] = target[along] - 2.0 * size * axis
    direction[along] = axis
    origin[kind == 6] = target[kind == 6]
    direction[kind == 6] = generator.normal(size=(np.count_nonzero(kind == 6), 3))
    return origin, normalise(direction)


def assert_tree_is_search(triangles, n, seed):
    origin, direction = awkward_rays(triangles, n, seed)
    tree, order = tree_over(triangles, first=0, reach=float(np.abs(origin).max()))
    corners = corners_of(triangles[order])
    skip = np.where(np.arange(n) % 3 == 0, np.random.default_rng(seed).integers(len(triangles), size=n), -1)
    t, number = run_tree(tree, origin, direction, skip)
    expected, expected_number = run_search(corners, origin, direction, skip)
    # A ray that lies in a triangle's plane to the last bit meets it anywhere or nowhere.
    normals = normalise(np.cross(corners[:, 3:6], corners[:, 6:]))
    slant = np.abs(np.sum(direction * normals[expected_number], axis=1))
    in_plane = (expected_number >= 0) & (slant < 1e-15)
    assert np.all(np.arange(n)[in_plane] % 8 == IN_PLANE)
    assert np.array_equal(t[~in_plane], expected[~in_plane])
    # Where two triangles are hit at the very same distance either may be named.
    for k in np.flatnonzero((number != expected_number) & ~in_plane):
        assert triangle_hit(corners, number[k], *origin[k], *direction[k]) == expected[k]
    assert np.count_nonzero(expected < FAR) > 0.05 * n


@pytest.mark.parametrize("triangles", MESHES.values(), ids=MESHES.keys())
def test_tree_gives_the_hit_of_a_search_through_all(triangles, seed):
    assert_tree_is_search(triangles, 20000 // len(MESHES) * 2, seed)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["scattered", "sphere", "cylinder", "twice the same", "far from the origin"])
def test_tree_gives_the_hit_of_a_search_through_all_a_million_times(name, seed):
    assert_tree_is_search(MESHES[name], 200000, seed)


def test_rays_from_far_away_miss_nothing():
    """Starts a thousand times as far as the triangles are large: boxes must be widened by that reach."""
    triangles = MESHES["level grid"] / 12.0 - 0.5
    generator = np.random.default_rng(7)
    origin = 1000.0 * normalise(generator.normal(size=(4000, 3)))
    # Aimed at the grid's lines, where the leaves' boxes end.
    target = np.column_stack([generator.integers(0, 13, 4000) / 12.0, generator.random(4000), np.zeros(4000)]) - 0.5
    direction, skip = normalise(target - origin), np.full(4000, -1)
    tree, order = tree_over(triangles, first=0, reach=1000.0)
    corners = corners_of(triangles[order])
    t, number = run_tree(tree, origin, direction, skip)
    expected, expected_number = run_search(corners, origin, direction, skip)
    assert np.array_equal(t, expected)
    assert 0.3 < np.mean(expected_number >= 0) < 1.0
