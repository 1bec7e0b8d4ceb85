"""What is told of a dish through a day or a year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Date
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.heat.timeline import Timeline
    from dishtrace.scene.model import Scene
    from dishtrace.study.day.drive import Slip, Standing
    from dishtrace.study.day.hazards import Hazard
    from dishtrace.study.day.light import Light
    from dishtrace.study.day.poses import Poses
    from dishtrace.study.day.sky import Sky
    from dishtrace.study.day.table import Table
    from dishtrace.study.day.warmth import HeatedDay, Warmth
    from dishtrace.study.drift import Drift


@dataclass(frozen=True, eq=False)
class Day:
    """A dish over a day or a year.

    Parameters
    ----------
    scene : Scene
    version : str
    span : str
        "day" or "year".
    first : date
    days : int
    zone : str
        By which days and times are counted.
    rays, seed : int
        Of each trace.
    stopped : bool
        Whether the user stopped it early; what was finished is there.
    table : Table
        Steps in which the sun is up.
    sky : Sky
    poses : Poses
    light : Light
    energy_kwh : dict of Estimate
        See `dishtrace.study.day.table.sums_of`. [kWh]
    dni_kwh_m2 : float
        Direct normal irradiation above the horizon of the scene. [kWh/m2]
    months : dict
        For a year, by month 1 to 12: energies as in `energy_kwh`, and ``dni_kwh_m2``.
    slips : tuple of Slip
        For a day: clock errors and stale settings at the moment `worst_at`.
    standings : tuple of Standing
        For a day: after the drive stops at that moment.
    drift : Drift or None
        When the spot has then left the receivers.
    worst_at : datetime or None
        When the receivers get most.
    heats : tuple of HeatedDay
        Heating: of the day, or of chosen days of the year.
    hazards : tuple of Hazard
    notes : tuple of str
    """

    scene: Scene
    version: str
    span: str
    first: Date
    days: int
    zone: str
    rays: int
    seed: int
    stopped: bool
    table: Table
    sky: Sky
    poses: Poses
    light: Light
    energy_kwh: dict[str, Estimate]
    dni_kwh_m2: float
    months: dict[int, dict[str, Any]]
    slips: tuple[Slip, ...] = ()
    standings: tuple[Standing, ...] = ()
    drift: Drift | None = None
    worst_at: datetime | None = None
    heats: tuple[HeatedDay, ...] = ()
    hazards: tuple[Hazard, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def set_declination(self) -> np.ndarray | None:
        """As the dish was set at each step where it is re-set from time to time; None: as the scene says. [rad]"""
        return self.poses.set_declination

    @property
    def timelines(self) -> tuple[Timeline, ...]:
        """Fillings of all heated days."""
        return tuple(timeline for heat in self.heats for timeline in heat.timelines)

    @property
    def warmths(self) -> tuple[Warmth, ...]:
        """Other parts of all heated days."""
        return tuple(warmth for heat in self.heats for warmth in heat.warmths)

    @property
    def traces(self) -> int:
        """Sun directions that were traced. [–]"""
        return len(self.light.chosen.steps)

    def rows(self) -> list[dict[str, Any]]:
        """The tidy table: one row a step in which the sun is up."""
        return self.table.rows()

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "span": self.span,
            "first": self.first.isoformat(),
            "days": self.days,
            "zone": self.zone,
            "step_min": self.table.path.step_s / 60.0,
            "rays": self.rays,
            "seed": self.seed,
            "traces": self.traces,
            "checks": self.light.chosen.n_checks,
            "between_traces": self.between(),
            "stopped": self.stopped,
            "sky": self.sky.kind,
            "dni_kwh_m2": self.dni_kwh_m2,
            "energy_kwh": {key: value.to_dict() for key, value in self.energy_kwh.items()},
            "months": {str(month): _month_dict(told) for month, told in self.months.items()},
            "worst_at": None if self.worst_at is None else self.worst_at.isoformat(),
            "drive_stops": None if self.drift is None else self.drift.to_dict(),
            "after_stop": [standing.to_dict() for standing in self.standings],
            "drive_errors": [slip.to_dict() for slip in self.slips],
            "heating": [heat.to_dict() for heat in self.heats],
            "hazards": [hazard.to_dict() for hazard in self.hazards],
            "notes": list(self.notes),
            "rows": self.rows(),
        }

    def between(self) -> dict[str, float | None]:
        """Root mean square error between traced directions, as shares of the sunlight on it; None: unknown. [–]"""
        light, found = self.light, {}
        scale = float(light.known[:, light.names.index("outline")].max(initial=0.0))
        for key in ("receiver", "stand"):
            error = light.between(f"first.{key}") / scale if scale > 0.0 else np.nan
            found[key] = error if np.isfinite(error) else None
        return found


def _month_dict(told: dict[str, Any]) -> dict[str, Any]:
    return {key: value.to_dict() if isinstance(value, Estimate) else value for key, value in told.items()}
