"""What a day or year says of steps that were not traced, against traces of these steps.

Intervals of two standard errors must hold 95 % of the steps. The small sets run always, with 12 steps each of which 9
at least must be held (8 or fewer have a chance of 2e-4); the sets marked slow have 24, of which 19 at least (18 or
fewer: 1e-4).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.sun import state
from tests.support.day_scenes import PLATE, day_scene, probed
from tests.support.small_scenes import sunshape_once

SCENES = Path(__file__).parents[2] / "scenes"
BALL = PLATE.replace("disc", "sphere").replace("0.05", "0.03").replace("axis = [0, 0, -1]", 'frame = "ground"')


def section_year():
    """A year of a section that a clock turns and that is set every two weeks, under a ball on the ground."""
    mount = 'kind = "stationary-focus"\nside = "low"'
    scene = day_scene(BALL, mount=mount, focal_length_m=0.6, radius_m=0.2, more="center_m = [0, 0.5]\n")
    return dt.year(scene, year=2026, rays=8192, reset_days=14, step_min=120.0, most_traces=24)


def fixed_day():
    """A day of a dish that stands still, whose spot crosses a large plate."""
    mount = 'kind = "fixed"\naxis_azimuth_deg = 180\naxis_elevation_deg = 50'
    scene = day_scene(PLATE.replace("0.05", "0.2"), mount=mount, radius_m=0.3)
    return dt.day(scene, date="2026-03-20", rays=8192, step_min=5.0, most_traces=20)


@pytest.fixture(autouse=True)
def _known_sunshape(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "sunshape_of", sunshape_once)


def held(off, told):
    """How many steps are held by two standard errors."""
    return int(np.sum(np.abs(off) <= 2.0 * told + 1e-9 * np.abs(off).max()))


def size_of(values):
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))


@pytest.mark.parametrize(("followed", "most_beside"), [(section_year, 1.6), (fixed_day, 3.0)])
def test_steps_between_traces_are_as_told(followed, most_beside, seed):
    """Beside the count, errors may be on the whole at most so many times those told (edges of a plate are sharp, and
    what is told of them is rough), and those told at most 15 % of the sunlight. Errors a third as large are caught by
    the first, traces that are mixed up by the second."""
    found = followed()
    assert (found.light.owners < 0).sum() > 24
    off, told = probed(found, 12, seed=seed)
    assert held(off, told) >= 9
    assert size_of(off) < most_beside * size_of(told)
    assert size_of(told) < 0.15 * found.light.column("outline")[0].max()


@pytest.mark.slow
@pytest.mark.parametrize("reset_days", [14, 60])
def test_steps_of_a_turned_section_are_as_told(reset_days, seed):
    """The pan stands on the ground, its light changes with hour, season and how stale the setting is."""
    scene = dt.load_scene(SCENES / "hill-clinic-pan.toml")
    scene = scene.model_copy(update={"mount": scene.mount.model_copy(update={"set_declination_deg": None})})
    found = dt.year(scene, year=2026, rays=8192, reset_days=reset_days)
    off, told = probed(found, 24, seed=seed)
    print(f"root mean square {size_of(off):.4f}, told {size_of(told):.4f}, held {held(off, told)} of 24")
    assert held(off, told) >= 19
    assert size_of(off) < 1.6 * size_of(told)
