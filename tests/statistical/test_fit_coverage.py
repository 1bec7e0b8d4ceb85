"""Intervals of the fit hold the truth as often as they say: over invented data sets whose truth is known.

The small sets run always. With a coverage of 95 %, 60 sets hold the truth 49 times or fewer in 1 of 3 million cases
(binomial); two to four numbers are watched in each, so the whole file gives a false alarm in fewer than 1 of 100 000
runs. The sets of 1000, marked slow, must hold it 920 to 980 times (a false alarm needs 4.3 standard deviations).

Planted errors, and how often the small sets then held the truth: standard errors half as large 39 to 46 of 60 (heat)
and 29 to 36 of 40 (spot), a heat capacity 5 % too small 0 of 60, the error of the mass forgotten 20 of 60, the blur of
the photo forgotten 15 of 40. Of the radii by hand see below.
"""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.study.fit.edges import match_edges, traced_edges
from dishtrace.study.fit.findings import Finding, finding, student
from dishtrace.study.fit.heating import fit_heating
from dishtrace.study.fit.ladder import FIRST_SLOPES_MRAD
from dishtrace.study.fit.matching import match_spot
from dishtrace.study.fit.radii import radii
from dishtrace.study.fit.spot_test import GRID_SHARE, RADII_FREEDOM, _slope_finding
from dishtrace.study.fit.whole import combined
from tests.support.fit_readings import (
    edge_rungs,
    edge_spread_m,
    gaussian_photo,
    gaussian_spots,
    heated,
    patch_of,
    spread_m,
    stretch,
)

FEW, LEAST = 60, 50
MANY, LOW, HIGH = 1000, 920, 980


def heat_hits(noise, number):
    """How often power, loss and net power are held: 25 readings of a heating and cooling, noise 0.4 K."""
    truth = {"power_w": 800.0, "loss_w_k": 3.0}
    one = stretch(np.arange(25) * 2.0, on=np.arange(25) < 16)
    hits = np.zeros(3, dtype=int)
    weights = np.array([1.0, -40.0])
    for _ in range(number):
        fit = fit_heating((heated(one, noise, noise_k=0.4, **truth),), capacity_j_k=12000.0, wall_k_w=0.0)
        half = student(fit.freedom) * np.sqrt(
            np.append(np.diag(fit.covariance)[:2], weights @ fit.covariance[:2, :2] @ weights)
        )
        found = np.array([fit.power_w, fit.loss_w_k, fit.power_w - 40.0 * fit.loss_w_k])
        hits += np.abs(found - [800.0, 3.0, 680.0]) < half
    return hits


def mass_hits(noise, number):
    """How often power is held when the mass itself is only known to 2 %."""
    one = stretch(np.arange(25) * 2.0, on=np.arange(25) < 16)
    hits = 0
    for _ in range(number):
        readings = heated(one, noise, noise_k=0.4, power_w=800.0, loss_w_k=3.0)
        weighed = 12000.0 * (1.0 + 0.02 * noise.standard_normal())
        fits = [fit_heating((readings,), capacity_j_k=weighed * factor, wall_k_w=0.0) for factor in (1.0, 1.02, 0.98)]
        found = finding(
            "power_w",
            "W",
            fits[0].power_w,
            statistical_se=np.sqrt(fits[0].covariance[0, 0]),
            freedom=fits[0].freedom,
            given_se=0.5 * abs(fits[1].power_w - fits[2].power_w),
        )
        hits += found.low < 800.0 < found.high
    return np.array([hits])


def spot_hits(noise, number, *, smear=0.0):
    """How often slope error, shift and both radii are held: photos with noise that grows with the light."""
    slope, place = 5.0, (0.002, -0.001)
    hits, spots = np.zeros(4, dtype=int), None
    exact = {"r50_m": 1.17741 * spread_m(slope), "r90_m": 2.14597 * spread_m(slope)}
    for _ in range(number):
        patch = patch_of(gaussian_photo(slope, noise, centre_m=place, noise_at_peak=0.04, smear=smear))
        if spots is None:
            spots = gaussian_spots(np.sqrt([12.0, 19.0, 26.0, 33.0, 40.0]), half_width_m=1.3 * patch.half_width_m)
        match = match_spot(patch, spots, start_mrad2=20.0)
        found = _slope_finding(match, spots, {"photo": float(match.scatter_se[0])})
        hits[0] += found.low < slope < found.high
        hits[1] += abs(match.numbers[1] - place[0]) < student(match.freedom[1]) * match.scatter_se[1]
        seen = radii(patch, light=patch.light, noise=match.left)
        for k, (key, value) in enumerate(exact.items()):
            se = np.hypot(seen.errors[key], GRID_SHARE * value)
            hits[2 + k] += abs(seen.values[key] - value) < student(RADII_FREEDOM) * se
    return hits


def edge_hits(noise, number):
    """How often radii by hand hold the slope error: edges even between two shares, the target's place uncertain.

    Of small spots some intervals reach down to 0, of large ones some have no upper end; where no slope error of a
    mirror fits, nothing is held.
    """
    place, place_se = -0.015, 0.004
    rungs = edge_rungs(FIRST_SLOPES_MRAD, (place, place + place_se, place - place_se), half_width_m=0.15)
    known = {edge: traced_edges(rungs, n_offsets=3, edge=edge) for edge in ((0.1, 0.5), (0.3, 0.3))}
    cases = ((1.0, 3, 0.05, 0.1, 0.5), (4.0, 8, 0.02, 0.1, 0.5), (9.0, 4, 0.2, 0.3, 0.3), (15.0, 5, 0.05, 0.1, 0.5))
    hits = np.zeros(len(cases), dtype=int)
    for k, (slope, n, scatter, *edge) in enumerate(cases):
        for _ in range(number):
            there = edge_spread_m(slope, place + place_se * noise.standard_normal())
            radius = there * np.sqrt(-2.0 * np.log(noise.uniform(*edge)))
            read = radius * (1.0 + scatter * noise.standard_normal(n))
            found = match_edges(np.abs(read), known[tuple(edge)]).finding
            is_open = found.low is None and found.high is None
            low, high = (0.0 if found.low is None else found.low), (np.inf if found.high is None else found.high)
            hits[k] += not is_open and low <= slope <= high
    return hits


@pytest.mark.parametrize("hits", [heat_hits, mass_hits, edge_hits])
def test_intervals_hold_the_truth(hits, seed):
    assert np.all(hits(np.random.default_rng(seed), FEW) >= LEAST)


def test_spot_intervals_hold_the_truth(seed):
    assert np.all(spot_hits(np.random.default_rng(seed), FEW) >= LEAST)


def test_kinds_with_right_errors_disagree_in_a_twentieth_of_all_tests(seed):
    """Three kinds, errors of 0.1, 0.2 and 0.4: in 4000 tests 200 disagree (standard deviation 13.8; 4.3 of those are a
    false alarm in 60 000), and the interval of the rest holds the truth in 95 % at least, since it is only widened.
    Catches a point of 3.84 a degree, which finds 86 that disagree."""
    noise, errors = np.random.default_rng(seed + 300), np.array([0.1, 0.2, 0.4])
    held = []
    for values in 5.0 + errors * noise.standard_normal((4000, 3)):
        told = [
            Finding(key, "mrad", value, se, value - 2.0 * se, value + 2.0 * se)
            for key, value, se in zip("abc", values, errors, strict=True)
        ]
        found = combined(told)
        if "disagree" not in found.remark:
            held.append(found.low < 5.0 < found.high)
    assert abs(4000 - len(held) - 200) < 4.3 * 13.8
    assert sum(held) > 0.95 * len(held) - 4.3 * 13.8


@pytest.mark.parametrize("other_se", [0.1, 0.3, 3.0])
def test_three_radii_and_a_power_together_hold_the_truth(other_se, seed):
    """Radii of a spot of 5 mrad scatter by 5 %, the slope error of the power by 0.1, 0.3 or, next to useless, 3 mrad.

    Where they agree, the interval holds the truth in 95 % of 2000 tests, 2.1 % more or less: 4.3 standard deviations,
    a false alarm in 60 000. Catches an interval of 1.96 errors of the mean, which holds it in 89 %, and one with
    Student's factor of the radii for both kinds.
    """
    noise, slope, number = np.random.default_rng(seed + 400), 5.0, 2000
    known = traced_edges(edge_rungs((3.0, 4.0, 5.0, 6.0, 8.0), half_width_m=0.06), edge=(0.3, 0.3))
    exact = edge_spread_m(slope) * np.sqrt(-2.0 * np.log(0.3))
    held = []
    for _ in range(number):
        by_hand = match_edges(exact * (1.0 + 0.05 * noise.standard_normal(3)), known).finding
        value = slope + other_se * noise.standard_normal()
        power = finding("slope_error_from_power_mrad", "mrad", value, statistical_se=other_se, freedom=np.inf)
        found = combined([by_hand, power])
        if by_hand.told and "disagree" not in found.remark:
            held.append(found.low < slope < found.high)
    assert len(held) > 0.9 * number
    assert abs(np.mean(held) - 0.95) < 0.021


@pytest.mark.slow
@pytest.mark.parametrize("hits", [heat_hits, mass_hits, spot_hits, edge_hits])
def test_intervals_hold_the_truth_in_1000_sets(hits, seed):
    held = hits(np.random.default_rng(seed + 100), MANY)
    print(f"{hits.__name__}: {held} of {MANY}")
    assert np.all((held >= LOW) & (held <= HIGH)), held


@pytest.mark.slow
def test_intervals_hold_the_truth_with_noise_that_neighbours_share(seed):
    """Noise smeared over 1.5 pixels, 3.5 pixels wide: 90 % at least."""
    assert np.all(spot_hits(np.random.default_rng(seed + 200), 300, smear=1.5) >= 265)
