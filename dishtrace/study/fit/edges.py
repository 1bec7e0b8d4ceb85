"""The bright patch measured by hand: the slope error at which the traced spot has its edge there."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.flux.result import ScreenResult
from dishtrace.study.fit.findings import Finding, mixed_half_width
from dishtrace.study.fit.ladder import Rung
from dishtrace.study.fit.scale import UNITS_M

EDGE = (0.1, 0.5)
"""Shares of the peak flux between which people see the edge of a bright patch (common practice, no source). [–]"""
LEAST_READINGS = 3
KEY = "slope_error_from_target_mrad"
N_FINE = 801


@dataclass(frozen=True, eq=False)
class EdgeMatch:
    """Radii read by hand against traced spots.

    Parameters
    ----------
    radii_m : (n,) float64
        As read. [m]
    edge : (float, float)
        Between which shares of the peak the edge was seen.
    slopes_mrad : (k,) float64
        Traced. [mrad]
    traced_m : (2, k) float64
        Radius at which the traced flux falls to each end of `edge`. [m]
    radius, finding : Finding
        Mean radius [m], slope error [mrad].
    """

    radii_m: np.ndarray
    edge: tuple[float, float]
    slopes_mrad: np.ndarray
    traced_m: np.ndarray
    radius: Finding
    finding: Finding


def read_radii(text: str | Sequence[float]) -> np.ndarray:
    """Radii from a text such as ``"31,33,30 mm"``, or metres as numbers. [m]

    Raises
    ------
    InputError
        If the unit is missing, a radius is not above 0, or there are fewer than three.
    """
    allowed = 'must be radii with their unit, for instance "31,33,30 mm"'
    if isinstance(text, str):
        match = re.match(r"^\s*([-+0-9.eE,;\s]+?)\s*(mm|cm|m)\s*$", text)
        words = re.split(r"[,;\s]+", match.group(1).strip(",; ")) if match else []
        try:
            radii = np.array([float(word) for word in words]) * (UNITS_M[match.group(2)] if match else 1.0)
        except ValueError:
            radii = np.zeros(0)
        if not len(radii):
            raise InputError(Fault("command", "target", f'"{text}"', allowed))
    else:
        radii = np.array([float(one) for one in text])
    if not np.all(np.isfinite(radii)) or np.any(radii <= 0.0) or np.any(radii > 100.0):
        raise InputError(Fault("command", "target", str(text), "must be radii above 0 and up to 100 m"))
    if len(radii) < LEAST_READINGS:
        remedy = "measure from the middle in at least three directions: their scatter tells the error"
        raise InputError(Fault("command", "target", str(text), f"has {len(radii)} of {LEAST_READINGS} radii", remedy))
    return radii


def edge_radius(screen: ScreenResult, share: float) -> float:
    """Radius about the centroid where the flux, averaged around it, last falls through a share of its peak. [m]"""
    n = screen.map_w_m2.shape[0]
    pitch = 2.0 * screen.half_width_m / n
    middles = (np.arange(n) + 0.5) * pitch - screen.half_width_m
    x, y = (value.value for value in screen.centroid_m)
    distance = np.hypot(middles - x, (middles - y)[:, np.newaxis])
    ring = np.round(distance / pitch).astype(np.int64).ravel()
    count = np.bincount(ring)
    profile = np.bincount(ring, weights=screen.map_w_m2.ravel()) / np.maximum(count, 1)
    radius = np.bincount(ring, weights=distance.ravel()) / np.maximum(count, 1)
    rings = min(n // 2, len(profile))
    profile, radius = profile[:rings], radius[:rings]
    wanted = share * float(profile[:3].max() if profile[:3].max() > 0.5 * profile.max() else profile.max())
    last = np.flatnonzero(profile >= wanted)
    if not len(last) or last[-1] + 1 >= rings:
        return float("nan")
    k = int(last[-1])
    part = (profile[k] - wanted) / (profile[k] - profile[k + 1])
    return float(radius[k] + part * (radius[k + 1] - radius[k]))


def match_edges(
    radii_m: np.ndarray, rungs: Sequence[Rung], *, place: int = 0, edge: tuple[float, float] = EDGE
) -> EdgeMatch:
    """The slope error that radii read by hand tell.

    Parameters
    ----------
    radii_m : (n,) float64
        Three at least. [m]
    rungs : sequence of Rung
        Traces at rising slope errors.
    place : int
        Number of the target's plane in them.
    edge : (float, float)
        Shares of the peak flux between which the edge was seen, all of them alike likely.
    """
    slopes = np.array([rung.slope_mrad for rung in rungs])
    traced = np.array([[edge_radius(rung.target(place), share) for rung in rungs] for share in edge])
    mean, n = float(radii_m.mean()), len(radii_m)
    se = float(radii_m.std(ddof=1)) / math.sqrt(n)
    _, half = mixed_half_width(max(se, 1e-12), n - 1, 0.0)
    radius = Finding("edge_radius_m", "m", mean, se, mean - half, mean + half, True, "bright patch, read by hand")
    middle = 0.5 * (traced[0] + traced[1])
    ends = [_slope_at(slopes, curve, mean) for curve in traced]
    steps = [_slope_at(slopes, middle, mean + sign * max(se, 1e-9)) for sign in (1.0, -1.0)]
    value = _slope_at(slopes, middle, mean)
    scatter, given = 0.5 * abs(steps[0] - steps[1]), abs(ends[1] - ends[0]) / math.sqrt(12.0)
    total, wide = mixed_half_width(max(scatter, 1e-12), n - 1, given)
    return EdgeMatch(radii_m, edge, slopes, traced, radius, _finding(value, total, wide, slopes, mean, middle))


def _slope_at(slopes: np.ndarray, radii: np.ndarray, wanted: float) -> float:
    """Slope error at which the radius is as wanted, on straight lines in its square; held at the ends. [mrad]"""
    known = np.isfinite(radii)
    rising = np.maximum.accumulate(radii[known])
    return math.sqrt(float(np.interp(wanted**2, rising**2, slopes[known] ** 2)))


def _finding(value: float, se: float, half: float, slopes: np.ndarray, mean: float, radii: np.ndarray) -> Finding:
    known = radii[np.isfinite(radii)]
    if mean > known.max():
        remark = f"the patch is larger than any slope error up to {slopes[-1]:g} mrad makes it"
        return Finding(KEY, "mrad", value, None, None, None, False, remark)
    if mean < known.min():
        remark = "the patch is smaller than a perfect mirror makes it: check the distance and what counts as its edge"
        return Finding(KEY, "mrad", value, None, None, None, False, remark)
    low = max(value - half, 0.0)
    told = low > 0.0
    remark = "" if told else f"the readings only tell that it is at most {value + half:.2g} mrad"
    return Finding(KEY, "mrad", value, se, low, value + half, told, remark)
