"""Checks of contents and openings that need more than one key."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from dishtrace.errors import Fault
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.source import Source, is_list

_SHEETS = ("disc", "rectangle", "tube", "cavity")
_LEAST_WATER_M3_KG = 0.00100
"""Volume of a kilogram of liquid water where it is densest, at 4 degC; source: IAPWS-95. [m3/kg]"""


def contents_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """Faults of the contents and openings of one part as written."""
    inside = (*path, "contents")
    kind = source.value((*inside, "kind"))
    if kind == "water":
        yield from _tank_faults(source, path)
        yield from _spin_faults(source, path)
    if kind == "melt":
        yield from _melt_faults(source, inside)
    openings = source.value((*path, "opening"))
    if is_list(openings) and openings and kind != "water":
        yield source.fault(
            (*path, "opening", 0),
            allowed='is only used with contents of kind = "water"',
            remedy="remove it, or add contents",
        )
    yield from _opening_faults(source, path)


def _tank_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A tank has a volume, and its filling fits into it."""
    inside = (*path, "contents")
    volume, mass = source.number((*inside, "volume_m3")), source.number((*inside, "mass_kg"))
    if volume is None and source.value((*path, "shape")) in _SHEETS:
        yield source.fault(
            (*inside, "volume_m3"), allowed="is missing", remedy="a sheet encloses no volume: give that of the tank"
        )
    if volume is not None and mass is not None and mass * _LEAST_WATER_M3_KG > volume > 0.0:
        most = volume / _LEAST_WATER_M3_KG
        yield source.fault(
            (*inside, "mass_kg"),
            allowed=f"does not fit into volume_m3 = {volume:g}, which holds at most {most:.4g} kg",
            remedy="leave room: water swells by 9 % from 20 to 150 degC, and a shut tank that is full of liquid bursts",
        )


def _spin_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A vessel that turns has a jet with a lever arm."""
    spin = (*path, "contents", "spin")
    if not isinstance(source.value(spin), Mapping):
        return
    openings = source.value((*path, "opening"))
    arms = [
        source.number((*path, "opening", k, "lever_arm_m")) for k in range(len(openings) if is_list(openings) else 0)
    ]
    if not any(arm is not None and arm > 0.0 for arm in arms):
        yield source.fault(
            spin, allowed="needs an opening with a lever arm", remedy="add [[part.opening]] with lever_arm_m above 0"
        )


def _melt_faults(source: Source, inside: KeyPath) -> Iterator[Fault]:
    """A charge starts as a solid."""
    start, melting = source.number((*inside, "temperature_c")), source.number((*inside, "melting_c"))
    if start is not None and melting is not None and start >= melting:
        yield source.fault(
            (*inside, "temperature_c"), allowed=f"must be below melting_c = {melting:g}", remedy="start with a solid"
        )


def _opening_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """An opening lies inside the tank."""
    height = source.number((*path, "contents", "height_m"))
    openings = source.value((*path, "opening"))
    for k in range(len(openings) if is_list(openings) and height is not None else 0):
        place = source.number((*path, "opening", k, "height_m"))
        if place is not None and place > height:
            yield source.fault(
                (*path, "opening", k, "height_m"),
                allowed=f"must be <= contents.height_m = {height:g}",
                remedy="heights are told from the tank's floor",
            )
