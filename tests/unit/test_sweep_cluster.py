"""A sweep on a real local Dask cluster whose worker dies: no point is lost, and numbers are the same, bit for bit."""

from __future__ import annotations

import os
import signal

import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from tests.support.plate_scene import plate_scene

VARY = ["dish.slope_error_mrad=2:5:4"]


@pytest.mark.slow
def test_a_worker_that_dies_costs_no_point():
    distributed = pytest.importorskip("distributed")
    scene = scene_from_text(plate_scene())
    here = dt.sweep(scene, VARY, rays=8192, threads=1)
    killed = []
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster,
        distributed.Client(cluster, set_as_default=False) as watcher,
    ):

        def kill_first(done: int, total: int) -> None:
            if done and not killed:
                info = watcher.scheduler_info()["workers"]
                pids = watcher.run(os.getpid)
                busy = next(iter(info))
                os.kill(pids[busy], signal.SIGKILL)
                killed.append(busy)

        there = dt.sweep(scene, VARY, rays=8192, threads=1, cluster=cluster.scheduler_address, progress=kill_first)
    assert killed
    assert there.rows() == here.rows()
    assert not there.stopped
