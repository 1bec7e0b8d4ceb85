"""A Python process beside this one, which it talks to through pipes."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys

SAME_PATH = "import sys; sys.path[:] = sys.argv[1:]; "
ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""No thread besides the first, so that the process can be doubled safely."""


def start(command: str) -> subprocess.Popen[bytes]:
    """A process that runs a command of Python; it imports what this one does.

    Ctrl-C in a terminal does not reach it: whoever starts it ends it.

    Raises
    ------
    OSError
        If it cannot be started.
    """
    if not sys.executable:
        raise OSError("Python does not know where its own program is")
    own_group = (
        {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if sys.platform == "win32" else {"process_group": 0}
    )
    return subprocess.Popen(
        [sys.executable, "-P", "-c", SAME_PATH + command, *sys.path],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=os.environ | ONE_THREAD,
        **own_group,
    )


def started(command: str) -> subprocess.Popen[bytes] | None:
    """The same, or None where none can be started."""
    try:
        return start(command)
    except OSError:
        return None


def end(process: subprocess.Popen[bytes]) -> None:
    """End a process that still runs, and those that it has started, whatever they do."""
    if process.poll() is not None:
        return
    if sys.platform == "win32":
        process.kill()
        return
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)


def close(process: subprocess.Popen[bytes]) -> None:
    """Wait for the end of a process that nothing is told any more, and close its pipes."""
    for pipe in (process.stdin, process.stdout):
        if pipe is not None:
            with contextlib.suppress(BrokenPipeError):
                pipe.close()
    process.wait()
