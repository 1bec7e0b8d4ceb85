"""The results folder: made and tried before a run, and safe file names in it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from dishtrace.errors import Fault, InputError

PROBE = ".dishtrace-probe"
LONGEST_SLUG = 48
TRACED_SCREENS = ("focal-plane", "best-focus", "highest-peak")
"""Screens of every trace, as their files are called."""
UNDRAWN_SCREENS = TRACED_SCREENS[1:]
"""Those that have tables but no pictures."""


def default_folder(scene_path: Path) -> Path:
    """Where results go when nobody says otherwise: results/<scene file without ending>, below the current folder."""
    return Path("results") / scene_path.stem


def prepare(folder: Path) -> Path:
    """Make the folder and try to write in it, so that a long run does not end in a refusal.

    Parameters
    ----------
    folder : Path
        Made with its parents when missing; one that exists is used again and its files are replaced.

    Returns
    -------
    Path
        The same folder.

    Raises
    ------
    InputError
        If it cannot be made or written.
    """
    probe = folder / PROBE
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(
            Fault(
                where="results folder",
                key="",
                found=str(folder),
                allowed=f"cannot be written ({reason})",
                remedy="name a folder that you may write with --out",
            )
        ) from error
    return folder


def slug(name: str) -> str:
    """A name as part of a file name: lower-case ASCII letters, digits and dashes; "part" when nothing is left.

    Examples
    --------
    >>> slug("Clamp, upper (3/4)"), slug("Töpfchen"), slug("../..")
    ('clamp-upper-3-4', 'topfchen', 'part')
    """
    ascii_only = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    cleaned = re.sub(r"[^a-z0-9]+", "-", ascii_only.lower()).strip("-")
    return cleaned[:LONGEST_SLUG].strip("-") or "part"


def slugs(names: Iterable[str]) -> list[str]:
    """A different slug for every name: what would come twice gets -2, -3 and so on.

    Examples
    --------
    >>> slugs(["Clamp, upper", "pot", "clamp upper"])
    ['clamp-upper', 'pot', 'clamp-upper-2']
    """
    taken: list[str] = []
    for name in names:
        base = slug(name)
        candidate, number = base, 1
        while candidate in taken:
            number += 1
            candidate = f"{base}-{number}"
        taken.append(candidate)
    return taken


def screen_slugs(names: Iterable[str]) -> list[str]:
    """Slugs of all screens of a trace: those that every trace has, then the scene's own."""
    return slugs([*TRACED_SCREENS, *names])
