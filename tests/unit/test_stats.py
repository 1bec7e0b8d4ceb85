"""Estimates from blocks, by hand and by simulation.

Planted errors that these tests catch: b instead of b - 1 in the variance; the error of the mean told as that of the
sum; differences whose errors are added although they come from the same blocks; a jackknife without its (b - 1)/b.
"""

import numpy as np
import pytest

from dishtrace.stats import Estimate, counted, from_left_out, jackknife, total, totals

ROWS = np.array([1.0, 4.0, 2.0, 5.0])


def ratio(sums):
    return (sums[:, 0] / sums[:, 1])[:, np.newaxis]


def test_total_by_hand():
    """Sum 12; variance of the rows (4 + 1 + 1 + 4)/3, times 4 for the sum of four."""
    found = total(ROWS)
    assert found.value == 12.0
    assert found.se == pytest.approx(np.sqrt(4.0 * 10.0 / 3.0), rel=1e-15)


def test_total_left_out_values_are_scaled_to_the_whole():
    """Without the first block 11, times 4/3."""
    assert total(ROWS).left_out == pytest.approx(np.array([11.0, 8.0, 10.0, 7.0]) * 4.0 / 3.0)


def test_one_block_has_no_error():
    assert total(np.array([3.0])) == Estimate(3.0, None)
    assert jackknife(ratio, np.array([[1.0, 2.0]])) == [Estimate(0.5, None)]


def test_equal_blocks_have_error_zero():
    assert total(np.full(32, 0.1)).se == pytest.approx(0.0, abs=1e-16)


def test_totals_are_many_totals():
    rows = np.random.default_rng(1).random((8, 3, 2))
    sums, errors = totals(rows)
    for index in np.ndindex(3, 2):
        expected = total(rows[(slice(None), *index)])
        assert sums[index] == pytest.approx(expected.value, rel=1e-15)
        assert errors[index] == pytest.approx(expected.se, rel=1e-13)


def test_empty_bin_has_an_unknown_error():
    """Nothing counted in any block: the error is unknown, not zero."""
    _, errors = totals(np.array([[0.0, 1.0], [0.0, 2.0]]))
    assert np.isnan(errors[0])
    assert errors[1] == pytest.approx(1.0)
    assert np.isnan(totals(np.ones((1, 2)))[1]).all()


def test_jackknife_of_a_sum_is_its_total_but_for_the_block_left_out():
    found = jackknife(lambda sums: sums[:, :1], ROWS[:, np.newaxis])[0]
    assert found.value == 12.0
    assert found.se == pytest.approx(total(ROWS).se * 3.0 / 4.0, rel=1e-14)


def test_jackknife_of_a_ratio_by_hand():
    """Blocks (1, 2), (3, 4), (2, 2): 6/8; left out 5/6, 3/4, 4/6; sqrt(2/3 sum of squared deviations)."""
    found = jackknife(ratio, np.array([[1.0, 2.0], [3.0, 4.0], [2.0, 2.0]]))[0]
    left_out = np.array([5.0 / 6.0, 3.0 / 4.0, 4.0 / 6.0])
    assert found.value == 0.75
    assert found.left_out == pytest.approx(left_out)
    assert found.se == pytest.approx(np.sqrt(2.0 / 3.0 * np.sum((left_out - 0.75) ** 2)), rel=1e-14)


def test_ratio_of_paired_sums_has_the_error_of_what_does_not_cancel():
    """Numerator and denominator rise and fall together: no error; the bare numerator has one."""
    power = np.random.default_rng(2).uniform(1.0, 2.0, 32)
    found = jackknife(ratio, np.stack([0.3 * power, power], axis=1))[0]
    assert found.value == pytest.approx(0.3)
    assert found.se < 1e-15
    assert total(0.3 * power).se > 0.1


def test_jackknife_gives_the_error_of_a_ratio(seed):
    """Against the spread of 2000 repeats: mean of the squared error within 4.5 % (its own error is 1 %)."""
    generator = np.random.default_rng(seed)
    values, errors = [], []
    for _ in range(2000):
        rows = generator.uniform(0.5, 1.5, (32, 2))
        found = jackknife(ratio, rows)[0]
        values.append(found.value)
        errors.append(found.se)
    assert np.mean(np.square(errors)) == pytest.approx(np.var(values, ddof=1), rel=0.15)
    assert np.mean(values) == pytest.approx(1.0, abs=4.5 * np.std(values) / np.sqrt(2000) + 1e-3)


def test_jackknife_handles_several_values_at_once():
    def both(sums):
        return np.stack([sums[:, 0] / sums[:, 1], sums[:, 1] / sums[:, 0]], axis=1)

    rows = np.random.default_rng(3).uniform(1.0, 2.0, (32, 2))
    one, other = jackknife(both, rows)
    assert one.value == pytest.approx(1.0 / other.value)
    assert one.se / one.value == pytest.approx(other.se / other.value, rel=0.03)


def test_difference_of_estimates_from_the_same_blocks_pairs_their_errors():
    common, small = np.random.default_rng(4).normal(size=(2, 32))
    one, other = total(5.0 + common + 0.01 * small), total(5.0 + common)
    found = one.minus(other)
    assert found.value == pytest.approx(0.01 * small.sum(), abs=1e-12)
    assert found.se == pytest.approx(total(0.01 * small).se, rel=1e-9)
    assert found.se < 0.05 * np.hypot(one.se, other.se)


def test_difference_of_unrelated_estimates_adds_their_errors():
    assert Estimate(3.0, 0.3).minus(Estimate(1.0, 0.4)) == Estimate(2.0, pytest.approx(0.5))
    assert Estimate(3.0, 0.3).minus(Estimate(1.0, None)) == Estimate(2.0, None)


def test_scaling_keeps_the_sign_of_the_value_and_the_size_of_the_error():
    found = Estimate(3.0, 0.2, np.array([1.0, 5.0])).scaled(-2.0)
    assert found == Estimate(-6.0, 0.4)
    assert found.left_out.tolist() == [-2.0, -10.0]
    assert Estimate(3.0, None).scaled(2.0) == Estimate(6.0, None)


def test_left_out_values_give_the_error_again():
    one = total(ROWS)
    assert from_left_out(one.value, one.left_out).se == pytest.approx(one.se, rel=1e-14)


@pytest.mark.parametrize(
    ("estimate", "expected"),
    [
        (Estimate(1.5, 0.1), {"value": 1.5, "se": 0.1}),
        (Estimate(1.5, None), {"value": 1.5, "se": None}),
        (Estimate(1.5, float("nan")), {"value": 1.5, "se": None}),
        (Estimate(float("nan"), 0.1), {"value": None, "se": 0.1}),
        (Estimate(np.float64(2.0), np.float64(0.5)), {"value": 2.0, "se": 0.5}),
    ],
)
def test_estimates_are_written_without_nan(estimate, expected):
    found = estimate.to_dict()
    assert found == expected
    assert all(value is None or type(value) is float for value in found.values())


def test_interval_of_a_well_known_value_is_value_and_t_errors():
    # Student's t for 95 %: 2.0395134 with 31 degrees of freedom, 3.1824463 with 3 (any table)
    low, high = Estimate(100.0, 0.1).interval()
    assert (low, high) == pytest.approx((100.0 - 0.2039513, 100.0 + 0.2039513), abs=3e-4)
    assert Estimate(100.0, 0.1).interval(blocks=4)[1] == pytest.approx(100.0 + 0.31824463, abs=6e-4)


def test_interval_of_few_counts_is_wilsons():
    """Of 9 counts, error 3, in the limit of many blocks: mu with (9 - mu)^2 = 1.96^2 mu, solved by hand."""
    low, high = Estimate(9.0, 3.0).interval(blocks=10**9)
    z2 = 1.959963985**2
    expected = [9.0 + 0.5 * z2 + sign * np.sqrt(z2 * 9.0 + 0.25 * z2 * z2) for sign in (-1.0, 1.0)]
    assert (low, high) == pytest.approx(expected, rel=1e-6)
    assert low > 0.0


def test_interval_without_an_error_is_unknown():
    assert Estimate(1.0, None).interval() is None
    assert Estimate(0.0, 0.0).interval() is None


@pytest.mark.parametrize("share", [0.0155, 0.1, 0.5, 0.93, 1.0])
def test_an_error_that_all_blocks_hide_is_that_of_rounding(share, seed):
    """Blocks of 100 grains and a share of one more hold 100 or 101; the told errors fit the deviations from the truth.

    Catches the spread of the blocks alone, which is 0 where all hold 100, and a grain's whole width.
    """
    generator = np.random.default_rng(seed)
    grain, truth = 0.25, 32 * 0.25 * (100.0 + share)
    found = [counted(grain * (100.0 + (generator.random(32) < share)), grain) for _ in range(400)]
    deviations = np.array([(each.value - truth) / each.se for each in found])
    rms = np.sqrt(np.mean(deviations**2))
    assert rms < 1.3
    # half a grain: the blocks tell their own spread, which is larger than that of rounding
    assert share != 0.5 or rms > 0.8
    assert np.mean(np.abs(deviations) > 2.04) < 0.09
    least = min(each.se for each in found)
    assert share == 0.5 or least == pytest.approx(0.25 * 1.63299, rel=1e-5)


def test_what_got_no_grain_and_coarser_errors_stay():
    assert counted(np.zeros(32), 1.0).se == 0.0
    rows = np.arange(32.0)
    assert counted(rows, 1e-3) == total(rows)
