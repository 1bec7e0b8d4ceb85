"""Whether 95 % intervals hold the truth in 95 of 100 runs, and what cleverer points gain over plain random ones.

The slow tests ran with 4000 or 32 runs; their numbers stand in `benchmarks/errors_told.md`. In each test the bounds are
binomial, chi-squared or stated; the chance of a false alarm is FALSE_ALARM for each figure. Planted errors that they
catch: errors short or long by sqrt(2); normal quantiles in place of Student's t and symmetric intervals for faint
triangles (only the slow one); points drawn at random in place of Sobol's (gain 1).
"""

import numpy as np
import pytest
from scipy import stats

from tests.support.repeated_runs import PETALS, TILES, bench, faceted, standard_case
from tests.support.small_scenes import coarse_parts

FALSE_ALARM = 1e-5
FIGURES = ("share", "R90", "triangle", "peak")


def repeated(one, seeds, *, count):
    """Values, whether the interval holds a given truth, and flux of many runs."""
    runs = [one.run(seed, count=count) for seed in seeds]
    return {name: [run[name] for run in runs] for name in FIGURES}


def covered(estimates):
    """How often the intervals hold the mean of all runs: what is told without bias has it for its truth.

    A run in a thousand meets the triangle so rarely that it tells no error, and no interval.
    """
    truth = np.mean([one.value for one in estimates])
    intervals = [told for one in estimates if (told := one.interval()) is not None]
    assert len(intervals) >= 0.99 * len(estimates)
    return np.mean([low <= truth <= high for low, high in intervals])


@pytest.fixture(scope="module")
def few(seed):
    with coarse_parts(n_bins=300):
        one = bench(faceted(TILES, radius=0.05))
    return repeated(one, range(1000 * seed, 1000 * seed + 150), count=256)


@pytest.mark.parametrize("name", FIGURES)
def test_intervals_of_a_few_runs(few, name):
    """150 runs of 2^13 rays on a tiled mirror: binomial limits (82 to 100 %), and the mean squared error told."""
    low, _ = stats.binom.ppf([FALSE_ALARM / 2, 1.0 - FALSE_ALARM / 2], 150, 0.95) / 150
    assert covered(few[name]) >= low
    values, errors = (np.array([getattr(one, key) for one in few[name]]) for key in ("value", "se"))
    bounds = stats.chi2.ppf([FALSE_ALARM / 2, 1.0 - FALSE_ALARM / 2], 149) / 149
    ratio = np.mean(errors**2) / np.var(values, ddof=1)
    # a jackknifed or picked figure tells its error to a few percent
    assert 0.9 / bounds[1] < ratio < 1.1 / bounds[0]


@pytest.mark.slow
def test_intervals_of_4000_runs(tmp_path, seed):
    """Of 2^15 rays on the standard case: 93.5 to 96.5 %, and two standard errors of the count (0.39 %) beyond.

    The share is a count of some ten shaded rays of the 1024 of a scramble, so it takes few values, and how many
    intervals hold the truth jumps by a percent with where the mean of all runs lies between them.

    The peak's truth is the mean of what is told; it is told too low by a few percent, since from few rays the brightest
    patch is missed (see the notes).
    """
    one = bench(standard_case(tmp_path))
    found = repeated(one, range(10**6 * seed, 10**6 * seed + 4000), count=1024)
    shares = {name: covered(estimates) for name, estimates in found.items()}
    assert all(0.9272 <= share <= 0.9728 for share in shares.values()), shares


def gains(prepared, *, count, n_runs, seed):
    """Root mean square errors of plain random points over ours: of the receiver's share, of its map, of its map in cm2.

    With plain random numbers N rays that carry W / N each make a share p with variance W^2 p (1 - p) / N, and likewise
    on each triangle; rays of one mirror carry all but the same power.
    """
    one = bench(prepared)
    runs = [one.run(10**5 * seed + k, count=count, has_peak=False) for k in range(n_runs)]
    mesh, whole = prepared.meshes[0], whole_power(prepared)
    share = np.array([[run["share"].value] for run in runs]) / whole
    power = np.array([run["flux"] for run in runs]) * mesh.areas / whole
    return tuple(gain(shares, rays=32 * count) for shares in (share, power, power @ patches(mesh)))


def gain(shares, *, rays):
    """The same of shares (runs, n), over all n."""
    p = shares.mean(axis=0)
    return np.sqrt(np.sum(p * (1.0 - p)) / rays / np.sum(shares.var(axis=0, ddof=1)))


def patches(mesh):
    """Which triangles make up each patch of about 1 cm2, as that of the peak: cubes of 1 cm, by facing, (n, k)."""
    cell = np.floor(mesh.triangles.mean(axis=1) / 0.01)
    _, which = np.unique(np.hstack([cell, np.rint(2.0 * mesh.normals)]), axis=0, return_inverse=True)
    return (which.reshape(-1, 1) == np.arange(which.max() + 1)).astype(float)


def whole_power(prepared):
    """Power that the rays leave the mirror with, if nothing shades it. [W]"""
    optics = prepared.assembly.optics
    return float(optics.mirror.reflectance[0] * prepared.sun.dni_w_m2 * prepared.facets.aperture_areas().sum())


def test_points_beat_plain_random_ones_already_in_small_runs(tmp_path, seed):
    """24 runs of 2^15 rays on the standard case: the gain is 7 to 8, its error an eighth; 3 is six of those away."""
    share, flux, _ = gains(standard_case(tmp_path), count=1024, n_runs=24, seed=seed)
    assert share >= 3.0
    assert flux > 0.9


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "least", "least_in_cm2"), [("standard", 6.0, 1.25), ("tiles", 1.5, 1.05), ("petals", 2.1, 0.9)]
)
def test_gain_over_plain_random_points_at_a_million_rays(name, least, least_in_cm2, tmp_path, seed):
    """Over 32 runs, so the gain of the share has an error of an eighth: bounds are four of those below what was found.

    Found are 11, 2.1 and 3.7 for the share, 1.34, 1.18 and 1.07 for patches of 1 cm2; the notes tell why.
    """
    scenes = {
        "standard": lambda: standard_case(tmp_path),
        "tiles": lambda: faceted(TILES, radius=0.05),
        "petals": lambda: faceted(PETALS, radius=0.05),
    }
    share, flux, in_cm2 = gains(scenes[name](), count=32768, n_runs=32, seed=seed)
    assert share >= least, share
    assert flux >= 0.9, flux
    assert in_cm2 >= least_in_cm2, in_cm2
