"""What an earlier run of `dishtrace trace` left in a results folder, and what of it no longer holds."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from dishtrace.report.folder import screen_slugs, slugs


def earlier_files(folder: Path) -> frozenset[str]:
    """Names of the files that the run which wrote the folder's results.json can have written beside it.

    Parameters
    ----------
    folder : Path
        A results folder, before this run writes its own results.json.

    Returns
    -------
    frozenset of str
        Told by the parts, screens and measurements in results.json; none without one of this program.
    """
    try:
        told = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return frozenset()
    if not isinstance(told, dict) or "dishtrace" not in told or not isinstance(told.get("dish"), dict):
        return frozenset()
    names = {"side-view.png", *_both("measured-mirror" if "measured" in told["dish"] else None)}
    for slug in slugs(_texts(told.get("parts"))):
        names |= {f"triangles-{slug}.csv", f"flux-{slug}.png"}
    for slug in screen_slugs(_texts(told.get("screens"))):
        names |= {f"screen-{slug}-profile.csv", f"screen-{slug}-encircled.csv"}
        names |= {f"spot-{slug}.png", f"profile-{slug}.png"}
    measured = told["dish"].get("measured_facets")
    files = [entry.get("file") for entry in measured if isinstance(entry, dict)] if isinstance(measured, list) else []
    for slug in slugs(Path(name).stem for name in _texts(files)):
        names |= _both(f"measured-facet-{slug}")
    return frozenset(names)


def remove_stale(folder: Path, earlier: Iterable[str], written: Iterable[str]) -> list[str]:
    """Remove what an earlier run has written and this one has not; gives the names removed.

    Raises
    ------
    OSError
        If a file cannot be removed.
    """
    stale = [name for name in sorted(set(earlier) - set(written)) if _is_plain(folder / name)]
    for name in stale:
        (folder / name).unlink()
    return stale


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _both(stem: str | None) -> set[str]:
    return set() if stem is None else {f"{stem}.csv", f"{stem}.png"}


def _texts(names: Any) -> list[str]:
    """The texts among the keys of an object or the entries of a list; none of anything else."""
    return [name for name in names if isinstance(name, str)] if isinstance(names, dict | list) else []
