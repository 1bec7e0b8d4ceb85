"""Numbers of a scene file: their range and unit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

from dishtrace.scene.uncertain import Uncertain

FAULT = "dishtrace"  # type of the errors raised here, so that they are told apart from pydantic's own


def refuse(allowed: str, remedy: str = "") -> PydanticCustomError:
    """An error whose text is ours: the end of the sentence that starts with the key and the value found."""
    return PydanticCustomError(FAULT, "{allowed}", {"allowed": allowed, "remedy": remedy})


def plain_number(value: object) -> float | int | None:
    """The value when it is a finite number and not a truth value, else None."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return value if isinstance(value, int) or math.isfinite(value) else None


def _slip_of_unit(value: float, unit: str) -> str:
    """What the writer may have meant by a number above its range."""
    if unit == "metres":
        return f"if this is in millimetres, write {value / 1000.0:g}"
    if unit == "share" and 1.0 < value <= 100.0:
        return f"if this is in percent, write {value / 100.0:g}"
    if unit == "mrad":
        return "1 degree is 17.45 mrad"
    return ""


class _Checked:
    """Base of the annotations: pydantic calls `check` and takes `json_schema` for the editor."""

    def check(self, value: Any) -> Any:
        raise NotImplementedError

    def json_schema(self) -> dict[str, Any]:
        raise NotImplementedError

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler) -> dict:
        return self.json_schema()


@dataclass(frozen=True)
class Quantity(_Checked):
    """A number with its range and unit; used as the annotation of a key.

    Parameters
    ----------
    unit : str
        Unit in words, as it stands in messages.
    low, high : float
        Range, in that unit.
    above : bool
        The lower end itself is not allowed.
    is_uncertain : bool
        ``{ value, sd }`` and ``{ low, high }`` are accepted too.
    is_file : bool
        The name of a csv file is accepted too.
    is_whole : bool
        Whole numbers only; 1e6 counts as one.
    hint : str
        Remedy to tell when the number is out of range.
    """

    unit: str
    low: float
    high: float
    above: bool = False
    is_uncertain: bool = False
    is_file: bool = False
    is_whole: bool = False
    hint: str = ""

    @property
    def allowed(self) -> str:
        """End of the sentence that tells the range."""
        kind = "a whole number" if self.is_whole else "a number"
        unit = f" ({self.unit})" if self.unit else ""
        return f"must be {kind} {'>' if self.above else '>='} {self.low:g} and <= {self.high:g}{unit}"

    def check(self, value: Any) -> float | int | str | Uncertain:
        """The value as float, int, file name or `Uncertain`; raises our own error otherwise."""
        if self.is_file and isinstance(value, str):
            return self._file(value)
        if isinstance(value, Uncertain):
            value = vars(value)
        if self.is_uncertain and isinstance(value, Mapping):
            return self._uncertain(value)
        number = self._number(value)
        return int(number) if self.is_whole else float(number)

    def _number(self, value: Any) -> float | int:
        number = plain_number(value)
        if number is None:
            raise refuse(self.allowed + self._other_forms(), self._remedy_for_type(value))
        is_inside = self.low < number if self.above else self.low <= number
        if not is_inside or number > self.high:
            slip = _slip_of_unit(float(number), self.unit) if self.high < number < 1e15 else ""
            raise refuse(self.allowed, slip or self.hint)
        if self.is_whole and number != int(number):
            raise refuse(self.allowed, self.hint)
        return number

    def _other_forms(self) -> str:
        forms = ["the name of a csv file"] if self.is_file else []
        forms += ["{ value, sd } or { low, high }"] if self.is_uncertain else []
        return f", or {', or '.join(forms)}" if forms else ""

    def _remedy_for_type(self, value: Any) -> str:
        if isinstance(value, str):
            try:
                float(value)
            except ValueError:
                return self.hint
            return f"write {value.strip()} without quotes"
        return self.hint

    def _file(self, value: str) -> str:
        if not value.lower().endswith(".csv"):
            raise refuse(self.allowed + self._other_forms(), self._remedy_for_type(value))
        return value

    def _uncertain(self, value: Mapping[str, Any]) -> Uncertain:
        keys = {key for key, number in value.items() if number is not None}
        if keys == {"value", "sd"}:
            middle, spread = self._number(value["value"]), plain_number(value["sd"])
            if spread is None or not 0.0 <= spread <= self.high - self.low:
                raise refuse(f"has an sd outside 0 to {self.high - self.low:g} ({self.unit})")
            return Uncertain(value=float(middle), sd=float(spread))
        if keys == {"low", "high"}:
            low, high = self._number(value["low"]), self._number(value["high"])
            if low > high:
                raise refuse("must have low <= high", "swap the two")
            return Uncertain(low=float(low), high=float(high))
        raise refuse("must be a plain number, { value = ..., sd = ... } or { low = ..., high = ... }")

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the forms accepted."""
        limits = {"exclusiveMinimum" if self.above else "minimum": self.low, "maximum": self.high}
        number = {"type": "integer" if self.is_whole else "number", **limits}
        forms = [number]
        if self.is_uncertain:
            forms += [
                _table_schema(value=number, sd={"type": "number", "minimum": 0}),
                _table_schema(low=number, high=number),
            ]
        if self.is_file:
            forms.append({"type": "string", "pattern": r"\.[cC][sS][vV]$"})
        return number if len(forms) == 1 else {"anyOf": forms}


def _table_schema(**properties: dict[str, Any]) -> dict[str, Any]:
    """JSON Schema of a table with exactly these keys."""
    return {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


@dataclass(frozen=True)
class Numbers(_Checked):
    """A list of numbers of one range.

    Parameters
    ----------
    each : Quantity
        Range and unit of each number.
    names : tuple of str
        What the numbers are, ``("x", "y")``; empty when their count is free.
    is_direction : bool
        Not all of them may be zero.
    """

    each: Quantity
    names: tuple[str, ...] = ()
    is_direction: bool = False

    @property
    def allowed(self) -> str:
        """End of the sentence that tells the form."""
        form = f"[{', '.join(self.names)}]" if self.names else "a list of numbers [a, b, ...]"
        unit = f" ({self.each.unit})" if self.each.unit else ""
        return f"must be {form}{unit}"

    def check(self, value: Any) -> tuple[float, ...]:
        """The numbers as a tuple; raises our own error otherwise."""
        if not isinstance(value, (list, tuple)) or (self.names and len(value) != len(self.names)):
            raise refuse(self.allowed)
        for number in value:
            if plain_number(number) is None:
                raise refuse(self.allowed, "each of them a plain number")
        numbers = tuple(self._item(place, number) for place, number in enumerate(value))
        if self.is_direction and not any(numbers):
            raise refuse("must not be all zeros", "give a direction, for instance [0, 0, 1]")
        return numbers

    def _item(self, place: int, number: float) -> float:
        """One number; a fault names which of them it is."""
        name = self.names[place] if self.names else f"number {place + 1}"
        try:
            return self.each.check(number)
        except PydanticCustomError as error:
            context = error.context or {}
            raise refuse(f"has a {name} that {context['allowed']}", context["remedy"]) from None

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the list."""
        schema: dict[str, Any] = {"type": "array", "items": self.each.json_schema()}
        return schema | ({"minItems": len(self.names), "maxItems": len(self.names)} if self.names else {})


@dataclass(frozen=True)
class Corners(_Checked):
    """A list of points [x, y] in the plane.

    Parameters
    ----------
    point : Numbers
        One corner.
    """

    point: Numbers

    def check(self, value: Any) -> tuple[tuple[float, ...], ...]:
        """The corners; raises our own error otherwise."""
        if not isinstance(value, (list, tuple)) or len(value) < 3:
            raise refuse("must be a list of at least 3 corners [[x, y], [x, y], [x, y], ...] (metres)")
        return tuple(self._corner(place, corner) for place, corner in enumerate(value))

    def _corner(self, place: int, corner: Any) -> tuple[float, ...]:
        """One corner; a fault names which of them it is."""
        try:
            return self.point.check(corner)
        except PydanticCustomError as error:
            context = error.context or {}
            raise refuse(f"has a corner {place + 1} that {context['allowed']}", context["remedy"]) from None

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the list of corners."""
        return {"type": "array", "minItems": 3, "items": self.point.json_schema()}


@dataclass(frozen=True)
class Text(_Checked):
    """A text checked by a rule of ours.

    Parameters
    ----------
    rule : callable
        Gives the text back or raises `refuse(...)`.
    form : str
        JSON Schema format that the editor is told; may be empty.
    """

    rule: Callable[[Any], Any]
    form: str = ""

    def check(self, value: Any) -> Any:
        """What the rule gives."""
        return self.rule(value)

    def json_schema(self) -> dict[str, Any]:
        """JSON Schema of the text."""
        return {"type": "string"} | ({"format": self.form} if self.form else {})
