"""Sobol indices and sampled points on a function with published indices.

Source: T. Ishigami, T. Homma, "An importance quantification technique in uncertainty analysis for computer models",
Proc. ISUMA '90 (1990) 398-403: f = sin x1 + a sin^2 x2 + b x3^4 sin x1 on (-pi, pi)^3. With a = 7, b = 0.1 the closed
form gives first-order indices 0.3139, 0.4424, 0 and totals 0.5576, 0.4424, 0.2437 (A. Saltelli, K. Chan, E. M. Scott
(eds.), *Sensitivity Analysis*, Wiley, 2000; from memory, and worked out below from the closed form).

Shown to fail on: a key's column taken for its neighbour's.
"""

import numpy as np
import pytest

from dishtrace.stats import Estimate
from dishtrace.study.sweep.design import design_of, saltelli, sampled
from dishtrace.study.sweep.keys import Varied
from dishtrace.study.sweep.sensitivity import effects, sobol_indices

A, B = 7.0, 0.1
VARIANCE = 0.5 + A**2 / 8 + B * np.pi**4 / 5 + B**2 * np.pi**8 / 18
FIRST = {
    "x1": 0.5 * (1 + B * np.pi**4 / 5) ** 2 / VARIANCE,
    "x2": A**2 / 8 / VARIANCE,
    "x3": 0.0,
}
TOGETHER = B**2 * np.pi**8 * (1 / 18 - 1 / 50) / VARIANCE
TOTAL = {"x1": FIRST["x1"] + TOGETHER, "x2": FIRST["x2"], "x3": TOGETHER}


def ishigami(x):
    return np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_closed_form_gives_the_printed_indices():
    assert [FIRST[key] for key in FIRST] == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert [TOTAL[key] for key in TOTAL] == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


def test_indices_of_a_known_function(seed):
    n_base = 2048
    varied = [Varied(key, -np.pi, np.pi) for key in FIRST]
    design = design_of(varied, method="indices", points=n_base - 5, seed=seed)
    assert design.n_base == n_base and len(design.values) == 5 * n_base
    x = np.array([list(point.values()) for point in design.values])
    found = {one.key: one for one in sobol_indices(list(FIRST), 100.0 + ishigami(x), n_base=n_base, seed=seed)}
    assert list(found) == ["x1", "x2", "x3"]
    for key, one in found.items():
        assert one.first == pytest.approx(FIRST[key], abs=0.02)
        assert one.total == pytest.approx(TOTAL[key], abs=0.02)
        # intervals of 95 % widened to 4.3 of their standard errors
        widths = (one.first_high - one.first_low, one.total_high - one.total_low)
        assert abs(one.first - FIRST[key]) < 4.3 * widths[0] / 3.92
        assert abs(one.total - TOTAL[key]) < 4.3 * widths[1] / 3.92


def test_arrangement_for_indices_changes_one_column_at_a_time():
    rows = saltelli(3, 8, seed=5)
    a, b = rows[:8], rows[8:16]
    for key in range(3):
        mixed = rows[16 + 8 * key : 24 + 8 * key]
        others = [k for k in range(3) if k != key]
        np.testing.assert_array_equal(mixed[:, key], b[:, key])
        np.testing.assert_array_equal(mixed[:, others], a[:, others])


def test_latin_hypercube_has_one_point_in_each_stratum_of_each_key(seed):
    """What defines it: McKay, Beckman, Conover, Technometrics 21 (1979) 239."""
    points = sampled(4, 25, method="latin", seed=seed)
    for column in points.T:
        assert sorted((25 * column).astype(int)) == list(range(25))
    assert not np.array_equal(points, sampled(4, 25, method="latin", seed=seed + 1))
    np.testing.assert_array_equal(points, sampled(4, 25, method="latin", seed=seed))


def test_sobol_points_are_even_in_boxes_of_two_keys(seed):
    """A (0, m, 2)-net in base 2: each of the 16 boxes 1/4 x 1/4 holds as many of the first 64 points as any other."""
    points = sampled(2, 64, method="sobol", seed=seed)
    counts, _, _ = np.histogram2d(*points.T, bins=4, range=[[0, 1], [0, 1]])
    assert (counts == 4).all()


def test_mean_by_latin_hypercube_is_far_better_than_by_chance(seed):
    """Main effects are stratified: on the Ishigami function, whose mean is a / 2, the variance falls by the share that
    is not additive; here a sum without interactions, so by much more than half.
    """
    means = [
        np.mean(np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2)
        for k in range(40)
        for x in [-np.pi + 2 * np.pi * sampled(3, 64, method="latin", seed=seed + k)]
    ]
    by_chance = np.sqrt((0.5 + A**2 / 8) / 64)
    assert np.std(means) < 0.2 * by_chance
    assert np.mean(means) == pytest.approx(A / 2, abs=0.1 * by_chance)


def test_effects_of_a_sum_are_its_terms(seed):
    """3 x1 - x2^2 on (-1, 1)^3 and a text: reach 6, 1, 0 and 2; error from paired blocks."""
    x = 2.0 * sampled(3, 200, method="latin", seed=seed) - 1.0
    words = ["low" if row[2] < 0.0 else "high" for row in x]
    values = 3.0 * x[:, 0] - x[:, 1] ** 2 + np.where(x[:, 2] < 0.0, 0.0, 2.0)
    points = [{"x1": row[0], "x2": row[1], "word": word} for row, word in zip(x, words, strict=True)]
    noise = np.random.default_rng(seed).normal(size=32)
    # a common factor: every block sees the whole curve times 1 + 0.01 noise
    figures = [Estimate(value, None, value * (1.0 + 0.01 * noise)) for value in values]
    found = {one.key: one for one in effects(points, figures)}
    assert list(found) == ["x1", "word", "x2"]
    assert found["x1"].reach.value == pytest.approx(6.0, rel=0.02) and found["x1"].is_rising is True
    assert found["word"].reach.value == pytest.approx(2.0, rel=0.01) and found["word"].is_rising is None
    assert found["x2"].reach.value == pytest.approx(1.0, rel=0.03)
    assert sum(one.share for one in found.values()) == pytest.approx(1.0, abs=0.05)
    expected = found["x1"].reach.value * 0.01 * np.sqrt(31 / 32 * np.sum((noise - noise.mean()) ** 2))
    assert found["x1"].reach.se == pytest.approx(expected, rel=1e-6)


def test_too_few_points_tell_no_effects():
    points = [{"a": float(k), "b": float(k * k)} for k in range(4)]
    assert effects(points, [Estimate(1.0, None)] * 4) == ()
    assert effects([], []) == ()


def test_two_values_tell_their_difference():
    (one,) = effects([{"a": 1.0}, {"a": 3.0}], [Estimate(5.0, None), Estimate(4.0, None)])
    assert (one.reach.value, one.is_rising) == (pytest.approx(1.0), False)
