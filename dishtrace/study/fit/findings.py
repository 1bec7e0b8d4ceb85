"""What readings say about a quantity: a value, its standard error and the interval that should hold the truth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

LEVEL = 0.95
"""Share of all tests whose interval is to hold the truth. [–]"""


@dataclass(frozen=True)
class Finding:
    """One quantity found from readings.

    Parameters
    ----------
    key : str
        Its name, the unit at its end: ``"net_power_w"``.
    unit : str
        SI unit, or the unit of the scene's key; empty for none.
    value : float
        Best value, in `unit`.
    se : float or None
        Standard error; None when it is unknown.
    low, high : float or None
        Ends of the interval at `LEVEL`; None where there is no end.
    told : bool
        Whether the readings can tell the quantity; False when the interval is too wide to be of use.
    remark : str
        What limits it, or what it means; may be empty.
    """

    key: str
    unit: str
    value: float
    se: float | None
    low: float | None
    high: float | None
    told: bool = True
    remark: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As in fit.json; numbers that are not finite become None."""
        return {
            "unit": self.unit,
            "value": plain(self.value),
            "se": plain(self.se),
            "low": plain(self.low),
            "high": plain(self.high),
            "level": LEVEL,
            "told": self.told,
            "remark": self.remark,
        }


def plain(number: float | None) -> float | None:
    """The number as a float; None when there is none or it is not finite."""
    return None if number is None or not math.isfinite(number) else float(number)


def student(freedom: float) -> float:
    """Half width of a two-sided interval at `LEVEL`, in standard errors, for so many degrees of freedom. [–]

    Source: Student (W. S. Gosset), "The probable error of a mean", Biometrika 6 (1908) 1-25, through scipy.
    """
    from scipy.stats import t

    return float(t.ppf(0.5 + 0.5 * LEVEL, max(freedom, 1.0)))


def mixed_half_width(statistical_se: float, freedom: float, given_se: float) -> tuple[float, float]:
    """Standard error and half width of the interval where scatter and inexact inputs both count.

    Parameters
    ----------
    statistical_se, freedom : float
        Standard error from the scatter of the readings, and its degrees of freedom. [any], [–]
    given_se : float
        Standard error from what was given (mass, irradiance, ...), taken as normal. [any]

    Returns
    -------
    se, half_width : float
        Degrees of freedom after Welch and Satterthwaite.

    References
    ----------
    .. [1] JCGM 100:2008, *Guide to the expression of uncertainty in measurement*, annex G.4 (eq. G.2b).
    """
    se = math.hypot(statistical_se, given_se)
    if se == 0.0 or statistical_se == 0.0:
        return se, student(math.inf) * se
    return se, student(freedom * (se / statistical_se) ** 4) * se


def finding(
    key: str,
    unit: str,
    value: float,
    *,
    statistical_se: float,
    freedom: float,
    given_se: float = 0.0,
    told: bool = True,
    remark: str = "",
) -> Finding:
    """A finding with a symmetric interval from scatter and inexact inputs; see `mixed_half_width`."""
    se, half = mixed_half_width(statistical_se, freedom, given_se)
    return Finding(key, unit, value, se, value - half, value + half, told, remark)
