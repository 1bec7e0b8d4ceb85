"""What makes a command start or end sooner and belongs to no other process than the command's own."""

from __future__ import annotations

import atexit
import gc
import sys
from importlib import import_module

ALGEBRA = "scipy.linalg"
OBJECTS_BETWEEN_LOOKS = 100_000
"""Objects made before the garbage collector looks again: what is loaded is no garbage."""


def end_quickly() -> None:
    """Let the process end without looking for garbage among all that it has loaded, which takes a quarter second."""
    atexit.unregister(gc.freeze)
    atexit.register(gc.freeze)


def collect_rarely() -> None:
    """Let the garbage collector look seldom, which saves a tenth of a short command's time."""
    gc.set_threshold(OBJECTS_BETWEEN_LOOKS)


def without_linear_algebra() -> None:
    """Load the part of Numba that looks for a linear algebra library without letting it find one.

    The kernels multiply no matrices, and loading that library takes as long as loading Numba. In this process matrix
    products cannot be compiled from then on.
    """
    if ALGEBRA in sys.modules:
        return
    sys.modules[ALGEBRA] = None
    try:
        import_module("numba.np.arraymath")
    finally:
        del sys.modules[ALGEBRA]
