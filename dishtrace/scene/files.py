"""Files that a scene names."""

from __future__ import annotations

from collections.abc import Iterator

from dishtrace.errors import Fault
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.source import Source


def file_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A fault when a key names a file that is not there."""
    name = source.value(path)
    if not isinstance(name, str):
        return
    if not name.strip() or "\0" in name:
        yield source.fault(path, allowed="must name a file")
        return
    found = source.path(name)
    try:
        is_file, is_folder = found.is_file(), found.is_dir()
    except (OSError, ValueError) as error:
        yield source.fault(path, allowed=f"cannot be read: {getattr(error, 'strerror', None) or error}")
        return
    if is_folder:
        yield source.fault(path, allowed="must name a file, but this is a folder")
    elif not is_file:
        yield source.fault(path, allowed="does not exist", remedy="file names are relative to the scene file")
