"""One ray and one triangle, at all the awkward places, and what lets light through on its way.

Planted errors that these tests catch: u + v <= 1 forgotten, a sign in v (back faces lost), hits behind kept,
the box test without its order of near and far, a child not asked for, covers that count twice or not at all.
"""

import numpy as np
import pytest
from numba import njit

from dishtrace.trace.kernels import surface, triangles
from dishtrace.trace.kernels.lanes import NOTHING, enter_node, next_child
from dishtrace.trace.kernels.triangles import FURTHEST, HIGH_HALF, KEY, NUMBER
from dishtrace.trace.optics import Parts
from dishtrace.trace.reference_optics import triangle_distances
from dishtrace.trace.tree import N_COLUMNS, WIDTH, build_tree, new_stack
from dishtrace.vec import normalise
from tests.support.called import from_python
from tests.support.trees import corners_of

sheet_optics = from_python(surface.sheet_optics)
inverse_of = from_python(triangles.inverse_of)
transmitted_share = from_python(triangles.transmitted_share)
triangle_hit = from_python(triangles.triangle_hit)

# First corner, then the two edges: a right triangle in z = 0 with corners (0, 0), (1, 0), (0, 2).
FLAT = np.array([[0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 2.0, 0.0]])


def hit(origin, direction, corners=FLAT):
    return triangle_hit(corners, 0, *origin, *direction)


def test_inside_from_both_sides():
    assert hit((0.25, 0.5, 3.0), (0.0, 0.0, -1.0)) == 3.0
    assert hit((0.25, 0.5, -3.0), (0.0, 0.0, 1.0)) == 3.0


def test_distance_is_in_lengths_of_the_direction():
    assert hit((0.25, 0.5, 3.0), (0.0, 0.0, -2.0)) == 1.5


@pytest.mark.parametrize("place", [(0.0, 0.0), (1.0, 0.0), (0.0, 2.0), (0.5, 0.0), (0.0, 1.3), (0.5, 1.0)])
def test_corners_and_edges_count_as_hit(place):
    assert hit((*place, 1.0), (0.0, 0.0, -1.0)) == 1.0


@pytest.mark.parametrize(
    "place",
    [(-1e-6, 0.5), (0.5, -1e-6), (0.5 + 1e-6, 1.0 + 1e-6), (1.0 + 1e-6, 0.0), (0.0, 2.0 + 1e-6), (-3.0, 9.0)],
)
def test_just_outside_is_missed(place):
    assert hit((*place, 1.0), (0.0, 0.0, -1.0)) == np.inf


def test_behind_is_missed():
    assert hit((0.25, 0.5, 3.0), (0.0, 0.0, 1.0)) == np.inf


def test_from_its_own_plane_is_missed():
    """t = 0 is no hit, from inside the triangle in any direction out of its plane."""
    for direction in ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.6, 0.0, 0.8)):
        assert hit((0.25, 0.5, 0.0), direction) == np.inf


def test_along_its_plane_is_missed():
    assert hit((-1.0, 0.5, 0.0), (1.0, 0.0, 0.0)) == np.inf
    assert hit((-1.0, 0.5, 1e-3), (1.0, 0.0, 0.0)) == np.inf


def test_grazing_light_hits_where_it_should():
    """One microradian above the plane: the far edge of the triangle is met, not the near one."""
    direction = np.array([1.0, 0.0, -1e-6])
    t = hit((-1.0, 0.5, 1.5e-6), direction)
    assert t == pytest.approx(1.5, rel=1e-9)
    assert hit((-1.0, 0.5, 2.5e-6), direction) == np.inf


def test_neighbours_share_their_edge_without_a_gap():
    """Rays aimed at random points of the diagonal of a square, from anywhere: always at least one is hit.

    Rays within a milliradian of the square's plane are left out: there rounding is more than the hair of overlap.
    """
    generator = np.random.default_rng(1)
    turn, _ = np.linalg.qr(generator.normal(size=(3, 3)))
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]) @ turn.T + generator.normal(size=3)
    a, b, c, d = square
    corners = np.array([np.concatenate([a, b - a, c - a]), np.concatenate([a, c - a, d - a])])
    for _ in range(3000):
        target = a + generator.random() * (c - a)
        origin = generator.normal(size=3) * 3.0
        direction = normalise(target - origin)
        if abs(direction @ turn[:, 2]) > 1e-3:
            assert min(triangle_hit(corners, k, *origin, *direction) for k in (0, 1)) < np.inf


def test_plain_twin_agrees_everywhere():
    """Möller and Trumbore's test against the reference's volumes, random triangles of sizes 1e-3 to 1."""
    generator = np.random.default_rng(2)
    corners = generator.normal(size=(60, 9)) * np.repeat(10.0 ** generator.uniform(-3, 0, 60), 9).reshape(60, 9)
    origin = generator.normal(size=(300, 3))
    aimed = corners[generator.integers(60, size=300)]
    target = aimed[:, :3] + 0.3 * aimed[:, 3:6] + 0.2 * aimed[:, 6:]
    direction = normalise(target - origin)
    expected = triangle_distances(corners, origin, direction)
    found = np.array(
        [[triangle_hit(corners, k, *o, *d) for k in range(60)] for o, d in zip(origin, direction, strict=True)]
    )
    assert np.allclose(found, expected, rtol=1e-9, atol=0.0)
    assert np.isfinite(found).sum() > 100


@njit
def nearest_child(boxes, origin, inverse, limit, keys):
    """Key of the nearest child of node 0 that is entered, with 2^32 where others are left."""
    return enter_node(
        boxes, 0, origin[0], origin[1], origin[2], inverse[0], inverse[1], inverse[2], limit, keys, np.int64(0)
    )


@njit
def child_after(keys, limit):
    """The same for the next child of those left."""
    return next_child(keys, np.int64(0), limit)


def node_of(*boxes):
    """A node with some children: number, and lower and upper corner of each."""
    node = np.full((1, N_COLUMNS), np.nan, dtype=np.float32)
    for k, corners in boxes:
        node[0, k : 6 * WIDTH : WIDTH] = corners
    return node


def entries(node, origin, direction, t_max=FURTHEST, later=FURTHEST):
    """Children entered in order, in single precision as the trees have them: [(number, distance)]."""
    keys = new_stack()
    start, inverse = np.array(origin, dtype=np.float32), np.array([inverse_of(d) for d in direction])
    found, order = nearest_child(node, start, inverse, np.float32(t_max), keys), []
    while found & KEY != NOTHING:
        key = np.int32(found & KEY)
        order.append((int(key & NUMBER), float(np.int32(key & -8).view(np.float32))))
        has_more = found >> HIGH_HALF
        found = child_after(keys, np.float32(later))
        assert later < FURTHEST or has_more == (found & KEY != NOTHING)
    return order


def entry(origin, direction, t_max=FURTHEST):
    """Distance at which the only child of a node, the third, is entered; infinite when it is not."""
    found = entries(node_of((2, (0.0, 0.0, 0.0, 1.0, 2.0, 3.0))), origin, direction, t_max)
    assert all(number == 2 for number, _ in found) and len(found) <= 1
    return found[0][1] if found else np.inf


def test_children_come_nearest_first_and_none_beyond_the_limit():
    """Planted: the rest kept with the nearest in it (endless), and the limit not looked at when going on."""
    slabs = [(k, (float(x), 0.0, 0.0, x + 0.5, 1.0, 1.0)) for k, x in ((5, 4.0), (0, 1.0), (7, 2.0), (3, 3.0))]
    node = node_of(*slabs, (1, (1.0, 5.0, 0.0, 2.0, 6.0, 1.0)))
    ray = (0.0, 0.5, 0.5), (1.0, 0.0, 0.0)
    assert [k for k, _ in entries(node, *ray)] == [0, 7, 3, 5]
    assert [t for _, t in entries(node, *ray)] == pytest.approx([1.0, 2.0, 3.0, 4.0], rel=1e-6)
    assert [k for k, _ in entries(node, *ray, t_max=2.5)] == [0, 7]
    assert [k for k, _ in entries(node, *ray, later=3.5)] == [0, 7, 3]
    assert [k for k, _ in entries(node, (9.0, 0.5, 0.5), (-1.0, 0.0, 0.0))] == [5, 3, 7, 0]


def test_box_is_entered_at_its_near_face():
    assert entry((-2.0, 1.0, 1.0), (1.0, 0.0, 0.0)) == 2.0
    assert entry((0.5, 1.0, 9.0), (0.0, 0.0, -2.0)) == 3.0
    assert entry((0.5, 1.0, 1.0), (0.0, 1.0, 0.0)) == 0.0


def test_box_beside_behind_or_too_far_is_missed():
    assert entry((-2.0, 3.0, 1.0), (1.0, 0.0, 0.0)) == np.inf
    assert entry((-2.0, 1.0, 1.0), (-1.0, 0.0, 0.0)) == np.inf
    assert entry((-2.0, 1.0, 1.0), (1.0, 0.0, 0.0), t_max=1.9) == np.inf
    assert entry((-2.0, -2.0, 1.0), (1.0, 0.4, 0.0)) == np.inf


def test_box_with_rays_along_its_faces_gives_no_nan():
    for origin in ((0.0, 1.0, 1.0), (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)):
        for direction in ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (-0.0, 0.0, -1.0)):
            assert not np.isnan(entry(origin, direction))


def parts_of(triangles, covers):
    """Level unit squares at heights, as parts: covers[k] is (index, extinction, thickness), zeros for an opaque one."""
    corners = np.concatenate(
        [triangles[:, 0], triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]], axis=1
    )
    normals = normalise(np.cross(corners[:, 3:6], corners[:, 6:]))
    n = len(triangles)
    return Parts(
        corners=np.ascontiguousarray(corners),
        normal=normals,
        part=np.arange(n),
        surface=np.ones((n, 2, 2)),
        cover=np.array(covers, dtype=float),
        role=np.zeros(n, dtype=np.int64),
        direct_cdf=np.zeros(0),
        direct_power=np.zeros(0),
    )


def share(heights, covers, *, direction=(0.0, 0.0, 1.0), skip=-1, is_cover_clear=True, place=(0.3, 0.3)):
    corner = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]])
    triangles = np.array([corner + [0.0, 0.0, z] for z in heights]).reshape(-1, 3, 3)
    corners = corners_of(triangles)
    tree, order = build_tree(triangles.min(axis=1), triangles.max(axis=1), first=0, corners=corners)
    parts = parts_of(triangles[order], np.array(covers, dtype=float).reshape(-1, 3)[order])
    skip = skip if skip < 0 else int(np.flatnonzero(order == skip)[0])
    stack = new_stack()
    return transmitted_share(tree, 0, parts, *place, 0.0, *direction, skip, stack, is_cover_clear)


OPAQUE, GLASS = (0.0, 0.0, 0.0), (1.526, 16.0, 0.004)


def test_nothing_in_the_way():
    assert share([], []) == 1.0
    assert share([1.0], [OPAQUE], place=(9.0, 9.0)) == 1.0
    assert share([-1.0], [OPAQUE]) == 1.0


def test_opaque_sheet_stops_all():
    assert share([1.0], [OPAQUE]) == 0.0
    assert share([1.0, 2.0], [GLASS, OPAQUE]) == 0.0


def test_own_triangle_does_not_stop():
    assert share([1.0], [OPAQUE], skip=0) == 1.0


@pytest.mark.parametrize("cosine", [1.0, 0.5, 0.1])
def test_two_sheets_of_glass_let_through_the_square(cosine):
    direction = (np.sqrt(1.0 - cosine**2) * 0.05, 0.0, cosine * 0.05)
    unit = tuple(normalise(np.array(direction)))
    _, through = sheet_optics(1.526, 0.064, unit[2])
    assert share([0.01, 0.02], [GLASS, GLASS], direction=unit) == pytest.approx(through**2, rel=1e-12)


def test_glass_stops_all_where_it_must_count_itself():
    """Light straight from the sun that starts behind glass is left to the ray that starts on the glass."""
    assert share([1.0], [GLASS], is_cover_clear=False) == 0.0
