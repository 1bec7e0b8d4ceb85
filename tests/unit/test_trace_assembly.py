"""From scene and geometry to the kernels' arrays.

Planted errors that these tests catch: the order of the tree applied to corners but not to part numbers; the power of a
direct ray without the sixteen mirror rays to one; lit faces left out; the reflectance table laid over the angle.
"""

import numpy as np
import pytest

from dishtrace.trace.assembly import N_REFLECTANCE_STEPS, direct_ray_power
from dishtrace.trace.kernels import mirror
from dishtrace.trace.optics import BODY, IS_CLEAR, MIRROR_RAYS_PER_DIRECT, ROLE_OTHER, ROLE_RECEIVER, ROLE_STAND, ROOT
from dishtrace.trace.turned import PART
from tests.support.called import from_python
from tests.support.small_scenes import COVER, POT, SECONDARY, TUBE, prepared, scene_text
from tests.support.trees import leaves

reflectance_at = from_python(mirror.reflectance_at)

ALL_ROLES = POT + TUBE + SECONDARY + COVER


@pytest.fixture(scope="module")
def placed():
    return prepared(scene_text(ALL_ROLES, mount='kind = "two-axis"\npointing_offset_mrad = [30.0, 0.0]'))


def test_order_leads_back_to_the_parts(placed):
    """Corners, normals and part numbers of the kernels are those of the meshes, taken in the tree's order."""
    parts, order = placed.assembly.optics.parts, placed.assembly.order
    triangles = np.concatenate([mesh.triangles for mesh in placed.meshes])[order]
    normals = np.concatenate([mesh.normals for mesh in placed.meshes])[order]
    number = np.concatenate([np.full(len(mesh.triangles), k) for k, mesh in enumerate(placed.meshes)])[order]
    assert np.array_equal(np.sort(order), np.arange(len(order)))
    corners = np.stack(
        [
            parts.corners[:, :3],
            parts.corners[:, :3] + parts.corners[:, 3:6],
            parts.corners[:, :3] + parts.corners[:, 6:],
        ],
        axis=1,
    )
    assert np.allclose(corners, triangles, rtol=0.0, atol=1e-15)
    assert np.allclose(parts.normal, normals, rtol=0.0, atol=1e-12)
    assert np.array_equal(parts.part, number)


def test_receivers_and_covers_have_trees_of_their_own_which_come_last(placed):
    """And so has each body; every triangle lies in one of all trees."""
    optics = placed.assembly.optics
    found = np.zeros((len(optics.parts.part), 3), dtype=np.int64)
    body = np.full(len(optics.parts.part), -2)
    for row in optics.roots:
        for first, count, _ in leaves(optics.triangles, row[ROOT]):
            found[first : first + count] += (1, row[IS_CLEAR], 0)
            body[first : first + count] = row[BODY]
    roles = np.array([mesh.role for mesh in placed.meshes])[optics.parts.part]
    assert np.all(found[:, 0] == 1)
    assert np.array_equal(found[:, 1] == 1, np.isin(roles, ["receiver", "cover"]))
    assert np.array_equal(np.sort(optics.roots[:, IS_CLEAR]), optics.roots[:, IS_CLEAR])
    is_body = body >= 0
    assert np.array_equal(optics.parts.part[is_body], optics.bodies.hulls[body[is_body], PART])
    assert np.array_equal(np.sort(optics.bodies.number), np.flatnonzero(is_body))


def test_roles_and_surfaces(placed):
    parts = placed.assembly.optics.parts
    assert parts.role.tolist() == [ROLE_RECEIVER, ROLE_STAND, ROLE_OTHER, ROLE_OTHER]
    assert parts.surface[1].tolist() == [[0.2, 0.9], [0.55, 0.1]]
    assert parts.surface[0].tolist() == [[0.63, 0.3], [0.63, 0.3]]
    assert parts.cover.tolist() == [[0.0] * 3, [0.0] * 3, [0.0] * 3, [1.526, 16.0, 0.004]]


def test_direct_rays_carry_the_sunlight_of_every_triangle(placed):
    """Chance of a triangle times its power is 16 DNI area (the cosine comes with the ray); unlit faces stay out."""
    parts = placed.assembly.optics.parts
    share = np.diff(parts.direct_cdf, prepend=0.0)
    areas = np.concatenate([mesh.areas for mesh in placed.meshes])[placed.assembly.order]
    lit = share > 0.0
    assert parts.direct_cdf[-1] == pytest.approx(1.0, rel=1e-14)
    assert np.allclose((share * parts.direct_power)[lit], MIRROR_RAYS_PER_DIRECT * 1000.0 * areas[lit], rtol=1e-9)
    assert np.all(parts.direct_power[~lit] == 0.0)
    closed = np.array([mesh.is_closed for mesh in placed.meshes])[parts.part]
    away = parts.normal @ placed.mirror.pose.sun < -np.sin(placed.sun.shape.edge_rad)
    assert np.array_equal(lit, ~(closed & away))


def test_a_direct_ray_adds_no_more_than_all_of_them_do_on_average(placed):
    """But for faces in grazing light, which are picked more often than they are lit. Catches a factor 2 or 16."""
    optics = placed.assembly.optics
    parts = optics.parts
    lit = np.diff(parts.direct_cdf, prepend=0.0) * parts.direct_power * np.abs(parts.normal @ optics.sun.center)
    assert lit.sum() <= direct_ray_power(optics) < 1.05 * lit.sum()


def test_power_of_a_skin_is_irradiance_times_outline(placed):
    mirror = placed.assembly.optics.mirror
    assert mirror.power.tolist() == [pytest.approx(1000.0 * np.pi, rel=1e-15)]
    assert mirror.pick_cdf.tolist() == [1.0]


def test_rays_pick_facets_so_that_each_carries_its_sunlight():
    """Chance of a facet times its power per cosine is DNI times its own area, in the tree's order."""
    text = scene_text(dish='[dish.facets]\nlayout = "square-grid"\nsize_m = [0.2, 0.3]\ngap_m = 0.02')
    placed = prepared(text)
    mirror = placed.assembly.optics.mirror
    share = np.diff(mirror.pick_cdf, prepend=0.0)
    assert len(share) == len(placed.facets) > 20
    assert np.allclose(share * mirror.power, 1000.0 * 0.06, rtol=1e-12)
    assert np.array_equal(np.sort(mirror.origin, axis=0), np.sort(placed.facets.origin, axis=0))


def test_one_reflectance_stays_one_number():
    mirror = prepared(scene_text(dish="reflectance = 0.8\ncleanliness = 0.5")).assembly.optics.mirror
    assert mirror.reflectance.tolist() == [0.4]


def test_reflectance_over_incidence_is_laid_over_the_cosine(tmp_path):
    """At the table's own angles to the step of the cosine, and dust on top."""
    (tmp_path / "r.csv").write_text("incidence_deg,reflectance\n0,0.9\n30,0.8\n60,0.4\n")
    text = scene_text(dish='reflectance = "r.csv"\ncleanliness = 0.5')
    mirror = prepared(text, folder=tmp_path).assembly.optics.mirror
    assert len(mirror.reflectance) == N_REFLECTANCE_STEPS + 1
    for angle, expected in ((0.0, 0.45), (15.0, 0.425), (30.0, 0.4), (45.0, 0.3), (60.0, 0.2), (80.0, 0.2)):
        assert reflectance_at(mirror, 0, np.cos(np.radians(angle))) == pytest.approx(expected, abs=5e-4)


def test_a_scene_without_parts_has_empty_trees():
    optics = prepared(scene_text()).assembly.optics
    assert len(optics.parts.part) == len(optics.parts.direct_cdf) == 0
    assert len(optics.roots) == 0
