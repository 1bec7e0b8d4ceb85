"""From numbers in (0, 1) to places and directions, against plain twins and against the distributions meant.

Planted errors that these tests catch: a missing factor 2 of a radius (uniform in r instead of r^2), a cosine law
without its square root, tan instead of tan^2, a sign in the second perpendicular axis.
"""

from functools import cache

import numpy as np
import pytest
from scipy import special, stats

from dishtrace.dish.facets import skin
from dishtrace.dish.outline import circle, polygon, rectangle
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.sunshape import sunshape_of
from dishtrace.trace.kernels import mirror, sampling
from dishtrace.vec import normalise, perpendicular_axes
from tests.support.called import from_python
from tests.support.mirrors import mirror_of
from tests.support.small_scenes import scene_text

outline_point = from_python(mirror.outline_point)
cos_sin_turns = from_python(sampling.cos_sin_turns)
lambert = from_python(sampling.lambert)
normal_quantile = from_python(sampling.normal_quantile)
perpendicular = from_python(sampling.perpendicular)
picked = from_python(sampling.picked)
sun_tan2 = from_python(sampling.sun_tan2)
tilted = from_python(sampling.tilted)

# Every chi-squared test here: chance of a false alarm.
FALSE_ALARM = 1e-5


def numbers(seed, n, d=2):
    return np.random.default_rng(seed).random((n, d))


def assert_uniform(cells, n_cells):
    """Counts in equally likely cells, by Pearson's chi-squared."""
    counts = np.bincount(cells, minlength=n_cells)
    assert len(counts) == n_cells
    assert stats.chisquare(counts).pvalue > FALSE_ALARM


def test_normal_quantile_is_the_inverse_of_the_distribution():
    """Against scipy, to 1e-15 relative in the middle and down to the smallest number that a ray can get."""
    p = np.concatenate(
        [np.linspace(0.001, 0.999, 997), 2.0 ** -np.arange(2.0, 34.0), 0.5 + 2.0 ** -np.arange(2.0, 34.0)]
    )
    found = np.array([normal_quantile(x) for x in p])
    assert np.allclose(found, special.ndtri(p), rtol=2e-15, atol=1e-16)
    assert normal_quantile(0.5) == 0.0
    assert normal_quantile(1.0 - 2.0**-33) == pytest.approx(-normal_quantile(2.0**-33), rel=1e-15)


def test_cosine_and_sine_of_turns():
    """To 4e-16 of the true values everywhere, at the joints between quarters and at both ends."""
    u = np.concatenate(
        [numbers(8, 2000, 1).ravel(), np.arange(9) / 8, np.arange(9) / 8 + 1e-12, [2.0**-33, 1 - 2.0**-33]]
    )
    u = u[u <= 1.0]
    found = np.array([cos_sin_turns(x) for x in u])
    angle = 2.0 * np.pi * np.where(u > 0.5, u - 1.0, u)
    assert np.abs(found - np.stack([np.cos(angle), np.sin(angle)], axis=1)).max() < 4e-16
    assert cos_sin_turns(0.0) == (1.0, 0.0)
    assert cos_sin_turns(0.25) == (0.0, 1.0)
    assert cos_sin_turns(0.5) == (-1.0, 0.0)
    assert cos_sin_turns(1.0) == (1.0, 0.0)


def test_picked_splits_a_number_into_a_choice_and_a_fresh_number():
    """Shares 0.2, 0, 0.5, 0.3: nothing without a share is picked, and the rest of u is even in (0, 1)."""
    shares = np.array([0.2, 0.2, 0.7, 1.0])
    assert picked(shares, 0.05) == (0, pytest.approx(0.25))
    assert picked(shares, 0.2) == (2, 0.0)
    assert picked(shares, 0.45) == (2, pytest.approx(0.5))
    assert picked(shares, 0.85) == (3, pytest.approx(0.5))
    assert picked(np.array([1.0]), 0.3) == (0, 0.3)
    u = (np.arange(1000) + 0.5) / 1000
    chosen = np.array([picked(shares, x)[0] for x in u])
    assert np.bincount(chosen).tolist() == [200, 0, 500, 300]


OUTLINES = {
    "circle": circle(1.2),
    "annulus off the axis": circle(0.9, hole_radius=0.4, center=(0.3, -1.1)),
    "rectangle": rectangle((2.0, 0.5), center=(0.4, 0.1)),
    "polygon": polygon(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 0.4], [0.2, 1.5]])),
}


@pytest.mark.parametrize("outline", OUTLINES.values(), ids=OUTLINES.keys())
def test_outline_points_are_even_over_the_area(outline):
    """Mean and second moments of place against Gauss quadrature, |z| < 4.9 of 5 each; all inside."""
    u = numbers(2, 20000)
    mirror = mirror_of(skin(outline, focal_length=1.0, slope=0.0))
    places = np.array([outline_point(mirror, 0, *row) for row in u])
    assert outline.contains(places).all()
    nodes, weights = outline.quadrature(24)

    def features(xy):
        x, y = xy.T
        return np.stack([x, y, x * x, y * y, x * y])

    expected = features(nodes) @ weights / outline.area
    found = features(places)
    z = (found.mean(axis=1) - expected) / (found.std(axis=1) / np.sqrt(len(u)))
    assert np.abs(z).max() < 4.9


def test_circle_is_even_in_area_cells():
    outline = OUTLINES["annulus off the axis"]
    u = numbers(3, 20000)
    mirror = mirror_of(skin(outline, focal_length=1.0, slope=0.0))
    places = np.array([outline_point(mirror, 0, *row) for row in u])
    x, y = (places - outline.center).T
    ring = ((x * x + y * y - 0.4**2) / (0.9**2 - 0.4**2) * 10).astype(int)
    sector = ((np.arctan2(y, x) / (2 * np.pi) % 1.0) * 12).astype(int)
    assert_uniform(ring * 12 + sector, 120)


AXES = normalise(np.array([[0, 0, 1.0], [0, 0, -1.0], [1, 0, 0], [0.3, -0.5, 0.2], [-1, 2, -3], [1e-9, 0, -1]]))


@pytest.mark.parametrize("axis", AXES)
def test_perpendicular_axes_are_a_right_handed_frame_and_the_plain_ones(axis):
    found = np.array(perpendicular(*axis)).reshape(2, 3)
    assert np.array_equal(found, np.stack(perpendicular_axes(axis)))
    frame = np.vstack([found, axis])
    assert np.allclose(frame @ frame.T, np.eye(3), rtol=0.0, atol=1e-15)
    assert np.linalg.det(frame) == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("axis", AXES)
def test_tilted_turns_by_tangents(axis):
    """The angle's tangent is hypot(a, b), towards a e1 + b e2."""
    a, b = 0.03, -0.07
    found = np.array(tilted(*axis, a, b))
    e1, e2 = perpendicular_axes(axis)
    assert np.linalg.norm(found) == pytest.approx(1.0, abs=1e-15)
    assert found @ e1 / (found @ axis) == pytest.approx(a, abs=1e-15)
    assert found @ e2 / (found @ axis) == pytest.approx(b, abs=1e-15)
    assert np.array_equal(tilted(*axis, 0.0, 0.0), axis)


@pytest.mark.parametrize("axis", AXES)
def test_lambert_is_the_cosine_law(axis):
    """sin^2 of the angle and the azimuth are even and independent: density cos / pi; all on the normal's side."""
    u = numbers(4, 10000)
    found = np.array([lambert(*axis, *row) for row in u])
    assert np.allclose(np.linalg.norm(found, axis=1), 1.0, rtol=0.0, atol=1e-14)
    cosine = found @ axis
    assert np.all(cosine > 0.0)
    e1, e2 = perpendicular_axes(axis)
    azimuth = np.arctan2(found @ e2, found @ e1) / (2 * np.pi) % 1.0
    assert_uniform((np.minimum(1.0 - cosine**2, 1 - 1e-12) * 10).astype(int) * 10 + (azimuth * 10).astype(int), 100)


def test_lambert_at_the_ends_of_its_range():
    """u -> 0 is the normal, u -> 1 grazes, neither leaves the hemisphere."""
    assert lambert(0.0, 0.0, 1.0, 2.0**-33, 0.5)[2] == pytest.approx(1.0, abs=1e-9)
    assert 0.0 < lambert(0.0, 0.0, 1.0, 1.0 - 2.0**-33, 0.5)[2] < 2e-5


SHAPES = {
    "pillbox": 'profile = "pillbox", half_angle_mrad = 4.65',
    "gaussian": 'profile = "gaussian", sigma_mrad = 3.0',
    "limb-darkened": 'profile = "limb-darkened"',
    "circumsolar": 'profile = "circumsolar", csr = 0.1',
}


@cache
def table_of(name):
    return sunshape_of(scene_from_text(scene_text(sun=f"dni_w_m2 = 900.0\nshape = {{ {SHAPES[name]} }}"))).table


@pytest.mark.parametrize("name", SHAPES)
def test_sun_table_is_read_at_its_nodes(name):
    """At the share w = 2^-(k+1) (1 + j/n) outside the angle the table's own entry comes back."""
    table = table_of(name)
    n = table.shape[1] - 1
    for k in (0, 1, 7, 30):
        for j in (0, 1, n // 2, n - 1):
            w = 2.0 ** -(k + 1) * (1.0 + j / n)
            assert sun_tan2(table, 1.0 - w) == pytest.approx(table[k, j], rel=1e-6)


@pytest.mark.parametrize("name", SHAPES)
def test_sun_table_is_interpolated_linearly_in_the_share_outside(name):
    table = table_of(name)
    n_rows, n = table.shape[0], table.shape[1] - 1
    share = 2.0 ** -(np.arange(n_rows)[:, np.newaxis] + 1.0) * (1.0 + np.arange(n) / n)
    shares, values = np.append(share[::-1].ravel(), 1.0), np.append(table[::-1, :-1].ravel(), table[0, -1])
    u = np.concatenate([numbers(5, 300, 1).ravel(), [2.0**-33, 1.0 - 2.0**-33], 1.0 - 2.0 ** -np.arange(2.0, 33.0)])
    found = np.array([sun_tan2(table, x) for x in u])
    assert np.allclose(found, np.interp(1.0 - u, shares, values), rtol=1e-12, atol=1e-22)


def test_pillbox_is_even_over_the_disc():
    """tan^2 between 0 and tan^2 of the half-angle, even: sin cos dtheta is tan dtan to 1e-5 over 4.65 mrad."""
    edge = np.tan(4.65e-3) ** 2
    u = numbers(6, 20000, 1).ravel()
    table = table_of("pillbox")
    found = np.array([sun_tan2(table, x) for x in u])
    assert found.max() <= edge * (1.0 + 1e-12)
    assert_uniform((found / edge * 50 * (1 - 1e-12)).astype(int), 50)
    assert np.allclose(found, u * edge, rtol=0.0, atol=3e-5 * edge)


def test_gaussian_has_its_spread_per_axis():
    """Mean of theta^2 is 2 sigma^2 for a per-axis sigma (not sigma^2): |z| < 4.5."""
    u = numbers(7, 20000, 1).ravel()
    table = table_of("gaussian")
    found = np.array([sun_tan2(table, x) for x in u])
    assert abs(found.mean() - 2 * 0.003**2) < 4.5 * found.std() / np.sqrt(len(u))
