"""Temperatures that things near a focus do not bear, held against what is found."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.scene.model import Part


@dataclass(frozen=True)
class Limit:
    """One temperature limit.

    Parameters
    ----------
    item : str
        What does not bear it.
    limit_c : float
        [degC]
    what_happens : str
        Beyond it.
    applies : tuple of str
        Wall materials and surfaces that it concerns; empty for hardware fixed to any part.
    source, status : str
    """

    item: str
    limit_c: float
    what_happens: str
    applies: tuple[str, ...]
    source: str
    status: str


@dataclass(frozen=True)
class Margin:
    """A limit against the temperature found on a part.

    Parameters
    ----------
    limit : Limit
    found_c : float
        [degC]
    margin_k : float
        Limit less what is found; below zero it is passed. [K]
    is_own : bool
        The part is of that stuff, or the limit is its own `limit_c`; else it concerns what may be fixed to it.
    """

    limit: Limit
    found_c: float
    margin_k: float
    is_own: bool

    def to_dict(self) -> dict:
        """As in results of heat."""
        return {
            "item": self.limit.item,
            "limit_c": self.limit.limit_c,
            "found_c": self.found_c,
            "margin_k": self.margin_k,
            "is_own": self.is_own,
            "what_happens": self.limit.what_happens,
            "source": self.limit.source,
        }


@cache
def known_limits() -> tuple[Limit, ...]:
    """All limits of data/temperature_limits.csv, from low to high."""
    text = resources.files("dishtrace.data").joinpath("temperature_limits.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    limits = (
        Limit(
            row["item"],
            float(row["limit_c"]),
            row["what_happens"],
            tuple(row["applies"].split()),
            row["source"],
            row["status"],
        )
        for row in rows
    )
    return tuple(sorted(limits, key=lambda limit: limit.limit_c))


def margins(part: Part, hottest: float) -> tuple[Margin, ...]:
    """Limits that concern a part, with their margins; its own first.

    Parameters
    ----------
    part : Part
    hottest : float
        Of the part. [K]
    """
    found = celsius(hottest)
    stuff = {part.surface, getattr(part, "surface_back", None), part.wall.material if part.wall else None}
    rows = []
    if part.limit_c is not None:
        given = Limit("limit_c of the part", float(part.limit_c), "as you wrote", (part.name,), "scene", "as given")
        rows.append(Margin(given, found, given.limit_c - found, True))
    for limit in known_limits():
        is_own = any(name in limit.applies for name in stuff if isinstance(name, str))
        if is_own or not limit.applies:
            rows.append(Margin(limit, found, limit.limit_c - found, is_own))
    return tuple(sorted(rows, key=lambda row: not row.is_own))
