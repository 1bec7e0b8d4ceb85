"""Centre rays meet their aim, for every layout."""

from __future__ import annotations

import re

import numpy as np
import pytest

from dishtrace.errors import InputError
from tests.support.facet_scenes import FOCAL_LENGTH, HOLED, LATERAL, built, drawn

LAYOUTS = {
    "square-grid": 'layout = "square-grid"\nsize_m = 0.08\ngap_m = 0.01',
    "hex-grid": 'layout = "hex-grid"\nsize_m = 0.08\ngap_m = 0.01\ncurve = "spherical"',
    "rings": 'layout = "rings"\nsize_m = 0.1\ngap_m = 0.01\ncurve = "parent"',
    "petals": 'layout = "petals"\ncount = 14\ngap_m = 0.01',
    "strips": 'layout = "strips"\nwidth_m = 0.1\ngap_m = 0.01',
}
FOCUS = np.array([0.0, 0.0, FOCAL_LENGTH])


def reflected(normals):
    """Where light from +z goes."""
    return np.array([0.0, 0.0, -1.0]) + 2.0 * normals[:, 2:] * normals


def strays(facets, aims):
    """Distances by which the centre rays miss their aims; infinite for those that go the other way."""
    path = aims - facets.origin
    ray = reflected(facets.axes[:, 2])
    along = np.sum(path * ray, axis=1)
    return np.where(along > 0.0, np.linalg.norm(path - along[:, np.newaxis] * ray, axis=1), np.inf)


@pytest.mark.parametrize("outline", [HOLED, LATERAL])
@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("aim", [(0.0, 0.0, 0.0), (0.02, -0.03, 0.1)])
def test_centre_rays_meet_one_aim(layout, outline, aim):
    """Fails when facets keep the parent's normals."""
    facets, _ = drawn(LAYOUTS[layout] + f"\naim_m = {list(aim)}", outline=outline)
    assert strays(facets, np.tile(FOCUS + aim, (len(facets), 1))).max() < 1e-13
    normal, to_aim = facets.axes[:, 2], FOCUS + aim - facets.origin
    assert np.allclose(normal[:, 2], np.sum(normal * to_aim, axis=1) / np.linalg.norm(to_aim, axis=1), atol=1e-14)


def test_facets_aimed_at_the_focus_keep_the_parents_normals():
    facets, _ = drawn(LAYOUTS["hex-grid"])
    gradient = np.column_stack([-facets.origin[:, :2] / (2.0 * FOCAL_LENGTH), np.ones(len(facets))])
    wanted = gradient / np.linalg.norm(gradient, axis=1, keepdims=True)
    assert np.abs(facets.axes[:, 2] - wanted).max() < 1e-14


@pytest.mark.parametrize("middle", [(0.0, 0.0), (0.7, 0.2)])
def test_a_ring_of_aims_sends_each_facet_to_its_own_side(middle):
    outline = 'shape = "circle"\nradius_m = 0.5\ncenter_m = ' + str(list(middle))
    facets, _ = drawn(LAYOUTS["square-grid"] + "\naim_ring_m = 0.04\naim_m = [0, 0, 0.05]", outline=outline)
    offset = facets.origin[:, :2] - middle
    distance = np.hypot(*offset.T)
    at_middle = distance < 1e-9
    assert at_middle.sum() == 1
    aims = np.tile(FOCUS + [0.0, 0.0, 0.05], (len(facets), 1))
    aims[~at_middle, :2] += 0.04 * offset[~at_middle] / distance[~at_middle, np.newaxis]
    assert strays(facets, aims).max() < 1e-13


def test_stiff_pieces_keep_their_curve_when_aimed_elsewhere():
    there, _ = drawn(LAYOUTS["rings"])
    elsewhere, _ = drawn(LAYOUTS["rings"] + "\naim_m = [0.05, 0, 0.1]")
    assert np.array_equal(there.quadric, elsewhere.quadric)
    assert np.abs(there.axes - elsewhere.axes).max() > 0.01


@pytest.mark.parametrize(("aim", "facet"), [("[0, 0, -0.6]", 5), ("[0, 0, -0.7]", 2), ("[3, 0, 0]", 3)])
def test_an_aim_behind_or_on_the_mirror_is_refused(aim, facet):
    """The vertex, on which facet 5 lies; a place 0.1 m below it, which facets nearer than 0.49 m to the axis have
    behind them; and one far beside the dish. The facet named is the first of them."""
    text = f"scene:13: dish.facets.aim_m = {aim} lies behind facet {facet}, or on it; aims are told from the focus"
    with pytest.raises(InputError, match=re.escape(text)):
        built(f'layout = "square-grid"\nsize_m = 0.45\naim_m = {aim}')


def test_an_aim_low_above_the_vertex_is_in_front_of_every_facet():
    facets, _ = built('layout = "square-grid"\nsize_m = 0.1\ngap_m = 0.1\naim_m = [0, 0, -0.55]')
    assert strays(facets, np.tile([0.0, 0.0, 0.05], (len(facets), 1))).max() < 1e-13
