"""Checks of the mount that need keys of other tables."""

from __future__ import annotations

from collections.abc import Iterator

from dishtrace.errors import Fault
from dishtrace.scene.source import Source

DIRECTION_REMEDY = "add sun.time and [site], or sun.azimuth_deg and sun.elevation_deg"
CLOCK_DRIVEN = ("polar-axis", "stationary-focus")


def has_direction(source: Source) -> bool:
    """Whether anything is written that says where the sun stands."""
    return any(source.has(("sun", key)) for key in ("time", "azimuth_deg", "elevation_deg"))


def mount_faults(source: Source) -> Iterator[Fault]:
    """Faults of the mount as written."""
    kind = source.value(("mount", "kind"))
    if kind in ("fixed", *CLOCK_DRIVEN) and not has_direction(source):
        yield source.fault(("mount", "kind"), allowed="needs the direction of the sun", remedy=DIRECTION_REMEDY)
    elif kind in CLOCK_DRIVEN and not source.has(("site",)) and not source.has(("sun", "time")):
        yield source.fault(
            ("mount", "kind"),
            allowed="needs the latitude",
            remedy="add [site] with latitude_deg and longitude_deg",
        )
    if kind == "two-axis" and source.has(("mount", "encoder_step_s")) and not source.has(("sun", "time")):
        yield source.fault(
            ("mount", "encoder_step_s"),
            allowed="needs the time",
            remedy="add sun.time and [site], since steps are counted from local midnight",
        )
    if kind == "stationary-focus":
        yield from _section_faults(source)


def _section_faults(source: Source) -> Iterator[Fault]:
    """A lateral section has no hole."""
    hole = source.number(("dish", "outline", "hole_radius_m"))
    if source.value(("dish", "outline", "shape")) == "circle" and hole is not None and hole > 0.0:
        yield source.fault(
            ("dish", "outline", "hole_radius_m"),
            allowed='must be 0 with mount.kind = "stationary-focus"',
            remedy="a lateral section has its focus beside it and needs no hole",
        )
