"""Canting, piston, missing facets: chance that belongs to one dish."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.layouts import designed_facets, facets_of
from dishtrace.dish.layouts.errors import rotations_about
from dishtrace.dish.outline import outline_of
from dishtrace.errors import InputError
from tests.support.facet_scenes import built, drawn, facet_scene

GRID = 'layout = "square-grid"\nsize_m = 0.02\ngap_m = 0.005\n'


def tilts(lines, **how):
    """Tilts of the built normals from the drawn ones, towards u and v, (n, 2), and the two mirrors."""
    facets, _ = built(lines, **how)
    nominal, _ = drawn(lines, **how)
    local = np.einsum("nij,nj->ni", nominal.axes, facets.axes[:, 2])
    angle = np.arccos(np.clip(local[:, 2], -1.0, 1.0))
    return angle[:, np.newaxis] * local[:, :2] / np.hypot(*local[:, :2].T)[:, np.newaxis], facets, nominal


def test_canting_has_the_spread_per_axis(seed):
    """Mean 0, standard deviation as given per axis, no covariance: 5 numbers within 4.6 standard errors, false alarms
    below 3e-5. Fails when the spread is taken as radial (each axis then has it divided by sqrt 2)."""
    tilt, facets, nominal = tilts(GRID + "canting_error_mrad = 3", dish=f"seed = {seed}")
    n = len(facets)
    assert n > 2500
    scaled = tilt / 3e-3
    assert np.all(np.abs(scaled.mean(axis=0)) < 4.6 / np.sqrt(n))
    assert np.all(np.abs(np.mean(scaled**2, axis=0) - 1.0) < 4.6 * np.sqrt(2.0 / n))
    assert abs(np.mean(scaled[:, 0] * scaled[:, 1])) < 4.6 / np.sqrt(n)
    assert np.array_equal(facets.origin, nominal.origin)
    assert np.array_equal(facets.quadric, nominal.quadric)
    assert np.abs(facets.axes @ facets.axes.transpose(0, 2, 1) - np.eye(3)).max() < 1e-14


def test_piston_is_along_the_normals_and_has_its_spread(seed):
    lines = GRID + "piston_error_m = 0.002"
    facets, _ = built(lines, dish=f"seed = {seed}")
    nominal, _ = drawn(lines)
    shift = np.einsum("ni,ni->n", facets.origin - nominal.origin, nominal.axes[:, 2])
    assert np.abs(facets.origin - nominal.origin - shift[:, np.newaxis] * nominal.axes[:, 2]).max() < 1e-15
    n = len(facets)
    assert abs(np.mean(shift)) < 4.6 * 0.002 / np.sqrt(n)
    assert abs(np.mean((shift / 0.002) ** 2) - 1.0) < 4.6 * np.sqrt(2.0 / n)
    assert np.array_equal(facets.axes, nominal.axes)


def test_errors_belong_to_the_facets_number_and_the_dish_seed():
    lines = GRID + "canting_error_mrad = 3\npiston_error_m = 0.001\n"
    whole, _ = built(lines)
    fewer, _ = built(lines + "missing = [7, 100]")
    other, _ = built(lines, dish="seed = 2")
    kept = ~np.isin(whole.number, [7, 100])
    assert np.array_equal(fewer.axes, whole.axes[kept])
    assert np.array_equal(fewer.origin, whole.origin[kept])
    assert np.abs(other.axes[:, 2] - whole.axes[:, 2]).max() > 1e-3


def test_canting_and_piston_do_not_go_together():
    tilt, _, _ = tilts(GRID + "canting_error_mrad = 3")
    alone, _ = built(GRID + "piston_error_m = 0.001")
    nominal, _ = drawn(GRID)
    shift = np.einsum("ni,ni->n", alone.origin - nominal.origin, nominal.axes[:, 2])
    for axis in (0, 1):
        assert abs(np.corrcoef(tilt[:, axis], shift)[0, 1]) < 4.6 / np.sqrt(len(shift))


def test_uncertain_canting_is_taken_at_its_middle():
    plain, _ = built(GRID + "canting_error_mrad = 3")
    spread, _ = built(GRID + "canting_error_mrad = { low = 2, high = 4 }")
    assert np.array_equal(plain.axes, spread.axes)


def test_missing_facets_are_left_out_and_keep_the_others_numbers():
    lines = 'layout = "petals"\ncount = 6\n'
    facets, _ = built(lines + "missing = [2, 5]")
    assert facets.number.tolist() == [1, 3, 4, 6]
    nominal, _ = drawn(lines + "missing = [2, 5]")
    assert nominal.number.tolist() == [1, 2, 3, 4, 5, 6]
    assert np.array_equal(facets.origin, nominal.origin[[0, 2, 3, 5]])


@pytest.mark.parametrize(
    ("missing", "text"),
    [
        ("[2, 7]", r"scene:13: dish.facets.missing = \[2, 7\] names 7, but the facets have the numbers 1 to 6"),
        ("[1, 2, 3, 4, 5, 6]", r"leaves no facet at all"),
        ("[2, 3, 2]", r"scene:13: dish.facets.missing = \[2, 3, 2\] names facet 2 twice"),
        ("[0]", r"has a number 1 that must be a whole number >= 1"),
        ("[1.5]", r"has a number 1 that must be a whole number >= 1"),
    ],
)
def test_missing_facets_that_cannot_be(missing, text):
    with pytest.raises(InputError, match=text):
        built(f'layout = "petals"\ncount = 6\nmissing = {missing}')


def test_rotations_about_axes_are_exact():
    """A third of a turn about the space diagonal takes x to y, y to z, z to x; nothing turns nothing."""
    third = np.full(3, 2.0 * np.pi / 3.0 / np.sqrt(3.0))
    turned, still = rotations_about(np.array([third, np.zeros(3)]))
    assert np.allclose(turned, [[0, 0, 1], [1, 0, 0], [0, 1, 0]], atol=1e-15)
    assert np.array_equal(still, np.eye(3))


def test_a_dish_without_errors_is_as_drawn():
    scene = facet_scene(GRID)
    outline = outline_of(scene)
    first, second = facets_of(scene, outline), designed_facets(scene, outline)
    assert np.array_equal(first.axes, second.axes)
    assert np.array_equal(first.origin, second.origin)


def test_slope_error_of_the_dish_is_every_facets():
    facets, _ = built(GRID, dish="slope_error_mrad = 2.5")
    assert np.all(facets.slope == 2.5e-3)
    assert np.all(facets.brightness == 1.0)


@pytest.mark.parametrize(("canting", "is_refused"), [(100, True), (0, False)])
def test_a_facet_turned_past_the_axis_is_refused(tmp_path, canting, is_refused):
    """Tiles 33 focal lengths from the axis stand 3.4 deg short of square to it: of 40 draws of 5.7 deg per axis many
    turn them past it, and a ray that started there would carry infinite power."""
    rows = "\n".join(f"{k},{20.0 + 0.1 * k},0,0.1" for k in range(1, 41))
    (tmp_path / "far.csv").write_text(f"number,x_m,y_m,size_m\n{rows}\n", encoding="utf-8")
    lines = f'layout = "list"\nfile = "far.csv"\ncanting_error_mrad = {canting}'
    how = {"outline": 'shape = "circle"\nradius_m = 30', "folder": tmp_path}
    if not is_refused:
        assert len(built(lines, **how)[0]) == 40
        return
    with pytest.raises(InputError, match=r"canting_error_mrad = 100 turns facet \d+ past square to the dish axis"):
        built(lines, **how)
