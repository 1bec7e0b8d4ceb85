"""The processor cores at hand."""

from __future__ import annotations

import os


def available_cores() -> int:
    """Cores that this process may use: threads of a run, and processes side by side, unless told otherwise. [–]"""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
