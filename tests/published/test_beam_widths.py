"""Widths add as the error budget says, each per axis: Gaussian optics.

Sources. `gamma(R) = 1 - exp(-R^2 / (2 sigma^2 L^2))` and its radii: closed form of the Gaussian. Budget
`sigma^2 = sigma_sun^2 + (2 sigma_slope)^2 + sigma_spread^2 + sigma_pointing^2`, all per axis: A. Rabl, *Active Solar
Collectors and Their Applications*, 1985 (from memory, checked numerically outside this code). Per-axis width of a
pillbox theta_s / 2 and sqrt 2 between radial and per-axis: closed form. A slope error across the plane of incidence
turns the ray by 2 sigma cos(i): derived, checked with 4 million draws outside this code.

Shown to fail on planted errors: slope not doubled on reflection (factor 2), slope read as radial (sqrt 2), spread
doubled, jitter larger by sqrt 2, slope applied to the reflected ray (no cos i), radial and per-axis rms exchanged.
"""

import numpy as np
import pytest

from tests.support.optics import POINT_SUN, assert_agrees, scene_text, screen_text, traced

RAYS = 2**19
FOCAL = 20.0
# A narrow dish: rim 1.4 deg, so cos(i) = 0.99996 at the rim, and f stands for every distance to within 2e-4.
NARROW = {"focal_length": FOCAL, "radius": 0.5}


def sun_of(profile, key, value):
    return f'shape = {{ profile = "{profile}", {key} = {value} }}'


@pytest.mark.parametrize(
    ("sun", "dish", "mount", "sigma_mrad"),
    [
        (sun_of("gaussian", "sigma_mrad", 2.325), "", "", 2.325),
        (sun_of("pillbox", "half_angle_mrad", 4.65), "", "", 2.325),
        (POINT_SUN, "slope_error_mrad = 3.0", "", 6.0),
        (POINT_SUN, "beam_spread_mrad = 1.0", "", 1.0),
        (POINT_SUN, "", 'kind = "two-axis"\npointing_jitter_mrad = 1.0', 1.0),
    ],
    ids=["gaussian sun", "pillbox sun", "slope counts twice", "beam spread counts once", "jitter counts once"],
)
def test_each_width_alone_per_axis(sun, dish, mount, sigma_mrad, seed):
    result = traced(scene_text(**NARROW, sun=sun, dish=dish, mount=mount), rays=RAYS, seed=seed)
    for axis in result.focal_plane.rms_xy_m:
        assert_agrees(axis.scaled(1e3 / FOCAL), sigma_mrad, relative=4e-4)
        assert axis.se < 1e-3 * axis.value
    # radial and per-axis rms differ by sqrt 2 by definition
    assert_agrees(result.focal_plane.rms_m.scaled(1e3 / FOCAL), sigma_mrad * np.sqrt(2.0), relative=4e-4)


@pytest.fixture(scope="module")
def budget(seed):
    """Sun 2.325, slope 3, spread 1, jitter 1 mrad, all per axis and Gaussian: 6.5883 mrad."""
    sigma = 6.5883e-3 * FOCAL
    text = scene_text(
        **NARROW,
        sun=sun_of("gaussian", "sigma_mrad", 2.325),
        dish="slope_error_mrad = 3.0\nbeam_spread_mrad = 1.0",
        mount='kind = "two-axis"\npointing_jitter_mrad = 1.0',
        more=screen_text(offset=0.0, radii=sigma * np.array([0.5, 1.0, 1.5, 2.0, 3.0]), half_width=4.0 * sigma),
    )
    return traced(text, rays=2**20, seed=seed)


def test_error_budget_sum(budget):
    total = np.sqrt(2.325**2 + (2 * 3.0) ** 2 + 1.0**2 + 1.0**2)
    assert total == pytest.approx(6.5883, abs=1e-4)
    for axis in budget.focal_plane.rms_xy_m:
        assert_agrees(axis.scaled(1e3 / FOCAL), total, relative=4e-4)


def test_gaussian_capture(budget):
    outline = budget.budget_w["outline"].value
    captured = (0.11750, 0.39347, 0.67535, 0.86466, 0.98889)
    for (_, power), expected in zip(budget.screens["screen"].inside, captured, strict=True):
        assert_agrees(power.scaled(1.0 / outline), expected, absolute=3e-4)


def test_gaussian_radii(budget):
    sigma = 6.5883e-3 * FOCAL
    for percent, radii in {"50": 1.17741, "90": 2.14597, "95": 2.44775, "99": 3.03485}.items():
        assert_agrees(budget.focal_plane.radius_m[percent].scaled(1.0 / sigma), radii, relative=1e-3)


def test_gaussian_flux_profile_and_peak(budget):
    """Flux falls as exp(-r^2 / (2 sigma^2)) from DNI A / (2 pi sigma^2), here 23 suns."""
    screen, sigma = budget.screens["screen"], 6.5883e-3 * FOCAL
    edges = screen.profile_edges_m
    enclosed = 1.0 - np.exp(-(edges**2) / (2.0 * sigma**2))
    area = np.pi * (edges[1:] ** 2 - edges[:-1] ** 2)
    expected = budget.budget_w["outline"].value * np.diff(enclosed) / area
    off = (screen.profile_w_m2 - expected) / np.hypot(screen.profile_se_w_m2, 1e-3 * expected)
    assert np.abs(off).max() < 5.5
    assert (off**2).mean() < 2.0


def slope_figures(incidence_deg, *, seed):
    """In-plane and out-of-plane angle per 2 sigma of a small mirror patch seen from the focus at twice the
    incidence."""
    psi = np.radians(2.0 * incidence_deg)
    distance = 2.0 / (1.0 + np.cos(psi))
    text = scene_text(
        radius=0.01,
        center=(2.0 * np.tan(0.5 * psi), 0.0),
        sun=POINT_SUN,
        dish="slope_error_mrad = 2.0",
        more=screen_text(center=[0.0, 0.0, 0.0], facing=[np.sin(psi), 0.0, -np.cos(psi)]),
    )
    screen = traced(text, rays=RAYS, seed=seed).screens["screen"]
    return [axis.scaled(1.0 / (2.0 * 2e-3 * distance)) for axis in (*screen.rms_xy_m, screen.rms_m)]


@pytest.mark.parametrize(
    ("incidence_deg", "out_of_plane", "radial"),
    [(0.0, 1.0, 1.4142), (30.0, 0.866, 1.3229), (45.0, 0.707, 1.2247), (60.0, 0.5, 1.1180)],
)
def test_slope_across_the_plane_of_incidence_counts_with_its_cosine(incidence_deg, out_of_plane, radial, seed):
    along, across, both = slope_figures(incidence_deg, seed=seed)
    if incidence_deg == 0.0:
        assert_agrees(along, 1.0, absolute=1e-3)
    assert_agrees(along, 1.0, absolute=1.5e-3)
    assert_agrees(across, np.cos(np.radians(incidence_deg)), absolute=1.5e-3)
    assert across.value == pytest.approx(out_of_plane, abs=3e-3)
    assert both.value == pytest.approx(radial, abs=3e-3)


def test_slope_error_leaves_power_to_the_smooth_surface(seed):
    """It turns the reflected ray only: a rough mirror collects DNI times its aperture, to rounding."""
    result = traced(scene_text(rim_deg=60.0, dish="slope_error_mrad = 20.0"), rays=2**15, seed=seed)
    aperture = np.pi * 4.0 * np.tan(np.radians(30.0)) ** 2
    assert_agrees(result.budget_w["outline"], 1000.0 * aperture, relative=1e-6)
    assert_agrees(result.focal_plane.power_w, 1000.0 * aperture, relative=1e-6)
