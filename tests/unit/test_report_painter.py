"""Pictures drawn by a process of their own: the same as here, and drawn here where that process fails.

Errors planted and caught: a picture left out of those handed on, an exit code of 0 after a failure, a process that
outlives its context, a failure that is not met again here, a flux map drawn before the peaks are known, pictures left
by a run that came to nothing.
"""

from __future__ import annotations

import sys
import time
from copy import copy
from types import SimpleNamespace

import pytest
from PIL import Image
from support.fake_result import make_result

from dishtrace.report import painter, pictures
from dishtrace.report.painter import Painter
from dishtrace.report.pictures import process, style
from dishtrace.stats import Estimate


@pytest.fixture(scope="module")
def result():
    """With few pictures."""
    made = make_result()
    made.screens, made.parts = {}, {"pot": made.parts["pot"]}
    return made


@pytest.fixture(scope="module")
def drawn_here(result, tmp_path_factory):
    folder = tmp_path_factory.mktemp("here")
    return folder, list(pictures.draw_all(result, folder))


@pytest.fixture(autouse=True)
def _always_quicker(monkeypatch):
    """The plotting library is loaded in this process, so no other would be started."""
    monkeypatch.setattr(Painter, "_is_quicker", staticmethod(lambda: True))


def wait_for(is_done, *, seconds=60.0):
    end = time.monotonic() + seconds
    while not is_done() and time.monotonic() < end:
        time.sleep(0.01)


def assert_same(drawn_here, folder, names):
    assert names == drawn_here[1]
    for name in names:
        assert (folder / name).read_bytes() == (drawn_here[0] / name).read_bytes()


def test_the_process_draws_the_same_pictures(result, drawn_here, tmp_path, monkeypatch):
    monkeypatch.setattr(pictures, "draw_all", None)
    with Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)
    assert paints._process.poll() == 0


@pytest.mark.parametrize("cores", [1, 2, 5])
def test_flux_maps_wait_for_the_peaks(result, drawn_here, tmp_path, monkeypatch, cores):
    """The process is told the sketch first, and then the result of the rays, whose peaks are others."""
    monkeypatch.setattr(pictures, "draw_all", None)
    patch = f"import dishtrace.cores; dishtrace.cores.available_cores = lambda: {cores}; "
    monkeypatch.setattr(painter, "COMMAND", patch + painter.COMMAND)
    of_rays, pot = copy(result), copy(result.parts["pot"])
    pot.peak_w_m2, pot.peak_triangle = Estimate(1.0, None), 0
    of_rays.parts = {"pot": pot}
    sketch = SimpleNamespace(**{name: getattr(result, name) for name in (*painter.OF_SKETCH, "scene", "sun")})
    with Painter(is_wanted=True) as paints:
        paints.begin(sketch, tmp_path)
        paints.go_on(of_rays)
        paints.go_on(result)
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)
    assert paints._process.poll() == 0


def test_pictures_that_were_not_begun_are_drawn_when_they_are_wanted(result, drawn_here, tmp_path, monkeypatch):
    monkeypatch.setattr(pictures, "draw_all", None)
    with Painter(is_wanted=True) as paints:
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("COMMAND", "import os; os._exit(9)"),
        ("COMMAND", "import os, signal; os.kill(os.getpid(), signal.SIGTERM)"),
        ("COMMAND", "import sys; sys.stdin.buffer.read(100); sys.exit(1)"),
    ],
)
def test_pictures_are_drawn_here_when_the_process_ends_early(result, drawn_here, tmp_path, monkeypatch, name, value):
    monkeypatch.setattr(painter, name, value)
    with Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)


@pytest.mark.parametrize("executable", ["/no/such/program", "", None])
def test_pictures_are_drawn_here_when_no_process_can_be_started(result, drawn_here, tmp_path, monkeypatch, executable):
    monkeypatch.setattr(sys, "executable", executable)
    with Painter(is_wanted=True) as paints:
        assert paints._process is None
        paints.begin(result, tmp_path)
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)


def test_a_drawing_that_fails_there_fails_here_too(tmp_path, capfd):
    broken = make_result()
    broken.parts["pot"].peak_w_m2 = None
    with Painter(is_wanted=True) as paints, pytest.raises(AttributeError, match="scaled"):
        paints.finish(broken, tmp_path)
    assert "AttributeError" in capfd.readouterr().err


def test_a_disk_that_takes_no_picture_is_told_here(result, tmp_path, monkeypatch, capfd):
    drawn = tmp_path / "drawn"
    (drawn / "side-view.png").mkdir(parents=True)
    monkeypatch.setattr(painter.tempfile, "mkdtemp", lambda **_: str(drawn))
    (tmp_path / "side-view.png").mkdir()
    with Painter(is_wanted=True) as paints, pytest.raises(OSError):
        paints.finish(result, tmp_path)
    assert paints._process.returncode == process.NOT_WRITTEN
    assert capfd.readouterr().err == ""


def test_a_picture_that_cannot_be_moved_is_told(result, tmp_path):
    (tmp_path / "side-view.png").mkdir()
    with Painter(is_wanted=True) as paints, pytest.raises(OSError):
        paints.finish(result, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["side-view.png"]


def test_pictures_are_drawn_here_where_the_folder_takes_no_other(result, drawn_here, tmp_path, monkeypatch):
    def refuse(**_):
        raise PermissionError

    monkeypatch.setattr(painter.tempfile, "mkdtemp", refuse)
    with Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
        names = paints.finish(result, tmp_path)
    assert_same(drawn_here, tmp_path, names)


def test_a_run_that_comes_to_nothing_leaves_no_pictures(result, tmp_path):
    """Neither of its own nor in place of those of the run before."""
    (tmp_path / "side-view.png").write_text("of the run before", encoding="utf-8")
    with pytest.raises(RuntimeError, match="stop"), Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
        paints.go_on(result)
        wait_for(lambda: any(tmp_path.glob(".pictures-*/side-view.png")))
        raise RuntimeError("stop")
    assert [path.read_text(encoding="utf-8") for path in tmp_path.iterdir()] == ["of the run before"]


def test_a_process_that_is_told_too_little_does_not_end_well(result, tmp_path):
    with Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
        paints._told.put(None)
        paints._talk.join()
    assert paints._process.returncode == process.UNTOLD


def test_as_much_is_told_as_is_waited_for():
    assert len(process.STAGES) == painter.N_STAGES


def test_the_process_ends_with_its_context(tmp_path):
    with pytest.raises(RuntimeError, match="stop"), Painter(is_wanted=True) as paints:
        assert paints._process.poll() is None
        raise RuntimeError("stop")
    assert paints._process.returncode not in (0, None)


def test_the_process_ends_with_its_context_while_it_draws(result, tmp_path):
    with Painter(is_wanted=True) as paints:
        paints.begin(result, tmp_path)
    assert paints._process.returncode is not None


def test_no_process_without_need(monkeypatch):
    with Painter(is_wanted=False) as paints:
        assert paints._process is None
    monkeypatch.undo()
    assert painter.PLOTTING in sys.modules
    with Painter(is_wanted=True) as paints:
        assert paints._process is None


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
@pytest.mark.parametrize("at_once", [1, 3])
def test_pictures_side_by_side_are_the_same(result, drawn_here, tmp_path, at_once):
    names = process.draw_side_by_side(lambda: result, tmp_path, at_once=at_once)
    assert_same(drawn_here, tmp_path, names)


def test_a_picture_is_opaque_and_names_the_program(result, drawn_here):
    picture = Image.open(drawn_here[0] / "side-view.png")
    assert picture.mode == "RGB"
    assert picture.info["Software"] == f"dishtrace {result.version}"
    assert picture.info["dpi"] == pytest.approx((style.DOTS_PER_INCH,) * 2, rel=1e-3)
