"""The light on one part and what the rest of it meets: a trace without screens, spot and the other parts' flux maps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import RunError
from dishtrace.flux.ledger import ENDS, FIRST_HITS
from dishtrace.flux.part import FIGURES, PartResult, part_results
from dishtrace.flux.prepared import Prepared, prepare
from dishtrace.stats import Estimate, total
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import available_threads, points_for, run

if TYPE_CHECKING:
    from dishtrace.dish.mount import Pose
    from dishtrace.scene.model import Scene

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
    stopped: bool


def light_on(
    scene: Scene,
    number: int,
    *,
    rays: int,
    seed: int,
    threads: int | None,
    progress: Callable[[int, int], None] | None = None,
) -> Light:
    """Trace a scene for one of its parts; the rays are those of `trace`, and so are the figures, to the last bit.

    Parameters
    ----------
    scene : Scene
    number : int
        Of the part.
    rays, seed, threads, progress
        As for `trace`.

    Raises
    ------
    InputError
        If the scene cannot be traced as described.
    RunError
        If more than one ray in a million was lost.
    """
    n_points = points_for(rays)
    threads = available_threads() if threads is None else threads
    with StopFlag() as stop:
        prepared = prepare(scene, seed=seed)
        tally = prepared.tally()
        done = run(
            prepared.assembly.optics,
            no_screens(),
            tally,
            n_points=n_points,
            threads=threads,
            stop=stop,
            progress=progress,
        )
    n_rays = done * N_SCRAMBLES
    n_lost = int(tally.n_lost.sum())
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
        stopped=done < n_points,
    )


def _part_alone(prepared: Prepared, tally: object, number: int, *, n_rays: int) -> dict[str, PartResult]:
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
    return part_results((mesh,), own, np.arange(len(rows)), n_rays=n_rays)
