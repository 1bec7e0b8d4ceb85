"""The ledger: every watt booked once, where it ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.dish.outline import Outline
from dishtrace.stats import Estimate, counted, jackknife, total
from dishtrace.trace import optics as column

ENDS = {
    "shaded": column.SHADED,
    "mirror_absorbed": column.MIRROR_ABSORBED,
    "blocked": column.BLOCKED,
    "receiver": column.RECEIVER_ABSORBED,
    "stand": column.STAND_ABSORBED,
    "other_parts": column.OTHER_ABSORBED,
    "escaped": column.ESCAPED,
    "missed": column.MISSED,
    "lost": column.LOST,
}
FIRST_HITS = {
    "receiver": column.FIRST_RECEIVER,
    "stand": column.FIRST_STAND,
    "other_parts": column.FIRST_OTHER,
    "none": column.FIRST_NONE,
}
DIRECT = {
    "incident": column.DIRECT_INCIDENT,
    "absorbed": column.DIRECT_ABSORBED,
    "mirror": column.DIRECT_MIRROR,
    "escaped": column.DIRECT_ESCAPED,
    "lost": column.DIRECT_LOST,
}


@dataclass(frozen=True, eq=False)
class Ledger:
    """Where the light goes.

    Parameters
    ----------
    budget_w : dict of Estimate
        outline = gaps + shaded + mirror_absorbed + blocked + receiver + stand + other_parts + escaped + missed + lost,
        to rounding. [W]
    first_hit_w : dict of Estimate
        What the light that leaves the mirror meets first: receiver, stand, other_parts, none. [W]
    intercept_factor : Estimate
        first_hit receiver over the power that leaves the mirror. [–]
    direct_w : dict of Estimate
        Sunlight that meets parts without the mirror: incident = absorbed + mirror + escaped + lost. [W]
    overhang_w : Estimate
        What meets facets that stick out of the outline; it is part of the outline's power. [W]
    """

    budget_w: dict[str, Estimate]
    first_hit_w: dict[str, Estimate]
    intercept_factor: Estimate
    direct_w: dict[str, Estimate]
    overhang_w: Estimate


def hole_power(outline: Outline, sun: np.ndarray, *, dni: float, focal_length: float) -> float:
    """Sunlight towards the mirror's hole, exact for a sunshape that is symmetric about its centre. [W]

    The mean over the sunshape of direction / cos(angle from the centre) is the centre's direction, so the power per
    plan area at (x, y) is DNI (s_z - (x s_x + y s_y) / (2 f)).
    """
    _, moment = outline.moments()
    return float(dni * (sun[2] * outline.hole_area - (sun[:2] @ moment) / (2.0 * focal_length)))


def ledger(rows: np.ndarray, *, outline_w: float, hole_w: float, is_skin: bool, direct_ray_w: float = 0.0) -> Ledger:
    """The ledger from the tally's budget.

    Parameters
    ----------
    rows : (32, 22) float64
        Power of each block in the tally's columns. [W]
    outline_w, hole_w : float
        Exact power over the outline without its hole, and over the hole. [W]
    is_skin : bool
        Whether the mirror is one continuous skin, whose only gap is the hole; between facets the gaps are what the
        facets do not meet.
    direct_ray_w : float
        What one ray straight from the sun adds to a sum; 0 where that light is not told. [W]
    """
    n_blocks = len(rows)
    met, overhang = rows[:, column.OUTLINE], rows[:, column.OVERHANG]
    if is_skin:
        outline, gaps = met + hole_w / n_blocks, np.full(n_blocks, hole_w / n_blocks)
    else:
        outline = overhang + (outline_w + hole_w) / n_blocks
        gaps = outline - met

    def ratio(sums: np.ndarray) -> np.ndarray:
        power = np.where(sums[:, column.LEAVING] > 0.0, sums[:, column.LEAVING], np.nan)
        return (sums[:, column.FIRST_RECEIVER] / power)[:, np.newaxis]

    (intercept,) = jackknife(ratio, rows)
    ends = {key: total(rows[:, number]) for key, number in ENDS.items()}
    return Ledger(
        budget_w={"outline": total(outline), "gaps": total(gaps), **ends},
        first_hit_w={key: total(rows[:, number]) for key, number in FIRST_HITS.items()},
        intercept_factor=intercept,
        direct_w={key: counted(rows[:, number], direct_ray_w) for key, number in DIRECT.items()},
        overhang_w=total(overhang),
    )
