"""Files of a sweep."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from dishtrace.report.sweep import write_sweep
from dishtrace.scene.read import scene_from_text
from tests.support.small_scenes import scene_text


@pytest.mark.parametrize(("title", "told"), [(" ", "untitled"), ("a\\n  b", "a b")])
def test_the_table_names_the_scene_on_one_line(tmp_path, title, told):
    """As other tables do. Catches the title as it stands in the file."""
    scene = scene_from_text(scene_text().replace('title = "small"', f'title = "{title}"'))
    sweep = SimpleNamespace(
        scene=scene,
        version="0",
        rays=8192,
        seed=1,
        design=SimpleNamespace(method="grid"),
        to_dict=dict,
        rows=lambda: [{"point": 0}],
        columns=lambda: {"point": [0]},
    )
    write_sweep(sweep, tmp_path)
    second = (tmp_path / "sweep.csv").read_text(encoding="utf-8").splitlines()[1]
    assert second.startswith(f"# scene '{told}', grid; ")
