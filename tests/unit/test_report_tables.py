from __future__ import annotations

import dataclasses
import re
from types import SimpleNamespace

import numpy as np
import pytest
from support.fake_result import make_result

from dishtrace.report import tables
from dishtrace.report.numerals import FINE, PLAIN
from dishtrace.stats import Estimate


@pytest.fixture(scope="module")
def result():
    return make_result()


@pytest.mark.parametrize("signs", [PLAIN, FINE])
def test_no_line_is_wider_than_eighty_columns(result, signs):
    lines = tables.summary(result, signs).plain.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert len(lines) > 30


def test_plain_signs_give_plain_ascii(result):
    assert tables.summary(result, PLAIN).plain.isascii()


def test_the_first_lines_tell_what_a_builder_wants_to_know(result):
    top = "\n".join(tables.summary(result).plain.splitlines()[:24])
    for wanted in (
        "Where the 4012.3 W",
        "receiver absorbs",
        "(intercept factor)",
        "the stand (96.00 +- 0.50 W)",
        "50 % in",
        "99 % in",
        "smallest:",
        "brightest:",
        'on "pot"',
        'on "clamp upper"',
        "mm from the focus",
    ):
        assert wanted in top


def test_the_bar_of_each_row_is_its_share_of_the_outline():
    whole = Estimate(100.0, 0.0)
    budget = dict.fromkeys(tables.BUDGET_NAMES, Estimate(0.0, 0.0)) | {
        "outline": whole,
        "receiver": Estimate(75.0, 0.5),
        "missed": Estimate(25.0, 0.5),
    }
    lines = tables.budget(SimpleNamespace(budget_w=budget))
    bars = {line[2:20].strip(): line.count("#") for line in lines[1:]}
    assert set(bars) == {"receiver absorbs", "missed every part"}
    assert bars["receiver absorbs"] == pytest.approx(3 * bars["missed every part"], abs=2)
    assert lines[1].endswith("75.00 +- 0.50 W   75.00 %")
    assert all(len(line) == 80 for line in lines[1:])


def test_diameters_are_twice_the_radii_in_millimetres(result):
    line = tables.spot(result)[1]
    assert line.startswith("  50 % in 70.64 +- 0.12   90 % in 128.76 +- 0.21")


def test_offsets_say_on_which_side_of_the_focus(result):
    text = "\n".join(tables.spot(result))
    assert "smallest: 3.10 +- 0.20 mm beyond the focus" in text
    assert "brightest: 1.20 +- 0.90 mm before the focus" in text


def test_the_peak_is_told_in_the_frame_of_the_part(result):
    part = result.parts["Clamp, upper"]
    assert tables.place_of_peak(result, part) == "front at (4, -8, 130) mm from the focus"
    placed = SimpleNamespace(scene=SimpleNamespace(parts=(SimpleNamespace(name=part.name, frame="ground"),)))
    assert tables.place_of_peak(placed, part).endswith("from the ground origin")


@pytest.mark.parametrize(("x_m", "told"), [(-0.0003, "0"), (-0.0006, "-1"), (-0.0, "0"), (float("nan"), "nan")])
def test_places_of_peaks_are_told_to_the_millimetre(result, x_m, told):
    """Errors planted and caught: a zero with a sign, a place that is not known ends the program."""
    part = SimpleNamespace(**vars(result.parts["pot"]) | {"peak_at_m": np.array([x_m, 0.0, 0.13])})
    assert tables.place_of_peak(result, part) == f"at ({told}, 0, 130) mm from the focus"


def test_a_part_without_light_reads_none_seen(result):
    lines = tables.parts_table(result)
    foot = next(number for number, line in enumerate(lines) if "foot, stand" in line)
    assert "".join(lines[foot : foot + 2]).count("none seen") == 3
    assert tables.cell(Estimate(0.0, None), PLAIN) == "none seen"
    assert tables.cell(Estimate(0.0, 0.0), PLAIN) == "0"
    assert tables.cell(Estimate(3.21, None), PLAIN) == "3.21 (?)"


def test_a_patch_other_than_one_square_centimetre_is_told():
    where = SimpleNamespace(peak_w_m2=Estimate(50.3e3, 490.0), peak_patch_m2=2.34e-4)
    assert tables._peak(where, FINE) == "50.30 ± 0.49 kW/m² over 2.3 cm²"
    where.peak_patch_m2 = 0.999e-4
    assert tables._peak(where, PLAIN) == "50.30 +- 0.49 kW/m2"


def test_a_stopped_run_says_so_at_once():
    lines = tables.head(make_result(stopped=True))
    assert re.match(r"STOPPED EARLY: 524288 of 524288 rays", lines[1])


def test_a_long_title_and_long_names_keep_to_the_width(result):
    part = SimpleNamespace(**vars(result.parts["pot"]) | {"name": "a very long name " * 8})
    changed = SimpleNamespace(
        **vars(result) | {"scene": SimpleNamespace(title="long " * 60, parts=()), "parts": {part.name: part}}
    )
    lines = tables.summary(changed).plain.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert lines[0].endswith("...   524288 rays, seed 1")


def test_headings_are_bold_and_the_rest_is_not(result):
    text = tables.summary(result)
    bold = [text.plain[span.start : span.end] for span in text.spans if span.style == "bold"]
    assert "Cautions" in bold
    assert not any(piece.startswith("  ") for piece in bold)


def test_an_estimate_keeps_its_meaning_in_a_table_of_equal_width():
    texts = tables.aligned([Estimate(5.0, 0.1), Estimate(123.0, 2.0), Estimate(7.0, 0.0)], PLAIN)
    assert {len(text) for text in texts} == {13}
    assert [text.split() for text in texts] == [["5.00", "+-", "0.10"], ["123.0", "+-", "2.0"], ["7"]]


def test_results_are_not_changed_by_writing_them(result):
    before = dataclasses.replace(result.budget_w["receiver"])
    tables.summary(result)
    assert result.budget_w["receiver"] == before
