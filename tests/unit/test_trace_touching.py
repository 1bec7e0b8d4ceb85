"""Parts that touch, and sunlight that comes through glass: nothing is met twice.

Planted errors that these tests catch: light that starts on a face and meets another one in the same plane; sunlight
through a cover followed both as mirror light and as direct light.
"""

import numpy as np
import pytest

from dishtrace.stats import total
from dishtrace.trace.optics import (
    ABSORBED,
    DIRECT_INCIDENT,
    DIRECT_LOST,
    DIRECT_MIRROR,
    FIRST,
    INCIDENT,
    LOST,
    OUTLINE,
    PART_DIRECT_ABSORBED,
    PART_DIRECT_INCIDENT,
)
from dishtrace.trace.points import N_SCRAMBLES
from tests.support.small_scenes import part, prepared, scene_text, tallied

COUNT = 256
N_RAYS = COUNT * N_SCRAMBLES
HALF = "absorptance = 0.5, specular_share = 0.2"


def box_on_plate(gap, plate_first=False):
    """A closed box that stands on a sheet, or a gap above it."""
    box = part("box", "receiver", f'shape = "box"\nsize_m = [0.3, 0.3, 0.2]\ncenter_m = [0.0, 0.0, {0.1 + gap}]', HALF)
    plate = part("plate", "stand", 'shape = "rectangle"\nsize_m = [0.35, 0.35]', HALF)
    return tallied(prepared(scene_text(plate + box if plate_first else box + plate)).assembly.optics, count=COUNT)


def test_light_does_not_get_into_a_body_that_stands_on_a_sheet():
    """The back of a closed body stays dark, to the last watt, mirror light and direct light."""
    figures = box_on_plate(0.0).parts.sum(axis=0)[0, 1]
    assert np.array_equal(figures, np.zeros(5))


def test_faces_in_one_plane_are_met_once():
    """Box and plate together take what the plate takes when the box stands a nanometre above it."""
    together = box_on_plate(0.0).parts.sum(axis=0)[:, :, [FIRST, INCIDENT, ABSORBED]].sum(axis=(0, 1)) / N_RAYS
    apart = box_on_plate(1e-9).parts.sum(axis=0)[:, :, [FIRST, INCIDENT, ABSORBED]].sum(axis=(0, 1)) / N_RAYS
    assert together == pytest.approx(apart, rel=1e-9)
    assert apart[0] > 2000.0


@pytest.mark.parametrize("plate_first", [False, True])
def test_ledgers_close_with_touching_parts(plate_first):
    rows = box_on_plate(0.0, plate_first).budget
    assert np.allclose(rows[:, OUTLINE], rows[:, OUTLINE + 1 : LOST + 1].sum(axis=1), rtol=1e-12, atol=0.0)
    assert np.allclose(rows[:, DIRECT_INCIDENT], rows[:, DIRECT_INCIDENT + 1 : DIRECT_LOST + 1].sum(axis=1), rtol=1e-12)


def test_black_sheet_behind_glass_in_one_plane_takes_all_that_comes_through():
    """Glass of index 1 laid on a black plate: whichever is met first, nothing gets past the plate."""
    glass = (
        '[[part]]\nname = "glass"\nrole = "cover"\nshape = "rectangle"\nsize_m = [0.3, 0.3]\n'
        "cover = { refractive_index = 1.0, extinction_per_m = 0.0, thickness_m = 0.004 }\n"
    )
    plate = part("plate", "receiver", 'shape = "rectangle"\nsize_m = [0.35, 0.35]', "absorptance = 1.0")
    both, alone = (prepared(scene_text(text)).assembly.optics for text in (plate + glass, plate))
    taken = tallied(both, count=COUNT).parts.sum(axis=0)[0, :, ABSORBED].sum() / N_RAYS
    assert taken == pytest.approx(
        tallied(alone, count=COUNT).parts.sum(axis=0)[0, :, ABSORBED].sum() / N_RAYS, rel=1e-9
    )


def test_sunlight_through_a_clear_cover_is_counted_once():
    """A sheet that does nothing hangs over the whole dish: the receiver's figures are those without it."""
    disc = part("disc", "receiver", 'shape = "disc"\nradius_m = 0.1\naxis = [0.0, 0.0, -1.0]', "absorptance = 1.0")
    sheet = (
        '[[part]]\nname = "sheet"\nrole = "cover"\nshape = "disc"\nradius_m = 1.3\ncenter_m = [0.0, 0.0, 0.5]\n'
        "cover = { refractive_index = 1.0, extinction_per_m = 0.0, thickness_m = 0.004 }\n"
    )
    tally = tallied(prepared(scene_text(disc + sheet)).assembly.optics, count=COUNT)
    plain = tallied(prepared(scene_text(disc)).assembly.optics, count=COUNT)
    front, back = np.moveaxis(tally.parts[:, 0] / N_RAYS, 1, 0)
    plain_front = plain.parts.sum(axis=0)[0, 0] / N_RAYS
    assert front.sum(axis=0)[INCIDENT] == pytest.approx(plain_front[INCIDENT], rel=1e-9)
    assert np.all(front[:, [PART_DIRECT_INCIDENT, PART_DIRECT_ABSORBED]] == 0.0)
    # Straight from the sun the disc's back gets 1000 W/m2, and the mirror, through the sheet, all but its shade.
    on_back, on_mirror = total(back[:, PART_DIRECT_ABSORBED]), total(tally.budget[:, DIRECT_MIRROR] / N_RAYS)
    assert abs(on_back.value - 10.0 * np.pi) < 5.0 * on_back.se
    assert abs(on_mirror.value - 1000.0 * np.pi * 0.99) < 5.0 * on_mirror.se
    assert on_mirror.se < 0.04 * on_mirror.value
