"""Fit: what the readings after a test say about the dish that was really built."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError, gathered
from dishtrace.flux.measure import prepare
from dishtrace.presses import Presses
from dishtrace.scene.model import Scene
from dishtrace.scene.uncertain import nominal
from dishtrace.study.asked import asked
from dishtrace.study.fit.edges import EDGE, match_edges, read_radii, traced_edges
from dishtrace.study.fit.findings import LEVEL, Finding
from dishtrace.study.fit.given import Amount
from dishtrace.study.fit.heat_test import heat_test
from dishtrace.study.fit.ladder import FIRST_SLOPES_MRAD, Ladder, Rung, target_planes
from dishtrace.study.fit.log import read_log
from dishtrace.study.fit.outcome import Fit
from dishtrace.study.fit.patch import spot_patch
from dishtrace.study.fit.photo import read_photo
from dishtrace.study.fit.power_match import PowerMatch, match_power, optical_spread
from dishtrace.study.fit.scale import FORMS, read_scale
from dishtrace.study.fit.spot_test import N_NODES, SpotTest, bare_spot, matched_spot
from dishtrace.study.stopping import StoppedError
from dishtrace.study.tracer import Tracer

RAYS = 2**17
"""Rays of each of the traces, unless told otherwise. [–]"""
PILOT_RAYS = 8192
AROUND = 1.15
READ_AS = {
    "slope_error_from_spot_mrad": "the photo",
    "slope_error_from_target_mrad": "the radii by hand",
    "slope_error_from_power_mrad": "the power",
}
"""What slope errors come from, in words."""
KEY = "slope_error_mrad"


def fit(
    scene: Scene,
    *,
    log: str | Path | None = None,
    spot: str | Path | None = None,
    target: str | Sequence[float] | None = None,
    given: Mapping[str, Any] | None = None,
    scale: str | None = None,
    tone: str | float | None = None,
    axis_px: tuple[float, float] | None = None,
    is_seen_from_mirror: bool = True,
    turn_deg: float = 0.0,
    offset_m: float | tuple[float, float] = 0.0,
    edge: tuple[float, float] = EDGE,
    rays: int | None = None,
    seed: int | None = None,
    threads: int | None = None,
    progress: Callable[[int, int], None] | None = None,
    announce: Callable[[str], None] | None = None,
) -> Fit:
    """Evaluate readings of a dish against traces of its scene at several slope errors, with the same random points.

    Parameters
    ----------
    scene : Scene
        As it stood during the test: sun, receiver, place.
    log : str or Path, optional
        csv of a heating test; see `dishtrace.study.fit.log.read_log`.
    spot : str or Path, optional
        Photograph of the spot on a flat matt white target square to the axis.
    target : str or sequence of float, optional
        Radii of the bright patch read by hand: ``"31,33,30 mm"``, or metres. [m]
    given : mapping, optional
        Overrides the numbers in the log's head; numbers or pairs (value, standard error).
    scale : str, optional
        Of the photograph: ``"0.4 mm/px"``, ``"120,340 880,352 200 mm"``, or four corners and ``"200x150 mm"``.
    tone : "srgb", "linear" or float, optional
        Tone curve of the photograph; left out, sRGB for 8 bits and none for more.
    axis_px : (float, float), optional
        Column and row where the dish axis meets the target; without it the pointing cannot be told. [px]
    is_seen_from_mirror : bool
        Camera on the mirror's side of the target; False: behind a translucent one.
    turn_deg : float
        How far the photo's up is turned from the dish's y, counter-clockwise as the photo shows it. [deg]
    offset_m : float or (float, float)
        Place of the target along the axis, from the focus, and its standard error. [m]
    edge : (float, float)
        Shares of the peak flux between which the edge of the bright patch was seen. [–]
    rays, seed, threads : int, optional
        Of each trace; rays left out: 131072, or `run.rays` where that is less.
    progress, announce : callable, optional
        As for `trace`.

    Returns
    -------
    Fit
        With `stopped` set when the user pressed Ctrl-C; it then holds what needs no tracing, or no more of it.

    Raises
    ------
    InputError
        With the faults of all readings.
    """
    rays, seed, threads = asked("fit", scene, rays=rays, seed=seed, threads=threads, most_rays=RAYS)
    place = Amount(*offset_m) if isinstance(offset_m, (tuple, list)) else Amount(float(offset_m))
    if log is None and spot is None and target is None:
        remedy = "they are a heating log, a photo of the spot and radii read by hand"
        raise InputError(Fault(COMMAND_LINE, "--log, --spot or --target", "", "must be given", remedy))
    prepared = prepare(scene, seed=seed)
    sun_m2 = float(prepared.mirror.vector_area @ prepared.mirror.pose.sun)
    dni = float(prepared.sun.dni_w_m2)
    heat, bare, radii_m = gathered(
        lambda: None if log is None else heat_test(read_log(log, given=given), scene, outline_m2=sun_m2, dni_w_m2=dni),
        lambda: None if spot is None else _photographed(spot, scale, tone, axis_px, is_seen_from_mirror, turn_deg),
        lambda: None if target is None else read_radii(target),
    )
    if heat is not None and not any(part.role == "receiver" for part in scene.parts):
        allowed, remedy = "has no receiver, so no power can be traced for the log", "add the vessel as a part"
        raise InputError(Fault(scene.file, "part", "", allowed, remedy))
    done = Fit(scene, rays, seed, heat, None, bare, None, {}, False, ())
    wanted = _Target(radii_m, place, edge)
    options = {"rays": rays, "seed": seed, "threads": threads, "announce": announce}
    done = _traced_until_stopped(done, wanted, dni=dni, progress=progress, options=options)
    return replace(done, findings=_together(done), notes=tuple(_notes(done)))


class _Target(NamedTuple):
    """Radii of the patch read by hand [m], where the target stood, and what shares of the peak its edge is seen at."""

    radii_m: np.ndarray | None
    place: Amount
    edge: tuple[float, float]


def _photographed(
    path: str | Path,
    scale: str | None,
    tone: str | float | None,
    axis_px: tuple[float, float] | None,
    is_seen_from_mirror: bool,
    turn_deg: float,
) -> SpotTest:
    if scale is None:
        raise InputError(
            Fault(COMMAND_LINE, "--scale", "", "is missing: a photo without scale tells no size", f"give {FORMS}")
        )
    known, photo = read_scale(scale), read_photo(path, tone=tone)
    patch = spot_patch(photo, known, axis_px=axis_px, is_seen_from_mirror=is_seen_from_mirror, turn_deg=turn_deg)
    return bare_spot(photo, known, patch)


def _n_traces(done: Fit) -> int:
    """Traces that will be asked for at most. [–]"""
    if done.spot is None:
        return len(FIRST_SLOPES_MRAD)
    return len(FIRST_SLOPES_MRAD) + N_NODES + (N_NODES + 4 if done.spot.patch.has_axis else 0)


def _traced_until_stopped(
    done: Fit,
    wanted: _Target,
    *,
    dni: float,
    progress: Callable[[int, int], None] | None,
    options: dict[str, Any],
) -> Fit:
    """What needs traces added to what needs none; where the user stops them, as much of it as was finished."""
    try:
        with Presses() as presses:
            pilot = Tracer(n_wanted=1, progress=None, options={**options, "rays": PILOT_RAYS}, presses=presses)
            tracer = Tracer(n_wanted=_n_traces(done), progress=progress, options=options, presses=presses)
            for step in _traced(done, wanted, dni=dni, pilot=pilot, tracer=tracer):
                done = step
    except (StoppedError, KeyboardInterrupt):
        return replace(done, stopped=True)
    return done


def _traced(done: Fit, wanted: _Target, *, dni: float, pilot: Tracer, tracer: Tracer) -> Iterator[Fit]:
    """What needs traces, more and more of it, so that StoppedError leaves what was finished before."""
    radii_m, place, edge = wanted
    offsets = [place.value] if place.sd == 0.0 else [place.value, place.value + place.sd, place.value - place.sd]
    reach = max(
        AROUND * done.spot.patch.half_width_m if done.spot else 0.0,
        4.0 * float(radii_m.max()) if radii_m is not None else 0.0,
    )
    half_width = _map_reach(done.scene, place.value, reach, pilot) if reach else None
    ladder = Ladder(done.scene, () if half_width is None else target_planes(offsets, half_width), tracer)
    rungs = ladder.climb(FIRST_SLOPES_MRAD)
    if radii_m is not None:
        done = replace(done, edge=match_edges(radii_m, traced_edges(rungs, n_offsets=len(offsets), edge=edge)))
        yield done
    if done.heat is not None:
        done = replace(done, power=_power(done, rungs, dni))
        yield done
    if done.spot is not None:
        aim = tuple(nominal(one) for one in done.scene.mount.pointing_offset_mrad)
        matched = matched_spot(done.spot, ladder, rungs, n_offsets=len(offsets), aim_mrad=aim)
        done = replace(done, spot=matched, power=None)
        yield done if done.heat is None else replace(done, power=_power(done, rungs, dni))


def _map_reach(scene: Scene, offset: float, reach: float, tracer: Tracer) -> float:
    """Half width of the target's maps: what is wanted about the spot, wherever that lies beside the axis. [m]"""
    screen = (
        Ladder(scene, target_planes([offset], reach), tracer)
        .rung(float(nominal(scene.dish.slope_error_mrad)))
        .target(0)
    )
    beside = max(abs(value.value) for value in screen.centroid_m)
    return reach + beside if math.isfinite(beside) else reach


def _power(done: Fit, rungs: Sequence[Rung], dni: float) -> PowerMatch:
    """Slope errors that explain the power; its brightness is told at the best slope error known otherwise."""
    heat = done.heat
    known = [one for one in _slopes(done) if one.told]
    slope = known[0].value if known else float(nominal(done.scene.dish.slope_error_mrad))
    return match_power(
        heat.findings["power_w"],
        rungs,
        dni_ratio=heat.dni_w_m2.value / dni,
        dni_share=heat.dni_w_m2.sd / heat.dni_w_m2.value,
        spread=optical_spread(done.scene),
        slope_mrad=min(slope, rungs[-1].slope_mrad),
    )


def _slopes(done: Fit) -> Iterator[Finding]:
    """What each kind of reading says about the slope error, that which sees the mirror's shape most plainly first."""
    if done.spot is not None:
        yield from (one for key, one in done.spot.findings.items() if key.startswith("slope_error"))
    if done.edge is not None:
        yield done.edge.finding
    if done.power is not None:
        yield done.power.finding


def _together(done: Fit) -> dict[str, Finding]:
    """All findings, and what they say together about the slope error."""
    findings: dict[str, Finding] = {}
    slopes = list(_slopes(done))
    if slopes:
        findings[KEY] = combined(slopes)
        findings |= {one.key: one for one in slopes}
    for test in (done.spot, done.heat):
        if test is not None:
            findings |= test.findings
    if done.edge is not None:
        findings[done.edge.radius.key] = done.edge.radius
    if done.power is not None:
        findings[done.power.brightness.key] = done.power.brightness
    return findings


def combined(slopes: Sequence[Finding]) -> Finding:
    """One slope error from several kinds of reading: the mean weighted by one over squared errors.

    Kinds that disagree (chi-squared above its 95 % point for n - 1 degrees of freedom [1]_) are not averaged: the first
    is kept, and that is said. The half width of the mean's interval is put together from theirs as its error is from
    their errors, so that an error known from few readings keeps its Student's factor. Where those that are averaged
    scatter by more than their errors, both are multiplied by Birge's ratio, the root of chi-squared over n - 1 [2]_,
    and that is said too.

    References
    ----------
    .. [1] NIST/SEMATECH, *e-Handbook of Statistical Methods*, 1.3.6.6.6 and 1.3.6.7.4.
    .. [2] R. T. Birge, "The calculation of errors by the method of least squares", Phys. Rev. 40 (1932) 207-227.
    """
    told = [one for one in slopes if one.told and one.se]
    if not told:
        first = slopes[0]
        return Finding(KEY, "mrad", first.value, None, first.low, first.high, False, first.remark)
    words = [READ_AS.get(one.key, one.key) for one in told]
    if len(told) == 1:
        return replace(told[0], key=KEY, remark=f"from {words[0]}")
    weights = np.array([one.se**-2.0 for one in told])
    values = np.array([one.value for one in told])
    mean, freedom = float(weights @ values / weights.sum()), len(told) - 1
    chi_squared, names = float(weights @ (values - mean) ** 2), f"{', '.join(words[:-1])} and {words[-1]}"
    if chi_squared > _most_chi_squared(freedom):
        remark = f"from {words[0]}; {names} disagree by more than their errors, so they are not averaged"
        return replace(told[0], key=KEY, remark=remark)
    ratio = max(1.0, math.sqrt(chi_squared / freedom))
    se, remark = ratio * float(weights.sum() ** -0.5), f"from {names} together"
    if ratio > 1.0:
        remark += f"; they scatter {ratio:.3g} times as much as their errors say, so the mean's error is so much larger"
    halves = np.array([one.high - one.value for one in told])
    half = ratio * float(np.linalg.norm(weights / weights.sum() * halves))
    return Finding(KEY, "mrad", mean, se, max(mean - half, 0.0), mean + half, True, remark)


def _most_chi_squared(freedom: int) -> float:
    """95 % point of chi-squared: values that differ by their errors only stay within it in 19 of 20 tests. [–]"""
    from scipy.stats import chi2

    return float(chi2.ppf(LEVEL, freedom))


def _notes(done: Fit) -> Iterator[str]:
    if done.stopped:
        yield "stopped early: what needs more traces is missing"
    for test in (done.heat, done.spot, done.power):
        if test is not None:
            yield from test.notes
    if any(nominal(done.scene.dish.beam_spread_mrad) > 0.0 for _ in _slopes(done)):
        yield "the scene's beam spread was kept; a larger one would make the slope error found smaller"
    facets = done.scene.dish.facets
    if facets is not None and list(_slopes(done)):
        yield "the scene's facets, their curve and canting were kept: what they do is not part of the slope error found"
