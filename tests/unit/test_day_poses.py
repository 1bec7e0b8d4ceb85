"""The dish at all steps of a day is the dish of single moments."""

from __future__ import annotations

from datetime import UTC, date

import numpy as np
import pytest

from dishtrace.dish.mount import pose
from dishtrace.study.day.light import scene_at
from dishtrace.study.day.path import sun_path
from dishtrace.study.day.poses import declination_at, poses_along
from dishtrace.sun import state
from dishtrace.sun.state import sun_state
from tests.support.day_scenes import PLATE, day_scene
from tests.support.small_scenes import sunshape_once


@pytest.fixture(autouse=True)
def _known_sunshape(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "sunshape_of", sunshape_once)


MOUNTS = {
    "two-axis": 'kind = "two-axis"\npointing_offset_mrad = [3, -2]',
    "steps": 'kind = "two-axis"\nencoder_step_s = 900',
    "fixed": 'kind = "fixed"\naxis_azimuth_deg = 170\naxis_elevation_deg = 60',
    "clock": 'kind = "polar-axis"\nclock_error_min = 6\npointing_offset_mrad = [1, 2]',
    "set": 'kind = "polar-axis"\nset_declination_deg = -5',
}


def path_of(scene, day="2026-05-11", days=1, step_min=60.0):
    return sun_path(scene, first=date.fromisoformat(day), days=days, step_min=step_min, zone=UTC)


@pytest.mark.parametrize("latitude", [40.0, -33.0])
@pytest.mark.parametrize("mount", MOUNTS)
def test_steps_are_those_of_single_moments(mount, latitude):
    """Rotation, sun and ground origin against `dish.mount.pose` of the scene at the same time, to the rounding of times
    to a second. Catches the sign of a clock error, the wrong pole, and refraction where the clock knows none."""
    scene = day_scene(PLATE, mount=MOUNTS[mount], latitude_deg=latitude)
    path = path_of(scene)
    poses = poses_along(scene, path)
    for step in (2, len(path.time) // 2, len(path.time) - 3):
        if not poses.is_lit[step]:
            continue
        at = scene_at(scene, path.time[step])
        alone = pose(at, sun_state(at))
        assert poses.rotations[step] == pytest.approx(alone.rotation, abs=2e-4)
        assert poses.suns[step] == pytest.approx(alone.sun, abs=2e-6 if mount == "clock" else 2e-4)
        assert poses.ground_origin == pytest.approx(alone.ground_origin)


def test_steps_of_a_dish_that_follows_look_alike():
    scene = day_scene(PLATE)
    assert np.ptp(poses_along(scene, path_of(scene)).places, axis=0).max() < 1e-9


def test_what_stands_on_the_ground_makes_them_differ():
    scene = day_scene(PLATE.replace('"receiver"', '"receiver"\nframe = "ground"'))
    path = path_of(scene)
    places = poses_along(scene, path).places
    assert places[:, 0] == pytest.approx(path.hour_angle)
    assert places[:, 1] == pytest.approx(path.declination)


def test_a_fixed_dish_is_dark_while_the_sun_is_behind_it():
    """Facing south at the horizon in the northern summer: no sun before the mirror early in the morning."""
    scene = day_scene(PLATE, mount='kind = "fixed"\naxis_azimuth_deg = 180\naxis_elevation_deg = 10')
    path = path_of(scene, "2026-06-21")
    is_lit = poses_along(scene, path).is_lit
    behind = path.directions @ np.array([0.0, -np.cos(np.radians(10.0)), np.sin(np.radians(10.0))]) <= 0.0
    assert behind[0]
    assert np.array_equal(is_lit, ~behind)


def test_a_setting_gets_stale_and_is_made_anew():
    """Set every 10 days: equal within ten days, the sun's own declination at noon on the day of setting."""
    scene = day_scene(PLATE, mount='kind = "polar-axis"')
    path = path_of(scene, "2026-03-01", days=15)
    poses = poses_along(scene, path, reset_days=10)
    day = np.array([(time.date() - date(2026, 3, 1)).days for time in path.time])
    assert np.ptp(poses.set_declination[day < 10]) == 0.0
    assert np.ptp(poses.set_declination[day >= 10]) == 0.0
    noon = next(time for time in path.time if time.date() == date(2026, 3, 11)).replace(hour=12, minute=0)
    assert poses.set_declination[-1] == pytest.approx(declination_at(scene, noon))
    stale = (poses.set_declination - path.declination)[day == 9].mean()
    assert np.degrees(stale) == pytest.approx(-9 * 0.385, abs=0.2)  # the sun climbs by 0.385 deg a day near equinox
