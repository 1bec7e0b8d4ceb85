"""Sweeps: a scene traced at many values of some of its keys.

`sweep` is the whole of it; `keys` reads what is varied and puts values into a scene, `design` chooses the points,
`points` traces one, `store` keeps them, `side_by_side` hands them to other processes, `cluster` to other machines,
`sensitivity` tells which key matters, `outcome` is what is told.
"""

from __future__ import annotations

from dishtrace.study.sweep.outcome import Sweep
from dishtrace.study.sweep.run import sweep

__all__ = ["Sweep", "sweep"]
