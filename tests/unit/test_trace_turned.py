"""Bodies turned about an axis: what is met in closed form is what a search through all their triangles finds.

Planted errors that these tests catch: the hull not widened, or its wall through the middles of the faces; a sector or a
band too far; the diagonal of a pair the other way; light that comes out taken for light that goes in; the wrong
nappe of a cone; what lies nearer passed over.
"""

import numpy as np
import pytest

from dishtrace.flux.prepared import prepare
from dishtrace.parts.sheets import disc
from dishtrace.parts.solids import box, cone, cylinder, sphere
from dishtrace.parts.turned import Turned, triangles_in
from dishtrace.scene.read import scene_from_text
from dishtrace.trace.compiling import kernel
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.going import N_GOING, N_MARKS
from dishtrace.trace.kernels.triangles import FAR
from dishtrace.trace.kernels.turned import GUESS, guess_triangles, hull_entries
from dishtrace.trace.optics import BODY, Parts
from dishtrace.trace.tree import build_tree, new_flock
from dishtrace.trace.turned import ALPHA, BETA, GAMMA, HIGH, LOW, PART, gathered
from dishtrace.vec import normalise
from tests.support.aimed import aimed
from tests.support.search import hits_by_search, hits_on_body, hits_together
from tests.support.small_scenes import COVER, PLATE, POT, ROUGH, SECONDARY, TUBE, part, prepared, scene_text, tallied
from tests.support.trees import corners_of

SHAPES = {
    "cylinder": cylinder(0.12, 0.3),
    "flat cylinder": cylinder(0.3, 0.01),
    "post": cylinder(0.01, 1.0),
    "sphere": sphere(0.5),
    "cone": cone(0.15, 0.3),
    "sharp cone": cone(0.02, 0.7),
    "flat cone": cone(0.4, 0.05),
    "disc": disc(0.2),
}
N_KINDS = 12
GREY = "absorptance = 0.5, specular_share = 0.5"
GREY_BACK = f"surface_back = {{ {GREY} }}"
ON_IT, INSIDE = 6, 7
MOST_ASKING = 0.1


class Body:
    """A shape where it stands, with all that the kernels want of it."""

    def __init__(self, shape, seed):
        generator = np.random.default_rng(seed)
        self.rotation, _ = np.linalg.qr(generator.normal(size=(3, 3)))
        self.rotation *= np.linalg.det(self.rotation)
        self.origin = generator.normal(size=3)
        self.triangles = shape.triangles @ self.rotation.T + self.origin
        corners = corners_of(self.triangles)
        low, high = self.triangles.min(axis=1), self.triangles.max(axis=1)
        self.tree, order = build_tree(low, high, first=0, reach=10.0, corners=corners)
        self.corners = corners[order]
        self.place = np.argsort(order)
        normal = normalise(np.cross(self.corners[:, 3:6], self.corners[:, 6:9]))
        number = np.zeros(len(order), dtype=np.int64)
        nothing = np.zeros(len(order))
        self.parts = Parts(
            self.corners, normal, number, np.zeros((1, 2, 2)), np.zeros((1, 3)), number[:1], nothing, nothing
        )
        self.bodies = gathered([Turned(shape.bands, self.rotation, self.origin)], [0], [self.place])

    def met(self, origin, direction, skip):
        """Distance, number and whether the tree was asked."""
        t, number, asking = np.empty(len(origin)), np.empty(len(origin), dtype=np.int64), np.empty(len(origin), bool)
        scratch = np.zeros(N_GOING * BATCH), np.zeros(N_MARKS * BATCH, dtype=np.int64), new_flock()
        hits_on_body(self.bodies, 0, self.tree, self.parts, origin, direction, skip, *scratch, t, number, asking)
        return t, number, asking

    def by_tree(self, origin, direction, skip):
        """Distance, from the tree alone."""
        t, number = np.empty(len(origin)), np.empty(len(origin), dtype=np.int64)
        scratch = np.zeros(N_GOING * BATCH), np.zeros(N_MARKS * BATCH, dtype=np.int64), new_flock()
        hits_together(self.tree, 0, origin, direction, skip, *scratch, t, number)
        return t

    def searched(self, origin, direction, skip):
        """Distance and number, from a search through all triangles."""
        t, number = np.empty(len(origin)), np.empty(len(origin), dtype=np.int64)
        hits_by_search(self.corners, origin, direction, skip, t, number)
        return t, number


@kernel
def first_guesses(bodies, g, n):
    """The first guess of lanes."""
    hull_entries(bodies, 0, g, n)
    guess_triangles(bodies, 0, g, n)


def guessed(body, origin, direction):
    """Triangle that each ray is first thought to meet, (n,)."""
    found = []
    for start in range(0, len(origin), BATCH):
        columns = np.zeros((N_GOING, BATCH))
        count = len(origin[start : start + BATCH])
        columns[:3, :count], columns[3:6, :count] = origin[start : start + BATCH].T, direction[start : start + BATCH].T
        g = columns.ravel()
        first_guesses(body.bodies, g, count)
        found.append(g[GUESS : GUESS + count].copy())
    return np.concatenate(found)


def awkward_rays(body, n, seed):
    """Rays at corners, at edges, in the planes of triangles, along and across the axis, from on it, inside, far."""
    generator = np.random.default_rng(seed)
    triangles = body.triangles
    which = generator.integers(len(triangles), size=n)
    chosen, kind = triangles[which], np.arange(n) % N_KINDS
    size = np.ptp(triangles, axis=(0, 1)).max()
    origin = body.origin + size * generator.uniform(-2.0, 2.0, (n, 3))
    target, direction = aimed(
        chosen, origin, kind, generator, off_edge=lambda count: 10.0 ** -generator.uniform(3.0, 16.0, count)
    )
    axis = body.rotation[:, 2] * np.where(generator.random(n) < 0.5, 1.0, -1.0)[:, np.newaxis]
    direction[kind == 5] = axis[kind == 5]
    origin[kind == 5] = target[kind == 5] - 2.0 * size * axis[kind == 5]
    origin[kind == ON_IT] = target[kind == ON_IT]
    direction[kind == ON_IT] = generator.normal(size=(np.count_nonzero(kind == ON_IT), 3))
    origin[kind == INSIDE] = body.origin + 0.3 * (target - body.origin)[kind == INSIDE]
    across = kind == 8
    direction[across] -= np.sum(direction[across] * axis[across], axis=1, keepdims=True) * axis[across]
    grazing = kind == 9
    normals = np.cross(chosen[:, 1] - chosen[:, 0], chosen[:, 2] - chosen[:, 0])
    origin[grazing] = (target + size * normalise(generator.normal(size=(n, 3))))[grazing]
    tangent = direction - np.sum(direction * normalise(normals), axis=1, keepdims=True) * normalise(normals)
    slope = 10.0 ** -generator.uniform(1.0, 8.0, (n, 1))
    direction[grazing] = (normalise(tangent) + slope * normalise(normals))[grazing]
    origin[grazing] = (target - size * direction)[grazing]
    near_axis = kind == 10
    direction[near_axis] = (axis + 10.0 ** -generator.uniform(1.0, 10.0, (n, 1)) * generator.normal(size=(n, 3)))[
        near_axis
    ]
    direction = normalise(direction)
    origin[near_axis] = (target - 3.0 * size * direction)[near_axis]
    far = kind == 11
    origin[far] = (target - 300.0 * size * direction)[far]
    skip = np.where(kind == ON_IT, body.place[which], -1)
    return origin, direction, skip, kind


def near_edges(body, n, generator, *, least):
    """Triangles of a body, and a place on each within 1e-3 to `least` of an edge."""
    chosen = body.triangles[generator.integers(len(body.triangles), size=n)]
    along, off = generator.uniform(0.1, 0.8, n), 10.0 ** -generator.uniform(3.0, -np.log10(least), n)
    weights = np.stack([along, off, 1.0 - along - off], axis=1)
    for k in range(n):
        weights[k] = weights[k, generator.permutation(3)]
    return chosen, np.einsum("nk,nki->ni", weights, chosen)


def rays_along_a_side(body, n, seed):
    """Rays that graze a triangle along one of its sides and meet it near another."""
    generator = np.random.default_rng(seed)
    chosen, target = near_edges(body, n, generator, least=1e-8)
    normals = normalise(np.cross(chosen[:, 1] - chosen[:, 0], chosen[:, 2] - chosen[:, 0]))
    k = generator.integers(3, size=n)
    sides = normalise(chosen[np.arange(n), (k + 1) % 3] - chosen[np.arange(n), k])
    slope = 10.0 ** -generator.uniform(2.0, 8.0, (n, 1))
    direction = normalise(sides * np.where(generator.random(n) < 0.5, 1.0, -1.0)[:, np.newaxis] - slope * normals)
    return target - 3.0 * direction, direction


def rays_from_afar(body, n, seed):
    """Rays from 10 m away that meet triangles near their edges, at cosines from 1e-3 on."""
    generator = np.random.default_rng(seed)
    chosen, target = near_edges(body, n, generator, least=1e-9)
    normals = normalise(np.cross(chosen[:, 1] - chosen[:, 0], chosen[:, 2] - chosen[:, 0]))
    tangent = normalise(np.cross(normals, generator.normal(size=(n, 3))))
    cosine = 10.0 ** -generator.uniform(0.5, 3.0, (n, 1))
    direction = normalise(tangent * np.sqrt(1.0 - cosine**2) - cosine * normals)
    return target - 10.0 * direction, direction


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_grazing_along_a_side_is_left_to_the_tree_or_right(shape, seed):
    """Catches a cosine that is taken off one side of a triangle instead of off its plane."""
    body = Body(shape, seed)
    assert_told_is_searched(body, *rays_along_a_side(body, 6000, seed))


@pytest.mark.parametrize("shape", [disc(1e-3), cylinder(1e-3, 2e-3), sphere(1e-3)], ids=["disc", "cylinder", "sphere"])
def test_tiny_bodies_are_met_from_afar(shape, seed):
    """Catches an edge that is narrower than what rounding makes of the way."""
    body = Body(shape, seed)
    assert_told_is_searched(body, *rays_from_afar(body, 6000, seed))


def assert_told_is_searched(body, origin, direction):
    nothing = np.full(len(origin), -1)
    t, number, is_asking = body.met(origin, direction, nothing)
    expected, expected_number = body.searched(origin, direction, nothing)
    assert np.array_equal(t[~is_asking], expected[~is_asking])
    assert np.array_equal(number[~is_asking], expected_number[~is_asking])


def assert_body_is_search(shape, n, seed):
    """What is told without the tree is that of the search, and what the tree is asked for that of the tree alone."""
    body = Body(shape, seed)
    origin, direction, skip, kind = awkward_rays(body, n, seed)
    t, number, is_asking = body.met(origin, direction, skip)
    expected, expected_number = body.searched(origin, direction, skip)
    # Light that starts on a triangle goes away from the body, or is left to the tree.
    is_told = ~is_asking & ~((kind == ON_IT) & (expected < 1e-9))
    assert np.array_equal(t[is_told], expected[is_told])
    assert np.array_equal(number[is_told], expected_number[is_told])
    assert np.array_equal(t[is_asking], body.by_tree(origin, direction, skip)[is_asking])
    assert np.count_nonzero(expected < FAR) > 0.3 * n
    return is_asking, kind


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_body_gives_the_hit_of_a_search_through_all(shape, seed):
    """And of rays aimed at the body from around it, few ask the tree."""
    is_asking, kind = assert_body_is_search(shape, 20000, seed)
    assert is_asking[kind == 0].mean() < MOST_ASKING


@pytest.mark.slow
@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_body_gives_the_hit_of_a_search_through_all_a_million_times(shape, seed):
    for k in range(5):
        assert_body_is_search(shape, 200_000, seed + 1000 * k)


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_every_triangle_is_found_by_its_place(shape):
    """Light onto the middle of each triangle, from near and from far, is told so without the tree, mostly at first."""
    body = Body(shape, 3)
    normal = body.parts.normal
    middle = body.corners[:, :3] + (body.corners[:, 3:6] + body.corners[:, 6:]) / 3.0
    direction = normalise(-normal + 0.2 * normalise(np.random.default_rng(1).normal(size=normal.shape)))
    for way in (0.1, 30.0):
        origin = middle - way * direction
        assert (guessed(body, origin, direction) == np.arange(len(middle))).mean() > 0.97
        t, number, is_asking = body.met(origin, direction, np.full(len(middle), -1))
        is_told = ~is_asking
        assert is_told.mean() > 0.99
        assert np.array_equal(number[is_told], np.arange(len(middle))[is_told])
        assert np.allclose(t, way, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES.keys())
def test_bodies_have_no_dents_and_lie_in_their_hulls(shape):
    """What makes a triangle met from outside the first one: no corner lies in front of any face."""
    body = Body(shape, 4)
    corners = np.unique(shape.triangles.reshape(-1, 3).round(13), axis=0)
    vectors = np.cross(shape.triangles[:, 1] - shape.triangles[:, 0], shape.triangles[:, 2] - shape.triangles[:, 0])
    normals = normalise(vectors)
    for start in range(0, len(normals), 500):
        chosen = slice(start, start + 500)
        ahead = corners @ normals[chosen].T - np.sum(shape.triangles[chosen, 0] * normals[chosen], axis=1)
        assert ahead.max() < 2e-12
    hull = body.bodies.hulls[0]
    x, y, z = corners.T
    assert np.all((z > hull[LOW]) & (z < hull[HIGH]))
    assert np.all(x * x + y * y < hull[ALPHA] + hull[BETA] * z + hull[GAMMA] * z * z)


def test_bands_are_those_of_the_triangles():
    """Each triangle's corners lie on the two rings of its band."""
    for shape in SHAPES.values():
        bands = shape.bands
        band = np.repeat(np.arange(len(bands)), triangles_in(bands))
        assert len(band) == len(shape.triangles)
        place = np.stack([np.hypot(shape.triangles[..., 0], shape.triangles[..., 1]), shape.triangles[..., 2]], axis=-1)
        ends = [np.abs(place - bands[band, np.newaxis, k : k + 2]).max(axis=-1) < 1e-12 for k in (2, 4)]
        assert np.all(ends[0] | ends[1])
        assert np.all(ends[0].any(axis=1) & ends[1].any(axis=1))


def test_only_receivers_and_covers_without_dents_are_bodies():
    """Not a stand, an open tube or a box; of many the largest."""
    shape = 'shape = "cylinder"\nradius_m = {}\nheight_m = 0.1\ncenter_m = [{}, 0.0, 0.0]'
    more = "".join(part(f"pot {k}", "receiver", shape.format(0.01 + 0.001 * k, 0.05 * k)) for k in range(6))
    stand = part("post", "stand", 'shape = "cylinder"\nradius_m = 0.01\nheight_m = 0.1\ncenter_m = [0.3, 0.0, 0.0]')
    tube = part("tube", "receiver", 'shape = "tube"\nradius_m = 0.01\nheight_m = 0.1\ncenter_m = [0.4, 0.0, 0.0]')
    case = part("case", "receiver", 'shape = "box"\nsize_m = [0.1, 0.1, 0.1]\ncenter_m = [0.6, 0.0, 0.0]')
    assert prepared(scene_text(stand + tube + case + more)).assembly.optics.bodies.hulls[:, PART].tolist() == [
        5,
        6,
        7,
        8,
    ]
    assert box((0.1, 0.2, 0.3)).bands is None


SCENES = {
    "pot and plate": POT + PLATE,
    "all roles": POT + TUBE + SECONDARY + COVER,
    "bodies that touch": part("low", "receiver", 'shape = "cylinder"\nradius_m = 0.05\nheight_m = 0.1')
    + part("high", "receiver", 'shape = "cone"\nradius_m = 0.05\nheight_m = 0.1\ncenter_m = [0.0, 0.0, 0.1]')
    + part("ball", "receiver", 'shape = "sphere"\nradius_m = 0.04\ncenter_m = [0.09, 0.0, 0.0]')
    + part("dish", "receiver", 'shape = "disc"\nradius_m = 0.2\ncenter_m = [0.0, 0.0, 0.151]', GREY, more=GREY_BACK),
}


@pytest.mark.parametrize("text", SCENES.values(), ids=SCENES.keys())
@pytest.mark.parametrize("has_fine_parts", [False, True])
def test_closed_forms_change_no_result(text, has_fine_parts):
    """To the last bit: all tallies with bodies met in closed form and with the same ones met through their trees."""
    scene = scene_from_text(scene_text(text, dish=ROUGH))
    optics = (prepare(scene, seed=1) if has_fine_parts else prepared(scene_text(text, dish=ROUGH))).assembly.optics
    assert np.any(optics.roots[:, BODY] >= 0)
    roots = optics.roots.copy()
    roots[:, BODY] = -1
    plain = tallied(optics._replace(roots=roots), count=512, n_legs=8)
    for threads in (1, 3):
        found = tallied(optics, count=512, n_legs=8, threads=threads)
        for name in found._fields:
            assert np.array_equal(getattr(found, name), getattr(plain, name)), name
