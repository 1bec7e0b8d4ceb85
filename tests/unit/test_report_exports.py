from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest
from support.fake_result import make_result

from dishtrace.errors import InputError
from dishtrace.report import exports, folder


@pytest.fixture(scope="module")
def result():
    return make_result()


@pytest.fixture(scope="module")
def written(result, tmp_path_factory):
    place = tmp_path_factory.mktemp("tables")
    return place, exports.write_tables(result, place)


def rows_of(path):
    """Comments and rows of a csv file."""
    lines = path.read_text(encoding="utf-8").splitlines()
    comments = [line for line in lines if line.startswith("#")]
    return comments, list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_every_file_named_is_there_and_no_other(written):
    place, names = written
    assert sorted(names) == sorted(path.name for path in place.iterdir())
    assert len(set(names)) == len(names)


def test_names_that_meet_after_cleaning_get_different_files(written):
    _, names = written
    assert {"triangles-clamp-upper.csv", "triangles-clamp-upper-2.csv"} <= set(names)


def test_triangles_hold_the_flux_and_close_with_the_power(result, written):
    part = result.parts["Clamp, upper"]
    comments, rows = rows_of(written[0] / "triangles-clamp-upper.csv")
    assert len(rows) == len(part.mesh.areas)
    for side in ("front", "back"):
        power = sum(float(row["area_m2"]) * float(row[f"{side}_incident_w_m2"]) for row in rows)
        assert power == pytest.approx(part.sides[side].incident_w.value, rel=1e-7)
    middle = np.array([[float(row[f"{axis}_m"]) for axis in "xyz"] for row in rows])
    np.testing.assert_allclose(middle, part.mesh.triangles.mean(axis=1), atol=1e-9)
    assert "Invented pot dish" in comments[0] and "524288 rays, seed 1" in comments[0]
    assert any("dish frame" in comment for comment in comments)


def test_an_unknown_error_is_an_empty_field(result, written):
    _, rows = rows_of(written[0] / "triangles-pot.csv")
    errors = result.parts["pot"].sides["front"].flux_se_w_m2
    assert np.isnan(errors).any() and np.isfinite(errors).any()
    for row, error in zip(rows, errors, strict=True):
        text = row["front_incident_se_w_m2"]
        assert text == "" if math.isnan(error) else float(text) == pytest.approx(error, rel=1e-8)


def test_profile_and_encircled_power(result, written):
    screen = result.screens["below the pot"]
    _, rings = rows_of(written[0] / "screen-below-the-pot-profile.csv")
    assert [float(row["inner_radius_m"]) for row in rings] == pytest.approx(list(screen.profile_edges_m[:-1]))
    assert [float(row["flux_w_m2"]) for row in rings] == pytest.approx(list(screen.profile_w_m2))
    _, circles = rows_of(written[0] / "screen-below-the-pot-encircled.csv")
    assert [float(row["power_w"]) for row in circles] == pytest.approx(list(screen.encircled_w))


def test_a_screen_that_is_named_like_one_of_ours_keeps_its_own_file(result):
    ours = result.focal_plane
    changed = type(result)(**vars(result) | {"screens": {"Focal plane": ours}})
    assert list(exports.named_screens(changed)) == ["focal-plane", "best-focus", "highest-peak", "focal-plane-2"]


def test_results_json_is_what_the_result_says(result, written):
    assert json.loads((written[0] / "results.json").read_text(encoding="utf-8")) == result.to_dict()


def test_json_refuses_what_is_no_number():
    with pytest.raises(ValueError, match="not JSON compliant"):
        exports.json_text({"power_w": math.nan})


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Clamp, upper (3/4)", "clamp-upper-3-4"),
        ("Töpfchen", "topfchen"),
        ("../../etc", "etc"),
        ("鍋", "part"),
        ("a" * 99, "a" * 48),
        (" con ", "con"),
    ],
)
def test_slugs_are_safe_in_file_names(name, slug):
    assert folder.slug(name) == slug


def test_a_slug_that_is_already_numbered_is_not_taken_twice():
    assert folder.slugs(["pot-2", "pot", "Pot"]) == ["pot-2", "pot", "pot-3"]


def test_a_folder_is_made_with_its_parents_and_left_empty(tmp_path):
    made = folder.prepare(tmp_path / "a" / "b")
    assert made.is_dir()
    assert list(made.iterdir()) == []
    assert folder.prepare(made) == made


def test_a_folder_that_cannot_be_written_is_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=r"results folder: .*file cannot be written \(.+\); name a folder .* --out"):
        folder.prepare(tmp_path / "file")
    with pytest.raises(InputError, match="cannot be written"):
        folder.prepare(tmp_path / "file" / "below")
