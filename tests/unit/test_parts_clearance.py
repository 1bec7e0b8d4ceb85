"""Parts at the mirror: clear, touching, through it, behind it."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.parts import sheets, solids
from dishtrace.parts.clearance import mirror_contact

F = 0.9
DISH = outlines.circle(1.2)


def contact(shape, place, outline=DISH):
    return mirror_contact(shape.triangles + np.array(place), outline, focal_length=F)


def test_part_at_the_focus_is_clear():
    assert contact(solids.sphere(0.1), [0.0, 0.0, F]) is None


def test_box_that_stands_on_the_vertex_touches_and_one_lowered_goes_through():
    thin = solids.box((0.01, 0.01, 0.2))
    lifted = 0.1 + (2 * 0.005**2) / (4 * F)
    assert contact(thin, [0.0, 0.0, lifted]) is None
    found = contact(thin, [0.0, 0.0, lifted - 0.03])
    assert found.crosses
    assert found.depth == pytest.approx(0.03, rel=1e-12)  # all along the axis; its corners are the deepest
    assert found.place[2] == pytest.approx(lifted - 0.13, abs=1e-12)
    assert np.abs(found.place[:2]) == pytest.approx([0.005, 0.005], abs=1e-12)


def test_part_wholly_behind_the_mirror_does_not_cross():
    found = contact(solids.sphere(0.1), [0.0, 0.0, -0.3])
    assert not found.crosses
    assert found.depth == pytest.approx(0.4, rel=3e-4)


def test_post_beside_the_dish_or_through_the_hole_is_clear():
    post = solids.cylinder(0.05, 3.0)
    assert contact(post, [1.3, 0.0, 0.0]) is None
    assert contact(post, [0.0, 0.0, 0.0], outlines.circle(1.2, hole_radius=0.06)) is None
    assert contact(post, [0.0, 0.0, 0.0]).crosses


def test_sheet_whose_corners_all_lie_beyond_the_rim_is_found_by_its_edges():
    """A level sheet wider than the dish, halfway up the mirror: its inner edges cut the surface."""
    sheet = np.array([[[-3.0, -3.0, 0.2], [3.0, -3.0, 0.2], [3.0, 3.0, 0.2]]])
    found = mirror_contact(sheet, DISH, focal_length=F)
    assert found.crosses
    assert found.depth == 0.0
    assert found.place[2] == pytest.approx(np.hypot(*found.place[:2]) ** 2 / (4 * F), rel=1e-12)


def test_level_disc_cuts_where_it_is_wider_than_the_mirror_at_its_height():
    inner = np.sqrt(4 * F * 0.1)  # radius of the mirror at 0.1 m
    assert contact(sheets.disc(0.99 * inner), [0.0, 0.0, 0.1]) is None
    found = contact(sheets.disc(1.01 * inner), [0.0, 0.0, 0.1])
    assert found.crosses
    assert found.depth == pytest.approx((1.01**2 - 1.0) * 0.1, rel=5e-2)
