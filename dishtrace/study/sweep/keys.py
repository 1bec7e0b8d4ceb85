"""Keys of a scene that a study varies: how they are written, what they are now, and the scene with other values."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.model import Scene
from dishtrace.scene.quantity import plain_number
from dishtrace.scene.uncertain import Uncertain, nominal

LETTERS = {"x": 0, "y": 1, "z": 2}
_FORM = 'must be KEY=LOW:HIGH, for instance "dish.slope_error_mrad=1:6"'
_FORM_WITH_STEPS = 'must be KEY=LOW:HIGH:STEPS or KEY=A,B,C, for instance "dish.slope_error_mrad=1:6:11"'
MOST_STEPS = 10_000


@dataclass(frozen=True)
class Varied:
    """A key with the range, or the values, that a study gives it.

    Parameters
    ----------
    key : str
        In dotted form; a number of a list by its letter: ``"part.pot.center_m.z"``.
    low, high : float
        Ends of the range, in the unit of the key.
    steps : int or None
        Values on a grid, both ends among them; None where only the range is given. [–]
    values : tuple
        The values themselves (numbers or texts) where they are listed; else empty.
    """

    key: str
    low: float
    high: float
    steps: int | None = None
    values: tuple[Any, ...] = ()

    def grid(self, otherwise: int) -> list[Any]:
        """Values on a grid; with `otherwise` steps where their number is not given."""
        if self.values:
            return list(self.values)
        steps = otherwise if self.steps is None else self.steps
        return [self.low] if steps == 1 else [self.at(number / (steps - 1)) for number in range(steps)]

    def at(self, share: float) -> Any:
        """The value at a share, 0 to 1, of the range; of listed values the one whose turn it is."""
        if self.values:
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        return self.high if share == 1.0 else self.low + share * (self.high - self.low)


def varied_of(given: Sequence[str | Varied], *, with_steps: bool = True) -> tuple[Varied, ...]:
    """Keys and ranges from what the user wrote.

    Parameters
    ----------
    given : sequence of str or Varied
        Texts like ``"dish.slope_error_mrad=1:6:11"`` or ``"dish.facets.size_m=0.05,0.1"``.
    with_steps : bool
        Whether steps and lists of values mean anything.

    Raises
    ------
    InputError
        With every fault: wrong form, ends that are equal or swapped, keys given twice, or nothing given.
    """
    found: list[Varied] = []
    faults: list[Fault] = []
    for text in given:
        try:
            found.append(text if isinstance(text, Varied) else _parsed(text, with_steps))
        except InputError as error:
            faults += error.faults
    keys = [one.key for one in found]
    faults += [
        Fault(COMMAND_LINE, f"--vary {key}", "", "is given twice", "keep one of them")
        for key in dict.fromkeys(keys)
        if keys.count(key) > 1
    ]
    if not given:
        form = _FORM_WITH_STEPS if with_steps else _FORM
        faults.append(Fault(COMMAND_LINE, "--vary", "", "is missing", f"name at least one key: it {form}"))
    if faults:
        raise InputError(faults)
    return tuple(found)


def _parsed(text: str, with_steps: bool) -> Varied:
    key, equals, rest = text.partition("=")
    key, rest = key.strip(), rest.strip()
    if not equals or not key or not rest:
        raise InputError(Fault(COMMAND_LINE, "--vary", text, _FORM_WITH_STEPS if with_steps else _FORM))
    if with_steps and ("," in rest or ":" not in rest):
        return _listed(key, rest, text)
    pieces = [piece.strip() for piece in rest.split(":")]
    try:
        low, high = float(pieces[0]), float(pieces[1])
        steps = int(pieces[2]) if len(pieces) == 3 and with_steps else None
        is_sound = len(pieces) == (2 if steps is None else 3) and math.isfinite(low) and math.isfinite(high)
    except (ValueError, IndexError):
        is_sound = False
    if not is_sound:
        raise InputError(Fault(COMMAND_LINE, "--vary", text, _FORM_WITH_STEPS if with_steps else _FORM))
    if low >= high:
        remedy = "swap the two" if low > high else "give two different ends"
        raise InputError(Fault(COMMAND_LINE, f"--vary {key}", rest, "must have its low end below its high end", remedy))
    if steps is not None and not 2 <= steps <= MOST_STEPS:
        raise InputError(Fault(COMMAND_LINE, f"--vary {key}", rest, f"must have 2 to {MOST_STEPS} steps"))
    return Varied(key, low, high, steps)


def _listed(key: str, rest: str, text: str) -> Varied:
    """Values one by one: numbers, true or false, or texts."""
    values = tuple(_value(piece.strip()) for piece in rest.split(","))
    if any(value == "" for value in values) or len(set(values)) < len(values):
        raise InputError(Fault(COMMAND_LINE, "--vary", text, "must list different values, none of them empty"))
    numbers = [value for value in values if plain_number(value) is not None]
    low, high = (min(numbers), max(numbers)) if numbers else (math.nan, math.nan)
    return Varied(key, low, high, len(values), values)


def _value(text: str) -> Any:
    if text in ("true", "false"):
        return text == "true"
    if re.fullmatch(r"[-+]?\d+", text):
        return int(text)
    try:
        return float(text)
    except ValueError:
        return text.strip("\"'")


def current(scene: Scene, key: str) -> Any:
    """What a scene says at a key in dotted form, defaults included; None where it says nothing."""
    table: Any = scene
    rest = key
    while rest:
        if isinstance(table, tuple) and rest in LETTERS:
            place = LETTERS[rest]
            return table[place] if place < len(table) else None
        if isinstance(table, tuple):
            names = [
                entry.name for entry in table if hasattr(entry, "name") and f"{rest}.".startswith(f"{entry.name}.")
            ]
            if not names:
                return None
            name = max(names, key=len)
            table, rest = next(entry for entry in table if entry.name == name), rest[len(name) + 1 :]
            continue
        first, _, rest = rest.partition(".")
        fields = getattr(type(table), "model_fields", {})
        attribute = next((name for name, field in fields.items() if first == (field.alias or name)), None)
        if attribute is None:
            return None
        table = getattr(table, attribute)
    return table


def current_number(scene: Scene, key: str) -> float | None:
    """The number that a scene has at a key; None where there is none."""
    value = current(scene, key)
    value = nominal(value) if isinstance(value, Uncertain) else value
    number = plain_number(value)
    return None if number is None else float(number)


def scene_with(scene: Scene, values: Mapping[str, Any]) -> Scene:
    """The scene with other values at its keys, checked as a whole.

    Parameters
    ----------
    scene : Scene
    values : mapping
        By key; a letter at its end names a number of a list.

    Raises
    ------
    InputError
        If there is no such key, or the scene is not sound with these values.
    """
    try:
        return scene.with_keys(_whole(scene, values))
    except InputError as error:
        raise InputError([_told(fault) for fault in error.faults]) from None


def _whole(scene: Scene, values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by key, where numbers of lists are put into their lists."""
    whole: dict[str, Any] = {}
    for key, value in values.items():
        table, _, letter = key.rpartition(".")
        numbers = current(scene, table) if letter in LETTERS and table else None
        if not isinstance(numbers, tuple):
            whole[key] = value
            continue
        if LETTERS[letter] >= len(numbers):
            raise InputError(Fault(COMMAND_LINE, key, "", f"is no number of this list, which has {len(numbers)}"))
        entries = list(whole.get(table, numbers))
        entries[LETTERS[letter]] = value
        whole[table] = entries
    return whole


def _told(fault: Fault) -> Fault:
    """A fault of a scene with values put in: it stands on the command line, not in the file."""
    return Fault(COMMAND_LINE, fault.key.removeprefix("variant 1 "), fault.found, fault.allowed, fault.remedy)


def refuse_ends(scene: Scene, varied: Sequence[Varied]) -> None:
    """Put both ends of every range, or every listed value, into the scene, one key at a time.

    Raises
    ------
    InputError
        With the faults of all of them.
    """
    faults: list[Fault] = []
    for one in varied:
        for value in one.values or (one.low, one.high):
            try:
                scene_with(scene, {one.key: value})
            except InputError as error:
                faults += error.faults
    if faults:
        seen = {(fault.key, fault.allowed): fault for fault in reversed(faults)}
        raise InputError(list(reversed(seen.values())))
