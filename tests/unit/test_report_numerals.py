from __future__ import annotations

import math

import pytest

from dishtrace.report.numerals import FINE, PLAIN, decimals, significant, signs_for, written, written_pair
from dishtrace.stats import Estimate


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (612.3456, 0.41234, "612.35 +- 0.41"),
        (612.3456, 0.0996, "612.35 +- 0.10"),
        (1234567.0, 8765.0, "1234600 +- 8800"),
        (0.90543, 0.00031, "0.90543 +- 0.00031"),
        (-3.21, 0.9, "-3.21 +- 0.90"),
        (-0.0004, 0.21, "0.00 +- 0.21"),
        (0.0, 1.5, "0.0 +- 1.5"),
        (99.96, 9.96, "100 +- 10"),
    ],
)
def test_the_error_has_two_significant_digits_and_the_value_as_many_decimals(value, error, text):
    assert written(Estimate(value, error)) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0"), (2.5, "2.5"), (123456.0, "123456"), (0.0123456, "0.012346"), (1308.46811, "1308.5")]
)
def test_an_exact_number_has_no_error(value, text):
    assert written(Estimate(value, 0.0)) == text


def test_an_error_below_a_millionth_is_not_shown_and_one_above_is():
    assert written(Estimate(1308.468, 1.3e-3)) == "1308.5"
    assert written(Estimate(1308.468, 1.4e-3)) == "1308.4680 +- 0.0014"


@pytest.mark.parametrize("error", [None, math.nan, math.inf])
def test_an_unknown_error_says_so(error):
    assert written(Estimate(17.345, error), unit="W") == "17.3 W (error unknown)"
    assert written_pair(Estimate(17.345, error)) == ("17.3", "error unknown")


def test_a_value_that_is_no_number_is_unknown():
    assert written(Estimate(math.nan, None), unit="mm") == "unknown mm"


def test_fine_signs_only_where_the_encoding_has_them():
    assert written(Estimate(5.0, 0.1), signs_for("utf-8"), "W") == "5.00 ± 0.10 W"
    assert signs_for("latin-1") is FINE
    assert signs_for("ascii") is PLAIN
    assert signs_for(None) is PLAIN
    assert signs_for("no-such-encoding") is PLAIN


def test_decimals_count_from_the_rounded_step():
    assert [decimals(step, 2) for step in (0.0412, 0.0996, 37.0, 995.0)] == [3, 2, 0, -2]


def test_significant_digits_without_exponent():
    assert significant(1678.4, 3) == "1680"
    assert significant(0.00045678, 2) == "0.00046"
    assert significant(123456.7, 3, least_decimals=0) == "123457"
