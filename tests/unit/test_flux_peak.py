"""Peaks over a patch: no bias from the search, right area, right side.

Shown to fail on planted errors: value and place from the same blocks (2.8 sigma), candidates picked by all blocks (1
sigma), flux over the triangle's area in place of the patch's, neighbours round an edge counted as one face, patch area
four times too large, and memory for a disc of any size (the last three as in early versions).
"""

import numpy as np
import pytest

from dishtrace.flux import peak
from dishtrace.flux.peak import PATCH_AREA, map_peak, surface_peak, unbiased_peak
from dishtrace.parts.sheets import disc, rectangle
from dishtrace.parts.triangles import area_vectors, areas_of

N_BLOCKS = 32


def noise(random, *, mean, spread, n_patches):
    """Blocks whose sums have the given mean and standard deviation."""
    return mean / N_BLOCKS + spread / np.sqrt(N_BLOCKS) * random.standard_normal((N_BLOCKS, n_patches))


def test_peak_of_pure_noise_has_no_bias():
    """400 fields of 300 equal patches: the mean of the peaks is the mean (5.5 errors); the naive maximum is 2.8 sigma
    off."""
    random = np.random.default_rng(11)
    fields = [noise(random, mean=100.0, spread=5.0, n_patches=300) for _ in range(400)]
    found = [unbiased_peak(rows)[0] for rows in fields]
    values = np.array([one.value for one in found])
    naive = np.array([rows.sum(axis=0).max() for rows in fields])
    assert abs(values.mean() - 100.0) < 5.5 * 5.0 / np.sqrt(400.0)
    assert naive.mean() > 100.0 + 2.5 * 5.0
    # and the told error is the spread: mean square pull of 400, chi-square to 1e-6
    pulls = (values - 100.0) / np.array([one.se for one in found])
    assert 0.68 < np.mean(pulls**2) < 1.5


def test_clear_peak_is_told_as_it_is():
    rows = noise(np.random.default_rng(12), mean=100.0, spread=1.0, n_patches=50)
    rows[:, 17] += 50.0 / N_BLOCKS
    found, best = unbiased_peak(rows)
    assert best == 17
    assert found.value == pytest.approx(rows[:, 17].sum(), rel=1e-14)
    assert found.se == pytest.approx(np.sqrt(N_BLOCKS) * rows[:, 17].std(ddof=1), rel=1e-12)


def test_few_blocks_still_give_a_peak():
    """Large meshes keep few rows: below four the maximum itself is told."""
    found, best = unbiased_peak(np.array([[1.0, 5.0, 2.0], [1.0, 3.0, 2.0]]))
    assert (found.value, best) == (8.0, 1)


def spot_on(x, y, *, center, sigma, power):
    """Gaussian flux. [W/m2]"""
    r2 = (x - center[0]) ** 2 + (y - center[1]) ** 2
    return power / (2.0 * np.pi * sigma**2) * np.exp(-0.5 * r2 / sigma**2)


def mean_over_patch(*, sigma, power, area=PATCH_AREA):
    """Mean of a Gaussian over a disc of the patch's area about its centre: closed form. [W/m2]"""
    return power * (1.0 - np.exp(-0.5 * area / np.pi / sigma**2)) / area


@pytest.mark.parametrize(("sigma", "half_width"), [(0.02, 0.05), (0.005, 0.05), (0.004, 0.012)])
def test_map_peak_of_a_gaussian(sigma, half_width):
    edges = np.linspace(-half_width, half_width, 98)
    x, y = np.meshgrid(0.5 * (edges[1:] + edges[:-1]), 0.5 * (edges[1:] + edges[:-1]))
    center = (0.2 * half_width, -0.1 * half_width)
    pixel = spot_on(x, y, center=center, sigma=sigma, power=50.0) * (edges[1] - edges[0]) ** 2
    found = map_peak(np.repeat(pixel[np.newaxis] / 32.0, 32, axis=0), half_width=half_width)
    assert found.area == pytest.approx(PATCH_AREA, rel=0.02)
    assert found.flux.value == pytest.approx(mean_over_patch(sigma=sigma, power=50.0), rel=0.01)
    assert found.place == pytest.approx(center, abs=1.1 * (edges[1] - edges[0]))


@pytest.mark.parametrize("half_width", [5e-3, 1e-4, 1e-6])
def test_map_much_smaller_than_the_patch(half_width):
    """A spot of a few micrometres: all of it lies in the patch, whose mean is its power over 1 cm2."""
    maps = np.zeros((32, 97, 97))
    maps[:, 48, 48] = 2.0 / 32.0
    found = map_peak(maps, half_width=half_width)
    assert found.area == pytest.approx(PATCH_AREA, rel=0.02)
    assert found.flux.value == pytest.approx(2.0 / PATCH_AREA, rel=0.02)


def test_patch_smaller_than_a_pixel_is_a_pixel():
    maps = np.zeros((32, 97, 97))
    maps[:, 10, 20] = 1.0 / 32.0
    found = map_peak(maps, half_width=5.0)
    pixel = 10.0 / 97.0
    assert found.area == pytest.approx(pixel**2)
    assert found.flux.value == pytest.approx(1.0 / pixel**2)
    assert found.place == pytest.approx([20.5 * pixel - 5.0, 10.5 * pixel - 5.0])


def surface(triangles):
    """Areas, centres and normals."""
    vectors = area_vectors(triangles)
    areas = areas_of(triangles)
    return {"areas": areas, "centers": triangles.mean(axis=1), "normals": vectors / areas[:, np.newaxis]}


def test_surface_peak_of_a_gaussian_on_a_disc():
    about = surface(disc(0.06).triangles)
    x, y, _ = about["centers"].T
    power = spot_on(x, y, center=(0.02, 0.01), sigma=0.015, power=80.0) * about["areas"]
    found = surface_peak(np.repeat(power[np.newaxis] / 32.0, 32, axis=0), **about)
    assert found.area == pytest.approx(PATCH_AREA, rel=1e-9)
    assert found.flux.value == pytest.approx(mean_over_patch(sigma=0.015, power=80.0), rel=0.02)
    assert found.place == pytest.approx([0.02, 0.01, 0.0], abs=4e-3)


def test_peak_of_pure_noise_on_a_surface_has_no_bias(monkeypatch):
    """Only the brightest triangles are tried: picked by all blocks, their luck would come back in the told value.

    120 plates of even light, patches of about two triangles, one in ten tried: a bias of one sigma without care.
    """
    monkeypatch.setattr(peak, "N_CANDIDATES", 60)
    about = surface(rectangle((0.15, 0.15)).triangles)
    grown = np.sqrt(0.44 * PATCH_AREA / about["areas"].mean())
    about = {"areas": about["areas"] * grown**2, "centers": about["centers"] * grown, "normals": about["normals"]}
    random = np.random.default_rng(13)
    share = 1000.0 * about["areas"] / N_BLOCKS
    found = [
        surface_peak(share * (1.0 + random.standard_normal((N_BLOCKS, share.size))), **about).flux for _ in range(120)
    ]
    values = np.array([one.value for one in found])
    assert abs(values.mean() - 1000.0) < 5.5 * values.std(ddof=1) / np.sqrt(120.0)
    assert values.std(ddof=1) == pytest.approx(1000.0 / np.sqrt(N_BLOCKS / 0.44), rel=0.25)


def test_patch_does_not_reach_round_an_edge():
    """A face with a bright strip along its edge, and a dark one at a right angle there: the peak is that of the bright
    face alone, and its patch has its full area although only half a disc fits in front of the edge."""
    along = np.arange(30) * 1e-3
    corner = np.array([[0.0, 0.0, 0.0], [1e-3, 0.0, 0.0], [0.0, 1e-3, 0.0]])
    other = np.array([[1e-3, 1e-3, 0.0], [0.0, 1e-3, 0.0], [1e-3, 0.0, 0.0]])
    square = np.stack([corner, other])
    flat = np.concatenate([square + np.array([a, b, 0.0]) for a in along for b in along])
    upright = flat[..., [2, 0, 1]]
    both, alone = surface(np.concatenate([flat, upright])), surface(flat)
    assert both["normals"][0] @ both["normals"][-1] == 0.0
    flux = np.where(alone["centers"][:, 0] < 2e-3, 2000.0, 1000.0)
    power = np.repeat((flux * alone["areas"])[np.newaxis] / 32.0, 32, axis=0)
    found = surface_peak(np.concatenate([power, np.zeros_like(power)], axis=1), **both)
    assert found.area == pytest.approx(PATCH_AREA, rel=1e-9)
    assert found.flux.value == pytest.approx(surface_peak(power, **alone).flux.value, rel=1e-12)
    assert 1150.0 < found.flux.value < 1350.0


def test_triangle_larger_than_the_patch_is_the_patch():
    triangles = np.array(
        [[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[1.0, 1.0, 0.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]]]
    )
    power = np.repeat(np.array([[3.0, 7.0]]) / 32.0, 32, axis=0)
    found = surface_peak(power, **surface(triangles))
    assert (found.area, found.index) == (0.5, 1)
    assert found.flux.value == pytest.approx(14.0)


def test_dark_surface_has_no_peak():
    about = surface(disc(0.05).triangles)
    found = surface_peak(np.zeros((32, len(about["areas"]))), **about)
    assert found.flux.value == 0.0
    assert found.flux.se is None
    assert found.area == PATCH_AREA
