"""Sizing of every kind of receiver: a larger one catches more and loses more, and what it misses is accounted for."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from tests.support.plate_scene import GREY, plate_scene

PARTS = {
    "disc": ('shape = "disc"\nradius_m = 0.02\naxis = [0, 0, -1]', {"radius": (0.004, 0.05, 8)}),
    "sphere": ('shape = "sphere"\nradius_m = 0.02', {"radius": (0.004, 0.05, 8)}),
    "cylinder": ('shape = "cylinder"\nradius_m = 0.02\nheight_m = 0.04', {"scale": (0.2, 3.0, 8)}),
    "cavity": (
        'shape = "cavity"\nradius_m = 0.08\ndepth_m = 0.1\nopening_radius_m = 0.02\naxis = [0, 0, -1]',
        {"opening": (0.004, 0.05, 8)},
    ),
    "mesh": ('shape = "mesh"\nfile = "ball.obj"\nunit = "mm"', {"scale": (0.2, 2.5, 8)}),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", PARTS)
def test_larger_catches_and_loses_more(kind, tmp_path, seed):
    trimesh.creation.icosphere(subdivisions=2, radius=20.0).export(tmp_path / "ball.obj")
    text, wishes = PARTS[kind]
    part = f'[[part]]\nname = "thing"\nrole = "receiver"\nsurface = {GREY.format(0.9)}\n{text}\n'
    plain = plate_scene()
    head, tail = plain.split("[[part]]")[0], plain[plain.index("[run]") :]
    scene = scene_from_text(head + part + tail, folder=tmp_path)
    found = dt.size(scene, "thing", rays=8192, seed=seed, temperatures_c=(200.0,), **wishes)
    share = np.array([trial.share.value for trial in found.trials])
    loss = np.array([trial.heat.losses_w[0] for trial in found.trials])
    assert (np.diff(share) > -1e-3).all() and share[0] < 0.4 and share[-1] > 0.95
    # a bare cavity's lid, which a wider opening leaves less of, loses about as much as the opening
    assert (np.diff(loss) > (-0.01 * loss[0] if kind == "cavity" else 0.0)).all()
    for trial in found.trials:
        others = sum(one.value for one in trial.others_w.values())
        leaving = trial.caught_w.value / trial.share.value
        assert trial.caught_w.value + others + trial.missed_w.value == pytest.approx(leaving, rel=1e-9)
    (size,) = found.best.sizes
    assert size.at_end == "" and size.low < size.value < size.high
    radius, figures = found.captures[0.9]
    assert figures["share"].value == pytest.approx(0.9, abs=0.01)
    assert found.trials[0].values[found.knobs[0].name] < radius.value < found.trials[-1].values[found.knobs[0].name]
