"""What must be known to read the numbers of a day or year: where the light comes from, and what is doubtful."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.scene.uncertain import nominal

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
    notes += _between(light, table)
    notes += _coarse(scene, light, table, poses)
    dark = int((~poses.is_lit & (sky.dni_w_m2 > 0.0)).sum())
    if dark:
        notes.append(
            f"in {dark} of {len(sky.dni_w_m2)} steps the sun stands behind the dish, and its light is not counted"
        )
    if scene.obstacles:
        notes.append("obstacles are taken to dim mirror and parts alike: the spot keeps its shape under their shade")
    return tuple(notes)


def _between(light: Light, table: Table) -> list[str]:
    """What is told of steps that were not traced."""
    chosen, notes = light.chosen, []
    lit = light.is_lit & (table.reaching_w_m2 > 0.0)
    if (light.owners[lit] < 0).any():
        checks = f"{chosen.n_checks} of them to check the rest" if chosen.n_checks else "none of them to check the rest"
        notes.append(
            f"{len(chosen.steps)} of {lit.sum()} sun directions were traced, {checks}; between them the light "
            "is interpolated (kriging)"
        )
        error = light.between("first.receiver") / max(float(light.known[:, light.names.index("outline")].max()), 1e-300)
        if error > WIDE:
            notes.append(
                f"DOUBTFUL: single steps between traced directions err by {_percent(error)} of the sunlight, most of "
                f"them by less; sums by less, as told; --traces {min(3 * len(chosen.steps), 2000)} makes it smaller"
            )
    if chosen.is_stopped:
        notes.append("stopped early: fewer directions were traced than wanted, and none to check the rest")
    return notes


def _percent(share: float) -> str:
    return f"about {100.0 * share:.2g} %"


def _coarse(scene: Scene, light: Light, table: Table, poses: Poses) -> list[str]:
    """What is told where steps are too long to see the light change."""
    minutes = table.path.step_s / 60.0
    remedy = "; shorter steps (--step) tell more" if minutes > 1.0 else ""
    moved, receiver = spot_moves(scene, light, table, poses)
    if moved > receiver > 0.0:
        return [
            f"DOUBTFUL: the spot moves by {1e3 * moved:.0f} mm within a step of {minutes:g} min, past receivers of "
            f"about {1e3 * receiver:.0f} mm radius, so that steps miss when it is on them{remedy}"
        ]
    off = coarseness(light, table)
    if off > COARSE:
        return [
            f"DOUBTFUL: the light on receivers changes so much within steps of {minutes:g} min that energies of days "
            f"and months may be off by {_percent(off)} beside their errors{remedy}"
        ]
    return []


def _follows(table: Table) -> np.ndarray:
    """Steps, but for the last, that another one follows without a gap, (n - 1,) bool."""
    begins = np.array([start.timestamp() for start in table.path.start])
    return np.diff(begins) < 1.5 * table.path.step_s


def spot_moves(scene: Scene, light: Light, table: Table, poses: Poses) -> tuple[float, float]:
    """How far the spot moves in the focal plane in a step, and the radius of a disc as large as receivers. [m]"""
    sizes = [part.area_m2 for part in next(iter(light.results.values())).parts.values() if part.role == "receiver"]
    both = _follows(table) & poses.is_lit[1:] & poses.is_lit[:-1]
    if not sizes or not both.any():
        return 0.0, 0.0
    turned = np.einsum("nd,nd->n", poses.suns[1:][both], poses.suns[:-1][both])
    angle = float(np.median(np.arccos(np.clip(turned, -1.0, 1.0))))
    return float(nominal(scene.dish.focal_length_m)) * angle, float(np.sqrt(max(sizes) / np.pi))


def coarseness(light: Light, table: Table) -> float:
    """About how far sums of the mirror's light on receivers are off since each step counts by its middle. [–]

    The error of the midpoint rule over a step is the second difference of the light per irradiance over 24; their sizes
    are summed, so that this is what a day may be off by, and a year is off by less.
    """
    light_per_sun, sun = light.column("first.receiver")[0], table.reaching_w_m2
    follows = _follows(table)
    inner = np.flatnonzero(follows[:-1] & follows[1:]) + 1
    whole = float(light_per_sun @ sun)
    if not whole > 0.0 or not len(inner):
        return 0.0
    bends = np.abs(light_per_sun[inner - 1] - 2.0 * light_per_sun[inner] + light_per_sun[inner + 1])
    return float(bends @ sun[inner]) / 24.0 / whole
