"""What a call hands over, checked: a scene, and numbers in their ranges."""

from __future__ import annotations

from numbers import Real
from operator import index
from typing import Any

from dishtrace.errors import Fault, InputError

LARGEST_RAYS = (2**32 - 256) * 32
"""Rays that a run can have: as many as its points have numbers."""

RANGES = {"rays": (1, LARGEST_RAYS), "seed": (0, 2**64 - 1), "threads": (1, 1024), "seconds": (0.01, 1_000_000)}
"""Lowest and highest of what `trace` takes. [–, –, –, s]"""


def as_whole(value: object) -> int | None:
    """A whole number of any kind, such as 1e5, as an int; None where it is none."""
    try:
        return index(value)
    except TypeError:
        return int(value) if isinstance(value, Real) and float(value).is_integer() else None


class Checks:
    """Collects all that is wrong with a call.

    Parameters
    ----------
    call : str
        Name of what is called; stands where a fault of a file has the file.
    """

    def __init__(self, call: str) -> None:
        self.call = call
        self.faults: list[Fault] = []

    def add(self, key: str, found: str, allowed: str, remedy: str = "") -> None:
        """Note a fault."""
        self.faults.append(Fault(self.call, key, found, allowed, remedy))

    def scene(self, scene: Any) -> None:
        """Refuse at once what is no scene, since all else is asked of it."""
        from dishtrace.scene.model import Scene

        if not isinstance(scene, Scene):
            self.add("scene", repr(scene), "must be a scene", 'read the file first: load_scene("yard.toml")')
            self.end()

    def whole(self, key: str, value: object, *, low: int | None = None, high: int | None = None) -> int:
        """A whole number in its range, that of `RANGES` if none is given; the lowest where it is at fault."""
        low, high = RANGES[key] if low is None or high is None else (low, high)
        number = as_whole(value)
        if number is not None and low <= number <= high:
            return number
        self.add(key, repr(value) if number is None else str(number), f"must be a whole number from {low} to {high}")
        return low

    def number(self, key: str, value: object, *, unit: str) -> None:
        """Note a number outside its range of `RANGES`, or what is none."""
        low, high = RANGES[key]
        if not isinstance(value, Real) or not low <= value <= high:
            found = str(value) if isinstance(value, Real) else repr(value)
            self.add(key, found, f"must be a number from {low} to {high} ({unit})")

    def end(self) -> None:
        """Raise what was found.

        Raises
        ------
        InputError
            With all faults, if there are any.
        """
        if self.faults:
            raise InputError(self.faults)
