"""Improving a scene: a search over chosen keys for a stated aim.

`improve` is the whole of it; `aims` reads what is wanted, `task` checks and weighs it, `search` looks for it,
`memory` keeps what was traced, `outcome` is what is told.
"""

from __future__ import annotations

from dishtrace.study.improve.outcome import Improvement
from dishtrace.study.improve.run import improve

__all__ = ["Improvement", "improve"]
