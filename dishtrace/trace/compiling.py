"""Two decorators compile every kernel, and one place decides where the compiled code is kept.

Numba's disk cache looks at the file of the compiled function only, so an edited helper in another file would be
served stale. The cache folder is therefore keyed by a hash of all kernel sources and the versions of Numba and Python.
"""

from __future__ import annotations

import hashlib
import os
import platform
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import numba
import platformdirs
from numba.core.caching import FunctionCache
from numba.core.registry import CPUDispatcher

KERNEL_FOLDER = Path(__file__).parent
OPTIONS = {"nopython": True, "nogil": True, "error_model": "numpy", "_nrt": False}
INSIDE = {"forceinline": True, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}


def source_key(folder: Path = KERNEL_FOLDER) -> str:
    """Hash of every Python source below a folder, with the versions that shape the machine code.

    Parameters
    ----------
    folder : Path
        Where the kernels live.

    Returns
    -------
    str
        20 hexadecimal digits.
    """
    digest = hashlib.sha256()
    words = (numba.__version__, platform.python_version(), platform.machine(), str(numba.config.BOUNDSCHECK))
    for word in words:
        digest.update(word.encode())
    for path in sorted(folder.rglob("*.py")):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:20]


def cache_folder() -> Path:
    """Folder in which compiled kernels of this very source are kept."""
    return Path(platformdirs.user_cache_dir("dishtrace")) / source_key()


def _is_writable(folder: Path) -> bool:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


_FOLDER = cache_folder()
IS_CACHED = _is_writable(_FOLDER)


class QuickCache(FunctionCache):
    """Numba's disk cache, but compiled code is loaded without all that compiling needs: 0.15 s sooner.

    By methods that Numba keeps for itself: `tests/unit/test_trace_compiling.py` tells when they change.
    """

    def load_overload(self, sig: object, target_context: object) -> object:
        """The compiled code for a signature, or None."""
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)


class Device(CPUDispatcher):
    """A function that kernels call: it has no way in from Python, and says so."""

    def __call__(self, *_: object) -> NoReturn:
        """Refuse."""
        raise TypeError(f"{self.py_func.__name__} is called by kernels only; from Python, call it through a kernel")


def kernel(function: Callable) -> Callable:
    """Compile a function that Python calls: without the interpreter lock, cached by source.

    Reference counting is off, so a function that allocates does not compile: scratch is handed in.

    Parameters
    ----------
    function : callable
        Scalars and arrays in and out: no objects, allocation, printing or exceptions inside.

    Returns
    -------
    callable
        The compiled function; compilation happens at its first call.
    """
    return _cached(CPUDispatcher(function, targetoptions=OPTIONS))


def device(function: Callable) -> Callable:
    """Compile a function that kernels call, as `kernel` does, into each of its callers.

    Inlining is forced, because the arrays' descriptors would else be copied at every call (three times slower on the
    standard case). There is no way in from Python, which takes as long to compile as the function itself.

    Parameters
    ----------
    function : callable
        As for `kernel`; tuples out as well.

    Returns
    -------
    callable
        For kernels; Python gets a TypeError.
    """
    return _cached(Device(function, targetoptions=OPTIONS | INSIDE))


def _cached(function: CPUDispatcher) -> CPUDispatcher:
    before = numba.config.CACHE_DIR
    numba.config.CACHE_DIR = str(_FOLDER)
    try:
        if IS_CACHED:
            function._cache = QuickCache(function.py_func)
    finally:
        numba.config.CACHE_DIR = before
    return function


def has_compiled_code() -> bool:
    """Whether compiled kernels of this very source lie in the cache, so that a start is quick."""
    return IS_CACHED and any(_FOLDER.rglob("*trace_rays*.nbi"))
