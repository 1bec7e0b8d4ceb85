"""What a search is for: a figure to raise or lower, and limits that other figures keep to."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.stats import Estimate

_AIM = re.compile(r"^\s*(most|least)\s+(.+?)\s*$")
_LIMIT = re.compile(r"^\s*(.+?)\s*(<=|>=|<|>)\s*(\S+)\s*$")
_AIM_FORM = 'must be "most FIGURE" or "least FIGURE", for instance --aim "most receiver_w"'
_LIMIT_FORM = 'must be "FIGURE < NUMBER" or "FIGURE > NUMBER", for instance --keep "stand_w < 50"'


@dataclass(frozen=True)
class Aim:
    """A figure to make as high or as low as possible.

    Parameters
    ----------
    figure : str
        Its key.
    sign : float
        1 for most, -1 for least.
    """

    figure: str
    sign: float

    def __str__(self) -> str:
        return f"{'most' if self.sign > 0.0 else 'least'} {self.figure}"


@dataclass(frozen=True)
class Limit:
    """A figure that must stay on one side of a number.

    Parameters
    ----------
    figure : str
        Its key.
    is_upper : bool
        Whether it must stay below.
    bound : float
        In the figure's own unit.
    """

    figure: str
    is_upper: bool
    bound: float

    def __str__(self) -> str:
        return f"{self.figure} {'<' if self.is_upper else '>'} {self.bound:g}"

    def room(self, estimate: Estimate) -> float:
        """Distance to the bound on the allowed side; negative where it is broken."""
        return float(self.bound - estimate.value if self.is_upper else estimate.value - self.bound)

    def chance(self, estimate: Estimate) -> float | None:
        """How likely the limit holds in truth, by the error of the tracing; None where that is unknown. [–]"""
        return chance_above_zero(self.room(estimate), estimate.se)


def chance_above_zero(value: float, se: float | None) -> float | None:
    """How likely a number is above 0 in truth, its error a normal one; None where that is unknown. [–]"""
    if se is None:
        return None
    if se == 0.0:
        return 1.0 if value >= 0.0 else 0.0
    return 0.5 * math.erfc(-value / (se * math.sqrt(2.0)))


def aim_of(text: str) -> Aim:
    """An aim as written: ``"most receiver_w"``.

    Raises
    ------
    InputError
        If it has another form.
    """
    found = _AIM.match(text or "")
    if not found:
        raise InputError(Fault(COMMAND_LINE, "--aim", text or "", _AIM_FORM if text else f"is missing: it {_AIM_FORM}"))
    return Aim(found.group(2), 1.0 if found.group(1) == "most" else -1.0)


def limits_of(texts: Sequence[str]) -> tuple[Limit, ...]:
    """Limits as written: ``"stand_w < 50"``.

    Raises
    ------
    InputError
        With all that have another form.
    """
    limits, faults = [], []
    for text in texts:
        found = _LIMIT.match(text)
        try:
            bound = float(found.group(3)) if found else math.nan
        except ValueError:
            bound = math.nan
        if math.isfinite(bound):
            limits.append(Limit(found.group(1), found.group(2)[0] == "<", bound))
        else:
            faults.append(Fault(COMMAND_LINE, "--keep", text, _LIMIT_FORM))
    if faults:
        raise InputError(faults)
    return tuple(limits)
