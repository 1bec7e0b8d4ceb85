"""Surfaces: the table of named ones, the surface of each side of a part, and the mirror's reflectance."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    import numpy as np

    from dishtrace.scene.model import Part, Scene

LEAST_MIRROR_SHARE = 0.5


@dataclass(frozen=True)
class Surface:
    """How a surface takes light.

    Parameters
    ----------
    absorptance : float
        Share of sunlight absorbed. [-]
    emittance : float or None
        Thermal emittance; None where the scene does not give it. [-]
    specular_share : float
        Share of the reflected light that leaves as from a mirror; the rest is diffuse. [-]
    source : str
        Where the numbers come from, for reports.
    status : str
        How far the source was seen: "from source", "from memory", "common practice", "as given".
    """

    absorptance: float
    emittance: float | None
    specular_share: float
    source: str = "scene"
    status: str = "as given"


@cache
def known_surfaces() -> Mapping[str, Surface]:
    """All named surfaces, from data/surfaces.csv, in the order of that file."""
    text = resources.files("dishtrace.data").joinpath("surfaces.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    return MappingProxyType({row["name"]: _surface_of_row(row) for row in rows})


def _surface_of_row(row: dict[str, str]) -> Surface:
    """One row of the table."""
    shares = (float(row[key]) for key in ("absorptance", "emittance", "specular_share"))
    return Surface(*shares, row["source"], row["status"])


def surface_of(scene: Scene, part: int | Part, side: Literal["front", "back"]) -> Surface:
    """Surface of one side of a part.

    Parameters
    ----------
    scene : Scene
    part : int or Part
        The part, or its place in `scene.parts`.
    side : "front" or "back"
        The back has the front's surface unless the scene says otherwise. A cover's sheet has no coating: its
        reflection and absorption follow from `part.cover`, and the surface returned absorbs nothing and
        reflects as a mirror.

    Returns
    -------
    Surface
        With uncertain numbers at their nominal value.
    """
    chosen = scene.parts[part] if isinstance(part, int) else part
    given = chosen.surface if side == "front" or chosen.surface_back is None else chosen.surface_back
    if given is None:
        return Surface(0.0, None, 1.0, source="bare sheet of a cover")
    if isinstance(given, str):
        return known_surfaces()[given]
    emittance = None if given.emittance is None else nominal(given.emittance)
    return Surface(nominal(given.absorptance), emittance, given.specular_share)


def reflectance_table(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Specular reflectance of the clean mirror over the angle of incidence; straight lines join the points.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    incidence_deg : (n,) float64
        Increasing within 0 to 90; below the first and above the last the end values hold. [deg]
    reflectance : (n,) float64
        Without `dish.cleanliness`. [-]

    Raises
    ------
    InputError
        When the csv cannot be read; it carries every fault.
    """
    import numpy as np

    given = scene.dish.reflectance
    if not isinstance(given, str):
        return np.array([0.0, 90.0]), np.full(2, nominal(given))
    rows = read_reflectance(scene.path(given), given)
    return np.array([row[0] for row in rows]), np.array([row[1] for row in rows])


def read_reflectance(path: Path, name: str) -> list[tuple[float, float]]:
    """Rows (incidence_deg, reflectance) of a csv file.

    Parameters
    ----------
    path : Path
        The file. Lines that start with # are notes; the first other line is ``incidence_deg,reflectance``.
    name : str
        The file as the user wrote it, for messages.

    Returns
    -------
    list of (float, float)
        Incidence rising within 0 to 90 [deg], reflectance above 0 and up to 1 [-].

    Raises
    ------
    InputError
        With every fault of the file.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError:
        raise InputError(Fault(name, "", "", "holds characters that are not UTF-8", "save it as UTF-8")) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(Fault(name, "", "", f"cannot be read: {reason}")) from None
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    if not numbered or _cells(numbered[0][1]) != ["incidence_deg", "reflectance"]:
        where = f"{name}:{numbered[0][0]}" if numbered else name
        raise InputError(Fault(where, "", "", "must start with the line incidence_deg,reflectance"))
    rows = [(f"{name}:{number}", _cells(line)) for number, line in numbered[1:]]
    faults = _row_faults(rows)
    if not rows:
        faults = [Fault(name, "", "", "has no rows", "give at least one: 0,0.9")]
    if faults:
        raise InputError(faults)
    return [(float(cells[0]), float(cells[1])) for _, cells in rows]


def _cells(line: str) -> list[str]:
    """Cells of one csv line, blanks around them dropped."""
    return [cell.strip() for cell in line.split(",")]


def _row_faults(rows: list[tuple[str, list[str]]]) -> list[Fault]:
    """Faults of the rows of a reflectance file."""
    faults = []
    last = -math.inf
    for where, cells in rows:
        numbers = [_finite(cell) for cell in cells]
        if len(numbers) != 2 or None in numbers:
            faults.append(Fault(where, "", ",".join(cells), "must be two numbers, incidence_deg,reflectance"))
            continue
        incidence, reflectance = numbers
        if not 0.0 <= incidence <= 90.0:
            faults.append(Fault(where, "incidence_deg", cells[0], "must be a number >= 0 and <= 90 (degrees)"))
        if not 0.0 < reflectance <= 1.0:
            remedy = f"if this is in percent, write {reflectance / 100:g}" if 1.0 < reflectance <= 100.0 else ""
            faults.append(Fault(where, "reflectance", cells[1], "must be a number > 0 and <= 1 (share)", remedy))
        if incidence <= last:
            faults.append(Fault(where, "incidence_deg", cells[0], f"must be above the row before, {last:g}"))
        last = incidence
    return faults


def _finite(cell: str) -> float | None:
    """The finite number in a cell, or None."""
    try:
        number = float(cell)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
