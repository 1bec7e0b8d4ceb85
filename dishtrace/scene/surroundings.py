"""What stands between the sun and the dish: the horizon around the site, and obstacles near it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from dishtrace.errors import Fault, InputError
from dishtrace.scene.csv_table import cell_number, read_rows
from dishtrace.scene.files import file_faults
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.quantity import Corners, Numbers, Quantity, refuse
from dishtrace.scene.source import Source
from dishtrace.scene.tables import Name, Table

_AZIMUTH = Quantity("degrees east of north", 0.0, 360.0)
_ELEVATION = Quantity("degrees above the level", 0.0, 90.0)
_PAIR = Numbers(Quantity("degrees", 0.0, 360.0), ("azimuth", "elevation"))
_RISING = "must be a list of at least 2 pairs [[azimuth, elevation], ...] (degrees), azimuths rising from 0 to 360"
COLUMNS = ("azimuth_deg", "elevation_deg")
Profile = tuple[tuple[float, float], ...]


def _why_no_profile(points: Profile) -> str:
    """Why pairs make no horizon; empty when they do."""
    azimuths, elevations = zip(*points, strict=True)
    if any(later <= before for before, later in zip(azimuths[:-1], azimuths[1:], strict=True)):
        return "must have azimuths that rise, each once"
    if max(elevations) > 90.0:
        return "must have elevations from 0 to 90 (degrees)"
    return ""


@dataclass(frozen=True)
class _Pairs(Corners):
    """Pairs of azimuth and elevation."""

    def check(self, value: Any) -> Profile:
        """The pairs; raises our own error otherwise."""
        if not isinstance(value, (list, tuple)) or len(value) < 2:
            raise refuse(_RISING, "for instance [[0, 3], [90, 12.5], [180, 0], [270, 8]]")
        points = tuple(self._corner(place, pair) for place, pair in enumerate(value))
        reason = _why_no_profile(points)
        if reason:
            raise refuse(reason, "go round once from north over east")
        return points

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the list."""
        return {"type": "array", "minItems": 2, "items": self.point.json_schema()}


class Horizon(Table):
    """How high the far surroundings stand; straight lines between the directions given, all the way round."""

    profile_deg: Annotated[Profile, _Pairs(_PAIR)] | None = Field(
        None, description="Pairs [azimuth, elevation], azimuths rising from 0 to 360, north 0, east 90. [deg]"
    )
    file: str | None = Field(None, description="csv file azimuth_deg,elevation_deg in place of profile_deg.")


class Obstacle(Table):
    """A thing near the dish that throws shade on it: a box, or a mesh."""

    name: Name = Field(description="Name, used once.")
    size_m: (
        Annotated[
            tuple[float, float, float], Numbers(Quantity("metres", 0.0, 1e4, above=True), ("east", "north", "up"))
        ]
        | None
    ) = Field(None, description="Size of a box, along east, north and up before it is turned. [m]")
    file: str | None = Field(None, description="Mesh file in place of size_m: .stl, .obj, .ply or .glb.")
    unit: Literal["m", "cm", "mm", "in", "ft"] | None = Field(None, description="Unit of the numbers in the mesh file.")
    turn_deg: Annotated[tuple[float, float, float], Numbers(Quantity("degrees", -360.0, 360.0), ("x", "y", "z"))] = (
        Field((0.0, 0.0, 0.0), description="Turns about x, then y, then z, before it is placed. [deg]")
    )
    center_m: Annotated[tuple[float, float, float], Numbers(Quantity("metres", -1e4, 1e4), ("east", "north", "up"))] = (
        Field(description="Place of the box's middle, or of the mesh's own origin, from the ground origin. [m]")
    )


def read_horizon(path: Path, name: str) -> Profile:
    """Pairs of azimuth and elevation out of a csv file. [deg]

    Parameters
    ----------
    path : Path
        Lines that start with # are notes; the first other line is ``azimuth_deg,elevation_deg``.
    name : str
        The file as the user wrote it, for messages.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    faults: list[Fault] = []
    rows = read_rows(path, name, needed=COLUMNS, known=COLUMNS, faults=faults)
    ranges = {"azimuth_deg": _AZIMUTH, "elevation_deg": _ELEVATION}
    points = tuple(tuple(cell_number(row, key, ranges[key], faults) for key in COLUMNS) for row in rows)
    if not faults:
        reason = "must have at least 2 rows" if len(points) < 2 else _why_no_profile(points)
        faults += [Fault(name, "", "", reason, "go round once from north over east")] if reason else []
    if faults:
        raise InputError(faults)
    return points


def surroundings_faults(source: Source) -> Iterator[Fault]:
    """Faults between the keys of horizon and obstacles as written."""
    if source.has(("horizon",)):
        yield from _one_of(source, ("horizon",), "profile_deg", "file")
        yield from _horizon_file(source)
    for index in source.tables("obstacle"):
        path: KeyPath = ("obstacle", index)
        yield from _one_of(source, path, "size_m", "file")
        yield from file_faults(source, (*path, "file"))
        if source.has((*path, "file")) != source.has((*path, "unit")):
            key, allowed = ("unit", "is missing") if source.has((*path, "file")) else ("unit", "is only for file")
            yield source.fault((*path, key), allowed=allowed, remedy='unit = "m" is that of the numbers in the file')


def _one_of(source: Source, path: KeyPath, one: str, other: str) -> Iterator[Fault]:
    has = [source.has((*path, key)) for key in (one, other)]
    if all(has):
        yield source.fault((*path, other), allowed=f"cannot stand beside {one}", remedy="keep the one that is meant")
    elif not any(has):
        yield source.fault(path, allowed=f"needs {one} or {other}", remedy="give one of them")


def _horizon_file(source: Source) -> Iterator[Fault]:
    missing = list(file_faults(source, ("horizon", "file")))
    yield from missing
    name = source.value(("horizon", "file"))
    if isinstance(name, str) and not missing:
        try:
            read_horizon(source.path(name), name)
        except InputError as error:
            yield from error.faults
