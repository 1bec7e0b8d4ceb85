"""The wall of a part: what its sheet is made of and how thick it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from dishtrace.errors import Fault
from dishtrace.scene.base import Table
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.quantity import Quantity
from dishtrace.scene.source import Source
from dishtrace.scene.uncertain import Uncertain, nominal
from dishtrace.scene.words import nearest

if TYPE_CHECKING:
    import numpy as np

NUMBERS = ("conductivity_w_mk", "density_kg_m3", "heat_capacity_j_kgk")


class Wall(Table):
    """What the sheet of a part is made of; a material of the table, or three numbers."""

    material: str | None = Field(None, description="Name in the table of wall materials.")
    conductivity_w_mk: Annotated[float | Uncertain, Quantity("W/(m K)", 0.01, 2500.0, is_uncertain=True)] | None = (
        Field(None, description="Thermal conductivity. [W/(m K)]")
    )
    density_kg_m3: Annotated[float | Uncertain, Quantity("kg/m3", 1.0, 25000.0, is_uncertain=True)] | None = Field(
        None, description="Density. [kg/m3]"
    )
    heat_capacity_j_kgk: Annotated[float | Uncertain, Quantity("J/(kg K)", 50.0, 10000.0, is_uncertain=True)] | None = (
        Field(None, description="Specific heat capacity. [J/(kg K)]")
    )
    thickness_m: Annotated[float | Uncertain, Quantity("metres", 0.0, 0.5, above=True, is_uncertain=True)] = Field(
        description="Thickness of the sheet; for a solid bar its volume over its surface. [m]"
    )


@dataclass(frozen=True, eq=False)
class Solid:
    """A solid over temperature; straight lines join the points, beyond which it is not known.

    Parameters
    ----------
    name : str
        Of the table, or "given by numbers".
    density : float
        At 300 K. [kg/m3]
    temperature : (n,) float64
        Rising; a single point stands for a solid that does not depend on temperature. [K]
    conductivity, heat_capacity : (n,) float64
        There. [W/(m K)], [J/(kg K)]
    melting : float or None
        Where it starts to melt; None where that is not known. [K]
    source, status : str
        Where the numbers come from, and how far the source was seen.
    """

    name: str
    density: float
    temperature: np.ndarray
    conductivity: np.ndarray
    heat_capacity: np.ndarray
    melting: float | None
    source: str
    status: str

    @property
    def highest(self) -> float | None:
        """End of the table; None for a solid given by numbers. [K]"""
        return float(self.temperature[-1]) if len(self.temperature) > 1 else None

    @property
    def limit(self) -> float | None:
        """Temperature up to which the solid can be computed: the table's end or the melting point. [K]"""
        known = [value for value in (self.highest, self.melting) if value is not None]
        return min(known) if known else None


@cache
def known_solids() -> Mapping[str, Solid]:
    """All named materials of walls, in the order of data/wall_materials.csv."""
    import numpy as np

    points: dict[str, list[tuple[float, ...]]] = {}
    for row in _rows("wall_properties.csv"):
        numbers = tuple(float(row[key]) for key in ("temperature_k", "conductivity_w_mk", "heat_capacity_j_kgk"))
        points.setdefault(row["name"], []).append(numbers)
    solids = {}
    for row in _rows("wall_materials.csv"):
        columns = (np.array(column) for column in zip(*points[row["name"]], strict=True))
        melting = float(row["melting_k"]) if row["melting_k"] else None
        density = float(row["density_kg_m3"])
        solids[row["name"]] = Solid(row["name"], density, *columns, melting, row["source"], row["status"])
    return MappingProxyType(solids)


def solid_of(wall: Wall) -> Solid:
    """The solid of a wall; uncertain numbers at their nominal value."""
    import numpy as np

    if wall.material is not None:
        return known_solids()[wall.material]
    conductivity, density, capacity = (float(nominal(getattr(wall, key))) for key in NUMBERS)
    return Solid(
        name="given by numbers",
        density=density,
        temperature=np.array([300.0]),
        conductivity=np.array([conductivity]),
        heat_capacity=np.array([capacity]),
        melting=None,
        source="scene",
        status="as given",
    )


def wall_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """Faults of the wall of one part as written: which keys go together, and names that are not in the table."""
    wall = source.value((*path, "wall"))
    if not isinstance(wall, Mapping):
        return
    name, given = wall.get("material"), [key for key in NUMBERS if key in wall]
    if name is None:
        for key in NUMBERS:
            if key not in wall:
                remedy = f"give all of {', '.join(NUMBERS)}, or material"
                yield source.fault((*path, "wall", key), allowed="is missing", remedy=remedy)
    for key in given if name is not None else ():
        yield source.fault(
            (*path, "wall", key), allowed="cannot stand beside material", remedy="leave one of the two out"
        )
    if isinstance(name, str) and name not in known_solids():
        like = nearest(name.lower(), known_solids())
        remedy = f'did you mean "{like}"?' if like else f"known: {', '.join(known_solids())}"
        yield source.fault((*path, "wall", "material"), allowed="is not in the table of wall materials", remedy=remedy)


def spin_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """Only round shapes can spin without their light changing as they turn."""
    shape = source.value((*path, "shape"))
    if source.value((*path, "spins")) is True and shape in ("rectangle", "box", "mesh"):
        yield source.fault(
            (*path, "spins"),
            allowed=f'is only for round shapes, not for shape = "{shape}"',
            remedy="take the disc, cylinder, tube, sphere, cone or cavity around it",
        )


def _rows(name: str) -> list[dict[str, str]]:
    import csv
    from importlib import resources

    text = resources.files("dishtrace.data").joinpath(name).read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))
