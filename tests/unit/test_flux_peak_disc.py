"""The brightest disc of a part: the same whatever its triangles, and that of a plane where the part is flat.

Planted errors that these tests catch: triangles taken whole; a disc about the triangle's middle instead of the point;
shares of pieces in place of those of their triangles' power; a climb that gives up while it gets brighter.
"""

from dataclasses import replace

import numpy as np
import pytest

from dishtrace.flux.look import looking
from dishtrace.flux.measure import trace
from dishtrace.flux.peak_point import brightest_point, disc_about
from dishtrace.scene.read import scene_from_text
from tests.support.small_scenes import part, prepared, scene_text

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
    inner = np.argmin(np.linalg.norm(mesh.triangles.mean(axis=1) - place, axis=1))
    disc = disc_about(mesh, place, int(inner), "front")
    assert disc.area == pytest.approx(1e-4)
    far = np.linalg.norm(disc.triangles.mean(axis=1) - place, axis=1)
    assert far.max() < 1.03 * RADIUS
    areas = 0.5 * np.linalg.norm(
        np.cross(disc.triangles[:, 1] - disc.triangles[:, 0], disc.triangles[:, 2] - disc.triangles[:, 0]), axis=1
    )
    middle = (areas * disc.shares) @ disc.triangles.mean(axis=1) / disc.area
    assert np.linalg.norm(middle - place) < 0.03 * RADIUS
    # power of one watt a square metre on all triangles is the area itself
    assert disc.mean(mesh.areas[np.newaxis]) == pytest.approx(1.0)
    assert (disc.weights @ mesh.areas[disc.index]) == pytest.approx(1e-4)


def test_a_disc_on_a_part_that_is_smaller_is_all_of_it():
    small = prepared(plate(0.004)).meshes[0]
    disc = disc_about(small, small.triangles[0].mean(axis=0), 0, "front")
    assert disc.area == pytest.approx(small.areas.sum())


def test_the_climb_goes_on_while_it_gets_brighter():
    scene = prepared(plate(0.1))
    mesh = scene.meshes[0]
    look = looking(scene.assembly.optics, sun=scene.sun, facets=scene.facets, seed=1, threads=1)
    middles = mesh.triangles.mean(axis=1)
    start = int(np.argmin(np.abs(np.linalg.norm(middles[:, :2], axis=1) - 0.012)))
    place, _ = brightest_point(replace(look), mesh, start, "front")
    assert np.linalg.norm(place[:2]) < 0.002
