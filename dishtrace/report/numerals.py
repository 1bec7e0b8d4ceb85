"""How an estimate is written for people: value, sign, standard error, with digits that the error bears out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dishtrace.stats import Estimate

UNKNOWN = "error unknown"
EXACT_SHARE = 1e-6  # relative errors below this are not shown: no dish or sun is known so well
EXACT_DIGITS = 5  # significant digits of a number without Monte Carlo error
UNKNOWN_DIGITS = 3  # and of one whose error nobody knows


@dataclass(frozen=True)
class Signs:
    """Characters that not every terminal can show.

    Parameters
    ----------
    plus_minus : str
        Between value and standard error.
    square : str
        The exponent of m2.
    """

    plus_minus: str
    square: str


PLAIN = Signs(plus_minus="+-", square="2")
FINE = Signs(plus_minus="±", square="²")


def signs_for(encoding: str | None) -> Signs:
    """The signs that an output of this encoding can carry; plain ASCII when it is unknown."""
    try:
        "±²".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return PLAIN
    return FINE


def has_error(estimate: Estimate) -> bool:
    """Whether the standard error is known (zero is known: an exact number)."""
    return estimate.se is not None and math.isfinite(estimate.se)


def decimals(step: float, digits: int) -> int:
    """Decimal places that show `digits` significant digits of a positive step; negative left of the point.

    Examples
    --------
    >>> decimals(0.0412, 2), decimals(0.0996, 2), decimals(37.0, 1)
    (3, 2, -1)
    """
    exponent = math.floor(math.log10(step))
    rounded_up = round(step, digits - 1 - exponent) >= 10.0 ** (exponent + 1)
    return digits - 1 - exponent - (1 if rounded_up else 0)


def rounded(value: float, places: int) -> str:
    """A number with `places` decimals; for negative places rounded left of the point, never as "-0"."""
    number = round(value, places)
    return f"{number + 0.0:.{max(places, 0)}f}"


def significant(value: float, digits: int, *, least_decimals: int | None = None) -> str:
    """A number with a count of significant digits, without exponent.

    Parameters
    ----------
    value : float
        Any number; one that is not finite reads "unknown".
    digits : int
        Significant digits.
    least_decimals : int, optional
        Decimals to keep in any case; 0 keeps the digits left of the point of an exact number.
    """
    if not math.isfinite(value):
        return "unknown"
    if value == 0.0:
        return "0"
    places = decimals(abs(value), digits)
    return rounded(value, places if least_decimals is None else max(places, least_decimals))


def written_pair(estimate: Estimate) -> tuple[str, str]:
    """Value and standard error as two texts, so that a table can line them up.

    The error has two significant digits and the value as many decimals. A number that is exact, or better than one in
    a million, has an empty error; an unknown error says so.

    Returns
    -------
    value, error : str
        For instance ("612.34", "0.41"), ("2.5", ""), ("17.3", "error unknown").
    """
    if not math.isfinite(estimate.value):
        return "unknown", ""
    if not has_error(estimate):
        return significant(estimate.value, UNKNOWN_DIGITS), UNKNOWN
    if estimate.se <= EXACT_SHARE * abs(estimate.value):
        return _short(significant(estimate.value, EXACT_DIGITS, least_decimals=0)), ""
    places = decimals(estimate.se, 2)
    return rounded(estimate.value, places), rounded(estimate.se, places)


def written(estimate: Estimate, signs: Signs = PLAIN, unit: str = "") -> str:
    """An estimate in running text: "612.34 +- 0.41 W", "2.5 m" (exact) or "17.3 W (error unknown)"."""
    value, error = written_pair(estimate)
    tail = f" {unit}" if unit else ""
    if error == UNKNOWN:
        return f"{value}{tail} ({error})"
    return f"{value} {signs.plus_minus} {error}{tail}" if error else f"{value}{tail}"


def _short(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
