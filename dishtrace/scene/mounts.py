"""The [mount] table of a scene file: how the dish follows the sun."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from dishtrace.scene.quantity import Numbers, Quantity
from dishtrace.scene.tables import Point3, Table

LARGEST_DECLINATION_DEG = 23.5
"""The sun stays within 23.44 deg of the equator; the rest is for parallax and round numbers. [deg]"""
_DECLINATION = Quantity(
    "degrees, north positive",
    -LARGEST_DECLINATION_DEG,
    LARGEST_DECLINATION_DEG,
    hint="the sun's declination is +23.44 in June, 0 at the equinoxes, -23.44 in December",
)
_CLOCK = Quantity("minutes", -720.0, 720.0)


class MountTable(Table):
    """What every mount has."""

    pointing_offset_mrad: Annotated[tuple[float, float], Numbers(Quantity("mrad", -200.0, 200.0), ("x", "y"))] = Field(
        (0.0, 0.0), description="Fixed lean of the dish axis from the sun's centre, towards +x and +y. [mrad]"
    )
    pointing_jitter_mrad: Annotated[float, Quantity("mrad", 0.0, 100.0)] = Field(
        0.0, description="Shake of the dish axis: standard deviation per axis. [mrad]"
    )


class TwoAxis(MountTable):
    """A dish that follows the sun about two axes."""

    kind: Literal["two-axis"] = Field(description="How the dish follows the sun.")
    encoder_step_s: Annotated[float, Quantity("seconds", 0.0, 86400.0, above=True)] | None = Field(
        None,
        description="The drive moves every so many seconds from local midnight on; left out: all the time. [s]",
    )
    pivot_m: Point3 | None = Field(
        None,
        description="Point that stays put when the dish turns, in the dish frame; left out: the vertex. [m]",
    )


class Fixed(MountTable):
    """A dish that stands still."""

    kind: Literal["fixed"] = Field(description="How the dish follows the sun.")
    axis_azimuth_deg: Annotated[float, Quantity("degrees east of north", -180.0, 360.0)] = Field(
        description="Azimuth that the dish axis looks to, east of north. [deg]"
    )
    axis_elevation_deg: Annotated[float, Quantity("degrees above the horizon", -90.0, 90.0)] = Field(
        description="Elevation that the dish axis looks to. [deg]"
    )


class ClockDriven(MountTable):
    """What mounts have that a clock turns about the polar axis."""

    set_declination_deg: Annotated[float, _DECLINATION] | None = Field(
        None,
        description="Declination that the dish is set to by hand, north positive; left out: the sun's own. [deg]",
    )
    clock_error_min: Annotated[float, _CLOCK] = Field(
        0.0, description="By how much the clock is ahead, which leaves the dish too far west. [min]"
    )


class PolarAxis(ClockDriven):
    """A dish that a clock turns about the polar axis."""

    kind: Literal["polar-axis"] = Field(description="How the dish follows the sun.")
    pivot_m: Point3 | None = Field(
        None,
        description="Point that stays put when the dish turns, in the dish frame; left out: the vertex. [m]",
    )


class StationaryFocus(ClockDriven):
    """A lateral section that turns about a polar axis through its focus, which stays put on the ground."""

    kind: Literal["stationary-focus"] = Field(description="How the dish follows the sun.")
    side: Literal["low", "high"] = Field(
        description="Where the focus lies, seen from the mirror: on the low side, which looks to the equator, "
        "or on the high side, which looks to the celestial pole."
    )
    frame: Literal["flexed", "stiff"] = Field(
        "flexed", description="Whether re-setting bends the mirror to the paraboloid of the day."
    )


MOUNTS: dict[str, type[MountTable]] = {
    "two-axis": TwoAxis,
    "fixed": Fixed,
    "polar-axis": PolarAxis,
    "stationary-focus": StationaryFocus,
}
"""Tables by the value of `kind`."""
Mount = Annotated[TwoAxis | Fixed | PolarAxis | StationaryFocus, Field(discriminator="kind")]
