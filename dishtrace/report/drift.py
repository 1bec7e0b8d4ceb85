"""How it is told that the spot of a dish that stands still leaves the receiver."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dishtrace.report.numerals import PLAIN, Signs, written

if TYPE_CHECKING:
    from dishtrace.study.drift import Drift


def drift_text(drift: Drift, signs: Signs = PLAIN) -> str:
    """One sentence: when half of the light and when all but 1 % has left the receiver, or why that is not known."""
    told = []
    if drift.half_min is not None:
        told.append(f"half of the light has left the receiver after {written(drift.half_min, signs, 'min')}")
    if drift.gone_min is not None:
        told.append(f"all but 1 % after {written(drift.gone_min, signs, 'min')}")
    sentence = ", ".join(told) or "it is not known when the light leaves the receiver"
    return "the sun moves on: " + "; ".join([sentence, *drift.notes])
