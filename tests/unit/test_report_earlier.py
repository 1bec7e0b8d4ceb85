"""What an earlier run left in a results folder: named by its results.json, and removed where it no longer holds.

Errors planted and caught: files found by their form (mine would go too), slugs without regard to the names before,
folders and links removed, a results.json of something else believed, names that no trace writes (pictures of the best
focus and of dark parts), files removed that do not name the program.
"""

from __future__ import annotations

import json

import pytest
from support.fake_result import make_result

from dishtrace.report import exports
from dishtrace.report.earlier import earlier_files, files_of, remove_stale
from dishtrace.report.pictures import draw_all, pictures_of


@pytest.fixture
def result():
    """A result whose results.json names parts, screens and measurements as that of a trace does."""
    made = make_result()
    made.dish = made.dish | {"measured": {}, "measured_facets": [{"file": "Tile 3.csv"}, {"file": "sub/tile-3.csv"}]}
    told = {
        "dishtrace": "0",
        "dish": made.dish,
        "parts": {name: {"incident_w": part.incident_w.to_dict()} for name, part in made.parts.items()},
        "screens": dict.fromkeys(made.screens),
    }
    made.to_dict = lambda: told
    return made


MEASURED = {f"measured-{stem}.{end}" for stem in ("mirror", "facet-tile-3", "facet-tile-3-2") for end in ("csv", "png")}


def test_the_names_are_those_of_the_files_of_a_trace_and_no_others(result, tmp_path):
    written = {*exports.write_tables(result, tmp_path), *pictures_of(result)}
    assert earlier_files(tmp_path) == (written | MEASURED) - {"results.json"}
    assert earlier_files(tmp_path) == files_of(result.to_dict())
    assert {"triangles-clamp-upper-2.csv", "triangles-foot.csv"} <= written


def test_a_part_with_light_may_have_a_map_and_one_without_has_none(result):
    names = files_of(result.to_dict())
    result.to_dict()["parts"]["foot"]["incident_w"]["value"] = 1e-9
    assert files_of(result.to_dict()) == names | {"flux-foot.png"}


def test_a_screen_of_the_scene_called_as_one_of_every_trace_has_pictures(result):
    result.to_dict()["screens"] = {"best focus": {}}
    spots = {name for name in files_of(result.to_dict()) if name.startswith("spot-")}
    assert spots == {"spot-focal-plane.png", "spot-best-focus-2.png"}


@pytest.mark.parametrize(
    "text",
    [
        None,
        "",
        "{",
        "[1]",
        '{"parts": {"pot": {}}}',
        '{"dish": {}, "parts": {"pot": {}}}',
        '{"dishtrace": "0", "dish": 3, "parts": {"pot": {}}}',
    ],
)
def test_a_folder_of_something_else_has_no_earlier_files(tmp_path, text):
    if text is not None:
        (tmp_path / "results.json").write_text(text)
    assert earlier_files(tmp_path) == frozenset()


def test_what_results_json_holds_instead_of_names_is_passed_over(tmp_path):
    told = {"dishtrace": "0", "dish": {}, "parts": {}, "screens": {}}
    names = files_of(told)
    told |= {"dish": {"measured_facets": [3, {"file": 4}]}, "parts": 5, "screens": [None]}
    (tmp_path / "results.json").write_text(json.dumps(told))
    assert earlier_files(tmp_path) == names
    for part in (3, None, {}, {"incident_w": 3}, {"incident_w": {"value": "much"}}):
        assert files_of(told | {"parts": {"pot": part}}) == names | {"triangles-pot.csv"}


def test_names_lead_out_of_no_folder(tmp_path):
    told = {"dishtrace": "0", "dish": {}, "parts": {"../../evil": {}, "/etc/passwd": {}}, "screens": {"..": {}}}
    (tmp_path / "results.json").write_text(json.dumps(told))
    assert all("/" not in name and ".." not in name for name in earlier_files(tmp_path))


def test_only_plain_files_of_the_earlier_run_are_removed(tmp_path):
    for name in ("flux-fork.png", "flux-pot.png", "triangles-mine.csv"):
        (tmp_path / name).write_text("# dishtrace 0.1.0")
    (tmp_path / "flux-lid.png").write_text("a drawing of mine")
    (tmp_path / "triangles-fork.csv").mkdir()
    (tmp_path / "spot-fork.png").symlink_to(tmp_path / "flux-pot.png")
    earlier = {"flux-fork.png", "flux-pot.png", "flux-lid.png", "triangles-fork.csv", "spot-fork.png", "spot-no.png"}
    assert remove_stale(tmp_path, earlier, ["flux-pot.png"]) == ["flux-fork.png"]
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {"flux-pot.png", "flux-lid.png", "triangles-mine.csv", "triangles-fork.csv", "spot-fork.png"}


def test_every_file_of_a_trace_names_the_program(result, tmp_path):
    """So that all are removed once they are stale."""
    result.parts = {"pot": result.parts["pot"]}
    names = [*exports.write_tables(result, tmp_path), *draw_all(result, tmp_path)]
    assert remove_stale(tmp_path, names, []) == sorted(names)
