"""What a heating log's head says: mass of water, air, thermometer; each number possibly with its standard error."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from dishtrace.errors import Fault
from dishtrace.scene.quantity import Quantity, plain_number
from dishtrace.scene.uncertain import Uncertain
from dishtrace.scene.words import nearest

_LINE = re.compile(r"^#\s*([A-Za-z_][A-Za-z0-9_]*)\s*=\s*(.*?)\s*$")
_SPREAD = re.compile(r"^(.*?)\s*(?:\+-|\+/-|±)\s*(.*)$")
_CELSIUS = Quantity("degrees C", -90.0, 500.0)
_EMISSIVITY = Quantity("share", 0.02, 1.0)

NUMBERS: dict[str, tuple[Quantity, str]] = {
    "water_kg": (Quantity("kg", 0.0, 1e5, above=True), "mass of water"),
    "vessel_j_k": (Quantity("J/K", 0.0, 1e8), "heat that the vessel itself takes per kelvin"),
    "air_c": (Quantity("degrees C", -90.0, 60.0), "air temperature"),
    "dni_w_m2": (Quantity("W/m2", 0.0, 1500.0, above=True), "direct normal irradiance"),
    "dni_scale": (Quantity("", 0.1, 10.0), "factor on the irradiance readings, with the error of their calibration"),
    "offset_c": (Quantity("K", -50.0, 50.0), "what the thermometer shows too much"),
    "set_emissivity": (_EMISSIVITY, "emissivity that the infrared thermometer is set to"),
    "emissivity": (_EMISSIVITY, "true emissivity of the spot that it looks at"),
    "reflected_c": (_CELSIUS, "temperature of what the spot reflects into it"),
    "instrument_c": (_CELSIUS, "temperature of the instrument itself"),
    "wall_k_w": (Quantity("K/W", 0.0, 10.0), "kelvin that the wall is hotter than the water, per watt that goes in"),
}
WORDS: dict[str, tuple[str, ...]] = {"thermometer": ("contact", "infrared"), "spot": ("water", "wall")}


@dataclass(frozen=True)
class Amount:
    """A number with the standard error that it was given with; 0 for one taken as exact."""

    value: float
    sd: float = 0.0


@dataclass(frozen=True)
class Given:
    """What is known about a heating test beside its readings.

    Parameters
    ----------
    amounts : dict of Amount
        By the names of `NUMBERS`.
    words : dict of str
        By the names of `WORDS`.
    """

    amounts: Mapping[str, Amount]
    words: Mapping[str, str]

    def value(self, name: str) -> float:
        """The number itself."""
        return self.amounts[name].value

    def has(self, name: str) -> bool:
        """Whether it was given or has a default."""
        return name in self.amounts or name in self.words

    def moved(self, name: str, by: float) -> Given:
        """The same with one number moved, within its range."""
        old, quantity = self.amounts[name], NUMBERS[name][0]
        value = min(max(old.value + by, quantity.low), quantity.high)
        return replace(self, amounts={**self.amounts, name: replace(old, value=value)})

    def to_dict(self) -> dict[str, Any]:
        """Numbers as {"value", "sd"}, words as they are."""
        amounts = {name: {"value": one.value, "sd": one.sd} for name, one in self.amounts.items()}
        return {**amounts, **self.words}


def amount_of(number: float | Uncertain) -> Amount:
    """A scene's number with its standard deviation; two limits have that of a uniform spread, width / sqrt(12)."""
    if not isinstance(number, Uncertain):
        return Amount(float(number))
    if number.value is not None:
        return Amount(number.value, number.sd or 0.0)
    return Amount(0.5 * (number.low + number.high), (number.high - number.low) / 12.0**0.5)


def head_lines(lines: Iterable[str]) -> Iterable[tuple[int, str, str]]:
    """Line number, key and text of every ``# key = value`` line."""
    for number, line in enumerate(lines, 1):
        match = _LINE.match(line)
        if match:
            yield number, match.group(1), match.group(2)


def read_given(written: Iterable[tuple[str, str, Any]], faults: list[Fault]) -> Given:
    """What was given, checked.

    Parameters
    ----------
    written : iterable of (where, key, value)
        In order; a later one wins. Values are numbers, or texts such as ``2.5 +- 0.02``, or pairs (value, sd).
    faults : list of Fault
        Gets what is wrong.
    """
    amounts: dict[str, Amount] = {}
    words: dict[str, str] = {}
    for where, key, value in written:
        if key in NUMBERS:
            amount = _amount(where, key, value, faults)
            if amount is not None:
                amounts[key] = amount
        elif key in WORDS:
            if value in WORDS[key]:
                words[key] = str(value)
            else:
                faults.append(Fault(where, key, str(value), f"must be {' or '.join(WORDS[key])}"))
        else:
            like = nearest(key, (*NUMBERS, *WORDS))
            remedy = f"did you mean {like}?" if like else f"known: {', '.join((*NUMBERS, *WORDS))}"
            faults.append(Fault(where, key, "", "is not known", remedy))
    return Given(amounts, words)


def _amount(where: str, key: str, value: Any, faults: list[Fault]) -> Amount | None:
    """A number, with its error where one is given."""
    quantity = NUMBERS[key][0]
    parts = [value, None]
    if isinstance(value, str):
        match = _SPREAD.match(value)
        parts = list(match.groups()) if match else [value, None]
    elif isinstance(value, (tuple, list)) and len(value) == 2:
        parts = list(value)
    elif isinstance(value, Uncertain):
        found = amount_of(value)
        parts = [found.value, found.sd]
    number, sd = _number(parts[0]), 0.0 if parts[1] is None else _number(parts[1])
    if number is None or sd is None or sd < 0.0:
        allowed = f"{quantity.allowed}, or two of them: value +- standard error"
        faults.append(Fault(where, key, str(value), allowed, f"for instance # {key} = 2.5 +- 0.1"))
        return None
    is_inside = quantity.low < number if quantity.above else quantity.low <= number
    if not is_inside or number > quantity.high:
        faults.append(Fault(where, key, str(value), quantity.allowed))
        return None
    return Amount(number, sd)


def _number(text: Any) -> float | None:
    """The finite number written, or None."""
    if isinstance(text, str):
        try:
            text = float(text)
        except ValueError:
            return None
    number = plain_number(text)
    return None if number is None else float(number)
