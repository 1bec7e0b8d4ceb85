"""The kernels against their plain twin, watt by watt, on small scenes that hold every kind of thing.

The twin shares nothing with the kernels but the numbers drawn: it finds hits by matrix products over all triangles,
uses scipy's quantiles, the dish folder's outline and paraboloid, and Fresnel in another form.

Planted errors that these tests catch: the wrong sign of a slope deviation, a missing cosine in a ray's power, front
and back of a sheet swapped, direct light booked as mirror light, one direct ray to 15 instead of 16 mirror rays,
a screen that records after a receiver, the number for all-or-none not rescaled.
"""

from functools import cache

import numpy as np
import pytest

from dishtrace.flux.planes import kernel_screens, spot_plane, user_planes
from dishtrace.trace.optics import (
    ABSORBED,
    BLOCKED,
    DIRECT_INCIDENT,
    DIRECT_LOST,
    DIRECT_MIRROR,
    FIRST_OTHER,
    INCIDENT,
    LEAVING,
    LOST,
    OUTLINE,
    OVERHANG,
    OVERLAP,
    RECEIVER_ABSORBED,
    STAND_ABSORBED,
    no_screens,
)
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.reference import trace_reference
from tests.support.small_scenes import (
    BOX,
    CAVITY,
    COVER,
    DOME,
    FOLDED,
    GROUND_POST,
    MESH,
    PLATE,
    POT,
    ROUGH,
    SECONDARY,
    TUBE,
    WHITE_BALL,
    prepared,
    scene_text,
    tallied,
)

COUNT = 64
N_RAYS = COUNT * N_SCRAMBLES


SUN_LOW = "azimuth_deg = 140.0\nelevation_deg = 35.0\ndni_w_m2 = 850.0"
SHAPED = 'dni_w_m2 = 900.0\nshape = { profile = "circumsolar", csr = 0.1 }'
FIXED = 'kind = "fixed"\naxis_azimuth_deg = 150.0\naxis_elevation_deg = 50.0'
LATERAL = 'shape = "circle"\nradius_m = 0.6\ncenter_m = [0.1, -0.7]'
HOLED = 'shape = "circle"\nradius_m = 1.1\nhole_radius_m = 0.25'
OBLONG = 'shape = "rectangle"\nsize_m = [2.0, 0.8]\ncenter_m = [0.1, 0.2]'
STAR = 'shape = "polygon"\nvertices_m = [[-1.0, -1.0], [1.0, -0.8], [0.9, 1.0], [0.0, 0.2], [-0.8, 1.1]]'
SQUARES = '\n[dish.facets]\nlayout = "square-grid"\nsize_m = 0.31\npitch_m = 0.33\ncurve = "flat"'
HEXAGONS = (
    '\n[dish.facets]\nlayout = "hex-grid"\nsize_m = 0.4\npitch_m = 0.43\ncurve = "spherical"\n'
    "canting_error_mrad = 60.0\npiston_error_m = 0.1"
)
STRIPS = '\n[dish.facets]\nlayout = "strips"\nwidth_m = 0.2\ngap_m = 0.01\ncut = "fitted"'
PETALS = '\n[dish.facets]\nlayout = "petals"\ncount = 12\ngap_m = 0.01\ninner_radius_m = 0.2'
RINGS = '\n[dish.facets]\nlayout = "rings"\nshape = "circle"\nsize_m = 0.2\ncurve = "parent"\naim_ring_m = 0.02'
NOON = """time = 2026-05-21T12:30:00+02:00
dni_w_m2 = 850.0
[site]
latitude_deg = 40.0
longitude_deg = 25.0"""
STATIONARY = 'kind = "stationary-focus"\nside = "low"\nframe = "stiff"\nclock_error_min = 4.0'
SECTION = 'shape = "circle"\nradius_m = 0.5\ncenter_m = [0.0, 0.8]'
DEEP = "focal_length_m = 0.35\nslope_error_mrad = 20.0\nbeam_spread_mrad = 10.0"

SCENES = {
    "mirror alone": scene_text(),
    "pot": scene_text(POT, dish=ROUGH),
    "cavity": scene_text(CAVITY, dish=ROUGH),
    "tube with two surfaces": scene_text(POT + TUBE),
    "window": scene_text(COVER + POT, dish=ROUGH),
    "dome over cavity and plate": scene_text(DOME + CAVITY + PLATE),
    "secondary": scene_text(SECONDARY + POT),
    "white ball sends light back to the mirror": scene_text(WHITE_BALL),
    "box and plate": scene_text(BOX + PLATE, sun=SHAPED),
    "mesh": scene_text(MESH + PLATE),
    "lateral section": scene_text(POT, outline=LATERAL, dish=ROUGH),
    "hole": scene_text(POT + PLATE, outline=HOLED, sun=SHAPED),
    "folded through the hole": scene_text(FOLDED, outline=HOLED),
    "rectangle": scene_text(POT, outline=OBLONG),
    "polygon": scene_text(CAVITY, outline=STAR, dish=ROUGH),
    "offset and jitter": scene_text(
        POT, mount='kind = "two-axis"\npointing_offset_mrad = [8.0, -5.0]\npointing_jitter_mrad = 4.0'
    ),
    "reflectance over incidence": scene_text(POT, dish='reflectance = "mirror.csv"\ncleanliness = 0.93\n' + ROUGH),
    "fixed, off the axis, ground parts": scene_text(POT + GROUND_POST, sun=SUN_LOW, mount=FIXED),
    "deep dish, light meets it twice": scene_text(WHITE_BALL, dish=DEEP),
    "flat tiles, some stick out": scene_text(POT, dish=ROUGH + SQUARES),
    "staggered spherical hexagons shade and overlap": scene_text(
        CAVITY, sun=SUN_LOW, mount=FIXED, dish=ROUGH + HEXAGONS
    ),
    "strips": scene_text(POT, outline=OBLONG, dish=STRIPS),
    "petals, fixed off the axis": scene_text(POT + GROUND_POST, sun=SUN_LOW, mount=FIXED, dish=PETALS),
    "round tiles in rings": scene_text(POT, outline=HOLED, dish=RINGS),
    "stationary focus, stiff": scene_text(POT, sun=NOON, mount=STATIONARY, outline=SECTION),
    "gaussian sun": scene_text(POT, sun='dni_w_m2 = 900.0\nshape = { profile = "gaussian", sigma_mrad = 6.0 }'),
}
SCREENS = """
[[screen]]
name = "level"
offset_m = -0.02
half_width_m = 0.05
radii_m = [0.01, 0.03]

[[screen]]
name = "tilted"
center_m = [0.02, 0.0, 0.05]
facing = [0.3, 0.2, -1.0]
half_width_m = 0.3
through_receivers = true
"""


def assert_close(found, expected, scale):
    """Equal to 1e-9 of a scale, everywhere."""
    assert found.shape == expected.shape
    assert np.abs(found - expected).max(initial=0.0) <= 1e-9 * scale


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Kernels' tally and reference of a scene, each traced once."""
    import trimesh

    folder = tmp_path_factory.mktemp("scenes")
    trimesh.creation.cone(80.0, 120.0, sections=9).export(folder / "wedge.stl")
    (folder / "mirror.csv").write_text("incidence_deg,reflectance\n0,0.95\n20,0.9\n40,0.6\n90,0.1\n")

    @cache
    def traced(name):
        placed = prepared(SCENES[name] + SCREENS, folder=folder)
        optics = placed.assembly.optics
        planes = (spot_plane("focal", focal_length=placed.mirror.focal_length, offset=0.0, half_width=0.04),)
        planes += user_planes(placed.scene, placed.mirror.pose)
        centers, scales = np.array([[0.001, 0.002], [0.0, 0.0], [0.03, -0.01]]), np.array([0.01, 0.02, 0.1])
        screens = kernel_screens(planes, centers, scales)
        tally = tallied(optics, count=COUNT, screens=screens, n_legs=COUNT)
        return optics, screens, tally, trace_reference(optics, screens, count=COUNT)

    return traced


@pytest.mark.parametrize("name", SCENES)
def test_ledgers_agree(both, name):
    """Every column, of all scrambles to 1e-9 relative, and of each scramble to 1e-9 of the light in it."""
    _, _, tally, reference = both(name)
    found, expected = tally.budget / N_RAYS, reference.budget
    assert np.allclose(found.sum(axis=0), expected.sum(axis=0), rtol=1e-9, atol=0.0)
    assert_close(found, expected, expected[:, OUTLINE].min())
    assert tally.n_lost.sum() == reference.n_lost == 0


@pytest.mark.parametrize("name", SCENES)
def test_parts_and_triangles_agree(both, name):
    """Figures of both sides of every part, and what reaches and stays on both sides of every triangle."""
    _, _, tally, reference = both(name)
    scale = reference.budget[:, [LEAVING, DIRECT_INCIDENT]].sum()
    assert_close(tally.parts / N_RAYS, reference.parts, scale)
    assert_close(tally.incident.sum(axis=0) / N_RAYS, reference.incident, scale)
    assert_close(tally.absorbed.sum(axis=0) / N_RAYS, reference.absorbed, scale)


@pytest.mark.parametrize("name", SCENES)
def test_first_stretches_agree(both, name):
    """Origin, direction, power and both ends of every single ray that leaves the mirror."""
    _, _, tally, reference = both(name)
    legs = np.minimum(tally.legs, 1e9)
    expected = np.minimum(reference.legs, 1e9)
    assert np.allclose(legs[..., :6], expected[..., :6], rtol=0.0, atol=1e-12)
    assert np.allclose(legs[..., 6:], expected[..., 6:], rtol=1e-9, atol=0.0)


@pytest.mark.parametrize("name", SCENES)
def test_screens_agree(both, name):
    """Moments, radii, rings and map of each screen, from the reference's list of crossings."""
    _, screens, tally, reference = both(name)
    scramble, screen, a, b, power = reference.crossings.T
    scale = reference.budget[:, LEAVING].sum()
    for k in range(len(screens.origin)):
        is_here = screen == k
        row, x, y, w = scramble[is_here].astype(int), a[is_here], b[is_here], power[is_here]
        moments = np.stack([np.bincount(row, w * f, minlength=N_SCRAMBLES) for f in (1 + 0 * x, x, y, x * x, y * y)], 1)
        assert_close(tally.moments[:, k] / N_RAYS, moments, scale)
        radius = np.hypot(x, y)
        for j, wanted in enumerate(screens.radii[k]):
            inside = np.bincount(row, w * (radius <= wanted), minlength=N_SCRAMBLES)
            assert_close(tally.inside[:, k, j] / N_RAYS, inside, scale)
        half, n_rings = screens.half_width[k], tally.rings.shape[2] - 1
        rings, _ = np.histogram(radius / half * n_rings, np.append(np.arange(n_rings + 1.0), np.inf), weights=w)
        assert_close(tally.rings[:, k].sum(axis=0) / N_RAYS, rings, scale)
        n_pixels = tally.map.shape[2]
        edges = np.linspace(-half, half, n_pixels + 1)
        image, _, _ = np.histogram2d(y, x, [edges, edges], weights=w)
        assert_close(tally.map[:, k].sum(axis=0) / N_RAYS, image, scale)
        r = np.hypot(x - screens.spot_center[k, 0], y - screens.spot_center[k, 1])
        n_bins = tally.radial.shape[2]
        radial, _ = np.histogram(r / (r + screens.spot_scale[k]) * n_bins, np.arange(n_bins + 1.0), weights=w)
        assert_close(tally.radial[:, k].sum(axis=0) / N_RAYS, radial, scale)


@pytest.mark.parametrize("name", SCENES)
def test_energy_closes_in_both(both, name):
    """outline = its ends, and direct incident = its ends, in every scramble, to rounding."""
    _, _, tally, reference = both(name)
    for rows in (tally.budget / N_RAYS, reference.budget):
        ends = rows[:, OUTLINE + 1 : LOST + 1].sum(axis=1)
        assert np.allclose(rows[:, OUTLINE], ends, rtol=1e-13, atol=0.0)
        direct_ends = rows[:, DIRECT_INCIDENT + 1 : DIRECT_LOST + 1].sum(axis=1)
        assert np.allclose(rows[:, DIRECT_INCIDENT], direct_ends, rtol=1e-12, atol=1e-12)


def test_scenes_hold_what_they_are_meant_to(both):
    """Else the agreement would be an agreement of zeros: each kind of end and light occurs somewhere."""
    total = {name: both(name)[3].budget.sum(axis=0) for name in SCENES}
    everything = sum(total.values())
    lost_columns = [LOST, DIRECT_LOST]
    assert total["flat tiles, some stick out"][OVERHANG] > 10.0
    assert total["staggered spherical hexagons shade and overlap"][OVERLAP] > 10.0
    assert np.all(np.delete(everything, lost_columns) > 0.0)
    assert total["folded through the hole"][BLOCKED] > 10.0
    assert total["deep dish, light meets it twice"][DIRECT_MIRROR] > 1.0
    assert total["secondary"][FIRST_OTHER] > 100.0
    assert total["secondary"][RECEIVER_ABSORBED] > 1.0
    assert total["fixed, off the axis, ground parts"][STAND_ABSORBED] > 1.0
    sides = both("tube with two surfaces")[3].parts.sum(axis=0)[1]
    assert np.all(sides[:, INCIDENT : ABSORBED + 1] > 1.0)


def test_reference_continues_where_it_stopped():
    """Two stretches are the whole."""
    optics = prepared(scene_text(POT, dish=ROUGH)).assembly.optics
    whole = trace_reference(optics, no_screens(), count=32)
    parts = [trace_reference(optics, no_screens(), count=16, start=start) for start in (0, 16)]
    assert np.allclose(whole.budget, 0.5 * (parts[0].budget + parts[1].budget), rtol=1e-12, atol=1e-12)
