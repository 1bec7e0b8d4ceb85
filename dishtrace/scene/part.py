"""Parts of a scene: the receiver, the stand, secondary mirrors and covers of glass."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, StrictBool, Tag

from dishtrace.scene.contents import Contents, Opening
from dishtrace.scene.quantity import Numbers, Quantity
from dishtrace.scene.tables import Direction, Name, Point3, Share, Size, Table, UncertainShare
from dishtrace.scene.wall import Wall

_SIZE = Quantity("metres", 0.0001, 100.0)


class SurfaceNumbers(Table):
    """A surface by its numbers."""

    absorptance: UncertainShare = Field(description="Share of sunlight absorbed. [-]")
    emittance: UncertainShare | None = Field(None, description="Thermal emittance; only heat needs it. [-]")
    specular_share: Share = Field(
        0.0,
        description="Share of the reflected light that is reflected as by a mirror; the rest is diffuse. [-]",
    )


class Cover(Table):
    """The sheet of a cover."""

    refractive_index: Annotated[float, Quantity("", 1.0, 3.0)] = Field(
        description="Refractive index; 1.526 is window glass. [-]"
    )
    extinction_per_m: Annotated[
        float, Quantity("per metre", 0.0, 10000.0, hint="glass has 4 (low iron) to 32 (high iron) per metre")
    ] = Field(description="Extinction coefficient; 4 (low iron) to 32 (high iron) for glass. [1/m]")
    thickness_m: Annotated[float, Quantity("metres", 0.0, 0.2, above=True)] = Field(
        description="Thickness of the sheet. [m]"
    )


def _surface_form(value: Any) -> str:
    """Which of the two ways to give a surface was used."""
    return "numbers" if isinstance(value, (dict, SurfaceNumbers)) else "name"


SurfaceChoice = Annotated[
    Annotated[str, Tag("name")] | Annotated[SurfaceNumbers, Tag("numbers")], Discriminator(_surface_form)
]


class PartTable(Table):
    """What every part has."""

    name: Name = Field(description="Name, used once.")
    role: Literal["receiver", "stand", "mirror", "cover"] = Field(description="What the part is for.")
    frame: Literal["dish", "ground"] = Field(
        "dish",
        description="Frame that the part is placed in: it moves with the dish, or stands on the ground.",
    )
    center_m: Point3 = Field(
        (0.0, 0.0, 0.0), description="Place, from the focus (dish frame) or the ground origin. [m]"
    )
    surface: SurfaceChoice | None = Field(
        None, description="Name in the surface table, or { absorptance, emittance, specular_share }."
    )
    cover: Cover | None = Field(None, description="The sheet of a cover.")
    wall: Wall | None = Field(None, description="What the sheet is made of and its thickness; only heat needs it.")
    spins: StrictBool = Field(False, description="The part turns about its axis, so all sides get the same light.")
    limit_c: Annotated[float, Quantity("degrees C", -50.0, 3500.0)] | None = Field(
        None, description="Temperature that the part must not exceed; told against what is found. [degC]"
    )
    contents: Contents | None = Field(None, description="What the part holds; only heat needs it.")
    openings: tuple[Opening, ...] = Field((), alias="opening", description="Openings of a tank, for steam.")


class TurnedPart(PartTable):
    """A part with an axis."""

    axis: Direction = Field(
        (0.0, 0.0, 1.0),
        description="Direction of the front of a sheet, of the symmetry axis, or out of a cavity's opening.",
    )


class _SolidPart(TurnedPart):
    """A closed solid: light never sees the back of its surface."""

    @property
    def surface_back(self) -> None:
        """Always None."""
        return None


class _OpenPart(TurnedPart):
    """A part made of sheets with two sides."""

    surface_back: SurfaceChoice | None = Field(
        None, description="Surface of the back; left out: the same as the front."
    )


class Disc(_OpenPart):
    """A flat round sheet."""

    shape: Literal["disc"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius. [m]")


class Rectangle(_OpenPart):
    """A flat rectangular sheet."""

    shape: Literal["rectangle"] = Field(description="Shape of the part.")
    size_m: Annotated[tuple[float, float], Numbers(_SIZE, ("x", "y"))] = Field(description="Width and height. [m]")


class Box(_SolidPart):
    """A closed box."""

    shape: Literal["box"] = Field(description="Shape of the part.")
    size_m: Annotated[tuple[float, float, float], Numbers(_SIZE, ("x", "y", "z"))] = Field(
        description="Width, depth and height; the height is along the axis. [m]"
    )


class Cylinder(_SolidPart):
    """A closed cylinder."""

    shape: Literal["cylinder"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius. [m]")
    height_m: Size = Field(description="Length along the axis. [m]")


class Tube(_OpenPart):
    """A cylinder without ends; its front is outside."""

    shape: Literal["tube"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius. [m]")
    height_m: Size = Field(description="Length along the axis. [m]")


class Sphere(_SolidPart):
    """A ball."""

    shape: Literal["sphere"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius. [m]")


class Cone(_SolidPart):
    """A closed cone with its tip towards the axis."""

    shape: Literal["cone"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius of the base. [m]")
    height_m: Size = Field(description="Height along the axis. [m]")


class Cavity(_OpenPart):
    """A cylinder with a floor and a lid; the lid has a round opening."""

    shape: Literal["cavity"] = Field(description="Shape of the part.")
    radius_m: Size = Field(description="Radius of the cavity. [m]")
    depth_m: Size = Field(description="Depth from the opening to the floor. [m]")
    opening_radius_m: Size = Field(description="Radius of the opening in the lid. [m]")


class Mesh(PartTable):
    """A shape drawn elsewhere."""

    shape: Literal["mesh"] = Field(description="Shape of the part.")
    file: str = Field(description="Mesh file: .stl, .obj, .ply or .glb.")
    unit: Literal["m", "cm", "mm", "in", "ft"] = Field(description="Unit of the numbers in the mesh file.")
    scale: Annotated[float, Quantity("", 0.001, 1000.0)] = Field(
        1.0, description="Factor on the numbers of the mesh file, to try other sizes of it. [-]"
    )
    turn_deg: Annotated[tuple[float, float, float], Numbers(Quantity("degrees", -360.0, 360.0), ("x", "y", "z"))] = (
        Field((0.0, 0.0, 0.0), description="Turns about x, then y, then z, before the mesh is placed. [deg]")
    )
    surface_back: SurfaceChoice | None = Field(
        None, description="Surface of the back; left out: the same as the front."
    )


Part = Annotated[Disc | Rectangle | Box | Cylinder | Tube | Sphere | Cone | Cavity | Mesh, Field(discriminator="shape")]
PART_SHAPES: dict[str, type[PartTable]] = {
    "disc": Disc,
    "rectangle": Rectangle,
    "box": Box,
    "cylinder": Cylinder,
    "tube": Tube,
    "sphere": Sphere,
    "cone": Cone,
    "cavity": Cavity,
    "mesh": Mesh,
}
