"""What lies around triangles, against looking at all of them; and that leaving patches out loses no peak.

Errors planted and caught: cubes half as wide as the reach, the cubes below left out, the reach of large triangles
halved, patches left out that are as bright as the best to a percent.
"""

import numpy as np
import pytest

from dishtrace.flux import patches, peak
from dishtrace.flux.patches import Surface, around, shares_of
from dishtrace.flux.peak import PATCH_AREA, surface_peak, unbiased_peak
from dishtrace.parts import sheets, solids
from dishtrace.parts.triangles import area_vectors, areas_of

SHAPES = {
    "disc": sheets.disc(0.06),
    "box": solids.box((0.05, 0.08, 0.1)),
    "sphere": solids.sphere(0.04),
    "rod": solids.cylinder(0.004, 0.2),
    "pin": solids.cylinder(0.001, 0.01),
}


def surface_of(name):
    triangles = SHAPES[name].triangles
    vectors = area_vectors(triangles)
    areas = areas_of(triangles)
    return Surface(areas, triangles.mean(axis=1), vectors / np.linalg.norm(vectors, axis=1)[:, np.newaxis])


def all_in_reach(middle, surface, patch_area):
    """The triangles around one, by looking at every one."""
    distance = np.linalg.norm(surface.centers - surface.centers[middle], axis=1)
    is_alike = surface.normals @ surface.normals[middle] > 0.5 + 1e-12
    reach = np.sqrt(patch_area / np.pi) + np.sqrt(surface.areas.max())
    widest = np.linalg.norm(np.ptp(surface.centers, axis=0)) + reach
    if surface.areas.sum() < 4.0 * patch_area:
        reach = 2.0 * widest
    while True:
        near = np.flatnonzero(is_alike & (distance <= reach))
        if surface.areas[near].sum() >= patch_area or reach > widest:
            return near, distance
        reach *= 1.5


def gathered(middles, surface):
    """What lies around each of some triangles, from the nearest on."""
    found = {}
    for some, about in around(middles, surface, PATCH_AREA):
        assert np.array_equal(about.middles, middles[some])
        found.update((int(middle), about.of(k)) for k, middle in enumerate(about.middles))
    assert sorted(found) == sorted(middles.tolist())
    return found


@pytest.mark.parametrize("name", SHAPES)
def test_triangles_around_are_those_in_reach_from_the_nearest_on(name):
    surface = surface_of(name)
    middles = np.unique(np.random.default_rng(5).integers(len(surface.areas), size=30))
    for middle, found in gathered(middles, surface).items():
        near, distance = all_in_reach(middle, surface, PATCH_AREA)
        assert found[0] == middle
        assert np.all(np.diff(distance[found]) >= 0.0)
        assert np.array_equal(np.sort(found), near)


def test_bundles_of_pairs_change_nothing(monkeypatch):
    surface, middles = surface_of("box"), np.arange(0, 200, 3)
    whole = gathered(middles, surface)
    monkeypatch.setattr(patches, "MOST_PAIRS", 50)
    parted = gathered(middles, surface)
    assert all(np.array_equal(whole[middle], parted[middle]) for middle in middles.tolist())


def test_shares_add_up_to_the_patch():
    surface = surface_of("disc")
    near = gathered(np.array([17]), surface)[17]
    share = shares_of(near, surface.areas, PATCH_AREA)
    assert share @ surface.areas[near] == pytest.approx(PATCH_AREA, rel=1e-12)
    assert share[0] == 1.0
    assert np.all(np.diff(share) <= 0.0)


@pytest.mark.parametrize("name", ["box", "disc", "sphere"])
@pytest.mark.parametrize("kind", ["spot", "noise", "few blocks", "even"])
def test_no_peak_is_lost_by_leaving_patches_out(name, kind, monkeypatch):
    surface = surface_of(name)
    random = np.random.default_rng([7, len(name), len(kind)])
    flux = np.exp(-(np.linalg.norm(surface.centers - surface.centers[3], axis=1) ** 2) / 2e-4)
    flux = np.ones_like(flux) if kind == "noise" else flux
    power = flux * surface.areas * random.gamma(4.0, size=(3 if kind == "few blocks" else 32, len(flux)))
    if kind == "even":
        power = np.repeat(surface.areas[np.newaxis] * 30.0, 32, axis=0)
    about = {"areas": surface.areas, "centers": surface.centers, "normals": surface.normals}
    found = surface_peak(power, **about)
    monkeypatch.setattr(peak, "_bounds", lambda *_: np.zeros(3))
    whole = surface_peak(power, **about)
    assert (found.flux, found.area, found.index) == (whole.flux, whole.area, whole.index)


def test_the_bound_leaves_out_most_patches_of_a_sharp_spot(monkeypatch):
    surface = surface_of("disc")
    flux = np.exp(-(np.linalg.norm(surface.centers, axis=1) ** 2) / 2e-4)
    seen = []
    monkeypatch.setattr(
        peak, "unbiased_peak", lambda means, allowed: seen.append(means) or unbiased_peak(means, allowed)
    )
    power = np.repeat((flux * surface.areas)[np.newaxis] / 32.0, 32, axis=0)
    surface_peak(power, areas=surface.areas, centers=surface.centers, normals=surface.normals)
    assert seen[0].shape[1] < 0.2 * len(flux)
