"""Points of a sweep side by side on the cores of this machine, a process for each; the same to the last bit.

Much of a short trace runs on one core, whatever the threads: placing the parts, finding spots and peaks. A process for
each point keeps all cores busy with that, too.
"""

from __future__ import annotations

import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait
from typing import Any

from dishtrace.errors import DishtraceError, RunError
from dishtrace.scene.model import Scene
from dishtrace.side_process import close, end, start
from dishtrace.study.sweep.points import Job, Point, traced_points

LOOK_S = 0.2
"""Time between looks at how far the points in hand are. [s]"""
COMMAND = f"from {__name__} import serve; serve()"


class Worker:
    """A process that traces points of one scene, one after another.

    Parameters
    ----------
    scene : Scene
        That values are put into.
    options : dict
        rays and seed of `traced_points`.

    Raises
    ------
    OSError
        If it cannot be started.
    """

    def __init__(self, scene: Scene, options: dict[str, Any]) -> None:
        self._process = start(COMMAND)
        self._send((scene, options))

    def _send(self, message: Any) -> None:
        pickle.dump(message, self._process.stdin)
        self._process.stdin.flush()

    def traced(self, lot: Sequence[Job], *, threads: int, progress: Callable[[int], None]) -> list[Point]:
        """The points of a lot; meanwhile `progress` is called with the rays done of them.

        Raises
        ------
        DishtraceError
            That of the trace.
        RunError
            If the process ended.
        """
        try:
            self._send((lot, threads))
            while isinstance(answer := pickle.load(self._process.stdout), int):
                progress(answer)
        except (EOFError, BrokenPipeError, pickle.UnpicklingError) as error:
            raise RunError(
                f"a process that traced points ended with code {self._process.wait()}; it may have lacked memory: "
                f"go on with fewer --threads"
            ) from error
        if isinstance(answer, DishtraceError):
            raise answer
        return answer

    def close(self) -> None:
        """End the process, whatever it is at."""
        end(self._process)
        close(self._process)


class Workers:
    """Several such processes.

    Parameters
    ----------
    scene, options
        As for each.
    number : int
        [–]

    Raises
    ------
    OSError
        If one cannot be started.
    """

    def __init__(self, scene: Scene, options: dict[str, Any], *, number: int) -> None:
        self._all: list[Worker] = []
        try:
            for _ in range(number):
                self._all.append(Worker(scene, options))
        except OSError:
            self.close()
            raise

    def traced(self, lots: Sequence[Sequence[Job]], *, cores: int, progress: Callable[[int], None]) -> Iterator[Point]:
        """Trace lots of points, each given out as soon as it is finished.

        Parameters
        ----------
        lots : sequence of sequences of Job
            See `dishtrace.study.sweep.points.in_lots`.
        cores : int
            That the processes share. With few lots left, each gets several threads, so that none idles. [–]
        progress : callable
            Called now and then with the rays done of the points in hand, from this thread.

        Raises
        ------
        RunError
            If rays were lost, or a process ended.
        """
        own, idle = threading.local(), list(self._all)
        in_hand = dict.fromkeys(range(len(lots)), 0)

        def traced(place: int) -> tuple[int, list[Point]]:
            threads = -(-cores // min(len(self._all), len(lots) - place))
            found = own.worker.traced(lots[place], threads=threads, progress=lambda done: in_hand.update({place: done}))
            return place, found

        pool = ThreadPoolExecutor(len(self._all), initializer=lambda: setattr(own, "worker", idle.pop()))
        try:
            left = {pool.submit(traced, place) for place in range(len(lots))}
            while left:
                done, left = wait(left, timeout=LOOK_S, return_when=FIRST_COMPLETED)
                for future in done:
                    place, points = future.result()
                    del in_hand[place]
                    yield from points
                progress(sum(in_hand.values()))
        finally:
            pool.shutdown(wait=False, cancel_futures=True)

    def close(self) -> None:
        """End them, whatever they are at."""
        for worker in self._all:
            worker.close()


def serve() -> None:
    """What such a process does: take points from its input, until that ends, and answer on its output."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    wishes = sys.stdin.buffer
    scene, options = pickle.load(wishes)

    def answer(message: Any) -> None:
        pickle.dump(message, answers)
        answers.flush()

    while True:
        try:
            lot, threads = pickle.load(wishes)
        except EOFError:
            return
        try:
            points = traced_points(scene, lot, threads=threads, progress=lambda done, _: answer(done), **options)
            answer(list(points))
        except DishtraceError as error:
            answer(error)
