"""What must not change the result: scale, turn, mirror image, how a mesh is cut, the direction of a ray.

Planted errors that these tests catch: a length without its unit inside the kernels (an epsilon in metres); one sign of
the outline's centre; a triangle's power that depends on its neighbours; a reflection that is no involution.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dishtrace.stats import totals
from dishtrace.trace.kernels import mirror, triangles
from dishtrace.trace.optics import DIRECT_INCIDENT, LEAVING, OUTLINE
from dishtrace.vec import normalise
from tests.property.strategies import QUICK, lengths, shares
from tests.support.called import from_python
from tests.support.small_scenes import part, prepared, scene_text, tallied

facet_hit = from_python(mirror.facet_hit)
facet_normal = from_python(mirror.facet_normal)
reflected = from_python(mirror.reflected)
triangle_hit = from_python(triangles.triangle_hit)

MIRROR_COLUMNS = np.r_[OUTLINE:DIRECT_INCIDENT, LEAVING]


def scaled_scene(k):
    """Every length of the scene times k, the extinction over k."""
    glass = (
        f'[[part]]\nname = "glass"\nrole = "cover"\nshape = "disc"\nradius_m = {0.3 * k}\n'
        f"center_m = [0.0, 0.0, {-0.2 * k}]\n"
        f"cover = {{ refractive_index = 1.5, extinction_per_m = {20.0 / k}, thickness_m = {0.004 * k} }}\n"
    )
    pot = part(
        "pot",
        "receiver",
        f'shape = "cavity"\nradius_m = {0.08 * k}\ndepth_m = {0.12 * k}\nopening_radius_m = {0.05 * k}\n'
        f"center_m = [{0.01 * k}, 0.0, {-0.01 * k}]\naxis = [0.1, 0.0, -1.0]",
        "absorptance = 0.37, specular_share = 0.4",
    )
    dish = f"focal_length_m = {k}\nslope_error_mrad = 5.0\nbeam_spread_mrad = 2.0"
    return scene_text(
        glass + pot, dish=dish, outline=f'shape = "circle"\nradius_m = {0.9 * k}\nhole_radius_m = {0.1 * k}'
    )


@QUICK
@given(k=st.floats(0.05, 5.0))
def test_scaling_all_lengths_leaves_the_shares(k):
    """The same rays with the same seed: every share of the mirror's ledger to 1e-9."""
    one, other = (tallied(prepared(scaled_scene(s)).assembly.optics, count=64).budget for s in (1.0, k))
    expected, found = one.sum(axis=0)[MIRROR_COLUMNS], other.sum(axis=0)[MIRROR_COLUMNS]
    assert np.allclose(found, k * k * expected, rtol=1e-9, atol=1e-14 * expected[0])
    # Direct rays pick triangles in the tree's order, in which a tie may fall otherwise: the same but for noise.
    (one, se_one), (other, se_other) = (totals(rows[:, DIRECT_INCIDENT]) for rows in (one, other))
    assert abs(one - other / k**2) < 5.0 * np.hypot(se_one, se_other / k**2)


def turned_scene(turn):
    """A lopsided scene whose plan view is moved by a 2 x 2 matrix of quarter turns and mirror images."""
    x, y = turn @ [0.13, -0.04]
    size = np.abs(turn @ [0.3, 0.1])
    cx, cy = turn @ [0.3, -0.2]
    sx, sy = np.abs(turn @ [1.6, 1.0])
    ox, oy = turn @ [6.0, 3.0]
    plate = part(
        "plate",
        "stand",
        f'shape = "box"\nsize_m = [{size[0]}, {size[1]}, 0.05]\ncenter_m = [{x}, {y}, 0.1]',
        "absorptance = 0.4, specular_share = 0.3",
    )
    ax, ay = turn @ [0.4, 0.2]
    pot = part(
        "pot",
        "receiver",
        f'shape = "disc"\nradius_m = 0.03\naxis = [{ax}, {ay}, -1.0]',
        "absorptance = 0.6, specular_share = 0.5",
    )
    mount = f'kind = "two-axis"\npointing_offset_mrad = [{ox}, {oy}]'
    outline = f'shape = "rectangle"\nsize_m = [{sx}, {sy}]\ncenter_m = [{cx}, {cy}]'
    return scene_text(plate + pot, mount=mount, outline=outline, dish="slope_error_mrad = 4.0")


@pytest.mark.parametrize(
    "turn",
    [[[0, -1], [1, 0]], [[-1, 0], [0, -1]], [[-1, 0], [0, 1]], [[0, 1], [1, 0]]],
    ids=["quarter turn", "half turn", "mirrored in x", "x and y swapped"],
)
def test_turning_or_mirroring_a_scene_changes_nothing_but_noise(turn):
    """Each filled column within 5 standard errors of the difference; chance of a false alarm 4 x 15 x 6e-7."""
    optics = [prepared(turned_scene(np.array(t)), seed=s).assembly.optics for t, s in ((np.eye(2), 1), (turn, 2))]
    (one, se_one), (two, se_two) = (totals(tallied(o, count=1024).budget) for o in optics)
    error = np.hypot(se_one, se_two)
    filled = (one > 0.0) & (two > 0.0)
    assert np.count_nonzero(filled) >= 13
    assert np.all(np.abs(one - two)[filled] <= 5.0 * error[filled] + 1e-12 * one[OUTLINE])
    # The errors are small enough for the test to mean something: 2 % of a column of at least 1 % of the light.
    large = filled & (one > 0.01 * one[OUTLINE])
    assert np.all(error[large] < 0.02 * one[large] + 1e-4 * one[OUTLINE])


def test_two_halves_of_a_split_mesh_are_the_whole(tmp_path):
    """The same rays hit the same triangles, whichever part and tree node they belong to."""
    import trimesh

    ball = trimesh.creation.icosphere(subdivisions=2, radius=60.0)
    upper = ball.triangles_center[:, 0] + 0.3 * ball.triangles_center[:, 2] > 3.0
    for name, chosen in (("whole", np.ones(len(upper), bool)), ("upper", upper), ("lower", ~upper)):
        trimesh.Trimesh(ball.vertices, ball.faces[chosen], process=False).export(tmp_path / f"{name}.stl")

    def ledger_and_flux(*names):
        text = "".join(part(name, "receiver", f'shape = "mesh"\nfile = "{name}.stl"\nunit = "mm"') for name in names)
        placed = prepared(scene_text(text, dish="slope_error_mrad = 5.0"), folder=tmp_path)
        tally = tallied(placed.assembly.optics, count=128)
        return tally.budget[:, MIRROR_COLUMNS], tally.parts[..., :3].sum(axis=1)

    (whole, figures), (halves, half_figures) = ledger_and_flux("whole"), ledger_and_flux("upper", "lower")
    assert np.allclose(halves, whole, rtol=1e-9, atol=1e-9 * whole.max())
    assert np.allclose(half_figures, figures, rtol=1e-9, atol=1e-9 * whole.max())
    assert figures[:, 0].min() > 0.0


unit_vectors = st.tuples(*[st.integers(-1000, 1000)] * 3).filter(any).map(lambda v: normalise(np.array(v, float)))
DISH = prepared(scene_text()).assembly.optics.mirror


@QUICK
@given(x=lengths(0.0, 0.7), y=lengths(0.0, 0.7), direction=unit_vectors, slope=shares(0.0, 0.3))
def test_reflection_is_its_own_reverse(x, y, direction, slope):
    """Sent back along the reflected ray, light returns along the incoming one, slope error and all."""
    normal = facet_normal(DISH, 0, x, y, (x * x + y * y) / 4.0)
    away = np.array(reflected(*normal, *direction, slope, -0.5 * slope, 0.0, 0.0))
    back = np.array(reflected(*normal, *-away, slope, -0.5 * slope, 0.0, 0.0))
    assert np.linalg.norm(away) == pytest.approx(1.0, abs=1e-14)
    assert np.allclose(back, -direction, rtol=0.0, atol=1e-14)


@QUICK
@given(
    start=st.tuples(lengths(0.0, 0.7), lengths(0.0, 0.7)),
    end=st.tuples(st.integers(-700, -10), st.integers(-700, 700)).map(lambda p: (p[0] / 1e3, p[1] / 1e3)),
)
def test_a_chord_of_the_mirror_is_the_same_both_ways(start, end):
    """Between two places of the mirror, from either, the distance to the other."""
    a, b = (np.array([x, y, (x * x + y * y) / 4.0]) for x, y in (start, end))
    chord = np.linalg.norm(b - a)
    for origin, target in ((a, b), (b, a)):
        found = facet_hit(DISH, 0, *origin, *((target - origin) / chord), True)
        assert found == pytest.approx(chord, rel=1e-9)


@QUICK
@given(
    corners=st.lists(st.tuples(*[st.integers(-100, 100)] * 3), min_size=3, max_size=3, unique=True),
    weights=st.tuples(*[st.integers(1, 50)] * 3),
    direction=unit_vectors,
    distance=lengths(0.01, 3.0),
)
def test_a_triangle_is_hit_at_the_same_place_from_both_sides(corners, weights, direction, distance):
    a, b, c = (np.array(corner) / 100.0 for corner in corners)
    across = np.cross(b - a, c - a)
    size = np.linalg.norm(across)
    if size < 1e-3 or abs(direction @ across) < 1e-2 * size:
        return
    place = (np.array(weights) / sum(weights)) @ np.stack([a, b, c])
    row = np.concatenate([a, b - a, c - a])[np.newaxis]
    for sign in (1.0, -1.0):
        found = triangle_hit(row, 0, *(place - sign * distance * direction), *(sign * direction))
        assert found == pytest.approx(distance, rel=1e-9, abs=1e-12)
