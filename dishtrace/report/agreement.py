"""How rays and looking back agree on the peak, in words."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from dishtrace.report.numerals import PLAIN, Signs, written

if TYPE_CHECKING:
    from dishtrace.flux.result import Result


def two_ways(result: Result, signs: Signs = PLAIN, *, width: int) -> list[str]:
    """How the rays and looking back agree on the flux over the brightest patch."""
    agreement = getattr(result, "agreement", None)
    if agreement is None:
        return []
    forward, backward = (written(way.scaled(1e-3), signs) for way in (agreement.forward, agreement.backward))
    apart = "" if agreement.z is None else f" ({abs(agreement.z):.1f} of their standard errors apart)"
    unit = f"kW/m{signs.square}"
    text = (
        f'Around the peak on "{agreement.part}", over whole triangles, in two ways, first arrivals: {forward} {unit} '
        f"by rays, {backward} {unit} by looking back{apart}."
    )
    return ["", *textwrap.wrap(text, width)]
