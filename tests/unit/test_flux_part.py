"""Figures of parts from a tally: power by side, flux per triangle, order of triangles, peak.

Shown to fail on planted errors: triangles taken in tree order, front and back swapped, flux over the whole part's area,
area of a part halved, patch mean over a triangle's area.
"""

import numpy as np
import pytest

from dishtrace.flux.part import part_results
from dishtrace.parts.assemble import PartMesh
from dishtrace.parts.sheets import rectangle
from dishtrace.parts.triangles import area_vectors, areas_of
from dishtrace.trace.optics import ABSORBED, FIRST, INCIDENT, PART_DIRECT_ABSORBED, PART_DIRECT_INCIDENT, empty_tally

N_RAYS = 1000
ORIGIN = np.array([0.0, 0.0, 2.0])


def mesh(name, size, *, center):
    triangles = rectangle(size).triangles + ORIGIN + np.asarray(center)
    areas = areas_of(triangles)
    return PartMesh(
        name=name,
        role="receiver",
        triangles=triangles,
        normals=area_vectors(triangles) / areas[:, np.newaxis],
        areas=areas,
        is_closed=False,
        n_dropped=0,
        charts=(),
        frame_rotation=np.eye(3),
        frame_origin=ORIGIN,
        notes=(),
    )


@pytest.fixture(scope="module")
def results():
    """Two plates; on the back of the second the flux rises evenly along x from 0 to 2000 W/m2."""
    meshes = (mesh("first", (0.2, 0.1), center=(0.0, 0.0, 0.0)), mesh("second", (0.3, 0.1), center=(1.0, 0.0, 0.0)))
    counts = [len(one.triangles) for one in meshes]
    tally = empty_tally(n_parts=2, n_triangles=sum(counts), n_screens=0, n_radii=0, n_legs=0)
    order = np.random.default_rng(4).permutation(sum(counts))
    x = meshes[1].triangles.mean(axis=1)[:, 0] - 0.85
    power = np.concatenate([np.full(counts[0], 0.0), 2000.0 * x / 0.3 * meshes[1].areas])
    wiggle = 1.0 + 0.1 * np.where(np.arange(32) % 2 == 0, 1.0, -1.0)
    tally.incident[:, :, 1] = wiggle[:, np.newaxis] * power[order] * N_RAYS / 32.0
    tally.absorbed[:, :, 1] = 0.5 * tally.incident[:, :, 1]
    tally.absorbed[:, :, 0] = np.concatenate([meshes[0].areas, np.zeros(counts[1])])[order] * 700.0 * N_RAYS / 32.0
    figures = tally.parts
    figures[:, 1, 1, INCIDENT] = wiggle * power.sum() * N_RAYS / 32.0
    figures[:, 1, 1, FIRST] = 0.9 * figures[:, 1, 1, INCIDENT]
    figures[:, 1, 1, ABSORBED] = 0.5 * figures[:, 1, 1, INCIDENT]
    figures[:, 0, 0, PART_DIRECT_INCIDENT] = 20.0 * N_RAYS / 32.0
    figures[:, 0, 0, PART_DIRECT_ABSORBED] = 14.0 * N_RAYS / 32.0
    return part_results(meshes, tally, order, n_rays=N_RAYS)


def test_power_by_side(results):
    second = results["second"]
    assert second.area_m2 == pytest.approx(0.03)
    assert second.incident_w.value == pytest.approx(30.0, rel=1e-6)
    assert second.first_w.value == pytest.approx(27.0, rel=1e-6)
    assert second.absorbed_w.value == pytest.approx(15.0, rel=1e-6)
    assert second.sides["front"].incident_w.value == 0.0
    # sum of 32 rows whose deviations are +-10 percent of a 32nd of it
    assert second.incident_w.se == pytest.approx(30.0 * 0.1 / np.sqrt(31.0), rel=1e-6)
    # mean flux is over the plate's own area, once
    assert second.mean_w_m2.value == pytest.approx(1000.0, rel=1e-6)


def test_flux_on_each_triangle_in_scene_order(results):
    second = results["second"]
    x = second.mesh.triangles.mean(axis=1)[:, 0] - 0.85
    side = second.sides["back"]
    assert side.flux_w_m2 == pytest.approx(2000.0 * x / 0.3, rel=1e-12)
    assert side.flux_se_w_m2 == pytest.approx(200.0 * x / 0.3 / np.sqrt(31.0), rel=1e-9)
    assert side.absorbed_w_m2 == pytest.approx(1000.0 * x / 0.3, rel=1e-12)
    assert np.isnan(second.sides["front"].flux_se_w_m2).all()


def test_peak_lies_at_the_bright_end_of_the_lit_side(results):
    second = results["second"]
    assert second.peak_side == "back"
    assert second.peak_patch_m2 == pytest.approx(1e-4, rel=1e-9)
    # the brightest 1 cm2 at the end x = 0.15: not more than 10 mm wide
    assert 2000.0 * (1.0 - 10e-3 / 0.3) < second.peak_w_m2.value <= 2000.0
    # in the frame in which the user placed it, relative to the focus
    assert second.peak_at_m[0] == pytest.approx(1.15, abs=6e-3)
    assert second.peak_at_m[2] == pytest.approx(0.0, abs=1e-12)


def test_direct_sun_is_in_the_absorbed_flux_only(results):
    first = results["first"]
    assert first.direct_incident_w.value == pytest.approx(20.0)
    assert first.direct_absorbed_w.value == pytest.approx(14.0)
    assert first.sides["front"].absorbed_w_m2 == pytest.approx(700.0, rel=1e-9)
    assert np.all(first.sides["front"].flux_w_m2 == 0.0)
    assert first.peak_w_m2.value == 0.0 and first.peak_w_m2.se is None


def test_told_as_numbers_with_errors(results):
    told = results["second"].to_dict()
    assert told["role"] == "receiver"
    assert told["incident_w"] == results["second"].incident_w.to_dict()
    assert set(told["sides"]) == {"front", "back"}
    assert told["sides"]["back"]["first_w"]["value"] == pytest.approx(27.0, rel=1e-6)
    assert len(told["peak_at_m"]) == 3
