"""The [dish.facets] table of a scene file: how the mirror is put together from pieces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import Field

from dishtrace.scene.base import Table
from dishtrace.scene.quantity import Corners, Numbers, Quantity
from dishtrace.scene.uncertain import Uncertain

Curve = Literal["flat", "bent", "spherical", "parent", "measured"]
MeshUnit = Literal["m", "cm", "mm", "in", "ft"]
Bend = Literal["radial", "around", "x", "y"]
MOST_FACETS = 200_000
"""More facets than this are a slip of a unit, not a mirror. [–]"""


@dataclass(frozen=True)
class OneOrMore(Quantity):
    """A number, or a list of numbers of the same range.

    Parameters
    ----------
    names : tuple of str
        What the numbers of the list are, ``("x", "y")``; empty when their count is free.
    """

    names: tuple[str, ...] = ()

    @property
    def allowed(self) -> str:
        """End of the sentence that tells the range."""
        form = f"[{', '.join(self.names)}]" if self.names else "a list [a, b, ...] of such numbers"
        return f"{super().allowed}, or {form}"

    def check(self, value: Any) -> float | tuple[float, ...]:
        """The number, or the numbers as a tuple; raises our own error otherwise."""
        if isinstance(value, (list, tuple)) and value:
            each = Quantity(self.unit, self.low, self.high, self.above)
            return Numbers(each, self.names).check(value)
        return super().check(value)

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of both forms."""
        each = Quantity(self.unit, self.low, self.high, self.above)
        return {"anyOf": [each.json_schema(), Numbers(each, self.names).json_schema()]}


_LENGTH = Quantity("metres", 0.001, 100.0)
_PLACE = Quantity("metres", -100.0, 100.0)
Length = Annotated[float, _LENGTH]
LengthOrPair = Annotated[float | tuple[float, float], OneOrMore("metres", 0.001, 100.0, names=("x", "y"))]
LengthOrList = Annotated[float | tuple[float, ...], OneOrMore("metres", 0.001, 100.0)]
Gap = Annotated[float, Quantity("metres", 0.0, 10.0)]
Radius = Annotated[float, Quantity("metres", 0.0, 100.0)]
Turn = Annotated[float, Quantity("degrees, counter-clockwise seen from the sun", -360.0, 360.0)]
FacetNumbers = Annotated[tuple[int, ...], Numbers(Quantity("", 1, 10**9, is_whole=True))]
CurveRadius = Annotated[float, Quantity("metres", 0.01, 1000.0)]
Mrad = Annotated[float | Uncertain, Quantity("mrad", 0.0, 100.0, is_uncertain=True)]
Vertices = Annotated[tuple[tuple[float, float], ...], Corners(Numbers(_PLACE, ("u", "v")))]


class FacetTable(Table):
    """What every layout has."""

    curve: Curve = Field("flat", description="How each facet is curved.")
    radius_m: CurveRadius | None = Field(
        None,
        description="Radius of curvature of spherical or bent facets; left out: spherical ones get twice their "
        "distance from the focus, bent ones follow the parent paraboloid along their bend. [m]",
    )
    curve_file: str | None = Field(
        None,
        description="With curve = measured: csv file of points x_m, y_m, z_m of one facet, or a mesh file of its "
        "surface; x, y across the facet from its middle, z square to it.",
    )
    curve_unit: MeshUnit | None = Field(None, description="Unit of a mesh file of a measured facet.")
    curve_degree: Annotated[int, Quantity("", 2, 12, is_whole=True)] = Field(
        2,
        description="Highest degree of the polynomial that is fitted to what a sphere leaves of a measured facet; "
        "facets of a degree above 2 are traced as small patches where one quadric does not do. [-]",
    )
    curve_height_error_m: Annotated[float, Quantity("metres", 0.0, 0.1)] = Field(
        0.0,
        description="Standard deviation of the heights of a measured facet; it is taken out of its slope error. [m]",
    )
    aim_m: Annotated[tuple[float, float, float], Numbers(_PLACE, ("x", "y", "z"))] = Field(
        (0.0, 0.0, 0.0), description="Point that the facets' centre rays are sent to, from the focus. [m]"
    )
    aim_ring_m: Radius = Field(
        0.0,
        description="Spreads the aim over a ring of this radius around aim_m: each facet aims at the point of the "
        "ring on its own side. Lowers the peak. [m]",
    )
    canting_error_mrad: Mrad = Field(
        0.0, description="Standard deviation per axis of the facets' tilt, drawn once from dish.seed. [mrad]"
    )
    piston_error_m: Annotated[float, Quantity("metres", 0.0, 0.1)] = Field(
        0.0, description="Standard deviation of the facets' shift along their normal, drawn once from dish.seed. [m]"
    )
    missing: FacetNumbers = Field((), description="Numbers of facets that are broken or not there.")


class GridTable(FacetTable):
    """What both grids have."""

    gap_m: Gap | None = Field(None, description="Gap between neighbours; sets the pitch to size plus gap. [m]")
    turn_deg: Turn = Field(0.0, description="Turns the grid about its centre. [deg]")
    bend: Bend = Field("radial", description="Direction along which bent facets are curved.")
    vertices_m: Vertices | None = Field(
        None, description="Corners [[u, v], ...] of polygonal facets in their own plane, from their centre. [m]"
    )


class SquareGrid(GridTable):
    """Facets in rows and columns."""

    layout: Literal["square-grid"] = Field(description="How the facets are arranged.")
    shape: Literal["square", "circle", "polygon"] = Field("square", description="Outline of each facet.")
    size_m: LengthOrPair | None = Field(
        None, description="True side of a facet, or [x, y] of a rectangular one; diameter of a circular one. [m]"
    )
    pitch_m: LengthOrPair | None = Field(
        None, description="Distance between centres along x and y, seen along the axis; left out: size plus gap. [m]"
    )


class HexGrid(GridTable):
    """Facets like a honeycomb, in rows along x."""

    layout: Literal["hex-grid"] = Field(description="How the facets are arranged.")
    shape: Literal["hexagon", "circle", "polygon"] = Field("hexagon", description="Outline of each facet.")
    size_m: Length | None = Field(
        None, description="True width of a hexagon across its flats; diameter of a circular facet. [m]"
    )
    pitch_m: Length | None = Field(
        None, description="Distance between neighbours' centres, seen along the axis; left out: size plus gap. [m]"
    )


class Rings(FacetTable):
    """Concentric rings of tiles about the dish axis."""

    layout: Literal["rings"] = Field(description="How the facets are arranged.")
    shape: Literal["trapezium", "square", "circle"] = Field(
        "trapezium", description="Outline of each facet; a trapezium fills its part of the ring."
    )
    size_m: Annotated[
        float | tuple[float, float] | None, OneOrMore("metres", 0.001, 100.0, names=("radial", "around"))
    ] = Field(None, description="Size of a tile, or [radial, around]; of a trapezium the size wanted. [m]")
    radii_m: Annotated[tuple[float, ...] | None, Numbers(Quantity("metres", 0.0, 100.0))] = Field(
        None, description="Radii of the rings' edges from the inside, seen along the axis. [m]"
    )
    counts: Annotated[tuple[int, ...] | None, Numbers(Quantity("", 2, 10000, is_whole=True))] = Field(
        None, description="Number of tiles in each ring from the inside; left out: as many as fit."
    )
    inner_radius_m: Radius | None = Field(None, description="Where the rings begin; left out: at the hole. [m]")
    outer_radius_m: Radius | None = Field(None, description="Where the rings end; left out: at the rim. [m]")
    gap_m: Gap = Field(0.0, description="Gap between neighbours. [m]")
    turn_deg: Turn = Field(0.0, description="Turns all rings about the dish axis. [deg]")
    bend: Literal["radial", "around"] = Field("radial", description="Direction along which bent facets are curved.")


class Petals(FacetTable):
    """Gores about the dish axis, between two radii."""

    layout: Literal["petals"] = Field(description="How the facets are arranged.")
    curve: Curve = Field("bent", description="How each petal is curved; bent: along its middle line only.")
    count: Annotated[int, Quantity("petals", 3, 1000, is_whole=True)] = Field(description="Number of petals. [-]")
    inner_radius_m: Radius | None = Field(None, description="Where the petals begin; left out: at the hole. [m]")
    outer_radius_m: Radius | None = Field(None, description="Where the petals end; left out: at the rim. [m]")
    gap_m: Gap = Field(0.0, description="Gap between neighbours, seen along the axis. [m]")
    turn_deg: Turn = Field(0.0, description="Turns all petals about the dish axis. [deg]")


class Strips(FacetTable):
    """Parallel strips across the outline."""

    layout: Literal["strips"] = Field(description="How the facets are arranged.")
    curve: Curve = Field("bent", description="How each strip is curved; bent: along its length only.")
    along: Literal["x", "y"] = Field("x", description="Direction of the strips.")
    width_m: LengthOrList = Field(
        description="Width of every strip, or of each of them from the low side on, about the middle: seen along the "
        "axis for fitted strips, the true one for straight strips. [m]"
    )
    cut: Literal["fitted", "straight"] = Field(
        "fitted",
        description="Fitted strips have straight edges seen along the axis, so their pattern is curved; straight ones "
        "are plain rectangles.",
    )
    length_m: Length | None = Field(
        None, description="Length of the strips, seen along the axis; left out: as long as the outline there. [m]"
    )
    gap_m: Gap = Field(0.0, description="Gap between neighbours. [m]")


class FacetList(FacetTable):
    """Facets one by one."""

    layout: Literal["list"] = Field(description="How the facets are arranged.")
    file: str = Field(description="csv file with a row for each facet.")
    shape: Literal["square", "hexagon", "circle", "trapezium", "polygon"] = Field(
        "square", description="Outline of the facets whose row does not say."
    )
    size_m: LengthOrPair | None = Field(None, description="Size of the facets whose row does not say. [m]")
    bend: Bend = Field("radial", description="Direction along which bent facets are curved, if their row does not say.")


class Measured(Table):
    """One skin whose shape was measured."""

    layout: Literal["measured"] = Field(description="How the facets are arranged.")
    file: str = Field(description="csv file of points x_m, y_m, z_m on the mirror, or a mesh file of its surface.")
    unit: MeshUnit | None = Field(None, description="Unit of a mesh file.")
    placed: Literal["by-fit", "as-measured"] = Field(
        "by-fit",
        description="by-fit: shifted and turned so that the paraboloid that fits best has its vertex and axis where "
        "the dish has them; as-measured: the points are in the dish frame already.",
    )
    degree: Annotated[int, Quantity("", 2, 12, is_whole=True)] = Field(
        6,
        description="Highest degree of the polynomial that is fitted to what the paraboloid leaves; fewer with few "
        "points. [-]",
    )
    height_error_m: Annotated[float, Quantity("metres", 0.0, 0.1)] = Field(
        0.0, description="Standard deviation of the measured heights; it is taken out of the slope error. [m]"
    )
    patch_m: Length | None = Field(
        None, description="Side of the patches that the fit is traced as; left out: fine enough. [m]"
    )


FACET_LAYOUTS: Mapping[str, type[Table]] = MappingProxyType(
    {
        "square-grid": SquareGrid,
        "hex-grid": HexGrid,
        "rings": Rings,
        "petals": Petals,
        "strips": Strips,
        "list": FacetList,
        "measured": Measured,
    }
)
Facets = Annotated[SquareGrid | HexGrid | Rings | Petals | Strips | FacetList | Measured, Field(discriminator="layout")]
