"""The key `scale` of a mesh: the numbers of its file times a factor, before it is turned and placed."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import dishtrace as dt
from dishtrace.parts.meshes import mesh_report
from dishtrace.scene.read import scene_from_text
from dishtrace.study.size.knobs import settings_for
from tests.support.plate_scene import GREY, plate_scene

BLOCK = (
    '[[part]]\nname = "block"\nrole = "stand"\nshape = "mesh"\nfile = "b.obj"\nunit = "mm"\n'
    f"surface = {GREY.format(0.5)}\n"
)


@pytest.fixture
def folder(tmp_path):
    trimesh.creation.box(extents=(20.0, 30.0, 40.0)).export(tmp_path / "b.obj")
    return tmp_path


def test_scale_multiplies_all_lengths(folder):
    one, two = (
        mesh_report(folder / "b.obj", unit="mm", turn_deg=(0.0, 0.0, 90.0), dish_span=2.0, scale=scale)
        for scale in (1.0, 2.5)
    )
    np.testing.assert_allclose(np.ptp(one.triangles, axis=(0, 1)), [0.03, 0.02, 0.04], atol=1e-12)
    np.testing.assert_allclose(np.ptp(two.triangles, axis=(0, 1)), [0.075, 0.05, 0.1], atol=1e-12)


def test_scale_is_a_key_with_a_range_and_is_varied_by_sizing(folder):
    scene = scene_from_text(plate_scene(screen=BLOCK), folder=folder)
    assert scene.parts[1].scale == 1.0
    other = scene.with_keys(settings_for(scene, 1, {"scale": 3.0}))
    assert other.parts[1].scale == 3.0 and other.parts[1].center_m == scene.parts[1].center_m
    with pytest.raises(dt.InputError, match=r'part "block" scale = 0 must be a number >= 0.001 and <= 1000'):
        scene.with_keys({"part.block.scale": 0.0})
