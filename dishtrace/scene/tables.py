"""The tables of a scene file, but for mount and parts: keys, units, ranges and defaults."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, StrictBool

from dishtrace.scene.base import Table
from dishtrace.scene.facets import Facets
from dishtrace.scene.quantity import Corners, Numbers, Quantity, Text, refuse
from dishtrace.scene.uncertain import Uncertain

FIRST_YEAR, LAST_YEAR = 1800, 2200
_NAME = r"^\w[\w .,()+-]{0,39}$"


def _name(value: Any) -> str:
    """A name that can stand in a table, a picture's title and a file name."""
    allowed = "must be 1 to 40 letters, digits, spaces and . , ( ) + - _, first a letter or digit"
    if not isinstance(value, str) or not re.fullmatch(_NAME, value) or value != value.strip():
        raise refuse(allowed, 'for instance name = "pot"')
    return value


def _aware_time(value: Any) -> datetime:
    """A time that carries its zone, in a year for which the sun's position can be trusted.

    The solar position algorithm is stated for the years -2000 to 6000 (Reda and Andreas, NREL/TP-560-34302),
    but the times handed to it are nanoseconds in 64 bits and end in 1677 and 2262, and the difference between
    uniform time and the turning earth is only guessed far from today. 1800 to 2200 keeps clear of both.
    """
    allowed = "must be a date and time with its zone"
    if isinstance(value, str):
        raise refuse(allowed, "write it without quotes, for instance time = 2026-03-21T12:30:00-04:00")
    if not isinstance(value, datetime):
        raise refuse(allowed, "for instance time = 2026-03-21T12:30:00-04:00")
    if value.utcoffset() is None:
        remedy = "add the offset of your clock from UTC, for instance -04:00 or +05:30, or Z for UTC"
        raise refuse("has no time zone", remedy)
    if not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise refuse(
            f"must lie in the years {FIRST_YEAR} to {LAST_YEAR}",
            "outside them the sun's position is not trustworthy",
        )
    return value


Name = Annotated[str, Text(_name)]
AwareTime = Annotated[datetime, Text(_aware_time, form="date-time")]
_PLACE = Quantity("metres", -100.0, 100.0)
Point2 = Annotated[tuple[float, float], Numbers(_PLACE, ("x", "y"))]
Point3 = Annotated[tuple[float, float, float], Numbers(_PLACE, ("x", "y", "z"))]
Direction = Annotated[tuple[float, float, float], Numbers(Quantity("", -1e6, 1e6), ("x", "y", "z"), is_direction=True)]
Size = Annotated[float, Quantity("metres", 0.0001, 100.0)]
DishSize = Annotated[float, Quantity("metres", 0.01, 100.0)]
Share = Annotated[float, Quantity("share", 0.0, 1.0)]
UncertainShare = Annotated[float | Uncertain, Quantity("share", 0.0, 1.0, is_uncertain=True)]
UncertainMrad = Annotated[float | Uncertain, Quantity("mrad", 0.0, 100.0, is_uncertain=True)]
Seed = Annotated[int, Quantity("", 0, 2**63 - 1, is_whole=True)]


class Site(Table):
    """Where the dish stands."""

    latitude_deg: Annotated[float, Quantity("degrees, north positive", -90.0, 90.0)] = Field(
        description="Latitude, north positive. [deg]"
    )
    longitude_deg: Annotated[float, Quantity("degrees, east positive, west negative", -180.0, 180.0)] = Field(
        description="Longitude, east positive, west negative. [deg]"
    )
    altitude_m: Annotated[float, Quantity("metres above sea level", -500.0, 9000.0)] = Field(
        0.0, description="Height above sea level. [m]"
    )


class Pillbox(Table):
    """A solar disc of uniform radiance."""

    profile: Literal["pillbox"] = Field(description="Profile of the sun.")
    half_angle_mrad: Annotated[float, Quantity("mrad", 0.0, 100.0, above=True)] = Field(
        4.65, description="Angular radius of the disc; 4.65 is the sun's mean. [mrad]"
    )


class Gaussian(Table):
    """A Gaussian sun, the same along both axes."""

    profile: Literal["gaussian"] = Field(description="Profile of the sun.")
    sigma_mrad: Annotated[float, Quantity("mrad", 0.0, 100.0, above=True)] = Field(
        description="Standard deviation per axis; 2.325 has the width of the pillbox. [mrad]"
    )


class LimbDarkened(Table):
    """A solar disc that darkens towards its edge."""

    profile: Literal["limb-darkened"] = Field(description="Profile of the sun.")
    half_angle_mrad: Annotated[float, Quantity("mrad", 0.0, 100.0, above=True)] = Field(
        4.65, description="Angular radius of the disc. [mrad]"
    )


class Circumsolar(Table):
    """The solar disc with an aureole of scattered light around it."""

    profile: Literal["circumsolar"] = Field(description="Profile of the sun.")
    csr: Annotated[float, Quantity("share", 0.0, 0.7, above=True)] | None = Field(
        None, description="Share of the power that really comes from outside the disc. [-]"
    )
    chi: Annotated[float, Quantity("share", 0.0, 0.7, above=True)] | None = Field(
        None, description="The paper's own parameter, in place of csr. [-]"
    )


class MeasuredProfile(Table):
    """A radial profile measured or taken from a paper."""

    profile: Literal["table"] = Field(description="Profile of the sun.")
    file: str = Field(description="csv file with radiance over angle.")


SunShapeTable = Annotated[
    Pillbox | Gaussian | LimbDarkened | Circumsolar | MeasuredProfile, Field(discriminator="profile")
]


class Sun(Table):
    """Where the sun stands and how bright it is."""

    time: AwareTime | None = Field(None, description="Date and time with its zone: 2026-03-21T12:30:00-04:00.")
    azimuth_deg: Annotated[float, Quantity("degrees east of north", -180.0, 360.0)] | None = Field(
        None, description="Azimuth, east of north. [deg]"
    )
    elevation_deg: Annotated[float, Quantity("degrees above the horizon", 0.0, 90.0, above=True)] | None = Field(
        None, description="Elevation above the horizon. [deg]"
    )
    dni_w_m2: Annotated[float | Uncertain, Quantity("W/m2", 0.0, 1500.0, above=True, is_uncertain=True)] | None = Field(
        None, description="Direct normal irradiance, all of the sunshape in it. [W/m2]"
    )
    dni: Literal["clear-sky"] | None = Field(None, description="Direct normal irradiance from a clear-sky model.")
    linke_turbidity: Annotated[float, Quantity("", 1.0, 15.0)] | None = Field(
        None, description="Linke turbidity for the clear-sky model; left out: a monthly map of the world. [-]"
    )
    weather_file: str | None = Field(None, description="EPW or TMY3 weather file that gives the irradiance.")
    shape: SunShapeTable = Field(Pillbox(profile="pillbox"), description="Radiance over angle.")


class CircleOutline(Table):
    """A round dish, or a round piece of one beside the axis."""

    shape: Literal["circle"] = Field(description="Outline seen along the axis.")
    radius_m: DishSize = Field(description="Radius of the outline. [m]")
    hole_radius_m: Annotated[float, Quantity("metres", 0.0, 100.0)] = Field(
        0.0, description="Radius of the hole in the middle of the outline. [m]"
    )
    center_m: Point2 = Field((0.0, 0.0), description="Middle of the outline, from the axis. [m]")


class RectangleOutline(Table):
    """A rectangular dish."""

    shape: Literal["rectangle"] = Field(description="Outline seen along the axis.")
    size_m: Annotated[tuple[float, float], Numbers(Quantity("metres", 0.01, 100.0), ("x", "y"))] = Field(
        description="Width along x and along y. [m]"
    )
    center_m: Point2 = Field((0.0, 0.0), description="Middle of the outline, from the axis. [m]")


class PolygonOutline(Table):
    """A dish with straight edges."""

    shape: Literal["polygon"] = Field(description="Outline seen along the axis.")
    vertices_m: Annotated[tuple[tuple[float, float], ...], Corners(Numbers(_PLACE, ("x", "y")))] = Field(
        description="Corners [[x, y], ...] in order around the outline, from the axis. [m]"
    )


Outline = Annotated[CircleOutline | RectangleOutline | PolygonOutline, Field(discriminator="shape")]


class Dish(Table):
    """The mirror."""

    focal_length_m: DishSize = Field(description="Focal length of the paraboloid, vertex to focus. [m]")
    reflectance: Annotated[
        float | Uncertain | str, Quantity("share", 0.0, 1.0, above=True, is_uncertain=True, is_file=True)
    ] = Field(description="Specular reflectance of the clean mirror, or a csv of it over incidence angle. [-]")
    cleanliness: Annotated[float | Uncertain, Quantity("share", 0.0, 1.0, above=True, is_uncertain=True)] = Field(
        1.0, description="Share of the reflectance left by dust. [-]"
    )
    slope_error_mrad: UncertainMrad = Field(
        0.0, description="Standard deviation per axis of the tilt of the surface. [mrad]"
    )
    beam_spread_mrad: UncertainMrad = Field(
        0.0, description="Standard deviation per axis of the spread of the reflected ray. [mrad]"
    )
    seed: Seed = Field(1, description="Seed of the chance that belongs to this one dish.")
    outline: Outline = Field(description="Outline of the mirror seen along the axis.")
    facets: Facets | None = Field(None, description="Pieces that the mirror is made of; left out: one smooth skin.")


class Screen(Table):
    """A plane that records mirror light and does not stop it."""

    name: Name = Field(description="Name, used once.")
    frame: Literal["dish", "ground"] = Field("dish", description="Frame that the screen is placed in.")
    offset_m: Annotated[float, Quantity("metres", -100.0, 100.0)] | None = Field(
        None, description="Place along the dish axis, from the focus, towards the sun positive. [m]"
    )
    center_m: Point3 | None = Field(
        None, description="Middle of the screen, from the focus (dish frame) or the ground origin. [m]"
    )
    half_width_m: Size = Field(description="Half the width of the map drawn. [m]")
    facing: Direction = Field((0.0, 0.0, -1.0), description="Direction that the front looks to.")
    radii_m: Annotated[tuple[float, ...], Numbers(Quantity("metres", 0.0, 100.0, above=True))] = Field(
        (), description="Radii about the middle inside which the power is told. [m]"
    )
    through_receivers: StrictBool = Field(False, description="Receivers do not stop light on its way to this screen.")


class Air(Table):
    """The air around the dish."""

    temperature_c: Annotated[float | Uncertain, Quantity("degrees C", -90.0, 60.0, is_uncertain=True)] = Field(
        20.0, description="Air temperature. [degC]"
    )
    wind_m_s: Annotated[float | Uncertain, Quantity("m/s", 0.0, 100.0, is_uncertain=True)] = Field(
        0.0, description="Wind speed. [m/s]"
    )
    pressure_pa: (
        Annotated[
            float | Uncertain,
            Quantity("pascal", 20000.0, 110000.0, is_uncertain=True, hint="1 hPa = 1 mbar = 100 Pa"),
        ]
        | None
    ) = Field(None, description="Air pressure; left out: from the altitude. [Pa]")
    sky_temperature_c: Annotated[float | Uncertain, Quantity("degrees C", -150.0, 60.0, is_uncertain=True)] | None = (
        Field(None, description="Temperature that the sky radiates with. [degC]")
    )


class Run(Table):
    """How long to trace; the command line wins."""

    rays: Annotated[int, Quantity("rays", 1, 10**12, is_whole=True)] = Field(
        2**20, description="Number of rays from the mirror."
    )
    seed: Seed = Field(1, description="Seed of the rays.")
