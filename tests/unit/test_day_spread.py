"""Few traced directions stand for many: known functions over the sun's places of a year."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.study.day.field import Field, fitted
from dishtrace.study.day.light import _scales, local_errors
from dishtrace.study.day.spread import N_CHECKS, choose, distinct

HOURS = np.radians(15.0 * np.arange(-6.5, 7.0))
DAYS = np.radians(23.44) * np.sin(2.0 * np.pi * np.arange(0, 365, 3) / 365.0)
YEAR = np.stack(np.meshgrid(HOURS, DAYS, indexing="ij"), axis=-1).reshape(-1, 2)
BRIGHT = np.cos(YEAR[:, 0] / 1.2) + 0.2


def smooth(places):
    """A light that changes over the day and the season, between about 0.5 and 1."""
    return 0.8 + 0.15 * np.cos(1.3 * places[:, 0] + 0.4) * np.cos(2.0 * places[:, 1]) + 0.1 * places[:, 1]


def peaked(places):
    """A spot that stays on the receiver for a small part of all directions."""
    return np.exp(-0.5 * ((places[:, 0] - 0.3) ** 2 + (places[:, 1] - 0.1) ** 2) / 0.25**2)


def foretold(function, most=56, places=YEAR):
    """What was chosen, guess and its standard deviation at all places, and those of the sum weighed by BRIGHT."""
    known = {}

    def look(step):
        known[step] = float(function(places[step : step + 1])[0])
        return np.array([known[step]])

    chosen = choose(places, BRIGHT, most=most, look=look)
    values = np.array([[known[step]] for step in chosen.steps])
    field = fitted(places[chosen.steps], values)
    scales = _scales(field, values, chosen)
    found = field.weights(places) @ values[:, 0]
    here = local_errors(field, values, scales, places)[:, 0]
    (told_sum,) = field.sum_spread(places, (BRIGHT * here)[:, np.newaxis])
    return chosen, found, field.spread(places) * here, told_sum


@pytest.mark.parametrize(("function", "most_off"), [(smooth, 2e-3), (peaked, 5e-3)])
def test_a_year_follows_from_at_most_56_and_the_stated_error_holds(function, most_off):
    """Two standard deviations hold 90 % of the steps at least, and the energy of the year; what is stated is of the
    size of the true root mean square error (within a factor of 8). Catches checks that are nodes, weights that do not
    sum to one, and errors half as large."""
    chosen, found, stated, stated_sum = foretold(function)
    assert len(chosen.steps) <= 56
    assert chosen.n_checks == N_CHECKS
    errors = found - function(YEAR)
    off = np.sqrt(np.average(errors**2, weights=BRIGHT))
    assert off < most_off
    assert np.mean(np.abs(errors) <= 2.0 * stated + 1e-9) > 0.9
    assert off > np.sqrt(np.average(stated**2, weights=BRIGHT)) / 8.0
    assert abs(BRIGHT @ errors) < 2.0 * stated_sum


def random_light(noise):
    """A sum of eight waves over the year's places, slow in one direction or the other."""
    along = noise.normal(0.0, 1.0, (8, 2)) * np.exp(noise.uniform(-0.5, 0.7, 2)) * 3.0
    phase = noise.uniform(0.0, 2.0 * np.pi, 8)
    return lambda places: np.cos(places @ along.T + phase).mean(axis=1)


@pytest.mark.slow
def test_stated_errors_hold_over_many_lights(seed):
    """12 invented lights: two standard deviations hold 92 % or more of all their steps, and 9 or more of their sums
    (were it 95 %, 8 or fewer had a chance of 2e-4). Catches errors half as large, and sums whose steps err alone."""
    noise = np.random.default_rng(seed)
    steps, sums = [], 0
    for _ in range(12):
        function = random_light(noise)
        _, found, stated, stated_sum = foretold(function, most=40)
        errors = found - function(YEAR)
        steps.append(np.mean(np.abs(errors) <= 2.0 * stated + 1e-9))
        sums += abs(BRIGHT @ errors) <= 2.0 * stated_sum
    assert np.mean(steps) > 0.92
    assert sums >= 9


def test_weights_give_known_places_back_and_evenness():
    """At known places the guess is what is known, and its error none; far from all it is the mean, whose error is that
    of the field and of the mean. Leaving one out in one go is leaving it out in earnest."""
    places = np.array([[0.0, 0.0], [1.0, 2.0], [2.0, 1.0], [4.0, 8.0], [3.0, 3.0]])
    values = np.array([[1.0], [5.0], [2.0], [2.0], [3.0]])
    field = Field(places, np.array([1.0, 2.0]), 0.0)
    assert field.weights(places) @ values == pytest.approx(values)
    assert field.spread(places) == pytest.approx(np.zeros(5), abs=1e-6)
    far = np.array([[1e4, 1e4]])
    assert field.weights(far).sum() == pytest.approx(1.0)
    assert field.spread(far)[0] == pytest.approx(np.sqrt(1.0 + 1.0 / field.inverse.sum()))
    errors, expected = field.left_out(values)
    for k in range(5):
        others = np.arange(5) != k
        without = Field(places[others], field.lengths, 0.0)
        assert errors[k] == pytest.approx(values[k] - without.weights(places[k : k + 1])[0] @ values[others])
        assert expected[k] == pytest.approx(without.spread(places[k : k + 1])[0])


def test_the_spread_of_a_sum_has_its_steps_err_together():
    """Of one place it is the place's; of two alike places twice that; of far ones the root of the sum of squares and
    what the common mean adds. Catches errors that are summed as if they were independent."""
    places = np.array([[0.0], [1.0], [3.0]])
    field = Field(places, np.array([0.5]), 0.0)
    at = np.array([[0.4], [0.4], [100.0], [200.0]])
    one = field.spread(at)
    mean = 1.0 / field.inverse.sum()
    factors = np.array([[1.0, 0.0, 0.0, 0.0], [1.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 1.0]]).T
    expected = [one[0], 2.0 * one[0], np.sqrt(2.0 + 4.0 * mean)]
    assert field.sum_spread(at, factors) == pytest.approx(expected)


def test_all_are_traced_where_few_differ():
    """Alike places are traced once; with as many traces allowed as places, nothing lies between."""
    places = np.array([[0.0, 0.0], [0.0, 1e-6], [0.1, 0.0], [0.2, 0.0]])
    assert distinct(places).tolist() == [0, 0, 2, 3]
    seen = []
    chosen = choose(places, np.ones(4), most=16, look=lambda step: seen.append(step) or np.ones(1))
    assert sorted(seen) == [0, 2, 3]
    assert chosen.n_checks == 0


def test_what_was_traced_is_kept_when_the_user_stops():
    seen = []

    def look(step):
        seen.append(step)
        return None if len(seen) > 4 else np.ones(1)

    chosen = choose(YEAR, BRIGHT, most=56, look=look)
    assert chosen.is_stopped
    assert len(chosen.steps) == 4
