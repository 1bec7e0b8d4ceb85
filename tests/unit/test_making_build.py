"""The command's work: options, figures, notes, and the command itself."""

from __future__ import annotations

import csv
import json

import pytest
from typer.testing import CliRunner

from dishtrace.cli import app
from dishtrace.errors import InputError
from dishtrace.report.build import build, build_lines, wishes_of
from dishtrace.report.making.gather import Wishes
from dishtrace.report.making.ribs import Section
from tests.support.making_scenes import HOLLOW, PETALS, STRIPS, TILES, mirror_scene

RING = 'shape = "circle"\nradius_m = 0.72\nhole_radius_m = 0.08'


def test_options_are_read():
    wishes = wishes_of(sections=["30", "90@-0.25"], paper="Letter", sheet="1.0x2", board=-0.1, lamp="0.1,0,3")
    assert wishes == Wishes(
        sections=(Section(30.0), Section(90.0, -0.25)),
        paper="letter",
        sheet=(1.0, 2.0),
        board=-0.1,
        lamp=(0.1, 0.0, 3.0),
    )
    assert wishes_of(sections=[], paper="a4", sheet=None, board=None, lamp=None) == Wishes()


@pytest.mark.parametrize(
    ("option", "text"),
    [
        ({"sections": ["north"]}, "--section = north must be degrees"),
        ({"sections": ["30@"]}, "--section = 30@ must be degrees"),
        ({"sections": ["nan"]}, "--section = nan must be degrees"),
        ({"sheet": "2"}, "--sheet = 2 must be two lengths"),
        ({"sheet": "0x1"}, "--sheet = 0x1 must be above 0"),
        ({"sheet": "1250x2500"}, "up to 100 metres"),
        ({"lamp": ""}, "--lamp .*must be three lengths"),
        ({"lamp": "1,2"}, "--lamp = 1,2 must be three lengths"),
        ({"paper": "a3"}, "--paper = a3 must be a4 or letter"),
        ({"board": float("nan")}, "--board = nan must be within"),
    ],
)
def test_options_that_make_no_sense_are_refused(option, text):
    given = {"sections": [], "paper": "a4", "sheet": None, "board": None, "lamp": None, **option}
    with pytest.raises(InputError, match=text):
        wishes_of(**given)


def test_all_options_at_fault_are_told_at_once():
    with pytest.raises(InputError) as caught:
        wishes_of(sections=["x", "y"], paper="a5", sheet="z", board=200.0, lamp="w")
    assert len(caught.value.faults) == 6


def test_figures_of_a_tiled_dish():
    facts = build(mirror_scene(TILES), None, Wishes(sheet=(1.25, 2.5)))
    n = facts["dish"]["facets"]
    assert facts["dish"]["mirror_m2"] == pytest.approx(n * 0.0225)
    assert facts["cutting"]["piece_m2"] == pytest.approx(n * 0.0225)
    assert facts["cutting"]["to_buy_m2"] == pytest.approx(3.125)
    assert facts["cutting"]["offcut_share"] == pytest.approx(1.0 - n * 0.0225 / 3.125)
    assert facts["shims_m"]["lowest"] >= -1e-12
    assert [board["light"] for board in facts["aligning"]] == ["sun", "lamp"]
    assert facts["aligning"][1] == {"light": "lamp", "lamp_m": [0.0, 0.0, 1.8], "board_m": 1.8, "facets_on_board": n}
    assert facts["files"] == []
    assert json.loads(json.dumps(facts, allow_nan=False)) == facts


def test_missing_facets_and_errors_of_one_dish_are_left_out():
    plain = build(mirror_scene(TILES))
    broken = build(mirror_scene(f"{TILES}\ncanting_error_mrad = 20\npiston_error_m = 0.01\nmissing = [2, 5]"))
    assert broken["dish"]["facets"] == plain["dish"]["facets"] - 2
    assert not {2, 5} & set(broken["cutting"]["kinds"][0]["facets"])
    assert any("missing (2)" in note for note in broken["notes"])
    assert broken["shims_m"] == plain["shims_m"]


def test_bent_pieces_are_told_to_need_more_than_corners():
    petals = build(mirror_scene(PETALS, outline=RING))
    assert any("between their corners" in note for note in petals["notes"])
    tiles = build(mirror_scene(TILES))
    assert not any("between their corners" in note or "equinox" in note for note in tiles["notes"])


def test_a_sheet_smaller_than_a_facet_is_refused():
    with pytest.raises(InputError, match=r"--sheet = 0.1x2 is smaller than the piece of facet 1, 0.1500 x 0.1500 m"):
        build(mirror_scene(TILES), None, Wishes(sheet=(0.1, 2.0)))


def test_pieces_larger_than_the_common_sheet_are_not_laid_but_told():
    wide = mirror_scene(STRIPS, outline='shape = "rectangle"\nsize_m = [2.8, 1.0]', focal_length=1.5)
    facts = build(wide)
    assert facts["cutting"]["to_buy_m2"] is None
    assert any("--sheet" in note for note in facts["notes"])
    assert build(wide, None, Wishes(sheet=(3.5, 2.0)))["cutting"]["sheets"] == 1


def test_sections_beside_the_dish_are_refused_together():
    with pytest.raises(InputError, match="passes outside the dish") as caught:
        build(mirror_scene(TILES), None, Wishes(sections=(Section(0.0, 0.9), Section(0.0), Section(45.0, -2.0))))
    assert len(caught.value.faults) == 2


def test_a_board_that_no_light_reaches_is_told():
    facts = build(mirror_scene(TILES), None, Wishes(board=-5.0))
    assert [board["facets_on_board"] for board in facts["aligning"]] == [0, 0]
    assert sum("move the board" in note for note in facts["notes"]) == 2


def test_a_skin_says_that_there_is_nothing_to_cut():
    facts = build(mirror_scene(""))
    assert facts["cutting"] is None
    assert facts["shims_m"] is None
    assert facts["aligning"] == []
    assert facts["dish"]["facets"] == 0
    assert any("no cut pattern" in note for note in facts["notes"])


@pytest.mark.parametrize("table", ["", TILES, PETALS, HOLLOW], ids=["skin", "tiles", "petals", "hollow"])
def test_the_summary_fits_80_columns(table):
    lines = build_lines(build(mirror_scene(table, outline=RING)), None)
    assert max(map(len, lines)) <= 80
    assert any("welding" in line or "eyes" in line for line in lines)
    assert any("licensed practice" in line for line in lines)


def scene_file(folder, text):
    path = folder / "yard.toml"
    path.write_text(text, encoding="utf-8")
    return path


SCENE = (
    'title = "Yard & <tiles> (invented)"\n[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = 0.9\nreflectance = 0.9\n'
    f'[dish.outline]\nshape = "circle"\nradius_m = 0.4\n[dish.facets]\n{TILES}\n'
)


def test_the_command_writes_its_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["build", str(scene_file(tmp_path, SCENE)), "--section", "0@0.1"])
    assert done.exit_code == 0, done.output
    folder = tmp_path / "results" / "yard" / "making"
    assert (folder / "cutting.dxf").exists()
    assert "Written to" in done.output
    with (folder / "shims.csv").open(encoding="utf-8") as stream:
        lines = stream.read().splitlines()
    comments = [line for line in lines if line.startswith("#")]
    assert "Yard & <tiles> (invented)" in comments[0]
    assert "Millimetres" in comments[1]
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert [row["corner"] for row in rows[:5]] == ["1", "2", "3", "4", "1"]


def test_the_command_prints_json_and_writes_nothing_unasked(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(app, ["build", str(scene_file(tmp_path, SCENE)), "--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["files"] == []
    assert sorted(path.name for path in tmp_path.iterdir()) == ["yard.toml"]


def test_the_command_ends_with_2_on_faults(tmp_path):
    path = scene_file(tmp_path, SCENE)
    done = CliRunner().invoke(app, ["build", str(path), "--out", str(tmp_path / "out"), "--section", "0@9"])
    assert done.exit_code == 2
    assert "passes outside the dish" in done.output
