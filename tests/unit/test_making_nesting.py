"""Pieces on sheets: inside, apart, and as many as fit."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from dishtrace.dish.layouts import designed_facets
from dishtrace.dish.outline import outline_of
from dishtrace.report.making.cutting import Bend, Kind, Pattern, kinds_of
from dishtrace.report.making.nesting import GAP_M, nest, too_large
from tests.support.making_scenes import DISCS, PETALS, STRIPS, TILES, mirror_scene

FLAT = Bend(0.0, 0.0, 0.0, 0.0)


def kind(points, count, first=1, letter="A"):
    pattern = Pattern((np.array(points, dtype=float),), FLAT, None, np.zeros(2))
    return Kind(letter, pattern, tuple(range(first, first + count)))


def square(side, count, **how):
    return kind([[0.0, 0.0], [side, 0.0], [side, side], [0.0, side]], count, **how)


def laid(kinds, found):
    """Every piece where it lies, by sheet."""
    sheets = [[] for _ in range(found.n_sheets)]
    for place in found.places:
        c, s = np.cos(place.angle), np.sin(place.angle)
        pattern = kinds[place.kind].pattern
        turned = pattern.rings[0] @ np.array([[c, -s], [s, c]]).T + place.shift
        sheets[place.sheet].append(shapely.Polygon(turned))
    return sheets


@pytest.mark.parametrize("table", [TILES, DISCS, PETALS, STRIPS], ids=["tiles", "discs", "petals", "strips"])
def test_pieces_lie_on_the_sheet_and_a_gap_apart(table):
    scene = mirror_scene(table, outline='shape = "circle"\nradius_m = 0.72\nhole_radius_m = 0.08')
    kinds, _ = kinds_of(designed_facets(scene, outline_of(scene)))
    found = nest(kinds, (1.25, 2.5))
    assert sorted(place.number for place in found.places) == sorted(n for kind in kinds for n in kind.numbers)
    for pieces in laid(kinds, found):
        sheet = shapely.box(0.0, 0.0, *found.sheet).buffer(1e-6)
        assert all(sheet.contains(piece) for piece in pieces)
        tree = shapely.STRtree(pieces)
        near = tree.query(pieces, predicate="dwithin", distance=GAP_M - 2e-6)
        assert np.all(near[0] == near[1])


def test_as_many_squares_as_a_saw_with_that_gap_gets_out_of_a_sheet():
    """16 x 8 squares of 150 mm and gaps of 3 mm need 2445 x 1221 mm; a 17th or 9th would not fit."""
    assert nest((square(0.15, 128),), (1.25, 2.5)).n_sheets == 1
    more = nest((square(0.15, 129),), (1.25, 2.5))
    assert more.n_sheets == 2
    assert more.bought == pytest.approx(6.25)
    assert more.offcut_share == pytest.approx(1.0 - 129 * 0.0225 / 6.25)


def test_a_piece_as_large_as_the_sheet_fits_exactly():
    found = nest((square(0.5, 3),), (0.5, 0.5))
    assert found.n_sheets == 3
    assert found.offcut_share == pytest.approx(0.0, abs=1e-12)


def test_wedges_lie_head_to_tail():
    """Upright, 2 n wedges of base b and height h take (n + 1/2) b and gaps of a row, not 2 n b."""
    wedge = kind([[0.0, 0.0], [0.1, 0.0], [0.05, 0.6]], 18)
    found = nest((wedge,), (1.01, 0.6))
    assert found.n_sheets == 1


def test_small_pieces_go_where_large_ones_leave_room():
    kinds = (square(0.6, 1), square(0.3, 2, first=2, letter="B"))
    assert nest(kinds, (1.0, 1.0)).n_sheets == 1


def test_a_slanted_square_is_laid_straight():
    c, s = np.cos(0.3), np.sin(0.3)
    turned = np.array([[0.0, 0.0], [0.5, 0.0], [0.5, 0.5], [0.0, 0.5]]) @ np.array([[c, s], [-s, c]])
    assert nest((kind(turned, 4),), (1.003, 1.003)).n_sheets == 1


def test_too_large_names_the_piece_and_its_size():
    small, large = square(0.2, 1), kind([[0.0, 0.0], [1.4, 0.0], [1.4, 0.3], [0.0, 0.3]], 1, first=9, letter="B")
    [(found, size)] = too_large((small, large), (1.0, 1.25))
    assert found.numbers == (9,)
    assert size == pytest.approx([1.4, 0.3])
    assert too_large((small, large), (1.4, 0.3)) == []
    with pytest.raises(ValueError, match="larger than a sheet"):
        nest((large,), (1.0, 1.25))
