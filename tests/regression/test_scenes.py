"""The demo scenes: they load, trace, close their ledger and show light on their stands."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.dish.mount import placed_mirror
from dishtrace.sun.state import sun_state

FOLDER = Path(__file__).parents[2] / "scenes"
SCENES = sorted(FOLDER.glob("*.toml"))
MESHES = sorted(FOLDER.glob("*.obj"))
RAYS = 1 << 16


@pytest.fixture(scope="module", params=SCENES, ids=lambda path: path.stem)
def result(request: pytest.FixtureRequest) -> dt.Result:
    return dt.trace(dt.load_scene(request.param), rays=RAYS, seed=1)


def test_there_are_five_with_a_line_each_in_their_readme() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert len(SCENES) == 5
    for path in SCENES:
        assert f"`{path.name}`" in text


def test_each_says_that_it_is_invented(result: dt.Result) -> None:
    assert "(invented)" in result.scene.title


def test_ledger_closes_to_rounding(result: dt.Result) -> None:
    ends = [estimate.value for name, estimate in result.budget_w.items() if name != "outline"]
    assert math.fsum(ends) == pytest.approx(result.budget_w["outline"].value, rel=1e-12)


def test_direct_sun_closes_to_rounding(result: dt.Result) -> None:
    ends = [estimate.value for name, estimate in result.direct_w.items() if name != "incident"]
    assert math.fsum(ends) == pytest.approx(result.direct_w["incident"].value, rel=1e-12)


def test_outline_is_irradiance_times_the_area_shown_to_the_sun(result: dt.Result) -> None:
    """Over a circle about c the paraboloid shows the sun, direction s, the area A (s_z - c . s / (2 f)), exactly.

    For a re-set section the exact area of the day takes its place; it is 2.5 % less than at equinox in February. What
    facets take beside the outline comes on top.
    """
    dish = result.scene.dish
    if result.scene.mount.kind == "stationary-focus":
        shown = placed_mirror(result.scene, result.sun).vector_area @ result.pose.sun
    else:
        sun = result.pose.sun
        slant = np.dot(dish.outline.center_m, sun[:2]) / (2.0 * dish.focal_length_m)
        shown = math.pi * dish.outline.radius_m**2 * (sun[2] - slant)
    within = result.budget_w["outline"].value - result.ledger.overhang_w.value
    assert within == pytest.approx(result.sun.dni_w_m2 * shown, rel=1e-5)


def test_spill_on_the_stand_can_be_seen(result: dt.Result) -> None:
    """A few percent of the light that leaves the mirror, many standard errors from nothing."""
    stand = result.first_hit_w["stand"]
    leaving = sum(estimate.value for estimate in result.first_hit_w.values())
    assert 0.01 < stand.value / leaving < 0.10
    assert stand.value > 10.0 * stand.se


def test_receiver_gets_most_of_the_light(result: dt.Result) -> None:
    assert 0.80 < result.intercept_factor.value < 0.99


def test_every_part_of_a_stand_gets_light_from_mirror_or_sun(result: dt.Result) -> None:
    stands = [part for part in result.parts.values() if part.role == "stand"]
    assert all(part.incident_w.value + part.direct_incident_w.value > 0.0 for part in stands)


def test_no_flux_above_the_limit(result: dt.Result) -> None:
    """No concentrator exceeds 1 / sin^2 of the sun's half-angle; the aureole only lowers it."""
    limit = result.sun.dni_w_m2 / math.sin(4.65e-3) ** 2
    peaks = [part.peak_w_m2.value for part in result.parts.values()]
    assert 0.0 < max([*peaks, result.highest_peak.peak_w_m2.value]) < limit


def test_nothing_is_lost(result: dt.Result) -> None:
    assert result.budget_w["lost"].value == 0.0
    assert result.direct_w["lost"].value == 0.0


def test_a_section_with_stationary_focus_keeps_its_distance_from_focus_and_pole() -> None:
    """From the focus its centre is seen 90 deg + 2 atan(|y| / 2f) from the pole, f + y^2 / 4f away, on any day.

    A re-setting with the wrong sign of the declination is off by 24 deg in February.
    """
    scene = dt.load_scene(FOLDER / "hill-clinic-pan.toml")
    focal_length, y = scene.dish.focal_length_m, scene.dish.outline.center_m[1]
    latitude = math.radians(scene.site.latitude_deg)
    placed = placed_mirror(scene, sun_state(scene))
    middle, _ = placed.facets.surface(0, np.zeros((1, 2)))
    to_mirror = placed.pose.rotation.T @ (middle[0] - [0.0, 0.0, placed.focal_length])
    distance = focal_length + y * y / (4.0 * focal_length)
    assert np.linalg.norm(to_mirror) == pytest.approx(distance, rel=1e-12)
    to_pole = to_mirror @ [0.0, math.cos(latitude), math.sin(latitude)] / distance
    assert to_pole == pytest.approx(-math.sin(2.0 * math.atan(abs(y) / (2.0 * focal_length))), abs=1e-12)


def test_workshop_layouts_rank_as_their_pieces_do() -> None:
    """Half the tile, a smaller spot; petals lie between; the skin is sharpest (differences far beyond their errors)."""
    comparison = dt.compare(dt.load_scene(FOLDER / "workshop-tiles.toml"), rays=RAYS, seed=1, dishes=1)
    rows = [row for row in comparison.rows() if row["figure"] == "concentration_90"]
    tiles, small, petals, skin = (row["value"] for row in rows)
    assert tiles < petals < skin
    assert 2.0 * tiles < small < skin


@pytest.mark.parametrize("path", MESHES, ids=lambda path: path.stem)
def test_mesh_files_are_those_of_the_script(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    script = runpy.run_path(str(FOLDER / "make_meshes.py"))
    monkeypatch.setitem(script["write_obj"].__globals__, "FOLDER", tmp_path)
    script["write_obj"](path.name, _remark(path), script[path.stem.replace("-", "_")]())
    assert (tmp_path / path.name).read_text() == path.read_text()


def _remark(path: Path) -> str:
    first = path.read_text().split("\n", 1)[0]
    return first.removeprefix("# ").split(" Invented;")[0]


@pytest.mark.parametrize("path", MESHES, ids=lambda path: path.stem)
def test_mesh_files_are_small_and_closed(path: Path) -> None:
    """Every edge is run through once each way, and the volume is positive: closed, fronts outside."""
    rows = [line.split() for line in path.read_text().splitlines()]
    vertices = np.array([row[1:] for row in rows if row[0] == "v"], float)
    faces = np.array([row[1:] for row in rows if row[0] == "f"], int) - 1
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    there = {tuple(edge) for edge in edges.tolist()}
    assert len(there) == len(edges)
    assert there == {(b, a) for a, b in there}
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    assert np.einsum("ij,ij->", a, np.cross(b, c)) > 0.0
    assert path.stat().st_size < 300_000
