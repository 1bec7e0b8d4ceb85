"""A new scene file with what the readings told: the old file's text, remarks and order kept."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.read import load_scene
from dishtrace.scene.source import IN_PYTHON
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.study.fit.outcome import Fit

FILE_KEYS = ("file", "weather_file", "reflectance")


def new_values(fit: Fit) -> Iterator[tuple[tuple[str, str], Any, str]]:
    """Keys of the scene that the readings tell another value of: (table, key), value, remark.

    The slope error and the pointing offset with what says so. How bright the mirror is only where the slope error is
    known from elsewhere, and then as `cleanliness`, since that is what changes; as `reflectance` where it would exceed
    1.
    """
    slope = fit.findings.get("slope_error_mrad")
    if slope is not None and slope.told:
        yield ("dish", "slope_error_mrad"), _uncertain(slope.value, slope.se), slope.remark
    aims = [fit.findings.get(f"pointing_offset_{letter}_mrad") for letter in "xy"]
    if all(aim is not None for aim in aims):
        errors = " and ".join(f"{aim.se:.2g}" for aim in aims)
        yield ("mount", "pointing_offset_mrad"), [round(aim.value, 3) for aim in aims], f"errors {errors}, from photo"
    is_known = slope is not None and slope.told and fit.power is not None and not fit.power.finding.told
    if is_known:
        yield from _brightness(fit)


def _brightness(fit: Fit) -> Iterator[tuple[tuple[str, str], Any, str]]:
    factor, dish = fit.power.brightness, fit.scene.dish
    remark = "from the power of the log; the receiver's absorptance was kept"
    clean = nominal(dish.cleanliness) * factor.value
    if clean <= 1.0:
        yield ("dish", "cleanliness"), _uncertain(clean, nominal(dish.cleanliness) * factor.se), remark
    elif not isinstance(dish.reflectance, str) and nominal(dish.reflectance) * clean <= 1.0:
        yield ("dish", "cleanliness"), 1.0, remark
        yield ("dish", "reflectance"), _uncertain(nominal(dish.reflectance) * clean, clean * factor.se), remark


def _uncertain(value: float, se: float) -> dict[str, float]:
    return {"value": float(f"{value:.4g}"), "sd": float(f"{se:.2g}")}


def write_scene(fit: Fit, path: str | Path) -> list[str]:
    """Write the scene as the readings tell it.

    Parameters
    ----------
    fit : Fit
    path : str or Path
        The new file; names of other files are made relative to its folder.

    Returns
    -------
    list of str
        The keys that were written.

    Raises
    ------
    InputError
        If the readings told nothing that could be written, the scene has no file, or the new one is the old one.
    """
    import tomlkit

    goal, scene = Path(path), fit.scene
    values = list(new_values(fit))
    if not values:
        said = "has nothing to write: the readings told neither slope error nor pointing"
        raise InputError(Fault(COMMAND_LINE, "--write", str(path), said, "see the remarks of the fit"))
    if scene.file == IN_PYTHON:
        raise InputError(Fault(COMMAND_LINE, "--write", str(path), "needs a scene that was read from a file"))
    if goal.exists() and goal.samefile(scene.file):
        raise InputError(Fault(COMMAND_LINE, "--write", str(path), "is the scene itself", "name a new file"))
    document = tomlkit.parse(Path(scene.file).read_text(encoding="utf-8-sig"))
    for (table, key), value, remark in values:
        _set(document, table, key, value, remark)
    _move_files(document, scene, goal.resolve().parent)
    try:
        goal.write_text(tomlkit.dumps(document), encoding="utf-8")
    except OSError as error:
        said = f"cannot be written: {error.strerror or error}"
        raise InputError(Fault(COMMAND_LINE, "--write", str(path), said)) from None
    load_scene(goal)
    return [f"{table}.{key}" for (table, key), _, _ in values]


def _set(document: Any, table: str, key: str, value: Any, remark: str) -> None:
    """Set one key, with a remark behind it."""
    import tomlkit

    if table not in document:
        document[table] = tomlkit.table()
        if table == "mount":
            document[table]["kind"] = "two-axis"
    item = tomlkit.item(value)
    if isinstance(value, dict):
        item = tomlkit.inline_table()
        item.update(value)
    item.comment(f"fitted {remark}".strip())
    document[table][key] = item


def _move_files(document: Any, scene: Any, folder: Path) -> None:
    """Names of files, relative to another folder."""
    if Path(scene.file).resolve().parent == folder:
        return
    for table in _tables(document):
        for key in FILE_KEYS:
            if isinstance(table.get(key), str):
                table[key] = Path(os.path.relpath(scene.path(str(table[key])), folder)).as_posix()


def _tables(value: Any) -> Iterator[Any]:
    """All tables inside a document, itself too."""
    if isinstance(value, dict):
        yield value
        for inside in value.values():
            yield from _tables(inside)
    elif isinstance(value, list):
        for inside in value:
            yield from _tables(inside)
