"""What every study is asked for, checked before anything is traced: rays, seed and threads."""

from __future__ import annotations

from typing import NamedTuple

from dishtrace.flux.numbers import Checks
from dishtrace.scene.model import Scene
from dishtrace.scene.uncertain import nominal


class Asked(NamedTuple):
    """Rays of each trace, seed, and threads, None where all cores are meant. [–]"""

    rays: int
    seed: int
    threads: int | None


def asked(
    call: str,
    scene: Scene,
    *,
    rays: int | None,
    seed: int | None,
    threads: int | None,
    one_in: int = 1,
    most_rays: int | None = None,
) -> Asked:
    """Rays, seed and threads of a study; those of the scene's [run] where they are left out.

    Parameters
    ----------
    call : str
        Name of the study, which stands where a fault of a file has the file.
    scene : Scene
    rays, seed, threads : int or None
        As given.
    one_in : int
        Rays left out are one in so many of the scene's. [–]
    most_rays : int, optional
        Rays left out are so many at most. [–]

    Raises
    ------
    InputError
        With all that is wrong with them.
    """
    checks = Checks(call)
    checks.scene(scene)
    if rays is None:
        rays = max(nominal(scene.run.rays) // one_in, 1)
        rays = rays if most_rays is None else min(rays, most_rays)
    found = Asked(
        checks.whole("rays", rays),
        checks.whole("seed", scene.run.seed if seed is None else seed),
        None if threads is None else checks.whole("threads", threads),
    )
    checks.end()
    return found
