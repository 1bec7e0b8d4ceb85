"""The light on one part and what the rest of it meets: a trace without screens, spot and the other parts' flux maps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.cores import available_cores
from dishtrace.errors import RunError
from dishtrace.flux.ledger import ENDS, FIRST_HITS
from dishtrace.flux.part import FIGURES, PartResult, part_results
from dishtrace.flux.prepared import Prepared
from dishtrace.stats import Estimate, total
from dishtrace.trace.assembly import direct_ray_power
from dishtrace.trace.cpu import Job
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import points_for, run_together

if TYPE_CHECKING:
    from dishtrace.dish.mount import Pose
    from dishtrace.scene.model import Scene
    from dishtrace.trace.optics import Tally

MOST_LOST_SHARE = 1e-6


@dataclass(frozen=True, eq=False)
class Light:
    """What a trace says of one part; it stands for a `Result` wherever only that part is looked at.

    Parameters
    ----------
    scene : Scene
    pose : Pose
        How the dish stands.
    parts : dict of PartResult
        The part alone, by its name.
    others_w : dict of Estimate
        Light from the mirror that meets other parts first, by their name. [W]
    first_hit_w : dict of Estimate
        What light from the mirror meets first, by role; see `dishtrace.flux.ledger.Ledger`. [W]
    shaded_w : Estimate
        Sunlight that parts keep from the mirror. [W]
    notes : tuple of str
    rays : int
        Traced from the mirror. [–]
    stopped : bool
        Whether the user stopped it early.
    """

    scene: Scene
    pose: Pose
    parts: dict[str, PartResult]
    others_w: dict[str, Estimate]
    first_hit_w: dict[str, Estimate]
    shaded_w: Estimate
    notes: tuple[str, ...]
    rays: int
    stopped: bool


def lights_on(
    scenes: Sequence[Prepared],
    number: int,
    *,
    rays: int,
    threads: int | None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Light]:
    """Trace scenes with the same mirror rays for one of their parts.

    Figures are those of `trace` without peak points, to the last bit: the peak is that of the triangles.

    Parameters
    ----------
    scenes : sequence of Prepared
    number : int
        Of the part.
    rays, threads
        As for `trace`.
    progress : callable, optional
        Called with (rays done, rays wanted), of all scenes together.

    Returns
    -------
    list of Light
        With `stopped` set when the user pressed Ctrl-C; all then hold the same number of rays.

    Raises
    ------
    RunError
        If more than one ray in a million was lost.
    """
    n_points = points_for(rays)
    tallies = [one.tally() for one in scenes]
    threads = available_cores() if threads is None else threads
    with StopFlag() as stop, ThreadPoolExecutor(max_workers=threads) as pool:
        done = run_together(
            [Job(one.assembly.optics, no_screens(), tally) for one, tally in zip(scenes, tallies, strict=True)],
            n_points=n_points,
            threads=threads,
            stop=stop,
            progress=progress,
        )
        told = partial(_light, number=number, n_rays=done * N_SCRAMBLES, stopped=done < n_points)
        return list(pool.map(told, scenes, tallies))


def _light(prepared: Prepared, tally: Tally, *, number: int, n_rays: int, stopped: bool) -> Light:
    """What a tally says of one part."""
    scene, n_lost = prepared.scene, int(tally.n_lost.sum())
    if n_lost > MOST_LOST_SHARE * n_rays:
        told = "; ".join(f"{part.name} {part.center_m}" for part in scene.parts)
        raise RunError(f"{scene.file}: {n_lost} of {n_rays} rays were lost, more than one in a million, with {told}")
    budget = tally.budget / n_rays
    return Light(
        scene=scene,
        pose=prepared.mirror.pose,
        parts=_part_alone(prepared, tally, number, n_rays=n_rays),
        others_w={
            mesh.name: total(tally.parts[:, k, :, FIGURES.index("first_w")].sum(axis=1) / n_rays)
            for k, mesh in enumerate(prepared.meshes)
            if k != number
        },
        first_hit_w={key: total(budget[:, column]) for key, column in FIRST_HITS.items()},
        shaded_w=total(budget[:, ENDS["shaded"]]),
        notes=(*scene.notes, *prepared.sun.notes, *prepared.mirror.pose.notes),
        rays=n_rays,
        stopped=stopped,
    )


def _part_alone(prepared: Prepared, tally: Tally, number: int, *, n_rays: int) -> dict[str, PartResult]:
    """Figures of one part; the others' flux on triangles is not looked at."""
    order = prepared.assembly.order
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))
    first = sum(len(mesh.triangles) for mesh in prepared.meshes[:number])
    mesh = prepared.meshes[number]
    rows = position[first : first + len(mesh.triangles)]
    own = tally._replace(
        parts=tally.parts[:, number : number + 1], incident=tally.incident[:, rows], absorbed=tally.absorbed[:, rows]
    )
    direct_ray_w = direct_ray_power(prepared.assembly.optics) / n_rays
    return part_results((mesh,), own, np.arange(len(rows)), n_rays=n_rays, direct_ray_w=direct_ray_w)
