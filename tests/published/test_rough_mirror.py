"""A rough mirror against Gaussian slopes of an independent renderer, and against quadrature.

Sources. Distribution of half vectors of P. Beckmann and A. Spizzichino, *The Scattering of Electromagnetic Waves from
Rough Surfaces*, 1963 (from memory): slopes are Gaussian with alpha = sqrt 2 sigma, sigma per axis. Sampled by the
general-purpose renderer Mitsuba 3 (package `mitsuba`, in the test extra; the test is left out where it is not
installed). The quadrature integrates the same Gaussian over slopes and needs no package.

A small level mirror patch is seen at an incidence of 40 deg; roughness 30 mrad, large enough that slopes, angles and
their sines differ by more than the error of the test.

Shown to fail on planted errors: slope read as radial (alpha = sigma, sqrt 2), the normal's tilt halved, slope
applied to
the reflected ray instead of the normal (no cos i).
"""

import numpy as np
import pytest
from scipy import stats

from tests.support.optics import POINT_SUN, T_LIMIT, scene_text, screen_text, traced

SIGMA = 30e-3
INCIDENCE = np.radians(40.0)
# The patch lies beside the axis where the mirror is tilted by the incidence angle; 10 mm against 17 m to the screen.
PSI = 2.0 * INCIDENCE
FOCUS = np.array([0.0, 0.0, 10.0])
PLACE = 10.0 * np.array([2.0 * np.tan(INCIDENCE), 0.0, np.tan(INCIDENCE) ** 2])
NORMAL = np.array([-np.sin(INCIDENCE), 0.0, np.cos(INCIDENCE)])
FACING = np.array([np.sin(PSI), 0.0, -np.cos(PSI)])
AXIS_X, AXIS_Y = np.array([np.cos(PSI), 0.0, np.sin(PSI)]), np.array([0.0, -1.0, 0.0])
HALF_WIDTH = 4.0


@pytest.fixture(scope="module")
def spot(seed):
    text = scene_text(
        focal_length=10.0,
        radius=0.01,
        center=PLACE[:2],
        sun=POINT_SUN,
        dish=f"slope_error_mrad = {1e3 * SIGMA}",
        more=screen_text(center=[0.0, 0.0, 0.0], facing=FACING, half_width=HALF_WIDTH),
    )
    return traced(text, rays=2**20, seed=seed).screens["screen"]


def landing(half_vectors):
    """Where sunlight from +z, reflected at the patch about unit half vectors (n, 3), meets the screen (n, 2). [m]"""
    towards = 2.0 * half_vectors[:, 2:] * half_vectors - np.array([0.0, 0.0, 1.0])
    t = ((FOCUS - PLACE) @ FACING) / (towards @ FACING)
    places = PLACE + t[:, np.newaxis] * towards - FOCUS
    return np.stack([places @ AXIS_X, places @ AXIS_Y], axis=1)


def in_dish_frame(local):
    """Vectors (n, 3) about the patch's normal, in the dish frame."""
    return local @ np.stack([[np.cos(INCIDENCE), 0.0, np.sin(INCIDENCE)], [0.0, 1.0, 0.0], NORMAL])


# Fields of 9 x 9 pixels of the 97 x 97 of the map.
FIELD_EDGES = (np.arange(8, 90, 9) - 48.5) * (2.0 * HALF_WIDTH / 97.0)


def field_shares(places, weights):
    """Share of the light in 9 x 9 fields of the screen, row = second axis, (81,). [–]"""
    counted, _, _ = np.histogram2d(places[:, 1], places[:, 0], bins=[FIELD_EDGES, FIELD_EDGES], weights=weights)
    return counted.ravel() / weights.sum()


def traced_shares(spot):
    """The same of the traced map, (81,). [–]"""
    assert spot.map_w_m2.shape == (97, 97)
    power = spot.map_w_m2 * (2.0 * HALF_WIDTH / 97.0) ** 2 / spot.power_w.value
    return power[8:89, 8:89].reshape(9, 9, 9, 9).sum(axis=(1, 3)).ravel()


def assert_same_distribution(first, second, n_rays):
    """Chi-square of two sets of shares for a sample of n_rays, false alarms 1e-6."""
    used = second * n_rays > 20.0
    chi2 = np.sum((first - second)[used] ** 2 / second[used]) * n_rays
    assert chi2 < stats.chi2.isf(1e-6, used.sum()), f"chi2 {chi2:.1f} in {used.sum()} fields"
    assert used.sum() > 40


def test_rough_mirror_against_quadrature_of_gaussian_slopes(spot):
    steps = np.linspace(-6.0, 6.0, 1201)
    first, second = (grid.ravel() for grid in np.meshgrid(steps, steps))
    half_vectors = np.stack([SIGMA * first, SIGMA * second, np.ones(first.size)], axis=1)
    half_vectors /= np.linalg.norm(half_vectors, axis=1, keepdims=True)
    weights = np.exp(-0.5 * (first**2 + second**2))
    places = landing(in_dish_frame(half_vectors))
    assert_same_distribution(traced_shares(spot), field_shares(places, weights), 2**20)
    mean = weights @ places / weights.sum()
    rms = np.sqrt(weights @ (places - mean) ** 2 / weights.sum())
    for axis in (0, 1):
        found = spot.rms_xy_m[axis]
        assert abs(found.value - rms[axis]) < T_LIMIT * found.se + 1e-4 * rms[axis]
        assert abs(spot.centroid_m[axis].value - mean[axis]) < T_LIMIT * spot.centroid_m[axis].se + 1e-6


def test_rough_mirror_against_an_independent_renderer(spot):
    renderer = pytest.importorskip("mitsuba")
    renderer.set_variant("scalar_rgb")
    # all half vectors, not only those that a viewer would see: power and place are those of the smooth surface
    rough = renderer.MicrofacetDistribution(
        renderer.MicrofacetType.Beckmann, np.sqrt(2.0) * SIGMA, sample_visible=False
    )
    numbers = np.random.default_rng(5).random((200_000, 2))
    up = renderer.Vector3f(0.0, 0.0, 1.0)
    sampled = [rough.sample(up, renderer.Point2f(float(a), float(b)))[0] for a, b in numbers]
    half_vectors = np.array([[m.x, m.y, m.z] for m in sampled])
    places = landing(in_dish_frame(half_vectors))
    assert_same_distribution(field_shares(places, np.ones(len(places))), traced_shares(spot), len(places))
    for axis in (0, 1):
        # 200 000 draws: a width to 1 in sqrt(400 000)
        assert places[:, axis].std() == pytest.approx(spot.rms_xy_m[axis].value, rel=T_LIMIT / np.sqrt(4e5))
