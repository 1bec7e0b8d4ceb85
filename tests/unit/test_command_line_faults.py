"""Faults of what stands in no file: they name the option of the command line, whoever calls."""

from __future__ import annotations

from types import SimpleNamespace

import pytest
from PIL import Image

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from dishtrace.study.day import whole
from dishtrace.study.fit.edges import read_radii
from dishtrace.study.fit.photo import read_photo
from dishtrace.study.fit.rewrite import write_scene
from dishtrace.study.fit.scale import read_scale
from tests.support.day_scenes import PLATE, day_scene
from tests.support.small_scenes import scene_text


def grey(path):
    """A picture of one grey."""
    Image.new("L", (8, 8), 90).save(path)
    return path


CALLS = {
    "--log, --spot or --target must be given": lambda at: dt.fit(scene_from_text(scene_text())),
    "--target = 31,33 mm has 2 of 3 radii": lambda at: read_radii("31,33 mm"),
    '--target = "wide" must be radii with their unit': lambda at: read_radii("wide"),
    "--target = (0.02, 0.03, -1.0) must be radii above 0": lambda at: read_radii((0.02, 0.03, -1.0)),
    "--tone = dark must be srgb, linear or": lambda at: read_photo(grey(at / "any.png"), tone="dark"),
    '--scale = "wide" must be': lambda at: read_scale("wide"),
    "--scale is missing": lambda at: dt.fit(scene_from_text(scene_text()), spot=at / "any.png"),
    "has nothing to write": lambda at: write_scene(SimpleNamespace(scene=None, findings={}, power=None), at / "new"),
    "--year = 2300 must be from 1800 to 2200": lambda at: whole.year(day_scene(PLATE), year=2300),
    "--date = soon must be a date": lambda at: dt.day(day_scene(PLATE), date="soon"),
    "--step = -3 must be from 1 to 120": lambda at: dt.day(day_scene(PLATE), date="2026-03-20", step_min=-3.0),
    "--traces = 1 must be from 16": lambda at: dt.day(day_scene(PLATE), date="2026-03-20", most_traces=1),
    "--zone = Nowhere is not a known zone": lambda at: dt.day(day_scene(PLATE), date="2026-03-20", zone="Nowhere"),
    "--sky = dark must be one of": lambda at: dt.day(day_scene(PLATE), date="2026-03-20", sky="dark"),
}


@pytest.mark.parametrize("said", CALLS)
def test_fault_stands_on_the_command_line(said, tmp_path):
    with pytest.raises(dt.InputError) as caught:
        CALLS[said](tmp_path)
    (fault,) = caught.value.faults
    assert str(fault).startswith("command line: --")
    assert said in str(fault)
