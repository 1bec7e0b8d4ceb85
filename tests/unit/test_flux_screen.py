"""Figures of a screen from its sums.

Shown to fail on planted errors: rms about the screen's centre, radial rms smaller by sqrt 2, quantile one bin off, map
transposed.
"""

import numpy as np
import pytest
from scipy import stats

from dishtrace.flux.screen import moments_of, radii_of
from tests.support.optics import assert_agrees, part_text, scene_text, screen_text, traced


def test_moments_by_hand():
    """Power 1 at (1, 2) and 3 at (5, 2): centroid (4, 2), variance along x (9 + 3) / 4."""
    power, x, y = np.array([1.0, 3.0]), np.array([1.0, 5.0]), np.array([2.0, 2.0])
    sums = np.array([[power.sum(), power @ x, power @ y, power @ x**2, power @ y**2]])
    assert moments_of(sums)[0] == pytest.approx([4.0, 2.0, np.sqrt(3.0), np.sqrt(3.0), 0.0])


def test_moments_without_power_are_unknown():
    assert np.isnan(moments_of(np.zeros((1, 5)))).all()


@pytest.mark.parametrize("scale", [0.01, 0.02, 0.1])
def test_radii_of_a_gaussian_from_exact_bins(scale):
    """Bins filled from the closed form 1 - exp(-r^2 / 2 sigma^2): radii to a bin's own interpolation."""
    sigma = 0.015
    edges = np.arange(2049) / 2048
    edges = scale * edges[:-1] / (1.0 - edges[:-1])
    power = np.diff(np.append(1.0 - np.exp(-0.5 * (edges / sigma) ** 2), 1.0))
    found = radii_of(np.stack([power, 7.0 * power]), scale)
    exact = sigma * stats.rayleigh.ppf([0.5, 0.9, 0.95, 0.99])
    assert found == pytest.approx(np.tile(exact, (2, 1)), rel=1e-4)


def test_radii_of_one_full_bin_interpolate_in_it():
    sums = np.zeros((1, 4))
    sums[0, 2] = 5.0
    place = (2.0 + np.array([0.5, 0.9, 0.95, 0.99])) / 4.0
    assert radii_of(sums, 3.0)[0] == pytest.approx(3.0 * place / (1.0 - place))


def test_radii_without_power_are_unknown():
    assert np.isnan(radii_of(np.zeros((2, 16)), 1.0)).all()


@pytest.fixture(scope="module")
def aside(seed):
    """A spot that lies 20 mm beside the focus in y, on a screen about the focus, and a tilted one facing away."""
    more = screen_text("screen", offset=0.0, half_width=0.06, radii=[0.02, 0.3])
    more += screen_text("facing away", offset=0.0, facing=[0.0, 0.0, 1.0])
    more += screen_text("behind", offset=0.5, half_width=0.4).replace(
        "through_receivers = true", "through_receivers = false"
    )
    more += screen_text("behind, clear", offset=0.5, half_width=0.4)
    more += part_text("target", "disc", radius_m=0.2, axis=[0.0, 0.0, -1.0])
    text = scene_text(
        rim_deg=45.0,
        mount='kind = "two-axis"\npointing_offset_mrad = [0.0, 20.0]',
        dish="slope_error_mrad = 1.0",
        more=more,
    )
    return traced(text, rays=2**17, seed=seed)


def test_map_rings_and_figures_agree_with_each_other(aside):
    screen = aside.screens["screen"]
    pixel = 2.0 * screen.half_width_m / 97
    axis = (np.arange(97) + 0.5) * pixel - screen.half_width_m
    power = screen.map_w_m2 * pixel**2
    assert power.sum() == pytest.approx(screen.power_w.value, rel=1e-3)
    assert (power.sum(axis=0) @ axis) / power.sum() == pytest.approx(screen.centroid_m[0].value, abs=1e-4)
    assert (power.sum(axis=1) @ axis) / power.sum() == pytest.approx(screen.centroid_m[1].value, abs=2e-4)
    # f times 20 mrad, and a fifth more by the aberration of a dish of 45 deg
    assert 0.02 < screen.centroid_m[1].value < 0.026
    x, y = np.meshgrid(axis, axis)
    share = power[
        np.hypot(x - screen.centroid_m[0].value, y - screen.centroid_m[1].value) < screen.radius_m["90"].value
    ].sum()
    assert share / screen.power_w.value == pytest.approx(0.9, abs=0.01)


def test_radii_are_about_the_centroid_and_circles_about_the_centre(aside):
    """The spot stands beside the centre: half of it fits into less than 10 mm about itself, little into 20 mm about
    the centre."""
    screen = aside.screens["screen"]
    assert screen.radius_m["50"].value < 0.01
    (radius, near), (_, all_of_it) = screen.inside
    assert radius == 0.02
    assert 0.1 < near.value / screen.power_w.value < 0.3
    assert all_of_it.value == screen.power_w.value
    rings = np.diff(screen.profile_edges_m**2) * np.pi * screen.profile_w_m2
    assert np.cumsum(rings) == pytest.approx(screen.encircled_w, rel=1e-9)
    assert np.interp(0.02, screen.encircled_radius_m, screen.encircled_w) == pytest.approx(near.value, rel=1e-9)
    assert screen.encircled_radius_m[15] == pytest.approx(0.02)


def test_only_the_front_records_and_receivers_stop_light_where_asked(aside):
    # the target's own shadow falls on the mirror; all that the mirror sends meets it
    lit = aside.budget_w["outline"].value - aside.budget_w["shaded"].value
    assert_agrees(aside.screens["screen"].power_w, lit, relative=1e-3)
    assert aside.screens["facing away"].power_w.value == 0.0
    assert aside.screens["behind"].power_w.value == 0.0
    assert aside.screens["behind, clear"].power_w.value == pytest.approx(aside.focal_plane.power_w.value, rel=1e-12)
    assert aside.focal_plane.power_w.value == pytest.approx(lit, rel=1e-9)


def test_dark_screen_tells_no_number_for_what_it_does_not_know(aside):
    told = aside.screens["facing away"].to_dict()
    assert told["power_w"]["value"] == 0.0
    assert told["rms_m"] == {"value": None, "se": None}
    assert told["radius_m"]["90"] == {"value": None, "se": None}
