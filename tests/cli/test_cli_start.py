"""What makes `dishtrace trace` start sooner: pictures by another process, and libraries that are not loaded.

Errors planted and caught: the ledger handed on to the process (it then loads the kernels), Ctrl-C that ends the
process that draws.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time

import pytest
from typer.testing import CliRunner

from dishtrace.cli import app
from dishtrace.report import painter, pictures
from dishtrace.report.painter import Painter
from tests.support.plate_scene import plate_scene

SCENE = plate_scene(
    sun="azimuth_deg = 180.0\nelevation_deg = 50.0\n",
    radius_m=0.05,
    arm=(0.6, "[0.0, 0.3, 0.03]"),
    screen='[[screen]]\nname = "plane"\noffset_m = -0.05\nhalf_width_m = 0.1\nradii_m = [0.03]\n',
)
NOT_LOADED = ("numba", "scipy", "trimesh", "dishtrace.scene.model", "dishtrace.trace.optics")


@pytest.fixture
def scene(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "yard.toml"
    path.write_text(SCENE, encoding="utf-8")
    return path


def test_the_process_draws_a_traced_scene_without_kernels_or_tables(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(Painter, "_is_quicker", staticmethod(lambda: True))
    monkeypatch.setattr(pictures, "draw_all", None)
    check = f"; loaded = [name for name in {NOT_LOADED} if name in sys.modules]; assert not loaded, loaded"
    monkeypatch.setattr(painter, "COMMAND", painter.COMMAND.replace("; import os", check + "; import os"))
    assert check in painter.COMMAND
    done = CliRunner().invoke(app, ["trace", str(scene)], catch_exceptions=False)
    assert done.exit_code == 0
    folder = tmp_path / "results" / "yard"
    pictures_told = [name for name in done.stdout.replace("\n", " ").replace(",", " ").split() if name.endswith(".png")]
    assert sorted(pictures_told) == sorted(path.name for path in folder.glob("*.png"))
    assert {"side-view.png", "flux-plate.png", "spot-plane.png"} <= set(pictures_told)


def test_pictures_show_the_peak_that_is_told(scene, tmp_path, monkeypatch):
    """Looked back over a disc, and not that of the rays, which is known sooner."""
    shown = []
    monkeypatch.setattr(Painter, "go_on", lambda _, result: shown.append(result.parts["plate"].peak_w_m2))
    assert CliRunner().invoke(app, ["trace", str(scene)], catch_exceptions=False).exit_code == 0
    told = json.loads((tmp_path / "results" / "yard" / "results.json").read_text(encoding="utf-8"))
    assert shown[-1].to_dict() == told["parts"]["plate"]["peak_w_m2"] != shown[0].to_dict()
    assert told["parts"]["plate"]["peak_point_w_m2"] is not None


def test_a_command_of_its_own_loads_few_libraries(scene):
    """Tracing, heat balance, summary and tables get along without these."""
    code = (
        "import sys; from dishtrace.cli import app\n"
        f"try: app(['trace', {str(scene)!r}], standalone_mode=False)\n"
        "finally: print([m for m in ('trimesh', 'scipy.linalg', 'scipy.spatial', 'scipy.special', 'scipy.optimize', "
        "'matplotlib', 'pandas', 'shapely') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
    assert "flux-plate.png" in done.stdout


# Skipped on Windows alone: a test there cannot do what a terminal does, send Ctrl-C to a whole group of processes.
@pytest.mark.skipif(sys.platform == "win32", reason="no Ctrl-C to a group of processes, which is what is tested")
def test_ctrl_c_keeps_what_was_traced_with_its_pictures(scene, tmp_path):
    """Ctrl-C goes to all processes of a terminal; the one that draws must not end of it."""
    command = [sys.executable, "-m", "dishtrace", "trace", str(scene), "--rays", "4e9", "--threads", "1"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    run = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, process_group=0)
    time.sleep(8.0)
    os.killpg(run.pid, signal.SIGINT)
    printed, told = run.communicate(timeout=120)
    assert run.returncode == 130, told
    folder = tmp_path / "results" / "yard"
    assert (folder / "side-view.png").stat().st_size > 10_000
    assert "stopped early" in json.dumps(json.loads((folder / "results.json").read_text())["notes"])
    assert b"Traceback" not in told
    assert b"flux-plate.png" in printed


def test_the_command_ends_without_a_search_for_garbage(scene):
    """All that was loaded is out of the collector's sight when the process ends, which takes a quarter second else."""
    code = (
        "import atexit, gc, sys; from dishtrace.cli import app\n"
        "atexit.register(lambda: print('frozen', gc.get_freeze_count() > 1000))\n"
        f"app(['check', {str(scene)!r}])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "frozen True"
