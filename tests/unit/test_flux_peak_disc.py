"""The brightest disc of a part: the same whatever its triangles, and that of a plane where the part is flat.

Planted errors that these tests catch: triangles taken whole, or chosen by their middles; a disc about the triangle's
middle instead of the point; always the point's disc; a disc that is not moved off a hollow; a reach too short for
narrow parts; a climb that gives up while it gets brighter; light behind glass told by the tally; places in a disc of
other points than those of the mirror; light thrown back counted twice.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from dishtrace.flux import brightest
from dishtrace.flux.brightest import flux_over
from dishtrace.flux.disc import disc_about
from dishtrace.flux.look import looking
from dishtrace.flux.measure import trace
from dishtrace.flux.peak_point import brightest_point, together
from dishtrace.parts.triangles import areas_of
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate, total
from tests.support.small_scenes import COVER, coarse_parts, part, prepared, scene_text

PLATE = 'shape = "disc"\nradius_m = {}\naxis = [0.0, 0.0, -1.0]'
DISH = "slope_error_mrad = 2.0"
RADIUS = np.sqrt(1e-4 / np.pi)


def plate(radius):
    return scene_text(part("plate", "receiver", PLATE.format(radius), "absorptance = 1.0"), dish=DISH)


@pytest.fixture(scope="module")
def mesh():
    """A plate of coarse triangles."""
    return prepared(plate(0.1)).meshes[0]


@pytest.mark.parametrize("radius", [0.03, 0.1, 0.3])
def test_peak_on_a_flat_receiver_is_that_of_its_plane(radius):
    result = trace(scene_from_text(plate(radius)), rays=2**18, seed=4)
    told, plane = result.parts["plate"].peak_w_m2, result.focal_plane.peak_w_m2
    # the plane's disc is made of pixels and placed to one of them, which costs up to half a percent
    assert abs(told.value - plane.value) < 4.5 * np.hypot(told.se, plane.se) + 0.005 * plane.value
    assert told.se < 0.01 * told.value
    assert result.parts["plate"].peak_patch_m2 == pytest.approx(1e-4)


@pytest.mark.parametrize("offset", [(0.0, 0.0), (0.003, -0.001), (0.02, 0.015)])
def test_a_disc_lies_about_its_point(mesh, offset):
    place = np.array([*offset, mesh.triangles[0, 0, 2]])
    assert_disc(disc_about(mesh, place, nearest(mesh, place), "front", area=1e-4), place)


def test_a_disc_on_long_thin_triangles_is_one_too():
    """A plate of strips 0.4 m long, whose middles are far from the point."""
    edges = np.linspace(-0.05, 0.05, 51)
    low, high = (np.stack([edges, np.full(51, y), np.zeros(51)], axis=1) for y in (-0.2, 0.2))
    first, second = (low[:-1], low[1:], high[1:]), (low[:-1], high[1:], high[:-1])
    triangles = np.concatenate([np.stack(corners, axis=1) for corners in (first, second)])
    strips = SimpleNamespace(triangles=triangles, normals=np.tile([0.0, 0.0, 1.0], (100, 1)))
    place = np.array([0.01, 0.15, 0.0])
    disc = disc_about(strips, place, 30, "front", area=1e-4)
    assert_disc(disc, place)


def test_on_a_narrow_strip_it_reaches_as_far_as_its_area_needs():
    """A strip 4 mm wide: 25 mm of it are 1 cm2."""
    edges = np.linspace(-0.1, 0.1, 101)
    low, high = (np.stack([edges, np.full(101, y), np.zeros(101)], axis=1) for y in (-0.002, 0.002))
    first, second = (low[:-1], low[1:], high[1:]), (low[:-1], high[1:], high[:-1])
    triangles = np.concatenate([np.stack(corners, axis=1) for corners in (first, second)])
    strip = SimpleNamespace(triangles=triangles, normals=np.tile([0.0, 0.0, 1.0], (200, 1)))
    disc = disc_about(strip, np.array([0.011, 0.0, 0.0]), 55, "front", area=1e-4)
    assert disc.area == pytest.approx(1e-4)
    middles = disc.triangles.mean(axis=1)
    assert middles[:, 0].min() == pytest.approx(0.011 - 0.0125, abs=5e-4)
    assert middles[:, 0].max() == pytest.approx(0.011 + 0.0125, abs=5e-4)


def assert_disc(disc, place):
    assert disc.area == pytest.approx(1e-4) and disc.radius == pytest.approx(RADIUS)
    middles, areas = disc.triangles.mean(axis=1), areas_of(disc.triangles) * disc.shares
    assert np.linalg.norm(middles - place, axis=1).max() < 1.05 * RADIUS
    assert np.linalg.norm(areas @ middles / disc.area - place) < 0.03 * RADIUS
    assert areas.sum() == pytest.approx(disc.area)


def nearest(mesh, place):
    """Triangle whose middle is nearest to a place."""
    return int(np.argmin(np.linalg.norm(mesh.triangles.mean(axis=1) - place, axis=1)))


def test_a_disc_on_a_part_that_is_smaller_is_all_of_it():
    small = prepared(plate(0.004)).meshes[0]
    disc = disc_about(small, small.triangles[0].mean(axis=0), 0, "front", area=1e-4)
    assert disc.area == pytest.approx(small.areas.sum())


@pytest.fixture(scope="module")
def ring():
    """Petals that aim at a ring of 4 mm: the brightest point lies on it, the brightest disc about its middle."""
    petals = 'layout = "petals"\ncount = 12\ninner_radius_m = 0.2\nouter_radius_m = 1.0\ncurve = "parent"'
    return scene_text(
        f"[dish.facets]\n{petals}\naim_ring_m = 0.004\n"
        + part("plate", "receiver", PLATE.format(0.05), "absorptance = 1.0"),
        dish="slope_error_mrad = 0.5",
        sun='dni_w_m2 = 1000.0\nshape = { profile = "pillbox", half_angle_mrad = 2.0 }',
    )


def test_where_the_flux_has_a_hollow_the_brighter_disc_of_two_is_taken(ring):
    result = trace(scene_from_text(ring), rays=2**18, seed=4)
    told, plane = result.parts["plate"], result.focal_plane.peak_w_m2
    assert abs(told.peak_w_m2.value - plane.value) < 4.5 * told.peak_w_m2.se + 0.01 * plane.value
    assert told.peak_w_m2.se < 0.01 * plane.value
    assert told.peak_point.flux.value > 1.2 * told.peak_w_m2.value


def test_a_search_that_is_misled_to_a_dark_place_does_not_matter(monkeypatch):
    """The disc about the brightest triangle of the rays is then taken, and moved to where it is brighter."""
    told = trace(scene_from_text(plate(0.1)), rays=2**17, seed=4).parts["plate"]
    middles = told.mesh.triangles.mean(axis=1)
    dark = int(np.argmax(np.linalg.norm(middles[:, :2], axis=1)))
    monkeypatch.setattr(brightest, "brightest_point", lambda *_, **__: (middles[dark], dark))
    misled = trace(scene_from_text(plate(0.1)), rays=2**17, seed=4).parts["plate"]
    assert misled.peak_w_m2.value > 0.98 * told.peak_w_m2.value
    assert misled.peak_triangle != dark


def test_more_samples_make_the_mean_over_a_disc_surer(ring):
    """Sixteen times as many: more than random ones, which would make it four times. Off the middle every place sees
    other petals, so that places and mirror must be even together."""
    scene = prepared(ring)
    mesh = scene.meshes[0]
    look = looking(scene.assembly.optics, sun=scene.sun, facets=scene.facets, seed=1, threads=2)
    place = np.array([0.003, 0.0, mesh.triangles[0, 0, 2]])
    disc = disc_about(mesh, place, nearest(mesh, place), "front", area=1e-4)
    few, many = (flux_over(look, disc, count=count) for count in (1024, 16384))
    assert many.se < few.se / 3.0
    assert abs(few.value - many.value) < 4.5 * np.hypot(few.se, many.se)


@pytest.mark.parametrize("n_bins", [300, 4500])
def test_triangles_do_not_matter_under_a_cover(n_bins):
    """What goes straight through glass is looked back, too: it changes the peak by what it stops."""
    with coarse_parts(n_bins=n_bins):
        bare = trace(scene_from_text(plate(0.1)), rays=2**17, seed=4).parts["plate"]
        covered = trace(scene_from_text(plate(0.1) + COVER), rays=2**17, seed=4).parts["plate"]
    glass = covered.incident_w.value / bare.incident_w.value
    assert 0.8 < glass < 0.95
    told, wanted = covered.peak_w_m2, bare.peak_w_m2.scaled(glass)
    # light from steep ways passes less well than that of the middle
    assert abs(told.value - wanted.value) < 4.5 * np.hypot(told.se, wanted.se) + 0.01 * wanted.value


def test_the_climb_goes_on_while_it_gets_brighter():
    scene = prepared(plate(0.1))
    mesh = scene.meshes[0]
    look = looking(scene.assembly.optics, sun=scene.sun, facets=scene.facets, seed=1, threads=1)
    middles = mesh.triangles.mean(axis=1)
    start = int(np.argmin(np.abs(np.linalg.norm(middles[:, :2], axis=1) - 0.012)))
    place, _ = brightest_point(look, mesh, start, "front")
    assert np.linalg.norm(place[:2]) < 0.002


def test_first_and_later_light_are_added_once():
    """With errors of their own points: as independent ones, or block by block where both have blocks."""
    rng = np.random.default_rng(3)
    assert together(Estimate(3.0, 0.3), Estimate(1.0, 0.4)) == Estimate(4.0, 0.5)
    first, later = (total(rng.normal(mean, 1.0, 32)) for mean in (3.0, 1.0))
    both = together(first, later)
    assert both.value == pytest.approx(first.value + later.value)
    assert both.se == pytest.approx(np.hypot(first.se, later.se), rel=0.4)
    assert together(first, Estimate(0.0, 0.0)) is first
