"""What an imperfect drive does: a clock that runs wrong, a setting that is stale, a drive that stops."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.flux.ledger import ledger
from dishtrace.flux.measure import prepare
from dishtrace.flux.part import part_results
from dishtrace.scene.uncertain import nominal
from dishtrace.stats import Estimate
from dishtrace.study.day.light import scene_at, traced
from dishtrace.study.day.poses import CLOCK_DRIVEN, declination_at
from dishtrace.study.drift import end_of_sun, sun_after, traced_held
from dishtrace.study.stopping import StoppedError
from dishtrace.study.tracer import Tracer
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.run import points_for

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.scene.model import Scene

CLOCK_ERRORS_MIN = (-8.0, -4.0, -2.0, 2.0, 4.0, 8.0)
DAYS_STALE = (7, 14, 28)
STOPPED_MIN = (0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0)
N_SLIPS = 1 + len(CLOCK_ERRORS_MIN) + len(DAYS_STALE)


@dataclass(frozen=True)
class Slip:
    """The dish at one moment with something wrong about its drive.

    Parameters
    ----------
    kind : str
        "clock", "setting" or "none", with which the others are compared.
    clock_error_min : float
        Ahead positive. [min]
    days : int
        Since the declination was set. [d]
    declination_error_deg : float
        What is set minus the sun's. [deg]
    share : Estimate
        Of the light leaving the mirror, that on receivers first. [–]
    receiver_w, stand_w : Estimate
        Mirror light that meets them first. [W]
    shift_m : tuple of Estimate
        Of the spot's middle in the focal plane since "none", along x and y of the dish frame. [m]
    """

    kind: str
    clock_error_min: float
    days: int
    declination_error_deg: float
    share: Estimate
    receiver_w: Estimate
    stand_w: Estimate
    shift_m: tuple[Estimate, Estimate]

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "kind": self.kind,
            "clock_error_min": self.clock_error_min,
            "days_since_set": self.days,
            "declination_error_deg": self.declination_error_deg,
            "intercept_factor": self.share.to_dict(),
            "receiver_first_w": self.receiver_w.to_dict(),
            "stand_first_w": self.stand_w.to_dict(),
            "shift_m": [value.to_dict() for value in self.shift_m],
        }


@dataclass(frozen=True)
class Standing:
    """The dish some minutes after its drive has stopped.

    Parameters
    ----------
    minutes : float
        [min]
    share : Estimate
        Of the light leaving the mirror, that on receivers first. [–]
    passed_w : Estimate
        Mirror light that meets no part. [W]
    first_w, peak_w_m2 : dict of Estimate
        By part: mirror light that meets it first [W], and its brightest square centimetre [W/m2].
    """

    minutes: float
    share: Estimate
    passed_w: Estimate
    first_w: dict[str, Estimate]
    peak_w_m2: dict[str, Estimate]

    def to_dict(self) -> dict[str, Any]:
        """As in day.json."""
        return {
            "minutes": self.minutes,
            "intercept_factor": self.share.to_dict(),
            "passed_w": self.passed_w.to_dict(),
            "first_w": {name: value.to_dict() for name, value in self.first_w.items()},
            "peak_w_m2": {name: value.to_dict() for name, value in self.peak_w_m2.items()},
        }


def slips(
    scene: Scene, time: datetime, *, dni: float, set_declination: float | None, tracer: Tracer
) -> tuple[list[Slip], bool]:
    """A dish that a clock turns, at a time, with its clock wrong and its setting stale.

    Parameters
    ----------
    scene : Scene
    time : datetime
    dni : float
        [W/m2]
    set_declination : float or None
        As the dish is set then, where it is re-set from time to time. [rad]
    tracer : Tracer

    Returns
    -------
    found : list of Slip
        "none" first; empty for other mounts.
    is_stopped : bool
    """
    if scene.mount.kind not in CLOCK_DRIVEN:
        return [], False
    sun = declination_at(scene, time)
    own = scene.mount.set_declination_deg
    setting = set_declination if own is None else float(np.radians(nominal(own)))
    clock = float(nominal(scene.mount.clock_error_min))
    wanted = [("none", clock, 0, setting)]
    wanted += [("clock", clock + error, 0, setting) for error in CLOCK_ERRORS_MIN]
    wanted += [("setting", clock, days, declination_at(scene, time - timedelta(days=days))) for days in DAYS_STALE]
    found: list[Slip] = []
    first: Result | None = None
    for kind, error, days, declination in wanted:
        mount = scene.mount.model_copy(update={"clock_error_min": error})
        try:
            result = traced(scene.model_copy(update={"mount": mount}), time, tracer, set_declination=declination)
        except StoppedError:
            return found, True
        first = first or result
        beside = 0.0 if declination is None else float(np.degrees(declination - sun))
        found.append(_slip(kind, error, days, beside, result, first, dni / result.sun.dni_w_m2))
    return found, False


def _slip(kind: str, error: float, days: int, beside: float, result: Result, first: Result, scale: float) -> Slip:
    shift = tuple(
        here.minus(there)
        for here, there in zip(result.focal_plane.centroid_m, first.focal_plane.centroid_m, strict=True)
    )
    hits = result.first_hit_w
    return Slip(
        kind,
        error,
        days,
        beside,
        result.intercept_factor,
        hits["receiver"].scaled(scale),
        hits["stand"].scaled(scale),
        shift,
    )


def stopped_drive(
    scene: Scene,
    time: datetime,
    *,
    dni: float,
    set_declination: float | None,
    rays: int,
    seed: int,
    threads: int,
) -> tuple[list[Standing], bool]:
    """Where the light goes when the dish stands still from a time on, while the sun moves.

    Parameters
    ----------
    scene : Scene
    time : datetime
    dni : float
        Held. [W/m2]
    set_declination : float or None
        [rad]
    rays, seed, threads : int

    Returns
    -------
    found : list of Standing
        At 0, 2, 5, 10, 20, 40 and 80 minutes, until the sun sets or goes behind the dish; see `end_of_sun`.
    is_stopped : bool
        Whether the user stopped it.
    """
    at = scene_at(scene, time, set_declination=set_declination)
    start = prepare(at.model_copy(update={"sun": at.sun.model_copy(update={"dni_w_m2": max(dni, 1.0)})}), seed=seed)
    found: list[Standing] = []
    with StopFlag() as stop:
        for minutes in STOPPED_MIN:
            sun = sun_after(start, minutes)
            if end_of_sun(start, sun) or stop.is_set:
                break
            options = {"n_points": points_for(rays), "seed": seed, "threads": threads, "stop": stop}
            assembly, tally, n_rays = traced_held(start, sun, **options)
            booked = ledger(tally.budget / n_rays, outline_w=0.0, hole_w=0.0, is_skin=True)
            parts = part_results(start.meshes, tally, assembly.order, n_rays=n_rays)
            found.append(
                Standing(
                    minutes,
                    booked.intercept_factor,
                    booked.first_hit_w["none"],
                    {name: part.first_w for name, part in parts.items()},
                    {name: part.peak_w_m2 for name, part in parts.items()},
                )
            )
        return found, stop.is_set
