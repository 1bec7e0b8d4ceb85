"""What a photograph of the spot says: centroid and radii as they are, and the slope error and pointing that match."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dishtrace.study.fit.findings import Finding, finding, mixed_half_width
from dishtrace.study.fit.ladder import SUN_MRAD2, Ladder, Rung
from dishtrace.study.fit.matching import AMPLITUDE, SHIFT_X, SHIFT_Y, VARIANCE, SpotMatch, Spots, match_spot, spots_of
from dishtrace.study.fit.patch import Patch
from dishtrace.study.fit.photo import Photo
from dishtrace.study.fit.radii import Radii, radii
from dishtrace.study.fit.scale import POINT_PX, Scale

KEY = "slope_error_from_spot_mrad"
N_NODES = 5
NODE_REACH = 0.5
"""Squared slope errors traced reach so far to both sides, as a share of the squared width of the spot. [–]"""
MOST_ROUNDS = 3
AIM_STEP_MRAD = 2.0
RADII_FREEDOM = 12.0
"""Degrees of freedom of the errors of radii and centroid: about the blocks of the grid that carry them. [–]"""
GRID_SHARE = 0.001
"""Relative error of radii from reading them off a grid, seen with Gaussian spots. [–]"""
POOR_MISFIT = 0.05
"""Share of the peak from which what the match leaves is told (common practice, no source). [–]"""


@dataclass(frozen=True, eq=False)
class SpotTest:
    """What a photograph says.

    Parameters
    ----------
    photo : Photo
    scale : Scale
    patch : Patch
    radii : Radii
    match : SpotMatch or None
        None when the tracing was stopped before it.
    spots : Spots or None
        The traced spots that it was matched with.
    findings : dict of Finding
    shares : dict of dict
        Standard error of each by cause.
    notes : tuple of str
    """

    photo: Photo
    scale: Scale
    patch: Patch
    radii: Radii
    match: SpotMatch | None
    spots: Spots | None
    findings: dict[str, Finding]
    shares: dict[str, dict[str, float]]
    notes: tuple[str, ...]


def bare_spot(photo: Photo, scale: Scale, patch: Patch) -> SpotTest:
    """Centroid and radii, before anything is traced."""
    found = radii(patch)
    return _with_radii(SpotTest(photo, scale, patch, found, None, None, {}, {}, patch.notes))


def _scaled(patch: Patch, factor: float) -> Patch:
    """The patch had lengths another scale; it keeps its middle."""
    x, y = patch.centre_m
    return replace(
        patch,
        x_m=x + factor * (patch.x_m - x),
        y_m=y + factor * (patch.y_m - y),
        half_width_m=factor * patch.half_width_m,
        half_radius_m=factor * patch.half_radius_m,
    )


def _with_radii(test: SpotTest) -> SpotTest:
    """The findings that need no tracing, from the photo's light with overexposed bins filled in where it is matched."""
    light, noise = _filled(test)
    found = radii(test.patch, light=light, noise=noise)
    findings, shares = dict(test.findings), dict(test.shares)
    tones = [
        radii(test.patch.with_tone(1.0 + sign * test.photo.tone_spread)).values if test.photo.tone_spread else None
        for sign in (1.0, -1.0)
    ]
    for key, value in found.values.items():
        is_place = key.startswith("centroid")
        if is_place and not test.patch.has_axis:
            continue
        causes = {"photo": found.errors[key]}
        if not is_place:
            causes["grid"] = GRID_SHARE * value
        if test.scale.share_se:
            causes["scale"] = abs(value) * test.scale.share_se
        if tones[0] is not None:
            causes["tone curve"] = 0.5 * abs(tones[0][key] - tones[1][key])
        if is_place:
            causes["axis mark"] = POINT_PX * test.patch.pixel_m
        shares[key] = causes
        findings[key] = _of_causes(key, "m", value, causes, freedom=RADII_FREEDOM)
    return replace(test, radii=found, findings=findings, shares=shares)


def _filled(test: SpotTest) -> tuple[np.ndarray, np.ndarray | None]:
    """The photo's light with holes filled in from the match, and its noise; without a match, from its neighbours."""
    holes = ~np.isfinite(test.patch.light)
    if test.match is None:
        return test.patch.light, None
    return np.where(holes, test.match.fitted, test.patch.light), np.where(holes, 0.0, test.match.left)


def _of_causes(key: str, unit: str, value: float, causes: dict[str, float], *, freedom: float) -> Finding:
    first, *others = causes.values()
    return finding(key, unit, value, statistical_se=first, freedom=freedom, given_se=math.hypot(0.0, *others))


def matched_spot(
    test: SpotTest, ladder: Ladder, rungs: Sequence[Rung], *, n_offsets: int, aim_mrad: tuple[float, float]
) -> SpotTest:
    """Match traced spots, tracing more of them around the best slope error.

    Parameters
    ----------
    test : SpotTest
        From `bare_spot`.
    ladder : Ladder
    rungs : sequence of Rung
        Traced before, at rising slope errors.
    n_offsets : int
        Planes of the target: 1, or 3 where its place is uncertain.
    aim_mrad : (float, float)
        Pointing offset of the scene. [mrad]

    Notes
    -----
    A spot beside the axis is not only moved but drawn out. Where the axis is marked, the traces are therefore made anew
    with the pointing found first, so that what is left to move is small.
    """
    variance = _first_variance(test.radii.values["r50_m"], rungs)
    matched, near = _at_best(test, ladder, variance)
    found: dict[str, Finding] = {}
    shares: dict[str, dict[str, float]] = {}
    if test.patch.has_axis:
        aims, back = _aims(matched, ladder, aim_mrad)
        matched, near = _at_best(test, ladder.turned(aims), float(matched.match.numbers[VARIANCE]))
        found, shares = _aim_findings(matched, aims, back)
    causes = _slope_causes(matched, near, n_offsets)
    found = {KEY: _slope_finding(matched.match, matched.spots, causes), **found}
    notes = (*test.notes, *_match_notes(matched.match))
    return _with_radii(replace(matched, findings=found, shares={KEY: causes, **shares}, notes=notes))


def _at_best(test: SpotTest, ladder: Ladder, variance: float) -> tuple[SpotTest, list[Rung]]:
    """The match with traces around the squared slope error that it finds."""
    for _ in range(MOST_ROUNDS):
        near = ladder.climb([math.sqrt(one) for one in nodes_about(variance)])
        spots = spots_of(near)
        match = match_spot(test.patch, spots, start_mrad2=variance)
        variance = min(max(float(match.numbers[VARIANCE]), 0.0), 100.0**2)
        if spots.variances[0] - 1e-9 <= variance <= spots.variances[-1]:
            break
    return replace(test, match=match, spots=spots), near


def nodes_about(variance: float) -> np.ndarray:
    """Squared slope errors to trace around one, even and none below 0, (5,). [mrad2]"""
    reach = NODE_REACH * (variance + SUN_MRAD2)
    low = max(variance - reach, 0.0)
    return np.round(np.linspace(low, low + 2.0 * reach, N_NODES), 6)


def _first_variance(r50: float, rungs: Sequence[Rung]) -> float:
    """Squared slope error whose traced R50 is that of the photo. [mrad2]"""
    squares = np.array([rung.target(0).radius_m["50"].value ** 2 for rung in rungs])
    variances = np.array([rung.slope_mrad**2 for rung in rungs])
    return float(np.interp(r50**2, np.maximum.accumulate(squares), variances))


def _slope_causes(test: SpotTest, near: Sequence[Rung], n_offsets: int) -> dict[str, float]:
    """Standard errors of the squared slope error by cause. [mrad2]"""
    match, spots, patch = test.match, test.spots, test.patch
    start = float(match.numbers[VARIANCE])

    def moved(other: Patch, theirs: Spots = spots) -> float:
        return float(match_spot(other, theirs, start_mrad2=start, is_quick=True).numbers[VARIANCE])

    causes = {"photo": float(match.scatter_se[VARIANCE]), "tracing": float(match.tracing_se[VARIANCE])}
    for cause, spread, change in (
        ("tone curve", test.photo.tone_spread, lambda by: patch.with_tone(1.0 + by)),
        ("scale", test.scale.share_se, lambda by: _scaled(patch, 1.0 + by)),
    ):
        if spread:
            causes[cause] = 0.5 * abs(moved(change(spread)) - moved(change(-spread)))
    if n_offsets > 1:
        causes["place of the target"] = max(abs(moved(patch, spots_of(near, k)) - start) for k in (1, 2))
    return causes


def _slope_finding(match: SpotMatch, spots: Spots, causes: dict[str, float]) -> Finding:
    """The slope error from its square, whose interval may reach below 0."""
    variance = float(match.numbers[VARIANCE])
    first, *others = causes.values()
    se, half = mixed_half_width(first, float(match.freedom[VARIANCE]), math.hypot(0.0, *others))
    value = math.sqrt(max(variance, 0.0))
    low, high = (math.sqrt(max(variance + sign * half, 0.0)) for sign in (-1.0, 1.0))
    if variance + half <= 0.0:
        remark = "the spot is smaller than a perfect mirror makes it: check scale, place of the target and sunshape"
        return Finding(KEY, "mrad", 0.0, None, None, None, False, remark)
    if variance > 1.2 * spots.variances[-1]:
        return Finding(KEY, "mrad", value, None, None, None, False, "the spot is larger than 100 mrad make it")
    if low == 0.0:
        remark = f"the photo only tells that it is at most {high:.2g} mrad"
        return Finding(KEY, "mrad", value, None, 0.0, high, False, remark)
    return Finding(KEY, "mrad", value, se / (2.0 * value), low, high, True, "with the scene's sunshape and beam spread")


def _aims(test: SpotTest, ladder: Ladder, aim_mrad: tuple[float, float]) -> tuple[tuple[float, float], np.ndarray]:
    """Pointing offset that the place of the spot tells [mrad], and the matrix from shifts to it [mrad/m].

    Traces with the dish turned a little to each side are matched as if they were photos; so the matrix belongs to the
    shift that the match finds, not to the centroid.
    """
    slope = math.sqrt(max(float(test.match.numbers[VARIANCE]), 0.0))
    columns = []
    for axis in range(2):
        ends = []
        for sign in (1.0, -1.0):
            aim = [float(one) for one in aim_mrad]
            aim[axis] += sign * AIM_STEP_MRAD
            ends.append(_traced_shift(test, ladder.turned(tuple(aim)).rung(slope)))
        columns.append((ends[0] - ends[1]) / (2.0 * AIM_STEP_MRAD))
    back = np.linalg.inv(np.stack(columns, axis=1))
    aims = np.array(aim_mrad) + back @ test.match.numbers[[SHIFT_X, SHIFT_Y]]
    return (float(aims[0]), float(aims[1])), back


def _traced_shift(test: SpotTest, rung: Rung) -> np.ndarray:
    """Shift that the match finds in a traced spot in place of the photo. [m]"""
    alone = spots_of([rung])
    x, y = np.meshgrid(test.patch.x_m, test.patch.y_m)
    light = alone.at(0.0, x, y) / alone.maps.max()
    light = np.where(np.isfinite(test.patch.light), light, np.nan)
    match = match_spot(replace(test.patch, light=light), test.spots, start_mrad2=rung.slope_mrad**2, is_quick=True)
    return match.numbers[[SHIFT_X, SHIFT_Y]]


def _aim_findings(
    test: SpotTest, aims: tuple[float, float], back: np.ndarray
) -> tuple[dict[str, Finding], dict[str, dict[str, float]]]:
    """Pointing offsets, from traces that are turned so already and the shift that is left."""
    match = test.match
    both = [SHIFT_X, SHIFT_Y]
    final = np.array(aims) + back @ match.numbers[both]
    findings, shares = {}, {}
    for axis, letter in enumerate("xy"):
        key = f"pointing_offset_{letter}_mrad"
        size = np.abs(back[axis])
        causes = {
            "photo": float(np.hypot.reduce(size * match.scatter_se[both])),
            "tracing": float(np.hypot.reduce(size * match.tracing_se[both])),
            "axis mark": float(np.hypot.reduce(size * POINT_PX * test.patch.pixel_m)),
        }
        if test.scale.share_se:
            causes["scale"] = float(np.hypot.reduce(size * np.abs(test.patch.centre_m) * test.scale.share_se))
        shares[key] = causes
        freedom = float(match.freedom[both].min())
        findings[key] = _of_causes(key, "mrad", float(final[axis]), causes, freedom=freedom)
    return findings, shares


def _match_notes(match: SpotMatch) -> list[str]:
    notes = []
    if match.misfit > POOR_MISFIT:
        notes.append(
            f"the matched spot leaves {100.0 * match.misfit:.0f} % of the peak unexplained: facets out of line, "
            "reflections or a target that is not matt and even; what is found is then only a mean"
        )
    if match.numbers[AMPLITUDE] <= 0.0:
        notes.append("the match has no light in it: nothing that it says can be trusted")
    return notes
