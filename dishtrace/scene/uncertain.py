"""Numbers of a scene file that are only known to a spread."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Uncertain:
    """A number known only to a spread: a value with a standard deviation, or two limits.

    Parameters
    ----------
    value, sd : float or None
        Middle and standard deviation, in the unit of the key.
    low, high : float or None
        Limits, in the unit of the key; every number between them is as likely as any other.
    """

    value: float | None = None
    sd: float | None = None
    low: float | None = None
    high: float | None = None


def nominal(number: float | Uncertain) -> float:
    """The number to trace with: the value itself, or the middle of the two limits, in the unit of the key."""
    if not isinstance(number, Uncertain):
        return number
    if number.value is not None:
        return number.value
    return 0.5 * (number.low + number.high)
