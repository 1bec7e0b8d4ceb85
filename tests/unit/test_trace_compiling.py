"""Where compiled kernels are kept: an edit of any kernel source must lead elsewhere.

Planted errors that these tests catch: hashing names without contents; hashing the edited function's file only.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from dishtrace.trace import compiling
from dishtrace.trace.compiling import KERNEL_FOLDER, cache_folder, source_key
from tests.support.called import from_python


@pytest.fixture
def sources(tmp_path):
    """A copy of the kernels' folder."""
    folder = tmp_path / "trace"
    shutil.copytree(KERNEL_FOLDER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


def test_a_copy_has_the_same_key(sources):
    assert source_key(sources) == source_key(KERNEL_FOLDER)
    assert len(source_key(sources)) == 20


@pytest.mark.parametrize("name", ["kernels/surface.py", "kernels/sampling.py", "tree.py", "optics.py"])
def test_an_edited_source_changes_the_key(sources, name):
    before = source_key(sources)
    edited = sources / name
    edited.write_text(edited.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    assert source_key(sources) != before


def test_a_renamed_or_added_source_changes_the_key(sources):
    keys = {source_key(sources)}
    (sources / "kernels" / "surface.py").rename(sources / "kernels" / "faces.py")
    keys.add(source_key(sources))
    (sources / "kernels" / "more.py").write_text("", encoding="utf-8")
    keys.add(source_key(sources))
    assert len(keys) == 3


def test_files_that_are_no_source_do_not_matter(sources):
    before = source_key(sources)
    (sources / "note.txt").write_text("x", encoding="utf-8")
    assert source_key(sources) == before


def test_versions_are_part_of_the_key(monkeypatch):
    before = source_key()
    monkeypatch.setattr(compiling.numba, "__version__", "0.0")
    assert source_key() != before


def test_folder_is_named_by_the_key():
    assert cache_folder().name == source_key()


def test_a_folder_that_cannot_be_made_turns_the_cache_off(tmp_path):
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert not compiling._is_writable(tmp_path / "file" / "below")
    assert compiling._is_writable(tmp_path / "new" / "below")


CALLER = """
from dishtrace.trace.compiling import kernel
from dishtrace.trace.kernels.meeting import meet_surface
from dishtrace.trace.optics import Parts
import numpy as np

@kernel
def called(parts):
    return meet_surface(parts, 0, 0, 1.0, 1.0, 1.0, 0.5)[0]

none = np.zeros(0)
parts = Parts(np.zeros((0, 9)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64), np.ones((1, 2, 2)),
              np.array([[1.5, 0.0, 0.004]]), np.zeros(1, dtype=np.int64), none, none)
print(called(parts))
"""


def test_a_function_of_kernels_refuses_a_call_from_python():
    @compiling.device
    def twice(x):
        return 2.0 * x

    with pytest.raises(TypeError, match="twice is called by kernels only"):
        twice(1.0)
    assert from_python(twice)(1.5) == 3.0


TRIPLED = """
import sys
import numpy as np
from dishtrace.trace.compiling import kernel

@kernel
def tripled(values):
    for k in range(len(values)):
        values[k] *= 3.0

values = np.ones(2)
tripled(values)
print(values.sum(), "numba.cpython.setobj" in sys.modules)
"""


def test_what_is_in_the_cache_is_loaded_without_what_compiling_needs(tmp_path):
    """Loading that takes as long as tracing a million rays."""
    (tmp_path / "tripling.py").write_text(TRIPLED, encoding="utf-8")
    environment = {**os.environ, "XDG_CACHE_HOME": str(tmp_path / "cache")}
    code = "import sys; sys.path.insert(0, '.'); import tripling"
    told = [
        subprocess.run(
            [sys.executable, "-c", code], env=environment, cwd=tmp_path, capture_output=True, text=True, check=True
        ).stdout
        for _ in range(2)
    ]
    assert told == ["6.0 True\n", "6.0 False\n"]


@pytest.mark.slow
def test_an_edited_callee_in_another_file_is_noticed(tmp_path):
    """The compiled caller comes from the disk cache; after an edit of what it calls the new result must come."""
    package = tmp_path / "dishtrace"
    shutil.copytree(KERNEL_FOLDER.parent, package, ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "caller.py").write_text(CALLER, encoding="utf-8")
    # The copy shadows the installed package, and its cache is its own.
    environment = {**os.environ, "PYTHONPATH": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache")}

    def run():
        done = subprocess.run(
            [sys.executable, "-c", "import caller"],
            env=environment,
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        return float(done.stdout)

    assert run() == pytest.approx(0.0, abs=1e-15)
    callee = package / "trace" / "kernels" / "surface.py"
    text = callee.read_text(encoding="utf-8")
    line = "    return 0.5 * (reflected_s + reflected_p), 0.5 * (transmitted_s + transmitted_p)"
    assert text.count(line) == 1
    callee.write_text(text.replace(line, line.replace(", 0.5", ", 0.25")), encoding="utf-8")
    assert run() == pytest.approx(0.5 * 0.9231, abs=1e-4)
    assert Path(environment["XDG_CACHE_HOME"]).exists()
