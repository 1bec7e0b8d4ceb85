"""Roots of one variable: those of the reference library to the last bit, and faults told.

Errors planted and caught: the tolerance without its half, the sign of the extrapolation, the bracket not kept.
"""

import math

import pytest
from scipy.optimize import brentq

from dishtrace.heat.root import root_between

FUNCTIONS = [
    (lambda x: x**3 - 2.0 * x - 5.0, 2.0, 3.0),
    (lambda x: math.exp(-x) - 1e-3 * x, 0.0, 40.0),
    (lambda x: math.tanh(20.0 * (x - 0.123)), -1.0, 4.0),
    (lambda x: 5.670374419e-8 * 0.9 * 0.05 * (x**4 - 293.0**4) + 0.5 * (x - 297.0) ** 1.25 - 900.0, 297.0, 6000.0),
    (lambda x: (x - 1.0) ** 3 + 1e-3 * (x - 1.0), 0.0, 3.7),
    (lambda x: -1.0 if x < 0.7 else 1.0, 0.0, 1.0),
    (lambda x: x, -1.0, 2.0),
    (lambda x: math.cos(x) - x, 3.0, -2.0),
]


@pytest.mark.parametrize("number", range(len(FUNCTIONS)))
@pytest.mark.parametrize("tolerance", [1e-9, 1e-3, 1e-14])
def test_the_same_places_and_steps_as_the_reference_library(number, tolerance):
    function, start, end = FUNCTIONS[number]
    asked = {"own": [], "reference": []}

    def noted(kind):
        def wrapped(x):
            asked[kind].append(float(x))
            return function(x)

        return wrapped

    own = root_between(noted("own"), start, end, x_tolerance=tolerance, relative=1e-13)
    reference = brentq(noted("reference"), start, end, xtol=tolerance, rtol=1e-13)
    assert own == reference
    assert asked["own"] == asked["reference"]


def test_published_example():
    """x^3 - 2x - 5 = 0, Wallis's example for Newton's method; root 2.0945514815423265 (OEIS A007493, from memory)."""
    function, start, end = FUNCTIONS[0]
    found = root_between(function, start, end, x_tolerance=1e-12, relative=1e-13)
    assert found == pytest.approx(2.0945514815423265, abs=1e-12)


def test_roots_at_the_ends():
    assert root_between(lambda x: x - 1.0, 1.0, 2.0, x_tolerance=1e-9, relative=1e-13) == 1.0
    assert root_between(lambda x: x - 2.0, 1.0, 2.0, x_tolerance=1e-9, relative=1e-13) == 2.0


def test_faults():
    with pytest.raises(ValueError, match="same sign at 1 and 2"):
        root_between(lambda x: x, 1.0, 2.0, x_tolerance=1e-9, relative=1e-13)
    with pytest.raises(RuntimeError, match="no root found in 100 steps"):
        root_between(lambda x: -1.0 if x < 0.7 else 1.0, 0.0, 1.0, x_tolerance=0.0, relative=0.0)
