"""No watt is made or lost, whatever the scene.

Planted errors that these tests catch: all-or-none without weight for the survivor; a second booking of covers; the
absorbed part of a later mirror hit left out; a ray that hits the triangle it leaves.
"""

import numpy as np
from hypothesis import given

from dishtrace.trace.optics import (
    ABSORBED,
    DIRECT_ABSORBED,
    DIRECT_INCIDENT,
    DIRECT_LOST,
    FIRST,
    FIRST_NONE,
    FIRST_RECEIVER,
    INCIDENT,
    LEAVING,
    LOST,
    OTHER_ABSORBED,
    OUTLINE,
    PART_DIRECT_ABSORBED,
    PART_DIRECT_INCIDENT,
    RECEIVER_ABSORBED,
    ROLE_RECEIVER,
    ROLE_STAND,
)
from tests.property.strategies import CONVEX, QUICK, parts, scenes
from tests.support.small_scenes import prepared, scene_text, tallied

COUNT = 64


@QUICK
@given(text=scenes())
def test_ledgers_close_to_rounding_in_every_scramble(text):
    optics = prepared(text).assembly.optics
    rows = tallied(optics, count=COUNT).budget
    assert np.allclose(rows[:, OUTLINE], rows[:, OUTLINE + 1 : LOST + 1].sum(axis=1), rtol=1e-12, atol=0.0)
    direct = rows[:, DIRECT_INCIDENT + 1 : DIRECT_LOST + 1].sum(axis=1)
    assert np.allclose(rows[:, DIRECT_INCIDENT], direct, rtol=1e-12, atol=1e-9)
    assert np.all(rows >= 0.0)


@QUICK
@given(text=scenes())
def test_parts_and_triangles_add_up_to_the_ledger(text):
    """By role, by part and by triangle the same watts; none is absorbed without having arrived."""
    optics = prepared(text).assembly.optics
    tally = tallied(optics, count=COUNT)
    budget, figures = tally.budget.sum(axis=0), tally.parts.sum(axis=0)
    scale = budget[OUTLINE]
    for role in (ROLE_RECEIVER, ROLE_STAND, OTHER_ABSORBED - RECEIVER_ABSORBED):
        chosen = figures[optics.parts.role == role]
        assert abs(chosen[..., ABSORBED].sum() - budget[RECEIVER_ABSORBED + role]) < 1e-12 * scale
        assert abs(chosen[..., FIRST].sum() - budget[FIRST_RECEIVER + role]) < 1e-12 * scale
    assert abs(figures[..., PART_DIRECT_ABSORBED].sum() - budget[DIRECT_ABSORBED]) < 1e-12 * scale
    for part in range(len(optics.parts.role)):
        mine = optics.parts.part == part
        incident, absorbed = tally.incident.sum(axis=0)[mine].sum(axis=0), tally.absorbed.sum(axis=0)[mine].sum(axis=0)
        assert np.allclose(incident, figures[part, :, INCIDENT], rtol=1e-11, atol=1e-12 * scale)
        both = figures[part, :, ABSORBED] + figures[part, :, PART_DIRECT_ABSORBED]
        assert np.allclose(absorbed, both, rtol=1e-11, atol=1e-12 * scale)
    assert np.all(figures[..., ABSORBED] <= figures[..., INCIDENT] * (1.0 + 1e-12))
    assert np.all(figures[..., FIRST] <= figures[..., INCIDENT] * (1.0 + 1e-12))


@QUICK
@given(text=scenes())
def test_first_hits_are_all_of_the_light_that_leaves_the_mirror_and_is_not_met_by_it_again(text):
    """What leaves = first hits + what the mirror stops before any part; never more."""
    budget = tallied(prepared(text).assembly.optics, count=COUNT).budget.sum(axis=0)
    met = budget[FIRST_RECEIVER : FIRST_NONE + 1].sum()
    assert met <= budget[LEAVING] * (1.0 + 1e-12)
    # At these slopes of a dish of 1 m only light sent far aside could meet the mirror before the parts.
    assert met >= 0.98 * budget[LEAVING]


@QUICK
@given(text=scenes(absorptance=1.0))
def test_black_receiver_keeps_all_that_arrives(text):
    """To the bit: absorptance 1 leaves nothing to go on."""
    figures = tallied(prepared(text).assembly.optics, count=COUNT).parts[:, 0]
    assert np.array_equal(figures[..., ABSORBED], figures[..., INCIDENT])
    assert np.array_equal(figures[..., PART_DIRECT_ABSORBED], figures[..., PART_DIRECT_INCIDENT])


@QUICK
@given(text=parts("body", "receiver", shapes=CONVEX, absorptance=0.25))
def test_light_leaves_a_convex_body_for_good_and_never_gets_inside(text):
    """No self-hits: over a mirror that reflects nothing a second time all arrivals are first ones, none from inside."""
    optics = prepared(scene_text(text, dish="reflectance = 1e-6")).assembly.optics
    figures = tallied(optics, count=COUNT).parts.sum(axis=0)[0]
    assert np.array_equal(figures[1], np.zeros(5))
    assert figures[0, INCIDENT] <= figures[0, FIRST] * (1.0 + 2e-6)
    assert figures[0, PART_DIRECT_ABSORBED] >= 0.25 * figures[0, PART_DIRECT_INCIDENT] * (1.0 - 1e-6)
