"""Facets in the kernels: hits on both sides, from on them and from anywhere, and what they reflect.

Planted errors that these tests catch: the nearer root always taken (rays from behind the rim), a sign in b, the normal
with the form once instead of twice, the far sheet of a sphere, a facet's brightness left out.
"""

import numpy as np
import pytest

from dishtrace.dish.facets import Facets, skin, sphere_quadric
from dishtrace.dish.outline import circle, ellipse, polygon, rectangle
from dishtrace.dish.paraboloid import height, normal
from dishtrace.trace.kernels import mirror
from dishtrace.trace.reference_optics import facet_distance
from dishtrace.vec import normalise, perpendicular_axes
from tests.support.called import from_python
from tests.support.mirrors import mirror_of
from tests.support.surfaces import bent_quadric

facet_hit = from_python(mirror.facet_hit)
facet_normal = from_python(mirror.facet_normal)
facet_place = from_python(mirror.facet_place)
facet_shape = from_python(mirror.facet_shape)
is_in_outline = from_python(mirror.is_in_outline)
is_over_outline = from_python(mirror.is_over_outline)
outline_point = from_python(mirror.outline_point)
reflectance_at = from_python(mirror.reflectance_at)
reflected = from_python(mirror.reflected)

FOCAL = 0.8
OUTLINES = {
    "circle": circle(1.2),
    "hole": circle(1.0, hole_radius=0.3),
    "lateral section": circle(0.5, center=(0.2, -0.9)),
    "rectangle": rectangle((2.0, 0.6), center=(0.1, 0.2)),
    "polygon": polygon(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [0.0, 0.1], [-0.8, 1.2]])),
    "ellipse": ellipse((1.1, 0.6), center=(0.1, -0.3)),
}


def skin_of(outline):
    return skin(outline, focal_length=FOCAL, slope=0.0)


DISH = mirror_of(skin_of(OUTLINES["circle"]))
TURN = np.linalg.qr(np.random.default_rng(9).normal(size=(3, 3)))[0]
TURN *= np.sign(np.linalg.det(TURN))
# Pieces of every form, anywhere and any way round: flat, hollow sphere, bent strip, and a piece of a paraboloid.
PIECES = Facets(
    number=np.arange(4) + 1,
    origin=np.array([[0.1, 0.2, 0.3], [-0.4, 0.1, 0.0], [0.3, -0.5, 0.2], [0.0, 0.0, -0.3]]),
    axes=np.stack([TURN, TURN[[1, 2, 0]], np.eye(3), TURN[[2, 0, 1]]]),
    quadric=np.stack(
        [np.zeros(6), sphere_quadric(0.7), bent_quadric(0.6, 0.4), np.array([0.3, 0.25, 0.05, 0.02, 0.08, -0.06])]
    ),
    outlines=(
        rectangle((0.8, 0.6)),
        circle(0.5),
        polygon(np.array([[-0.4, -0.3], [0.4, -0.2], [0.1, 0.4]])),
        circle(0.4),
    ),
    slope=np.zeros(4),
    brightness=np.array([1.0, 0.9, 0.8, 0.7]),
)
PIECE_MIRROR = mirror_of(PIECES)


def mirror_hit(mirror, *ray):
    """Hit on the only facet."""
    return facet_hit(mirror, 0, *ray)


def on_mirror(x, y, focal=FOCAL):
    return np.array([x, y, (x * x + y * y) / (4.0 * focal)])


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_outline_is_the_plain_one(outline):
    xy = np.random.default_rng(1).uniform(-1.6, 1.6, (3000, 2))
    mirror = mirror_of(skin_of(outline))
    found = [is_in_outline(mirror, 0, *place) for place in xy]
    assert np.array_equal(found, outline.contains(xy))
    assert 0.02 < np.mean(found) < 0.98


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_hits_from_anywhere_are_those_of_the_reference(outline):
    """Rays towards random places of the mirror and past it, from above, below and beside it."""
    generator = np.random.default_rng(2)
    mirror = mirror_of(skin_of(outline))
    origin = generator.uniform(-2.0, 2.0, (4000, 3))
    direction = normalise(on_mirror_many(generator.uniform(-1.5, 1.5, (4000, 2))) - origin)
    expected = facet_distance(skin_of(outline), 0, origin, direction, np.zeros(4000, dtype=bool))
    found = np.array([mirror_hit(mirror, *o, *d, False) for o, d in zip(origin, direction, strict=True)])
    # Nearly tangent rays lose half of the digits of t, but their hit still lies on the mirror.
    assert np.allclose(found, expected, rtol=1e-9, atol=0.0)
    hit = np.isfinite(found)
    x, y, z = (origin[hit] + found[hit, np.newaxis] * direction[hit]).T
    assert np.abs(z - height(x, y, focal_length=FOCAL)).max() < 4e-15
    assert 0.1 < np.mean(hit) < 0.97


def on_mirror_many(xy):
    return np.column_stack([xy, height(*xy.T, focal_length=FOCAL)])


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_hits_from_the_mirror_itself_skip_the_starting_place(outline):
    generator = np.random.default_rng(3)
    mirror = mirror_of(skin_of(outline))
    origin = on_mirror_many(outline.map_unit_square(*generator.random((2, 3000))))
    target = on_mirror_many(outline.map_unit_square(*generator.random((2, 3000))))
    target[::3] += generator.normal(0.0, 0.3, target[::3].shape)
    direction = normalise(target - origin)
    expected = facet_distance(skin_of(outline), 0, origin, direction, np.ones(3000, dtype=bool))
    found = np.array([mirror_hit(mirror, *o, *d, True) for o, d in zip(origin, direction, strict=True)])
    assert np.allclose(found, expected, rtol=1e-9, atol=1e-12)
    chord = np.linalg.norm(target - origin, axis=1)
    is_chord = np.arange(3000) % 3 != 0
    assert np.allclose(found[is_chord], chord[is_chord], rtol=1e-7, atol=1e-12)


def test_both_roots_of_a_level_ray():
    """At height z the paraboloid is crossed at x = -+ 2 sqrt(f z), first from outside, then from inside."""
    z = 0.2
    edge = 2.0 * np.sqrt(FOCAL * z)
    assert mirror_hit(DISH, -2.0, 0.0, z, 1.0, 0.0, 0.0, False) == pytest.approx(2.0 - edge, rel=1e-15)
    assert mirror_hit(DISH, 0.0, 0.0, z, 1.0, 0.0, 0.0, False) == pytest.approx(edge, rel=1e-15)
    assert mirror_hit(DISH, 1.9, 0.0, z, 1.0, 0.0, 0.0, False) == np.inf


def test_nearer_root_beyond_the_rim_gives_way_to_the_further():
    """A ray that first crosses the paraboloid above the rim, then meets the mirror from inside."""
    origin, target = np.array([3.0, 0.0, 2.2]), on_mirror(-1.0, 0.0)
    direction = normalise(target - origin)
    assert mirror_hit(DISH, *origin, *direction, False) == pytest.approx(np.linalg.norm(target - origin), rel=1e-14)


def test_hole_lets_the_nearer_crossing_pass():
    """Up through the hole: no hit although the paraboloid is crossed."""
    holed = mirror_of(skin_of(OUTLINES["hole"]))
    assert mirror_hit(holed, 0.1, 0.0, -1.0, 0.0, 0.0, 1.0, False) == np.inf
    assert mirror_hit(holed, 0.4, 0.0, -1.0, 0.0, 0.0, 1.0, False) == pytest.approx(1.0 + 0.16 / 3.2, rel=1e-15)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.7, 0.0), (-0.3, 1.1)])
def test_rays_along_the_axis(x, y):
    """a = 0: one root, down and up; nothing from the mirror itself."""
    z = (x * x + y * y) / (4.0 * FOCAL)
    assert mirror_hit(DISH, x, y, 5.0, 0.0, 0.0, -1.0, False) == pytest.approx(5.0 - z, rel=1e-15)
    assert mirror_hit(DISH, x, y, -5.0, 0.0, 0.0, 1.0, False) == pytest.approx(5.0 + z, rel=1e-15)
    assert mirror_hit(DISH, x, y, 5.0, 0.0, 0.0, 1.0, False) == np.inf
    assert mirror_hit(DISH, x, y, z, 0.0, 0.0, 1.0, True) == np.inf
    assert mirror_hit(DISH, x, y, z, 0.0, 0.0, -1.0, True) == np.inf


def test_tangent_ray_grazes_or_misses_by_its_height():
    """Level rays below and above the vertex; the one at the vertex touches."""
    assert mirror_hit(DISH, -1.0, 0.0, -1e-12, 1.0, 0.0, 0.0, False) == np.inf
    assert mirror_hit(DISH, -1.0, 0.0, 1e-12, 1.0, 0.0, 0.0, False) == pytest.approx(1.0, abs=2e-6)
    assert mirror_hit(DISH, -1.0, 0.0, 0.0, 1.0, 0.0, 0.0, False) == pytest.approx(1.0, abs=1e-15)


def test_rim_belongs_to_the_mirror():
    assert mirror_hit(DISH, 1.2, 0.0, 5.0, 0.0, 0.0, -1.0, False) == pytest.approx(5.0 - 0.45, rel=1e-15)
    assert mirror_hit(DISH, np.nextafter(1.2, 2.0), 0.0, 5.0, 0.0, 0.0, -1.0, False) == np.inf


@pytest.mark.parametrize("i", range(4))
def test_pieces_of_any_form_are_hit_where_the_reference_has_it(i):
    """Rays from all around towards places on and near the piece, half of them from on it."""
    generator = np.random.default_rng(20 + i)
    uv = PIECES.outlines[i].map_unit_square(*generator.random((2, 2000)))
    target = PIECES.surface(i, 1.2 * uv)[0]
    starts_on = np.arange(2000) % 2 == 0
    elsewhere = PIECES.surface(i, PIECES.outlines[i].map_unit_square(*generator.random((2, 2000))))[0]
    origin = np.where(starts_on[:, np.newaxis], elsewhere, generator.uniform(-1.5, 1.5, (2000, 3)))
    direction = normalise(target - origin)
    expected = facet_distance(PIECES, i, origin, direction, starts_on)
    found = [facet_hit(PIECE_MIRROR, i, *o, *d, bool(k)) for o, d, k in zip(origin, direction, starts_on, strict=True)]
    assert np.allclose(found, expected, rtol=1e-9, atol=1e-12)
    assert np.mean(np.isfinite(found[1::2])) > 0.5
    assert np.any(np.isfinite(found[::2])) == (i > 0)


@pytest.mark.parametrize("i", range(4))
def test_places_and_normals_of_pieces_are_the_plain_ones(i):
    """Against the dish folder's surface, and the normal scaled to 1 along the facet's own."""
    uv = PIECES.outlines[i].map_unit_square(*np.random.default_rng(30 + i).random((2, 200)))
    place, scaled = PIECES.surface(i, uv)
    found = np.array([facet_place(facet_shape(PIECE_MIRROR, i), *point) for point in uv])
    assert np.allclose(found[:, :3], place, rtol=0.0, atol=1e-15)
    assert np.allclose(found[:, 3:], scaled, rtol=1e-13, atol=1e-14)
    unit = np.array([facet_normal(PIECE_MIRROR, i, *point) for point in place])
    assert np.allclose(unit, normalise(scaled), rtol=0.0, atol=1e-14)


def test_far_sheet_of_a_sphere_is_no_mirror():
    """A ray along the axis of a hollow sphere of 0.7 m meets the piece, not the other pole 1.4 m above it."""
    ball = mirror_of(PIECES.taken(np.array([1])))
    origin, w = PIECES.origin[1], PIECES.axes[1, 2]
    assert facet_hit(ball, 0, *(origin + 2.0 * w), *-w, False) == pytest.approx(2.0, rel=1e-14)
    assert facet_hit(ball, 0, *(origin + 1.0 * w), *w, False) == np.inf
    assert facet_hit(ball, 0, *(origin - 1.0 * w), *w, False) == pytest.approx(1.0, rel=1e-14)


def test_normal_of_the_skin_is_that_of_the_paraboloid():
    xy = np.random.default_rng(4).uniform(-0.8, 0.8, (50, 2))
    found = np.array([facet_normal(DISH, 0, *place) for place in on_mirror_many(xy)])
    assert np.allclose(found, normal(*xy.T, focal_length=FOCAL), rtol=0.0, atol=1e-15)


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_outline_point_is_the_plain_map(outline):
    u = np.random.default_rng(5).random((500, 2))
    mirror = mirror_of(skin_of(outline))
    found = [outline_point(mirror, 0, *row) for row in u]
    assert np.allclose(found, outline.map_unit_square(u[:, 0], u[:, 1]), rtol=0.0, atol=1e-14)


@pytest.mark.parametrize("name", ["circle", "rectangle", "polygon", "ellipse"])
def test_overhang_is_what_lies_outside_the_dishs_outline(name):
    """A hole of the dish does not count as outside."""
    outline = OUTLINES[name]
    params, vertices = outline.params, outline.vertices
    mirror = DISH._replace(dish_kind=outline.kind, dish_params=params, dish_vertices=vertices, has_no_overhang=False)
    xy = np.random.default_rng(6).uniform(-1.6, 1.6, (1000, 2))
    assert np.array_equal([is_over_outline(mirror, *place) for place in xy], outline.contains(xy))
    assert is_over_outline(DISH, 99.0, 99.0)


def test_hole_of_the_dish_is_no_overhang():
    outline = OUTLINES["hole"]
    mirror = DISH._replace(dish_kind=0, dish_params=outline.params, has_no_overhang=False)
    assert is_over_outline(mirror, 0.0, 0.0)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.7, 0.0), (-0.3, 1.1)])
def test_axial_ray_is_reflected_through_the_focus(x, y):
    place = on_mirror(x, y)
    away = np.array(reflected(*facet_normal(DISH, 0, *place), 0.0, 0.0, -1.0, 0.0, 0.0, 0.0, 0.0))
    to_focus = normalise(np.array([0.0, 0.0, FOCAL]) - place)
    assert np.allclose(away, to_focus, rtol=0.0, atol=1e-15)


def test_slope_error_turns_the_reflected_ray_by_twice_its_angle():
    """Light along the normal, tilted by tangent s: the ray turns by 2 atan s, away from the normal's lean."""
    s = 0.01
    away = np.array(reflected(0.0, 0.0, 1.0, 0.0, 0.0, -1.0, s, 0.0, 0.0, 0.0))
    assert np.arctan2(away[0], away[2]) == pytest.approx(2.0 * np.arctan(s), rel=1e-14)
    assert away[1] == 0.0


def test_beam_spread_turns_the_reflected_ray_by_its_own_angle():
    smooth = normalise(np.array([0.6, -0.2, 0.7]))
    e1, e2 = perpendicular_axes(smooth)
    away = np.array(reflected(0.0, 0.0, 1.0, smooth[0], smooth[1], -smooth[2], 0.0, 0.0, 0.004, -0.003))
    assert away @ e1 / (away @ smooth) == pytest.approx(0.004, rel=1e-12)
    assert away @ e2 / (away @ smooth) == pytest.approx(-0.003, rel=1e-12)


def test_reflectance_over_the_cosine():
    """Straight lines between equal steps of the cosine, ends held, one value for all angles; facets may be duller."""
    mirror = DISH._replace(reflectance=np.array([0.2, 0.6, 0.9]))
    found = [reflectance_at(mirror, 0, c) for c in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert found == pytest.approx([0.2, 0.4, 0.6, 0.75, 0.9])
    assert reflectance_at(mirror, 0, -0.1) == 0.2
    assert reflectance_at(mirror, 0, 1.0 + 1e-15) == 0.9
    assert reflectance_at(DISH, 0, 0.3) == 0.9
    assert [reflectance_at(PIECE_MIRROR, i, 0.3) for i in range(4)] == pytest.approx([0.9, 0.81, 0.72, 0.63])
