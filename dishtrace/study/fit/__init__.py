"""What readings after a test say about a dish: `fit` takes a heating log, a photograph of the spot, radii by hand."""

from __future__ import annotations

from dishtrace.study.fit.outcome import Fit
from dishtrace.study.fit.whole import fit

__all__ = ["Fit", "fit"]
