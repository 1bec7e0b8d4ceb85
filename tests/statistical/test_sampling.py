"""Whether the errors told are the errors made, and how fast they fall.

Planted errors that these tests catch: a standard error short or long by sqrt(2) (b for b - 1 squared, one axis for
two); scrambles that share their shift; points used twice (slope 0); the plain 1/cos weight missing in a ray's power.
"""

import numpy as np
import pytest
from scipy import stats

from dishtrace.stats import total
from dishtrace.trace.optics import FIRST_RECEIVER, LEAVING, MISSED, OUTLINE, RECEIVER_ABSORBED, SHADED
from dishtrace.trace.points import N_SCRAMBLES
from tests.support.repeated_runs import reseeded
from tests.support.small_scenes import part, prepared, scene_text, tallied

# Chance of a false alarm of each test below.
FALSE_ALARM = 1e-5
N_SEEDS = 200
COUNT = 256
POT = part("pot", "receiver", 'shape = "box"\nsize_m = [0.03, 0.03, 0.05]', "absorptance = 0.7, specular_share = 0.2")
# Half of the light misses the pot: shares near one half, near zero and near one.
SCENE = scene_text(POT, dish="slope_error_mrad = 8.0")


@pytest.fixture(scope="module")
def runs(seed):
    """Budgets of 200 runs of 8192 rays with different seeds, (200, 32, 20). [W]"""
    optics = prepared(SCENE).assembly.optics
    budgets = [tallied(reseeded(optics, 1000 * seed + k), count=COUNT).budget for k in range(N_SEEDS)]
    return np.stack(budgets) / (COUNT * N_SCRAMBLES)


COLUMNS = {
    "receiver": RECEIVER_ABSORBED,
    "missed": MISSED,
    "first on the receiver": FIRST_RECEIVER,
    "shaded": SHADED,
    "leaving": LEAVING,
}


@pytest.mark.parametrize("column", COLUMNS.values(), ids=COLUMNS.keys())
def test_intervals_of_95_percent_hold_the_truth_in_95_of_100_runs(runs, column):
    """Student's t with 31 degrees of freedom about the mean of all runs; binomial limits of 200 trials."""
    estimates = [total(rows[:, column]) for rows in runs]
    values, errors = np.array([e.value for e in estimates]), np.array([e.se for e in estimates])
    inside = np.abs(values - values.mean()) <= stats.t.ppf(0.975, N_SCRAMBLES - 1) * errors
    low, high = stats.binom.ppf([FALSE_ALARM / 2, 1.0 - FALSE_ALARM / 2], N_SEEDS, 0.95)
    assert low <= np.count_nonzero(inside) <= high
    # An interval too wide would pass that: the mean squared error told against the one made, chi-squared of 199,
    # whose bounds are 0.62 and 1.51.
    ratio = np.mean(errors**2) / np.var(values, ddof=1)
    bounds = stats.chi2.ppf([FALSE_ALARM / 2, 1.0 - FALSE_ALARM / 2], N_SEEDS - 1) / (N_SEEDS - 1)
    assert 1.0 / bounds[1] < ratio < 1.0 / bounds[0]


def test_scrambles_are_uncorrelated(runs):
    """Of 200 runs the 32 blocks have correlations like those of independent ones: 496 pairs, |r| < 5 / sqrt(200)."""
    r = np.corrcoef(runs[:, :, RECEIVER_ABSORBED].T)
    pairs = r[np.triu_indices(N_SCRAMBLES, 1)]
    assert np.abs(pairs).max() < 5.0 / np.sqrt(N_SEEDS)
    assert abs(pairs.mean()) < 5.0 / np.sqrt(N_SEEDS * len(pairs))


def slope(errors, counts):
    return np.polyfit(np.log2(counts), np.log2(errors), 1)[0]


def test_error_against_rays(runs, seed):
    """Over 32 to 1024 points: share of the receiver (an edge) more than 1/2, outline power (smooth) more than 1.

    Root mean square over 64 seeds; against the closed form pi DNI for the outline, against 1.6 million rays for the
    share, whose own error is a seventh of the smallest one here. The slopes are about 0.68 and 1.5, with errors of 0.04
    from 64 seeds: a false alarm is a matter of 4 standard errors.
    """
    n_seeds = 64
    optics = prepared(SCENE).assembly.optics
    truth = {OUTLINE: 1000.0 * np.pi, RECEIVER_ABSORBED: runs[:, :, RECEIVER_ABSORBED].sum(axis=1).mean()}
    counts = 2 ** np.arange(5, 11)
    squares = {column: np.zeros(len(counts)) for column in truth}
    for k in range(n_seeds):
        these = reseeded(optics, 900000 + 1000 * seed + k)
        for i, count in enumerate(counts):
            budget = tallied(these, count=int(count)).budget.sum(axis=0) / (count * N_SCRAMBLES)
            for column, expected in truth.items():
                squares[column][i] += (budget[column] - expected) ** 2 / n_seeds
    share_slope, outline_slope = (slope(np.sqrt(squares[c]), counts) for c in (RECEIVER_ABSORBED, OUTLINE))
    assert -1.0 < share_slope < -0.5
    assert -2.0 < outline_slope < -1.0


LEANING = 'kind = "two-axis"\npointing_offset_mrad = [90.0, -60.0]'
FIXED = 'kind = "fixed"\naxis_azimuth_deg = 180.0\naxis_elevation_deg = 50.0'
PLAIN_SUN = "dni_w_m2 = 1000.0"
LOW_SUN = f'{PLAIN_SUN}\nazimuth_deg = 150.0\nelevation_deg = 40.0\nshape = {{ profile = "circumsolar", csr = 0.2 }}'
HOLED = 'shape = "circle"\nradius_m = 0.9\nhole_radius_m = 0.3\ncenter_m = [0.4, -0.3]'
OBLONG = 'shape = "rectangle"\nsize_m = [1.5, 0.8]\ncenter_m = [0.5, 0.2]'
BENT = 'shape = "polygon"\nvertices_m = [[0.0, 0.0], [1.4, 0.0], [0.5, 0.3], [0.0, 1.2]]'


@pytest.mark.parametrize(
    ("outline", "mount", "sun"),
    [(HOLED, "", PLAIN_SUN), (OBLONG, LEANING, PLAIN_SUN), (BENT, FIXED, LOW_SUN)],
    ids=["lateral with hole", "leaning", "fixed off the axis"],
)
def test_power_on_the_outline_is_the_closed_form(outline, mount, sun, seed):
    """DNI (A s_z - M.s / (2 f)), M the first moments of the area, for any sunshape about its centre: |z| < 4.9."""
    placed = prepared(scene_text(outline=outline, mount=mount, sun=sun), seed=seed)
    found = total(tallied(placed.assembly.optics, count=1024).budget[:, OUTLINE] / (1024 * N_SCRAMBLES))
    toward_sun, area = placed.mirror.pose.sun, placed.mirror.outline.area
    moment, _ = placed.mirror.outline.moments()
    expected = 1000.0 * (area * toward_sun[2] - toward_sun[:2] @ moment / 2.0)
    assert abs(found.value - expected) < 4.9 * found.se
    assert found.se < 1e-3 * found.value
