"""Improving a scene: a search over chosen keys for a stated aim.

`improve` is the whole of it; `aims` reads what is wanted, `task` checks and weighs it, `search` looks for it,
`memory` keeps what was traced.
"""

from __future__ import annotations

from dishtrace.study.improve.run import Improvement, improve

__all__ = ["Improvement", "improve"]
