"""What an earlier run left in a results folder: named by its results.json, and removed where it no longer holds.

Errors planted and caught: files found by their form (mine would go too), slugs without regard to the names before,
folders and links removed, a results.json of something else believed.
"""

from __future__ import annotations

import json

import pytest
from support.fake_result import make_result

from dishtrace.report import exports
from dishtrace.report.earlier import earlier_files, remove_stale
from dishtrace.report.pictures import pictures_of


@pytest.fixture
def result():
    """A result whose results.json names parts, screens and measurements as that of a trace does."""
    made = make_result()
    made.dish = made.dish | {"measured": {}, "measured_facets": [{"file": "Tile 3.csv"}, {"file": "sub/tile-3.csv"}]}
    told = {
        "dishtrace": "0",
        "dish": made.dish,
        "parts": dict.fromkeys(made.parts),
        "screens": dict.fromkeys(made.screens),
    }
    made.to_dict = lambda: told
    return made


def test_all_files_of_a_trace_are_known(result, tmp_path):
    written = {*exports.write_tables(result, tmp_path), *pictures_of(result)}
    known = earlier_files(tmp_path)
    assert written - {"results.json"} <= known
    assert "triangles-clamp-upper-2.csv" in known
    measured = {
        f"measured-{stem}.{end}" for stem in ("mirror", "facet-tile-3", "facet-tile-3-2") for end in ("csv", "png")
    }
    assert {name for name in known if name.startswith("measured-")} == measured
    assert "results.json" not in known


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
    told = {"dishtrace": "0", "dish": {"measured_facets": [3, {"file": 4}]}, "parts": 5, "screens": [None]}
    (tmp_path / "results.json").write_text(json.dumps(told))
    assert not any(name.startswith(("triangles", "flux", "measured")) for name in earlier_files(tmp_path))


def test_names_lead_out_of_no_folder(tmp_path):
    told = {"dishtrace": "0", "dish": {}, "parts": {"../../evil": {}, "/etc/passwd": {}}, "screens": {"..": {}}}
    (tmp_path / "results.json").write_text(json.dumps(told))
    assert all("/" not in name and ".." not in name for name in earlier_files(tmp_path))


def test_only_plain_files_of_the_earlier_run_are_removed(tmp_path):
    for name in ("flux-fork.png", "flux-pot.png", "triangles-mine.csv"):
        (tmp_path / name).write_text("x")
    (tmp_path / "triangles-fork.csv").mkdir()
    (tmp_path / "spot-fork.png").symlink_to(tmp_path / "flux-pot.png")
    earlier = {"flux-fork.png", "flux-pot.png", "triangles-fork.csv", "spot-fork.png", "profile-fork.png"}
    assert remove_stale(tmp_path, earlier, ["flux-pot.png"]) == ["flux-fork.png"]
    left = {path.name for path in tmp_path.iterdir()}
    assert left == {"flux-pot.png", "triangles-mine.csv", "triangles-fork.csv", "spot-fork.png"}
