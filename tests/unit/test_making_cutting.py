"""Unrolled patterns: exact lengths and areas, and what cannot be unrolled."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.facets import Facets, parent_quadric, six_numbers, sphere_quadric
from dishtrace.dish.layouts import designed_facets
from dishtrace.dish.outline import circle, ellipse, outline_of, polygon, rectangle
from dishtrace.report.making.cutting import Bend, Pattern, bend_of, kinds_of, letters, pattern_of, ring_area
from tests.support.facet_scenes import drawn
from tests.support.making_scenes import DISCS, HOLLOW, PETALS, STRIPS, TILES, mirror_scene
from tests.support.surfaces import bent_quadric, meridian_arc


def one_facet(quadric, outline):
    return Facets(
        number=np.array([7]),
        origin=np.zeros((1, 3)),
        axes=np.eye(3)[np.newaxis],
        quadric=np.asarray(quadric, dtype=float)[np.newaxis],
        outlines=(outline,),
        slope=np.zeros(1),
        brightness=np.ones(1),
    )


def parabolic(focal_length, angle):
    """A parabolic cylinder w = s^2 / (4 f), s along the angle."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * c, s * s, 0.0, c * s, 0.0, 0.0]) / (4.0 * focal_length)


def tilted_parabola(focal_length, radius):
    """The meridian of a paraboloid as a cylinder, seen from the frame that touches it at a distance from the axis."""
    slope = radius / (2.0 * focal_length)
    steepness = np.hypot(1.0, slope)
    s = np.array([1.0, 0.0, -slope]) / steepness
    return six_numbers(np.outer(s, s)) / (4.0 * focal_length * steepness)


def test_a_circular_cylinder_unrolls_to_its_arc():
    bend = bend_of(bent_quadric(0.7, 0.4))
    s = np.array([-0.6, -0.1, 0.0, 0.2, 0.65])
    assert bend.angle == pytest.approx(0.4, abs=1e-12)
    assert bend.radius() == pytest.approx(0.7, rel=1e-12)
    assert bend.arc(s) == pytest.approx(0.7 * np.arcsin(s / 0.7), abs=1e-12)


def test_a_parabolic_cylinder_unrolls_to_the_meridian_arc():
    bend = bend_of(parabolic(0.3, 0.0))
    s = np.array([-1.0, 0.2, 0.9])
    expected = np.sign(s) * [meridian_arc(abs(x), focal_length=0.3) for x in s]
    assert bend.arc(s) == pytest.approx(expected, abs=1e-12)


def test_a_petal_has_the_meridian_arc_of_its_own_stretch():
    """s in the touching frame is converted to radii by the frame's rotation: r = r0 + (s - w m) / sqrt(1 + m^2)."""
    focal_length, middle = 0.7, 0.4
    bend = bend_of(tilted_parabola(focal_length, middle))
    s = np.array([-0.38, 0.45])
    slope = middle / (2.0 * focal_length)
    radii = middle + (s - slope * bend.height(s)) / np.hypot(1.0, slope)
    lengths = np.array([meridian_arc(r, focal_length=focal_length) for r in radii])
    assert bend.arc(s) == pytest.approx(lengths - meridian_arc(middle, focal_length=focal_length), abs=1e-12)


@pytest.mark.parametrize(
    "quadric",
    [bent_quadric(0.9, 2.0), parabolic(0.5, -0.7), tilted_parabola(0.7, 0.5)],
    ids=["round", "parabola", "petal"],
)
def test_unrolling_keeps_the_length_of_every_line(quadric):
    facets = one_facet(quadric, rectangle((0.6, 0.5)))
    t = np.linspace(0.0, 1.0, 40001)
    uv = np.column_stack([0.28 * np.cos(3.0 * t), 0.5 * t**2 - 0.24])
    places, _ = facets.surface(0, uv)
    flat = bend_of(quadric).unrolled(uv)
    lengths = [np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in (places, flat)]
    assert lengths[1] == pytest.approx(lengths[0], rel=1e-9)


@pytest.mark.parametrize(
    "outline",
    [
        rectangle((0.5, 0.3), center=(0.02, -0.03)),
        polygon([[-0.3, -0.1], [0.25, -0.22], [0.3, 0.2], [-0.28, 0.12]]),
        circle(0.25),
        circle(0.25, hole_radius=0.06),
        ellipse((0.3, 0.2)),
    ],
    ids=["rectangle", "polygon", "circle", "ring", "ellipse"],
)
@pytest.mark.parametrize(
    "quadric",
    [np.zeros(6), bent_quadric(0.9, 0.5), parabolic(0.4, 0.0), tilted_parabola(0.7, 0.4)],
    ids=["flat", "round", "parabola", "petal"],
)
def test_the_pattern_has_the_area_of_the_mirror(quadric, outline):
    facets = one_facet(quadric, outline)
    assert pattern_of(facets, 0).area == pytest.approx(facets.surface_areas()[0], rel=2e-7)


def test_a_bend_along_the_edges_leaves_them_straight():
    pattern = pattern_of(one_facet(parabolic(0.4, 0.5 * np.pi), rectangle((0.3, 0.8))), 0)
    assert len(pattern.rings[0]) == 4
    arc = 2.0 * meridian_arc(0.4, focal_length=0.4)
    assert np.ptp(pattern.rings[0], axis=0) == pytest.approx([arc, 0.3], abs=1e-12)


@pytest.mark.parametrize(
    "quadric",
    [
        sphere_quadric(2.0),
        parent_quadric(np.array([[0.3, 0.1, 0.0]]), np.eye(3)[np.newaxis], focal_length=1.0)[0],
        np.array([1.0, 1e-6, 0.0, 0.0, 0.0, 0.0]),
    ],
    ids=["sphere", "paraboloid", "nearly a cylinder"],
)
def test_what_is_hollow_in_two_directions_has_no_pattern(quadric):
    assert bend_of(quadric) is None
    assert pattern_of(one_facet(quadric, circle(0.1)), 0) is None


@pytest.mark.parametrize(
    ("table", "n_kinds"), [(TILES, 1), (DISCS, 1), (PETALS, 1), (STRIPS, 4)], ids=["tiles", "discs", "petals", "strips"]
)
def test_like_facets_are_one_kind(table, n_kinds):
    """Strips on both sides of the axis, and the halves of the one that the hole parts, are the same turned round."""
    scene = mirror_scene(table, outline='shape = "circle"\nradius_m = 0.72\nhole_radius_m = 0.08')
    facets = designed_facets(scene, outline_of(scene))
    kinds, curved = kinds_of(facets)
    assert len(kinds) == n_kinds
    assert curved == ()
    assert sorted(number for kind in kinds for number in kind.numbers) == sorted(facets.number.tolist())
    total = sum(kind.pattern.area * len(kind.numbers) for kind in kinds)
    assert total == pytest.approx(facets.surface_areas().sum(), rel=2e-7)


def test_hollow_facets_are_named():
    scene = mirror_scene(HOLLOW)
    facets = designed_facets(scene, outline_of(scene))
    assert kinds_of(facets) == ((), tuple(facets.number.tolist()))


def test_pieces_that_differ_by_a_tenth_of_a_millimetre_are_two_kinds():
    one, other = rectangle((0.2, 0.1)), rectangle((0.2, 0.1001))
    facets = one_facet(np.zeros(6), one)
    both = Facets(
        np.array([1, 2]),
        np.zeros((2, 3)),
        np.repeat(np.eye(3)[np.newaxis], 2, axis=0),
        np.zeros((2, 6)),
        (one, other),
        np.zeros(2),
        np.ones(2),
    )
    assert len(kinds_of(facets)[0]) == 1
    assert [(kind.letter, kind.numbers) for kind in kinds_of(both)[0]] == [("A", (2,)), ("B", (1,))]


def test_letters_and_ring_area():
    assert [letters(k) for k in (0, 25, 26, 701, 702)] == ["A", "Z", "AA", "ZZ", "AAA"]
    assert ring_area(np.array([[0.0, 0.0], [0.0, 2.0], [3.0, 0.0]])) == 3.0


def test_strips_on_either_side_of_the_axis_are_one_kind():
    """A strip and its opposite are the same piece turned half round: 9 strips are 5 kinds, the middle one alone."""
    facets, _ = drawn('layout = "strips"\nwidth_m = 0.16\ngap_m = 0.003')
    kinds, curved = kinds_of(facets)
    assert not curved
    assert sorted(kind.numbers for kind in kinds) == [(1, 9), (2, 8), (3, 7), (4, 6), (5,)]


def test_a_bent_piece_and_its_mirror_image_are_two_kinds():
    """An uneven piece turned half round is cut alike; turned over it would mirror on the wrong side."""
    corners = np.array([[-0.1, -0.05], [0.1, -0.03], [0.1, 0.06], [-0.1, 0.05]])
    rings = [corners, -corners, corners[::-1] * [1.0, -1.0]]
    patterns = [Pattern((ring,), Bend(0.0, 0.3, 0.0, 0.3), None, np.zeros(2)) for ring in rings]
    assert patterns[0].is_like(patterns[1])
    assert not patterns[0].is_like(patterns[2])
