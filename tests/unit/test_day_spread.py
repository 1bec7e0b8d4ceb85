"""Few traced directions stand for many: known functions over the sun's places of a year."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.study.day.spread import N_CHECKS, best_kernel, choose, distinct, weights

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


def foretold(function, most=56):
    known = {}

    def look(step):
        known[step] = float(function(YEAR[step : step + 1])[0])
        return np.array([known[step]])

    chosen = choose(YEAR, BRIGHT, most=most, look=look)
    values = np.array([[known[step]] for step in chosen.steps])
    n_nodes = len(chosen.nodes)
    kernel = best_kernel(YEAR[chosen.steps], values)
    checked = weights(YEAR[chosen.nodes], YEAR[chosen.steps[n_nodes:]], kernel=kernel) @ values[:n_nodes]
    stated = float(np.sqrt(np.mean((checked - values[n_nodes:]) ** 2)))
    found = weights(YEAR[chosen.steps], YEAR, kernel=kernel) @ values[:, 0]
    return chosen, found, stated


@pytest.mark.parametrize(("function", "most_off"), [(smooth, 2e-3), (peaked, 0.04)])
def test_a_year_follows_from_at_most_56_and_the_stated_error_holds(function, most_off):
    """The energy of the year errs by less than what checks state for one step, which is how sums count it; and what is
    stated is of the size of the true root mean square error (within a factor of 4). Catches checks that are nodes
    (stated 0) and weights that do not sum to one."""
    chosen, found, stated = foretold(function)
    assert len(chosen.steps) <= 56
    assert chosen.n_checks == N_CHECKS
    true = function(YEAR)
    off = np.sqrt(np.average((found - true) ** 2, weights=BRIGHT))
    assert off < most_off
    assert 0.0 < stated
    assert off < 4.0 * stated
    energy = np.average(found - true, weights=BRIGHT)
    assert abs(energy) < 2.0 * stated


def test_weights_give_known_places_back_and_lines_on_a_line():
    places = np.array([[0.0, 0.0], [1.0, 2.0], [2.0, 4.0], [4.0, 8.0]])
    values = np.array([1.0, 5.0, 2.0, 2.0])
    assert weights(places, places) @ values == pytest.approx(values)
    between = np.array([[0.25, 0.5], [1.5, 3.0], [3.0, 6.0]])
    assert weights(places, between) @ values == pytest.approx([2.0, 3.5, 2.0])


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
