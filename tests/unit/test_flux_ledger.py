"""The ledger from the tally's columns.

Shown to fail on planted errors: two columns exchanged, intercept over the outline, hole left out of the outline, hole
of an oblique sun with the wrong sign.
"""

import numpy as np
import pytest

from dishtrace.dish.outline import circle
from dishtrace.flux.ledger import hole_power, ledger
from dishtrace.trace import optics as column

KEYS = [
    "outline",
    "gaps",
    "shaded",
    "mirror_absorbed",
    "blocked",
    "receiver",
    "stand",
    "other_parts",
    "escaped",
    "missed",
    "lost",
]


def rows_that_close(seed):
    """A tally whose OUTLINE column is written first and split into the ends."""
    random = np.random.default_rng(seed)
    rows = np.zeros((32, column.N_BUDGET))
    rows[:, column.OUTLINE] = random.uniform(1.0, 2.0, 32)
    rows[:, 1:10] = random.dirichlet(np.ones(9), 32) * rows[:, :1]
    rows[:, column.LEAVING] = rows[:, column.OUTLINE] - rows[:, column.SHADED] - rows[:, column.MIRROR_ABSORBED]
    rows[:, 10:14] = random.dirichlet(np.ones(4), 32) * rows[:, column.LEAVING, np.newaxis]
    rows[:, 15:19] = random.random((32, 4))
    rows[:, column.DIRECT_INCIDENT] = rows[:, 15:19].sum(axis=1)
    return rows


def test_ledger_closes_and_names_its_columns():
    rows = rows_that_close(1)
    found = ledger(rows, outline_w=1e9, hole_w=3.0, is_skin=True)
    assert list(found.budget_w) == KEYS
    values = [entry.value for entry in found.budget_w.values()]
    assert values[0] == pytest.approx(sum(values[1:]), rel=1e-13)
    # the outline comes from its own column, so a lost end would show
    assert values[0] == pytest.approx(rows[:, column.OUTLINE].sum() + 3.0, rel=1e-15)
    for key, number in zip(KEYS[2:], range(1, 10), strict=True):
        assert found.budget_w[key].value == pytest.approx(rows[:, number].sum(), rel=1e-14)
    for key, number in zip(("receiver", "stand", "other_parts", "none"), range(10, 14), strict=True):
        assert found.first_hit_w[key].value == pytest.approx(rows[:, number].sum(), rel=1e-14)
    for key, number in zip(("incident", "absorbed", "mirror", "escaped", "lost"), range(14, 19), strict=True):
        assert found.direct_w[key].value == pytest.approx(rows[:, number].sum(), rel=1e-14)


def test_gaps_between_facets_are_what_the_facets_do_not_meet():
    """Exact power over outline and hole, with what facets outside it meet; the gaps have the facets' error."""
    rows = rows_that_close(5)
    rows[:, column.OVERHANG] = 0.1 * rows[:, column.OUTLINE]
    found = ledger(rows, outline_w=100.0, hole_w=7.0, is_skin=False)
    met = rows[:, column.OUTLINE].sum()
    values = [entry.value for entry in found.budget_w.values()]
    assert values[0] == pytest.approx(107.0 + 0.1 * met, rel=1e-13)
    assert values[1] == pytest.approx(107.0 - 0.9 * met, rel=1e-13)
    assert values[0] == pytest.approx(sum(values[1:]), rel=1e-13)
    assert found.overhang_w.value == pytest.approx(0.1 * met, rel=1e-13)
    assert found.budget_w["gaps"].se == pytest.approx(9.0 * found.overhang_w.se, rel=1e-9)


def test_a_watt_that_is_not_booked_shows():
    rows = rows_that_close(2)
    rows[3, column.ESCAPED] = 0.0
    values = [entry.value for entry in ledger(rows, outline_w=0.0, hole_w=0.0, is_skin=True).budget_w.values()]
    assert values[0] - sum(values[1:]) > 1e-3


def test_intercept_factor_is_a_paired_ratio():
    """First receiver hits in proportion to what leaves the mirror: the ratio has no error although both sums have."""
    rows = rows_that_close(3)
    rows[:, column.FIRST_RECEIVER] = 0.8 * rows[:, column.LEAVING]
    found = ledger(rows, outline_w=0.0, hole_w=1.0, is_skin=True)
    assert found.intercept_factor.value == pytest.approx(0.8, rel=1e-14)
    assert found.intercept_factor.se < 1e-14
    assert found.first_hit_w["receiver"].se > 0.1


def test_intercept_factor_of_a_dark_mirror_is_unknown():
    found = ledger(np.zeros((32, column.N_BUDGET)), outline_w=1.0, hole_w=0.0, is_skin=True).intercept_factor
    assert np.isnan(found.value)
    assert found.se is None
    assert found.to_dict() == {"value": None, "se": None}


@pytest.mark.parametrize("center", [(0.0, 0.0), (1.2, -0.4)])
def test_hole_power_by_summing_over_the_missing_mirror(center):
    """Sun 20 deg beside the axis: DNI times cos(own incidence) over the surface that is not there."""
    sun = np.array([np.sin(np.radians(20.0)) * 0.8, np.sin(np.radians(20.0)) * 0.6, np.cos(np.radians(20.0))])
    share = (np.arange(300) + 0.5) / 300
    radius, turn = np.meshgrid(0.3 * np.sqrt(share), 2.0 * np.pi * share)
    x, y = center[0] + radius * np.cos(turn), center[1] + radius * np.sin(turn)
    normal = np.stack([-x / 1.8, -y / 1.8, np.ones_like(x)], axis=-1)
    expected = 800.0 * np.pi * 0.09 * np.mean(normal @ sun)
    found = hole_power(circle(1.0, hole_radius=0.3, center=center), sun, dni=800.0, focal_length=0.9)
    assert found == pytest.approx(expected, rel=1e-9)
