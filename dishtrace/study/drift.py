"""How long a dish that stands still keeps its spot on the receiver."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.cores import available_cores
from dishtrace.dish.mount import has_sun_behind
from dishtrace.dish.pose import Pose
from dishtrace.errors import InputError
from dishtrace.flux.ledger import ledger
from dishtrace.flux.prepared import Prepared, prepare
from dishtrace.stats import Estimate, from_left_out
from dishtrace.sun.position import sun_at
from dishtrace.trace.assembly import assemble
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import points_for, run

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState
    from dishtrace.trace.assembly import Assembly
    from dishtrace.trace.optics import Tally

RAYS = 8192
LONGEST_MIN = 120.0
FIRST_STEP_MIN = 1.0
BRACKET_MIN = 0.1
"""Width of the bracket at which bisection ends. [min]"""
SLOPE_SHARE = 0.05
"""Half of the stretch over which the slope is taken, as a share of the time; at least `BRACKET_MIN`. [–]"""
LEVELS = {"half_min": 0.5, "gone_min": 0.01}
"""Light on the receiver, relative to that at the scene's time. [–]"""


@dataclass(frozen=True)
class Drift:
    """When the spot has left the receiver of a dish that stands still.

    Parameters
    ----------
    half_min, gone_min : Estimate or None
        Time from the scene's own until the share of the light leaving the mirror that meets a receiver first has fallen
        to one half and to one hundredth of what it was; None when that was not reached or not looked for. [min]
    share : Estimate or None
        That share at the scene's own time, its intercept factor; None when nothing was traced. [–]
    followed_min : float
        How far the sun was followed. [min]
    rays : int
        Rays of each trace. [–]
    notes : tuple of str
        Why a time is missing.
    stopped : bool
        Whether the user stopped it early.
    """

    half_min: Estimate | None = None
    gone_min: Estimate | None = None
    share: Estimate | None = None
    followed_min: float = 0.0
    rays: int = 0
    notes: tuple[str, ...] = ()
    stopped: bool = False

    def to_dict(self) -> dict:
        """As in results.json."""
        estimates = {"half_min": self.half_min, "gone_min": self.gone_min, "share": self.share}
        return {
            **{key: None if value is None else value.to_dict() for key, value in estimates.items()},
            "followed_min": self.followed_min,
            "rays": self.rays,
            "stopped": self.stopped,
            "notes": list(self.notes),
        }


def leaving_times(scene: Scene, *, rays: int = RAYS, seed: int | None = None, threads: int | None = None) -> Drift:
    """How long until the spot has left the receivers of a fixed dish, at most 120 min.

    Parameters
    ----------
    scene : Scene
        With `mount.kind = "fixed"`.
    rays : int
        Rays of each of some twenty traces, rounded up to units of 8192. [–]
    seed : int, optional
        Seed of the rays, the same at all times; left out, `run.seed` of the scene.
    threads : int, optional
        Left out, all cores.

    Returns
    -------
    Drift
        With notes instead of times where the scene gives no time, has no receiver, or no light meets one.

    Raises
    ------
    InputError
        If the mount is another one, or the scene cannot be traced as described.

    Notes
    -----
    Steps that double find the first time at which less than the wanted share is left, bisection narrows it to 0.1 min,
    and the share is taken as straight within that bracket. The standard error of a time is that of the share, paired
    with the start through the common random points, over its slope, and the bracket's width over sqrt(12) beside it.
    Irradiance and sunshape stay those of the scene's time; the share does not depend on how bright the sun is. A
    receiver that the spot leaves and meets again within one step counts as met all along.
    """
    if scene.mount.kind != "fixed":
        fault = scene.fault(("mount", "kind"), allowed='must be "fixed" to ask when the spot leaves the receiver')
        raise InputError(fault)
    return stopped_drive_times(scene, rays=rays, seed=seed, threads=threads)


def stopped_drive_times(
    scene: Scene, *, rays: int = RAYS, seed: int | None = None, threads: int | None = None
) -> Drift:
    """How long until the spot has left the receivers when a dish on any mount stands still from the scene's time on.

    Parameters, returns and notes are those of `leaving_times`.

    Raises
    ------
    InputError
        If the scene cannot be traced as described.
    """
    if scene.sun.time is None:
        return Drift(notes=("the scene gives the sun's direction without a time, so how it moves on is not known",))
    if not any(part.role == "receiver" for part in scene.parts):
        return Drift(notes=("the scene has no receiver that the spot could leave",))
    seed = scene.run.seed if seed is None else seed
    threads = available_cores() if threads is None else threads
    with StopFlag() as stop:
        start = prepare(scene, seed=seed)
        shares = _Shares(start, points_for(rays), seed, threads, stop)
        return _followed(start, shares, is_stopped=lambda: stop.is_set)


@dataclass
class _Shares:
    """Shares of the light leaving the mirror that meet a receiver first, by time; each time is traced once."""

    start: Prepared
    n_points: int
    seed: int
    threads: int
    stop: StopFlag
    known: dict[float, Estimate] = field(default_factory=dict)

    def at(self, minutes: float) -> Estimate:
        """The share itself. [–]"""
        if minutes not in self.known:
            self.known[minutes] = self._traced(minutes)
        return self.known[minutes]

    def relative(self, minutes: float) -> Estimate:
        """The share over that at the start, with its paired error. [–]"""
        first, now = self.at(0.0), self.at(minutes)
        ratio = now.value / first.value
        if now.left_out is None or first.left_out is None or not np.all(first.left_out > 0.0):
            return Estimate(ratio, None)
        return from_left_out(ratio, now.left_out / first.left_out)

    def _traced(self, minutes: float) -> Estimate:
        sun = sun_after(self.start, minutes)
        options = {"n_points": self.n_points, "seed": self.seed, "threads": self.threads, "stop": self.stop}
        _, tally, n_rays = traced_held(self.start, sun, **options)
        share = ledger(tally.budget / n_rays, outline_w=0.0, hole_w=0.0, is_skin=True).intercept_factor
        return share if np.isfinite(share.value) else Estimate(0.0, None)


def traced_held(
    start: Prepared, sun: SunState, *, n_points: int, seed: int, threads: int, stop: StopFlag
) -> tuple[Assembly, Tally, int]:
    """Trace a dish that has not moved since the scene's time, under another sun: what the rays met, and their number.

    Parameters
    ----------
    start : Prepared
        At the scene's time.
    sun : SunState
    n_points : int
        Of each scramble. [–]
    seed, threads, stop
        As for a run.
    """
    mirror = dataclasses.replace(start.mirror, pose=held_pose(start, sun))
    assembly = assemble(start.scene, sun_state=sun, mirror=mirror, facets=start.facets, meshes=start.meshes, seed=seed)
    tally = start.tally()
    done = run(assembly.optics, no_screens(), tally, n_points=n_points, threads=threads, stop=stop)
    return assembly, tally, done * N_SCRAMBLES


def held_pose(start: Prepared, sun: SunState) -> Pose:
    """The pose of a dish that has not moved since the scene's time, under another sun."""
    pose = start.mirror.pose
    return dataclasses.replace(pose, sun=pose.rotation @ sun.direction)


def sun_after(start: Prepared, minutes: float) -> SunState:
    """The sun some minutes after the scene's time, its brightness and shape unchanged; it may be down."""
    there = sun_at(start.scene, start.scene.sun.time + timedelta(minutes=minutes))
    return dataclasses.replace(
        start.sun,
        direction=there.direction,
        azimuth_deg=there.azimuth_deg,
        elevation_deg=there.elevation_deg,
    )


def end_of_sun(start: Prepared, sun: SunState) -> str:
    """Why a dish that has not moved has no sun; empty while it has.

    As for every scene, the sun's centre must be seen above a level horizon, before the dish and before half of its
    mirror at least.
    """
    if sun.elevation_deg <= 0.0:
        return "the sun sets"
    return "the sun goes behind the dish" if has_sun_behind(start.mirror, held_pose(start, sun).sun) else ""


def _last_sun(start: Prepared) -> tuple[float, str]:
    """Until when the sun can be followed, to 0.1 min and at most 120 min, and what ends it. [min]"""

    def ending(minutes: float) -> str:
        return end_of_sun(start, sun_after(start, minutes))

    lit, dark, step = 0.0, None, FIRST_STEP_MIN
    while dark is None and lit < LONGEST_MIN:
        time = min(step, LONGEST_MIN)
        lit, dark = (lit, time) if ending(time) else (time, None)
        step *= 2.0
    if dark is None:
        return LONGEST_MIN, ""
    lit, dark = _bisected(lambda time: not ending(time), lit, dark)
    return lit, ending(dark)


def _bisected(is_before: Callable[[float], bool], low: float, high: float) -> tuple[float, float]:
    """A bracket no wider than 0.1 min inside one whose low end is before what is sought and whose high end is not."""
    while high - low > BRACKET_MIN:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if is_before(middle) else (low, middle)
    return low, high


def _followed(start: Prepared, shares: _Shares, *, is_stopped: Callable[[], bool]) -> Drift:
    """Both times."""
    first, rays = shares.at(0.0), shares.n_points * N_SCRAMBLES
    made = partial(Drift, share=first, rays=rays)
    if first.value <= 0.0:
        return made(notes=("no light meets a receiver at the scene's time, so there is none to leave it",))
    last, ending = _last_sun(start)
    found: dict[str, Estimate] = {}
    for key, level in LEVELS.items():
        time = None if is_stopped() else _time_of(shares, level, last, is_stopped)
        if is_stopped():
            note = "stopped before it was known when the light leaves the receiver"
            return made(**found, followed_min=max(shares.known), notes=(note,), stopped=True)
        if time is None:
            return made(**found, followed_min=last, notes=(_unreached(shares, last, ending),))
        found[key] = time
    return made(**found, followed_min=max(shares.known))


def _unreached(shares: _Shares, last: float, ending: str) -> str:
    """Why the light has not left."""
    left = f"{100.0 * shares.relative(last).value:.0f} % of the first light"
    if ending:
        return f"{ending} after {last:.1f} min, while {left} still meets the receiver"
    return f"after {last:.0f} min, as far as it is followed, {left} still meets the receiver"


def _time_of(shares: _Shares, level: float, last: float, is_stopped: Callable[[], bool]) -> Estimate | None:
    """When the relative share has fallen to a level; None when it has not by the last time. [min]"""

    def is_before(time: float) -> bool:
        return not is_stopped() and shares.relative(time).value > level

    low, high = 0.0, min(FIRST_STEP_MIN, last)
    while is_before(high):
        if high >= last:
            return None
        low, high = high, min(2.0 * high, last)
    low, high = _bisected(is_before, low, high)
    if is_stopped():
        return None
    before, after = shares.relative(low).value, shares.relative(high).value
    time = low + (high - low) * (before - level) / (before - after)
    return Estimate(time, _time_error(shares, time, bracket=(low, high), last=last))


def _time_error(shares: _Shares, time: float, *, bracket: tuple[float, float], last: float) -> float | None:
    """Standard error of a time from the bracket's width and the error of the share over its slope. [min]

    None where that error or the slope is unknown: with no light seen inside the bracket, or no fall around it.
    """
    ends = [shares.relative(end) for end in bracket if end > 0.0]
    errors = [end.se for end in ends if end.value > 0.0]
    if not errors or None in errors:
        return None
    reach = max(BRACKET_MIN, SLOPE_SHARE * time)
    early, late = max(0.0, time - reach), min(last, time + reach)
    fall = shares.relative(early).value - shares.relative(late).value
    if fall <= 0.0:
        return None
    width = bracket[1] - bracket[0]
    return float(np.hypot(width / np.sqrt(12.0), max(errors) * (late - early) / fall))
