"""Points of a sweep on a Dask cluster, an optional extra: the results are the same to the last bit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from dishtrace.errors import COMMAND_LINE, Fault, InputError, RunError
from dishtrace.scene.model import Scene
from dishtrace.study.stopping import StoppedError
from dishtrace.study.sweep.points import Job, Point, traced_point

PATIENCE = "10s"
"""How long to wait for an answer from the address."""
TRIES = 3
"""How often a point is tried again when its worker dies. [–]"""


def traced_on_cluster(
    scene: Scene, jobs: Sequence[Job], address: str, *, rays: int, seed: int, threads: int | None
) -> Iterator[Point]:
    """Trace points on the workers of a cluster; each as soon as it is finished.

    Parameters
    ----------
    scene : Scene
        That values are put into; files that it names must be there under the same path on every worker.
    jobs : sequence of Job
    address : str
        Of the cluster's scheduler, ``"tcp://10.0.0.5:8786"``.
    rays, seed : int
        [–]
    threads : int or None
        Threads of each trace; left out, all cores of the worker's process. [–]

    Raises
    ------
    InputError
        If the library is not installed, or nobody answers at the address.
    StoppedError
        If the user pressed Ctrl-C; what is not finished is cancelled.
    RunError
        If a point failed, or its worker died more often than `TRIES`.
    """
    distributed = _library()
    options: dict[str, Any] = {"rays": rays, "seed": seed, "threads": threads}
    try:
        client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError) as error:
        reason = " ".join(str(error).split())[:80] or type(error).__name__
        remedy = "start dask scheduler and dask worker, and give the address that the scheduler prints"
        raise InputError(Fault(COMMAND_LINE, "--cluster", address, f"does not answer ({reason})", remedy)) from error
    with client:
        # the scene travels with each job: data scattered ahead would be lost with the worker that holds it
        futures = [client.submit(traced_point, scene, job, pure=False, retries=TRIES, **options) for job in jobs]
        try:
            for future in distributed.as_completed(futures, loop=client.loop):
                yield _result(distributed, future)
        except KeyboardInterrupt as stop:
            client.cancel(futures)
            raise StoppedError from stop


def _result(distributed: Any, future: Any) -> Point:
    try:
        return future.result()
    except distributed.KilledWorker as error:
        raise RunError(
            "a point was given up because the workers that traced it died again and again; they may lack memory"
        ) from error


def _library() -> Any:
    try:
        import distributed
    except ImportError as error:
        remedy = "install it: pip install 'dishtrace[cluster]'"
        raise InputError(Fault(COMMAND_LINE, "--cluster", "", "needs the library distributed", remedy)) from error
    return distributed
