"""Every demo scene: the flux over the brightest patch by rays and by looking back, and the flux at points.

Planted errors that this catches: a lost cosine or reflectance in one of the two ways, shade left out on the way in or
out, facets taken for whole ones, triangles of another part, later light left in.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.flux.agreement import Agreement
from dishtrace.report.exports import json_text
from dishtrace.report.tables import summary
from dishtrace.stats import Estimate

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))


@pytest.fixture(scope="module", params=SCENES, ids=lambda path: path.stem)
def result(request: pytest.FixtureRequest, seed: int) -> dt.Result:
    return dt.trace(dt.load_scene(request.param), rays=1 << 17, seed=seed)


def test_both_ways_agree(result: dt.Result) -> None:
    """|t| < 4.9 with 31 degrees of freedom or fewer: a false alarm in 20 000 runs."""
    agreement = result.agreement
    assert agreement.z is not None
    assert agreement.is_good
    assert abs(agreement.z) < 4.9 or agreement.n_blocks < 32
    assert agreement.forward.se < 0.05 * agreement.forward.value
    assert agreement.backward.se < 0.05 * agreement.backward.value


def test_agreement_and_peak_point_are_told(result: dt.Result) -> None:
    told = json.loads(json_text(result.to_dict()))
    assert told["agreement"]["part"] in told["parts"]
    assert told["agreement"]["z"] == pytest.approx(result.agreement.z)
    assert told["parts"][told["agreement"]["part"]]["peak_point_w_m2"]["value"] > 0.0
    text = summary(result).plain
    assert "in two ways, first arrivals" in text
    assert "at a point" in text
    assert all(len(line) <= 80 for line in text.splitlines())


def test_peak_point_is_that_of_flux_at(result: dt.Result) -> None:
    """First arrivals at the place told, looked back with other points: within 5 errors; no less than the patch's."""
    part = result.parts[result.agreement.part]
    point = part.peak_point
    rotation, origin = part.mesh.frame_rotation, part.mesh.frame_origin
    place = point.at_m @ rotation + origin
    centers = part.mesh.triangles.mean(axis=1)
    on = int(np.argmin(np.linalg.norm(centers - place, axis=1)))
    normal = part.mesh.normals[on] * (1.0 if point.side == "front" else -1.0)
    again = dt.flux_at(
        result.scene,
        [place - [0.0, 0.0, result.mirror.focal_length] + 1e-6 * normal],
        [normal],
        seed=77,
    )
    assert abs(again.value[0] - point.first.value) < 5.0 * np.hypot(again.se[0], point.first.se) + 1e-3 * again.value[0]
    patch = result.agreement.backward
    assert point.first.value > patch.value - 5.0 * np.hypot(point.first.se, patch.se)


def test_result_is_the_same_for_any_number_of_threads(result: dt.Result) -> None:
    one = dt.trace(result.scene, rays=8192, seed=5, threads=1)
    three = dt.trace(result.scene, rays=8192, seed=5, threads=3)
    assert one.agreement.to_dict() == three.agreement.to_dict()
    for name, part in one.parts.items():
        assert part.to_dict() == three.parts[name].to_dict()


def test_odds_are_told() -> None:
    at_odds = Agreement(
        "pot", "front", np.zeros(3), 1e-4, Estimate(2.0e5, 1e3), Estimate(1.0e5, 1e3), n_blocks=32, has_covers=False
    )
    assert not at_odds.is_good
    told = "disagrees between rays (2e+05 W/m2) and looking back (1e+05 W/m2) by 70.7 standard errors"
    assert told in at_odds.warning()
