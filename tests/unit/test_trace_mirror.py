"""The mirror of the kernels: hits on both of its sides, from on it and from anywhere, and what it reflects.

Planted errors that these tests catch: the nearer root always taken (rays from behind the rim), a sign in b, the slope
of the surface 1/f instead of 1/(2f), degrees for radians in nothing but the tests' own rays.
"""

import numpy as np
import pytest

from dishtrace.dish.outline import circle, polygon, rectangle
from dishtrace.dish.paraboloid import height, normal
from dishtrace.trace.kernels.mirror import is_in_outline, mirror_hit, mirror_normal, reflectance_at, reflected
from dishtrace.trace.optics import Mirror
from dishtrace.trace.reference_optics import mirror_distance
from dishtrace.vec import normalise, perpendicular_axes

FOCAL = 0.8
OUTLINES = {
    "circle": circle(1.2),
    "hole": circle(1.0, hole_radius=0.3),
    "lateral section": circle(0.5, center=(0.2, -0.9)),
    "rectangle": rectangle((2.0, 0.6), center=(0.1, 0.2)),
    "polygon": polygon(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [0.0, 0.1], [-0.8, 1.2]])),
}


def mirror_of(outline, *, focal=FOCAL, **values):
    given = {"reflectance": np.array([0.9]), "slope": 0.0, "spread": 0.0, "jitter": 0.0, **values}
    return Mirror(
        focal=focal,
        kind=outline.kind,
        params=outline.params,
        vertices=outline.vertices,
        triangles=outline.triangles,
        cdf=outline.triangle_cdf,
        z_max=outline.largest_radius**2 / (4.0 * focal),
        power=1000.0 * outline.area,
        **given,
    )


DISH = mirror_of(OUTLINES["circle"])


def on_mirror(x, y, focal=FOCAL):
    return np.array([x, y, (x * x + y * y) / (4.0 * focal)])


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_outline_is_the_plain_one(outline):
    xy = np.random.default_rng(1).uniform(-1.6, 1.6, (3000, 2))
    found = [is_in_outline(outline.kind, outline.params, outline.vertices, *place) for place in xy]
    assert np.array_equal(found, outline.contains(xy))
    assert 0.02 < np.mean(found) < 0.98


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_hits_from_anywhere_are_those_of_the_reference(outline):
    """Rays towards random places of the mirror and past it, from above, below and beside it."""
    generator = np.random.default_rng(2)
    mirror = mirror_of(outline)
    origin = generator.uniform(-2.0, 2.0, (4000, 3))
    direction = normalise(on_mirror_many(generator.uniform(-1.5, 1.5, (4000, 2))) - origin)
    expected = mirror_distance(mirror, origin, direction, np.zeros(4000, dtype=bool))
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
    mirror = mirror_of(outline)
    origin = on_mirror_many(outline.map_unit_square(*generator.random((2, 3000))))
    target = on_mirror_many(outline.map_unit_square(*generator.random((2, 3000))))
    target[::3] += generator.normal(0.0, 0.3, target[::3].shape)
    direction = normalise(target - origin)
    expected = mirror_distance(mirror, origin, direction, np.ones(3000, dtype=bool))
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
    holed = mirror_of(OUTLINES["hole"])
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


def test_normal_is_the_plain_one():
    xy = np.random.default_rng(4).uniform(-1.2, 1.2, (50, 2))
    found = np.array([mirror_normal(FOCAL, *place) for place in xy])
    assert np.allclose(found, normal(*xy.T, focal_length=FOCAL), rtol=0.0, atol=1e-15)


@pytest.mark.parametrize(("x", "y"), [(0.0, 0.0), (0.7, 0.0), (-0.3, 1.1)])
def test_axial_ray_is_reflected_through_the_focus(x, y):
    place = on_mirror(x, y)
    away = np.array(reflected(*mirror_normal(FOCAL, x, y), 0.0, 0.0, -1.0, 0.0, 0.0, 0.0, 0.0))
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
    """Straight lines between equal steps of the cosine, ends held, one value for all angles."""
    table = np.array([0.2, 0.6, 0.9])
    assert [reflectance_at(table, c) for c in (0.0, 0.25, 0.5, 0.75, 1.0)] == pytest.approx([0.2, 0.4, 0.6, 0.75, 0.9])
    assert reflectance_at(table, -0.1) == 0.2
    assert reflectance_at(table, 1.0 + 1e-15) == 0.9
    assert reflectance_at(np.array([0.77]), 0.3) == 0.77
