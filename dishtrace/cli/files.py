"""Files that commands start from: the scenes to read and the folder to write."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.errors import gathered

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


def load(path: Path) -> Scene:
    """The scene of a file."""
    from dishtrace.scene.read import load_scene

    return load_scene(path)


def load_all(paths: list[Path]) -> list[Scene]:
    """The scenes of all files, or the faults of all of them."""
    return gathered(*(partial(load, path) for path in paths))


def results_folder(scene: Path, out: Path | None, as_json: bool, *, below: str = "") -> Path | None:
    """The folder to write, made and tried; None when only JSON is wanted."""
    from dishtrace.report.folder import default_folder, prepare

    if out is None and as_json:
        return None
    return prepare(default_folder(scene) / below if out is None else out)
