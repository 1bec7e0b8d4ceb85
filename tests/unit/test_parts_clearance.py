"""Parts at the mirror: clear, touching, through it, behind it."""

import numpy as np
import pytest

from dishtrace.dish import outline as outlines
from dishtrace.dish.mount import pose
from dishtrace.parts import sheets, solids
from dishtrace.parts.assemble import part_meshes
from dishtrace.parts.clearance import mirror_contact, shared_area
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.state import sun_state

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


TURN = np.array([[0.36, 0.48, -0.8], [-0.8, 0.6, 0.0], [0.48, 0.64, 0.6]])


def put(shape, place):
    """Triangles turned by a rotation of no axis and shifted. [m]"""
    return shape.triangles @ TURN.T + np.array(place) @ TURN.T


@pytest.mark.parametrize("turned_over", [False, True])
def test_shared_area_of_a_disc_on_a_plate(turned_over):
    """Half of the disc sticks out of the plate; which way the faces look does not matter."""
    plate = put(sheets.rectangle((0.2, 0.2)), [0.0, 0.0, 0.3])
    disc = put(sheets.disc(0.03), [0.1, 0.0, 0.3])
    if turned_over:
        disc = disc[:, ::-1]
    assert shared_area(plate, disc, are_closed=False) == pytest.approx(0.5 * np.pi * 0.03**2, rel=2e-3)


def test_parallel_faces_and_crossing_parts_share_nothing():
    plate = put(sheets.rectangle((0.2, 0.2)), [0.0, 0.0, 0.3])
    assert shared_area(plate, put(sheets.disc(0.03), [0.0, 0.0, 0.3001]), are_closed=False) == 0.0
    assert shared_area(plate, put(sheets.disc(0.03), [0.2, 0.0, 0.3]), are_closed=False) == 0.0
    assert shared_area(plate, put(solids.sphere(0.1), [0.0, 0.0, 0.3]), are_closed=False) == 0.0


def test_a_box_in_the_corner_of_another_shares_three_sides():
    outer, inner = put(solids.box((0.2, 0.2, 0.2)), [0.0, 0.0, 0.0]), put(solids.box((0.1, 0.1, 0.1)), [0.05] * 3)
    assert shared_area(outer, inner, are_closed=True) == pytest.approx(3.0 * 0.01, rel=1e-9)


def test_a_box_on_a_box_touches_and_shares_nothing_that_light_meets():
    below, above = put(solids.box((0.2, 0.2, 0.2)), [0.0, 0.0, 0.0]), put(solids.box((0.1, 0.1, 0.1)), [0.0, 0.0, 0.15])
    assert shared_area(below, above, are_closed=True) == 0.0
    assert shared_area(below, above, are_closed=False) == pytest.approx(0.01, rel=1e-9)


def test_parts_in_one_place_get_a_note():
    scene = scene_from_text(
        "[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = 0.6\nreflectance = 0.9\n"
        '[dish.outline]\nshape = "circle"\nradius_m = 0.5\n'
        '[[part]]\nname = "plate"\nrole = "receiver"\nshape = "disc"\nradius_m = 0.05\nsurface = "soot"\n'
        '[[part]]\nname = "pot"\nrole = "receiver"\nshape = "cylinder"\nradius_m = 0.03\nheight_m = 0.1\n'
        'center_m = [0, 0, 0.05]\nsurface = "soot"\n'
        '[[part]]\nname = "rod"\nrole = "stand"\nshape = "box"\nsize_m = [0.01, 0.01, 0.2]\n'
        'center_m = [0, 0.2, 0]\nsurface = "soot"\n'
    )
    meshes = part_meshes(scene, pose(scene, sun_state(scene)), DISH)
    assert [len(mesh.notes) for mesh in meshes] == [0, 1, 0]
    assert (
        meshes[1].notes[0].startswith('28.3 cm2 of it lie on faces of "plate", in the same place: light that arrives')
    )
