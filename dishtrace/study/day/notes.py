"""What must be known to read the numbers of a day or year: where the light comes from, and what is doubtful."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.light import Light
    from dishtrace.study.day.poses import Poses
    from dishtrace.study.day.sky import Sky
    from dishtrace.study.day.table import Table

WIDE = 0.01
"""Error between traced directions, as a share of the sunlight, from which on more traces are advised. [–]"""
COARSE = 0.02
"""Error of sums by the length of the steps from which on shorter steps are advised. [–]"""


def notes_of(scene: Scene, sky: Sky, light: Light, table: Table, poses: Poses, *, zone_note: str) -> tuple[str, ...]:
    """All notes of a day or year."""
    notes = [*sky.notes]
    notes.append("standard errors are those of tracing and of what lies between traced directions, not of the sky")
    if zone_note:
        notes.append(zone_note)
    notes += _between(light)
    off, minutes = coarseness(table), table.path.step_s / 60.0
    if off > COARSE:
        remedy = "; shorter steps (--step) tell more" if minutes > 1.0 else ""
        notes.append(
            f"DOUBTFUL: the light on receivers changes so much within steps of {minutes:g} min that energies of days "
            f"and months may be off by {_percent(off)} beside their errors, and short peaks are missed{remedy}"
        )
    dark = int((~poses.is_lit & (sky.dni_w_m2 > 0.0)).sum())
    if dark:
        notes.append(
            f"in {dark} of {len(sky.dni_w_m2)} steps the sun stands behind the dish, and its light is not counted"
        )
    if scene.obstacles:
        notes.append("obstacles are taken to dim mirror and parts alike: the spot keeps its shape under their shade")
    return tuple(notes)


def _between(light: Light) -> list[str]:
    """What is told of steps that were not traced."""
    chosen, notes = light.chosen, []
    if (light.owners < 0).any():
        checks = f"{chosen.n_checks} of them to check the rest" if chosen.n_checks else "none of them to check the rest"
        notes.append(
            f"{len(chosen.steps)} of {len(light.owners)} sun directions were traced, {checks}; between them the light "
            "is interpolated (kriging)"
        )
        error = light.between("first.receiver") / max(float(light.known[:, light.names.index("outline")].max()), 1e-300)
        if error > WIDE:
            notes.append(
                f"DOUBTFUL: single steps between traced directions err by {_percent(error)} of the sunlight, most of "
                f"them by less; sums by less, as told; --traces {3 * len(chosen.steps)} makes it smaller"
            )
    if chosen.is_stopped:
        notes.append("stopped early: fewer directions were traced than wanted, and none to check the rest")
    return notes


def _percent(share: float) -> str:
    return f"about {100.0 * share:.2g} %"


def coarseness(table: Table) -> float:
    """About how far sums of the receivers' light are off because each step counts by its middle, as a share. [–]

    The error of the midpoint rule over a step is its second difference over 24; their sizes are summed, so that this is
    what a day may be off by, and a year is off by less.
    """
    power, path = table.columns["receiver_w"][0], table.path
    if not power.sum() > 0.0:
        return 0.0
    begins = np.array([start.timestamp() for start in path.start])
    breaks = np.flatnonzero(np.diff(begins) > 1.5 * path.step_s) + 1
    bends = sum(
        np.abs(np.diff(np.concatenate([[0.0, 0.0], days, [0.0, 0.0]]), n=2)).sum() for days in np.split(power, breaks)
    )
    return float(bends / 24.0 / power.sum())
