"""Reads scene files."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from dishtrace.errors import Fault, InputError
from dishtrace.scene.lines import key_lines
from dishtrace.scene.model import Scene
from dishtrace.scene.source import IN_PYTHON, Source

_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)\s*$")
_KEYS = re.compile(r"\('[^)]*\)")  # the reader shows a dotted key as a tuple
_LARGEST = 10_000_000  # bytes; a scene file has a few thousand


def load_scene(path: str | Path) -> Scene:
    """The scene in a TOML file.

    Parameters
    ----------
    path : str or Path
        The file; names of other files inside it are relative to its folder.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        When the file cannot be read or does not describe a scene; it carries every fault found.
    """
    text = _text_of(Path(path), str(path))
    return _scene(text, name=str(path), folder=Path(path).resolve().parent)


def scene_from_text(text: str, *, folder: str | Path | None = None) -> Scene:
    """The scene in a TOML text.

    Parameters
    ----------
    text : str
        What a scene file would say.
    folder : str, Path or None
        Folder that file names in the text are relative to; None for the current one.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        When the text does not describe a scene; it carries every fault found.
    """
    return _scene(text, name=IN_PYTHON, folder=Path(folder or Path.cwd()).resolve())


def _text_of(path: Path, name: str) -> str:
    """Text of a file, or one clear fault."""
    try:
        if path.is_dir():
            raise InputError(Fault(name, "", "", "is a folder, not a scene file", "name the .toml file inside it"))
        if path.stat().st_size > _LARGEST:
            raise InputError(Fault(name, "", "", "is too large for a scene file", "name the .toml file itself"))
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(Fault(name, "", "", "does not exist", "check the name and the folder")) from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        remedy = "save it as UTF-8 in the editor"
        raise InputError(Fault(f"{name}:{line}", "", "", "holds characters that are not UTF-8", remedy)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(Fault(name, "", "", f"cannot be read: {reason}", "")) from None


def _scene(text: str, *, name: str, folder: Path) -> Scene:
    """The scene in a text."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(_syntax_fault(str(error), text, name)) from None
    except RecursionError:
        raise InputError(Fault(name, "", "", "nests lists or tables too deeply", "")) from None
    except ValueError as error:
        raise InputError(Fault(name, "", "", f"holds a value that cannot be read: {error}", "")) from None
    if not data:
        raise InputError(Fault(name, "", "", "is empty", "a scene needs at least [sun] and [dish]; see the README"))
    source = Source(name=name, folder=folder, data=data, lines=key_lines(text))
    return Scene.model_validate(data, context=source)


def _syntax_fault(message: str, text: str, name: str) -> Fault:
    """A fault for what the TOML reader did not understand."""
    place = _PLACE.search(message)
    reason = _PLACE.sub("", message)
    line = int(place.group(1)) if place and place.group(1) else text.rstrip().count("\n") + 1
    shown = text.splitlines()[line - 1].strip() if line <= len(text.splitlines()) else ""
    remedy = _syntax_remedy(reason, shown)
    reason = _KEYS.sub(lambda keys: ".".join(re.findall(r"'([^']*)'", keys.group())), reason)
    return Fault(f"{name}:{line}", "", "", f"is not valid TOML: {reason[:1].lower()}{reason[1:]}", remedy)


def _syntax_remedy(reason: str, line: str) -> str:
    """What most often is behind a syntax error."""
    if "overwrite" in reason or "declare" in reason or "mutate" in reason.lower():
        return "a key or table may stand only once; several parts are written [[part]]"
    if re.search(r"=\s*[-+]?\d*,\d", line):
        return "write decimals with a point, not a comma"
    if re.search(r"=\s*[A-Za-z_][\w-]*\s*$", line):
        return "put words in quotes"
    return ""
