"""The spot of measured facets against that of facets told in words; the facet and its points are invented."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.flux.measure import trace
from tests.support.facet_scenes import facet_scene
from tests.unit.test_measured_facet import TILES, cap, gauge, write

R = 1.3
GRID = 'layout = "square-grid"\nsize_m = 0.1\ngap_m = 0.005\n'


def spot_of(lines, *, seed, folder=None, slope=0.0):
    scene = facet_scene(lines, folder=folder, dish=f"slope_error_mrad = {slope}")
    result = trace(scene, rays=32768, seed=seed, threads=2)
    return result.focal_plane, result


@pytest.mark.parametrize("degree", [2, 4])
def test_a_measured_sphere_cap_makes_the_spot_of_a_spherical_tile(tmp_path, seed, degree):
    """A cap of R = 1.3 m with 0.2 um of gauge noise, its error told: with the same random points, radii and peak of the
    spot agree to 2 %, which is what the noise does to the radius. Fails for a curvature off by 3 % or a slope doubled
    (5 %), and for patches that are turned or shifted, for all random points."""
    rng = np.random.default_rng(seed)
    points = cap(gauge(), R) + 2e-7 * np.outer(rng.standard_normal(169), [0, 0, 1])
    write(tmp_path, points)
    lines = f"{TILES}curve_degree = {degree}\ncurve_height_error_m = 2e-7\n"
    measured, result = spot_of(lines, seed=seed, folder=tmp_path, slope=1.0)
    told, _ = spot_of(f'{GRID}curve = "spherical"\nradius_m = {R}\n', seed=seed, slope=1.0)
    (fit,) = result.dish["measured_facets"]
    assert fit["radius_m"] == pytest.approx(R, rel=2e-3)
    assert fit["slope_error_mrad"] < 0.05
    for share in ("50", "90", "95"):
        assert measured.radius_m[share].value == pytest.approx(told.radius_m[share].value, rel=0.02)
    assert measured.power_w.value == pytest.approx(told.power_w.value, rel=1e-3)
    assert measured.peak_w_m2.value == pytest.approx(told.peak_w_m2.value, rel=0.03)


def test_waves_below_the_fit_widen_the_spot_as_a_slope_error_does(tmp_path, seed):
    """Waves of 2.1 mrad per axis that a fit of degree 2 leaves widen the spot like that slope error of the dish.
    2 % are for the neighbours' distance over the waves; a factor of sqrt 2 in the slope makes 10 %."""
    xy = gauge(n=61)
    waves = 5e-6 * (np.cos(600.0 * xy[:, 0]) + np.cos(600.0 * xy[:, 1] + 1.0))
    write(tmp_path, cap(xy, R) + np.outer(waves, [0, 0, 1]))
    measured, result = spot_of(TILES, seed=seed, folder=tmp_path)
    (fit,) = result.dish["measured_facets"]
    assert fit["slope_error_mrad"] == pytest.approx(5e-6 * 600.0 * np.sqrt(0.5) * 1e3, rel=0.06)
    slope = 5e-3 * 600.0 * np.sqrt(0.5)
    told, _ = spot_of(f'{GRID}curve = "spherical"\nradius_m = {R}\n', seed=seed, slope=slope)
    assert measured.rms_m.value == pytest.approx(told.rms_m.value, rel=0.05)
