"""A process of its own that compiles what a first run needs later, while this one compiles what traces rays.

Only the types of arguments go there; the compiled code comes back through the cache. Where the process cannot be
started or fails, this one compiles the same later.
"""

from __future__ import annotations

import contextlib
import pickle
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numba import typeof

from dishtrace.cores import available_cores
from dishtrace.flux.look import N_DIMENSIONS, looking
from dishtrace.side_process import close, end, started
from dishtrace.trace.compiling import IS_CACHED
from dishtrace.trace.kernels.backward import look_back, weigh_cells

if TYPE_CHECKING:
    from numba.core.types import Type

    from dishtrace.flux.prepared import Prepared
    from dishtrace.trace.interrupt import StopFlag

COMMAND = "from dishtrace.flux.second_compiler import main; main()"
KERNELS = (look_back, weigh_cells)


@contextlib.contextmanager
def compiling_beside(prepared: Prepared, *, is_wanted: bool, stop: StopFlag) -> Iterator[None]:
    """Have later kernels compiled in another process for as long as this lasts; leaving waits for it.

    Parameters
    ----------
    prepared : Prepared
        Any scene: the types are the same for all.
    is_wanted : bool
        Whether nothing is compiled yet.
    stop : StopFlag
        Where it is set, nobody waits.
    """
    process = started(COMMAND) if is_wanted and IS_CACHED and available_cores() > 1 else None
    if process is None:
        yield
        return
    try:
        with contextlib.suppress(BrokenPipeError):
            process.stdin.write(pickle.dumps(asked_of(prepared)))
            process.stdin.close()
        yield
    except BaseException:
        end(process)
        raise
    finally:
        if stop.is_set:
            end(process)
        close(process)


def asked_of(prepared: Prepared) -> list[tuple[Type, ...]]:
    """The types of each kernel's arguments."""
    look = looking(prepared.assembly.optics, sun=prepared.sun, facets=prepared.facets, seed=0, threads=1)
    state, sums, cells = np.empty(N_DIMENSIONS, dtype=np.uint32), np.empty((1, 1)), np.empty(0)
    back = (look.world(), look.sight, False, 0, 1, state, sums)
    weigh = (look.optics.mirror, look.optics.sun, look.sight, 0.0, 0.0, cells, cells)
    return [tuple(map(typeof, arguments)) for arguments in (back, weigh)]


def main() -> None:
    """Compile what standard input asks for."""
    for kernel, types in zip(KERNELS, pickle.load(sys.stdin.buffer), strict=True):
        kernel.compile(types)
