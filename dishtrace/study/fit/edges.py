"""The bright patch measured by hand: the slope error at which the traced spot has its edge there."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.flux.result import ScreenResult
from dishtrace.study.fit.findings import LEVEL, Finding, mixed_half_width
from dishtrace.study.fit.ladder import Rung
from dishtrace.study.fit.scale import UNITS_M

EDGE = (0.1, 0.5)
"""Shares of the peak flux between which people see the edge of a bright patch (common practice, no source). [–]"""
LEAST_READINGS = 3
KEY = "slope_error_from_target_mrad"
N_SHARES, N_SCATTER, N_PLACES = 20, 200, 15
"""Equally likely edges, mean radii and places of the target that are tried together. [–]"""
FARTHEST_MRAD2 = 1e6
"""Squared slope errors are held within this: far beyond any mirror. [mrad2]"""
NORMAL_LEVEL = 0.6827
"""Share that one standard error to both sides holds, of a normal distribution. [–]"""


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
            raise InputError(Fault(COMMAND_LINE, "--target", f'"{text}"', allowed))
    else:
        radii = np.array([float(one) for one in text])
    if not np.all(np.isfinite(radii)) or np.any(radii <= 0.0) or np.any(radii > 100.0):
        raise InputError(Fault(COMMAND_LINE, "--target", str(text), "must be radii above 0 and up to 100 m"))
    if len(radii) < LEAST_READINGS:
        remedy = "measure from the middle in at least three directions: their scatter tells the error"
        raise InputError(
            Fault(COMMAND_LINE, "--target", str(text), f"has {len(radii)} of {LEAST_READINGS} radii", remedy)
        )
    return radii


def edge_radii(screen: ScreenResult, shares: Sequence[float]) -> np.ndarray:
    """Radii about the centroid where the flux, averaged around it, last falls through shares of its peak.

    Parameters
    ----------
    screen : ScreenResult
    shares : (m,) sequence of float
        Of the peak. [–]

    Returns
    -------
    (m,) float64
        NaN where the map ends before. [m]
    """
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
    peak = float(profile[:3].max() if profile[:3].max() > 0.5 * profile.max() else profile.max())
    return np.array([_last_fall(radius, profile, share * peak) for share in shares])


def _last_fall(radius: np.ndarray, profile: np.ndarray, wanted: float) -> float:
    """Where a profile last falls through a value, on straight lines; NaN if it does not."""
    last = np.flatnonzero(profile >= wanted)
    if not len(last) or last[-1] + 1 >= len(profile):
        return math.nan
    k = int(last[-1])
    part = (profile[k] - wanted) / (profile[k] - profile[k + 1])
    return float(radius[k] + part * (radius[k + 1] - radius[k]))


@dataclass(frozen=True, eq=False)
class TracedEdges:
    """Where traced spots have their edges.

    Parameters
    ----------
    edge : (float, float)
        Shares of the peak flux between which the edge is seen. [–]
    slopes_mrad : (k,) float64
        Traced slope errors, rising. [mrad]
    ends_m : (2, k) float64
        Edge radii at both ends of `edge`. [m]
    radii_m : (m, k) float64
        Edge radii at m shares that are alike likely. [m]
    moved_m : (k,) float64
        By how much a standard error of the target's place moves them; 0 where it is exact. [m]
    """

    edge: tuple[float, float]
    slopes_mrad: np.ndarray
    ends_m: np.ndarray
    radii_m: np.ndarray
    moved_m: np.ndarray


def traced_edges(rungs: Sequence[Rung], *, n_offsets: int = 1, edge: tuple[float, float] = EDGE) -> TracedEdges:
    """Edges of traced spots.

    Parameters
    ----------
    rungs : sequence of Rung
        Traces at rising slope errors.
    n_offsets : int
        Planes of the target in them: 1, or 3 (its place, and one standard error to both sides).
    edge : (float, float)
        Shares of the peak flux between which the edge is seen, all of them alike likely. [–]
    """
    shares = edge[0] + (np.arange(N_SHARES) + 0.5) / N_SHARES * (edge[1] - edge[0])
    planes = [
        np.stack([edge_radii(rung.target(place), (*edge, *shares)) for rung in rungs], axis=1)
        for place in range(n_offsets)
    ]
    there, *beside = [plane[2:].mean(axis=0) for plane in planes]
    moved = np.max([np.abs(other - there) for other in beside], axis=0) if beside else np.zeros(len(rungs))
    return TracedEdges(
        edge, np.array([rung.slope_mrad for rung in rungs]), planes[0][:2], planes[0][2:], np.nan_to_num(moved)
    )


def match_edges(radii_m: np.ndarray, traced: TracedEdges) -> EdgeMatch:
    """The slope error that radii read by hand tell.

    Parameters
    ----------
    radii_m : (n,) float64
        Three at least. [m]
    traced : TracedEdges

    Notes
    -----
    The edge is even between its shares, the mean radius a scaled Student's t with n - 1 degrees of freedom, the place
    of the target normal [1]_. All combinations of equally likely values give equally likely slope errors; the interval
    leaves out as many of them at each end, and the standard error is half the width of the interval of 68 %.

    References
    ----------
    .. [1] JCGM 101:2008, *Propagation of distributions using a Monte Carlo method*, 6.4 (from memory).
    """
    mean, n = float(radii_m.mean()), len(radii_m)
    se = float(radii_m.std(ddof=1)) / math.sqrt(n)
    _, half = mixed_half_width(max(se, 1e-12), n - 1, 0.0)
    radius = Finding("edge_radius_m", "m", mean, se, mean - half, mean + half, True, "bright patch, read by hand")
    likely = _likely_squares(traced, mean=mean, se=se, freedom=n - 1)
    found = _finding(likely, traced.slopes_mrad)
    return EdgeMatch(radii_m, traced.edge, traced.slopes_mrad, traced.ends_m, radius, found)


def _likely_squares(traced: TracedEdges, *, mean: float, se: float, freedom: int) -> np.ndarray:
    """Equally likely squared slope errors; below 0 where a radius is smaller than a perfect mirror's. [mrad2]

    Parameters
    ----------
    traced : TracedEdges
    mean, se : float
        Of the radii read. [m]
    freedom : int
        Of `se`. [–]
    """
    from scipy.special import ndtri, stdtrit

    read = mean + se * stdtrit(freedom, (np.arange(N_SCATTER) + 0.5) / N_SCATTER)
    turns = ndtri((np.arange(N_PLACES) + 0.5) / N_PLACES) if traced.moved_m.max() > 0.0 else np.zeros(1)
    curves = [curve for curve in traced.radii_m if np.isfinite(curve).sum() > 1]
    found = [_squares_at(traced.slopes_mrad, curve + turn * traced.moved_m, read) for curve in curves for turn in turns]
    return np.concatenate(found) if found else np.full(1, np.nan)


def _squares_at(slopes: np.ndarray, radii: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Squared slope errors at which the radius is as wanted, straight in the squares, beyond both ends too. [mrad2]"""
    known = np.isfinite(radii)
    squares, rising = slopes[known] ** 2, np.maximum.accumulate(np.maximum(radii[known], 0.0) ** 2)
    signed = np.sign(wanted) * wanted**2
    found = np.interp(signed, rising, squares)
    for end, inner, is_beyond in ((0, 1, signed < rising[0]), (-1, -2, signed > rising[-1])):
        slope = abs(squares[inner] - squares[end]) / max(abs(rising[inner] - rising[end]), 1e-300)
        found = np.where(is_beyond, squares[end] + slope * (signed - rising[end]), found)
    return np.clip(found, -FARTHEST_MRAD2, FARTHEST_MRAD2)


def _finding(likely: np.ndarray, slopes: np.ndarray) -> Finding:
    ends = [0.5 - 0.5 * LEVEL, 0.5 - 0.5 * NORMAL_LEVEL, 0.5, 0.5 + 0.5 * NORMAL_LEVEL, 0.5 + 0.5 * LEVEL]
    squares = np.quantile(likely, ends)
    low, below, value, above, high = (math.sqrt(max(float(square), 0.0)) for square in squares)
    most = float(slopes[-1])
    if not low <= most:
        remark = f"the patch is larger than any slope error up to {most:g} mrad makes it"
        return Finding(KEY, "mrad", value, None, None, None, False, remark)
    if value > most:
        remark = f"the readings only tell that it is at least {low:.2g} mrad"
        return Finding(KEY, "mrad", value, None, low, None, False, remark)
    if high == 0.0:
        remark = "the patch is smaller than a perfect mirror makes it: check the distance and what counts as its edge"
        return Finding(KEY, "mrad", 0.0, None, None, None, False, remark)
    if low == 0.0:
        remark = f"the readings only tell that it is at most {high:.2g} mrad"
        return Finding(KEY, "mrad", value, None, 0.0, high, False, remark)
    return Finding(KEY, "mrad", value, 0.5 * (above - below), low, high)
