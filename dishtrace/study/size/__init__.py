"""Sizing a receiver: what it catches against what it loses.

`size` is the whole of it; `knobs` says what can be varied, `trial` what one size gets and loses, `optimum` where a
curve is highest, `best` what that says of sizes and how sure it is, `outcome` is what is told.
"""

from __future__ import annotations

from dishtrace.study.size.outcome import Sizing
from dishtrace.study.size.run import size

__all__ = ["Sizing", "size"]
