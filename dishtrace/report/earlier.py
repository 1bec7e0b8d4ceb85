"""What an earlier run of `dishtrace trace` left in a results folder, and what of it no longer holds."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from dishtrace.report.folder import UNDRAWN_SCREENS, screen_slugs, slugs

SIGNED_WITHIN = 512
"""Every file of a trace names the program so early. [bytes]"""


def earlier_files(folder: Path) -> frozenset[str]:
    """Names of the files that the run which wrote the folder's results.json can have written beside it.

    Parameters
    ----------
    folder : Path
        A results folder, before this run writes its own results.json.

    Returns
    -------
    frozenset of str
        None without a results.json of this program.
    """
    try:
        return files_of(json.loads((folder / "results.json").read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return frozenset()


def files_of(told: Any) -> frozenset[str]:
    """Names of the files that a trace can write beside a results.json.

    Parameters
    ----------
    told : any
        What that file holds: the parts, screens and measurements in it tell the names.

    Returns
    -------
    frozenset of str
        All that are written, and flux maps of parts with so little light that theirs may be left out; none for what is
        no results.json of this program.
    """
    if not isinstance(told, dict) or "dishtrace" not in told or not isinstance(told.get("dish"), dict):
        return frozenset()
    names = {"side-view.png", *_both("measured-mirror" if "measured" in told["dish"] else None)}
    parts = _texts(told.get("parts"))
    for slug, name in zip(slugs(parts), parts, strict=True):
        names |= {f"triangles-{slug}.csv", *([f"flux-{slug}.png"] if _has_light(told["parts"], name) else [])}
    for slug in screen_slugs(_texts(told.get("screens"))):
        names |= {f"screen-{slug}-profile.csv", f"screen-{slug}-encircled.csv"}
        names |= set() if slug in UNDRAWN_SCREENS else {f"spot-{slug}.png", f"profile-{slug}.png"}
    measured = told["dish"].get("measured_facets")
    files = [entry.get("file") for entry in measured if isinstance(entry, dict)] if isinstance(measured, list) else []
    for slug in slugs(Path(name).stem for name in _texts(files)):
        names |= _both(f"measured-facet-{slug}")
    return frozenset(names)


def remove_stale(folder: Path, earlier: Iterable[str], kept: Iterable[str]) -> list[str]:
    """Remove what an earlier run has written, save the names kept; gives the names removed.

    Files that do not name this program, folders and links stay.

    Raises
    ------
    OSError
        If a file cannot be read or removed.
    """
    stale = [name for name in sorted(set(earlier) - set(kept)) if _is_ours(folder / name)]
    for name in stale:
        (folder / name).unlink()
    return stale


def _is_ours(path: Path) -> bool:
    if path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        return b"dishtrace" in file.read(SIGNED_WITHIN)


def _has_light(parts: Any, name: str) -> bool:
    """Whether mirror light arrives on a part."""
    try:
        return float(parts[name]["incident_w"]["value"]) > 0.0
    except (KeyError, TypeError, ValueError):
        return False


def _both(stem: str | None) -> set[str]:
    return set() if stem is None else {f"{stem}.csv", f"{stem}.png"}


def _texts(names: Any) -> list[str]:
    """The texts among the keys of an object or the entries of a list; none of anything else."""
    return [name for name in names if isinstance(name, str)] if isinstance(names, dict | list) else []
