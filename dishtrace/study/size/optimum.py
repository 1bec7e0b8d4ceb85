"""Where a curve over sizes is highest, and where it first reaches a share, with their errors from left-out blocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.stats import Estimate, from_left_out

N_AROUND = 3
"""Points on either side of the highest that the fitted curve goes through. [–]"""
DEGREE = 4


@dataclass(frozen=True)
class Top:
    """The highest place of a curve.

    Parameters
    ----------
    place, height : Estimate
        Place in the coordinate of the curve, and its height; errors from left-out blocks.
    at_end : str
        "low" or "high" where the curve is highest at an end of its range, so that no best place was found; else empty.
    reading : float
        How far the place may be off because the curve is known at few places: the distance to the top of another curve
        through the same points.
    """

    place: Estimate
    height: Estimate
    at_end: str
    reading: float = 0.0


def top_of(places: np.ndarray, heights: np.ndarray, left_out: np.ndarray | None = None) -> Top:
    """The highest place of a smooth curve known at some places.

    Parameters
    ----------
    places : (n,) float64
        Rising.
    heights : (n,) float64
        Of the curve there.
    left_out : (b, n) float64, optional
        The same with each block left out.

    Notes
    -----
    A polynomial of fourth degree by least squares through the highest point and three on either side; the same points
    for all blocks, so that the jackknife sees a smooth function of the heights. The other curve, for `reading`, is the
    natural cubic spline through all points.
    """
    best = int(np.argmax(heights))
    if best in (0, len(places) - 1):
        height = _estimate(float(heights[best]), None if left_out is None else left_out[:, best])
        return Top(Estimate(float(places[best]), None), height, "low" if best == 0 else "high")
    first = max(min(best - N_AROUND, len(places) - 2 * N_AROUND - 1), 0)
    near = slice(first, first + 2 * N_AROUND + 1)
    place, height = _fitted_top(places[near], heights[near], best - first)
    reading = abs(_spline_top(places, heights, best) - place)
    if left_out is None:
        return Top(Estimate(place, None), Estimate(height, None), "", reading)
    pairs = np.array([_fitted_top(places[near], row[near], best - first) for row in left_out])
    return Top(from_left_out(place, pairs[:, 0]), from_left_out(height, pairs[:, 1]), "", reading)


def _estimate(value: float, left_out: np.ndarray | None) -> Estimate:
    return Estimate(value, None) if left_out is None else from_left_out(value, left_out)


def _fitted_top(places: np.ndarray, heights: np.ndarray, best: int) -> tuple[float, float]:
    """Place and height of the fitted curve's top between the neighbours of the highest point."""
    middle, width = places[best], np.ptp(places)
    scaled = (places - middle) / width
    polynomial = np.polynomial.Polynomial.fit(scaled, heights, min(DEGREE, len(places) - 1), domain=(-1.0, 1.0))
    low, high = scaled[best - 1], scaled[best + 1]
    roots = polynomial.deriv().roots()
    inside = [float(root.real) for root in roots if abs(root.imag) < 1e-9 and low <= root.real <= high]
    top = max([low, high, *inside], key=polynomial)
    return float(middle + width * top), float(polynomial(top))


def _spline_top(places: np.ndarray, heights: np.ndarray, best: int) -> float:
    """Place of the top of the natural cubic spline between the neighbours of the highest point."""
    from scipy.interpolate import CubicSpline

    curve = CubicSpline(places, heights, bc_type="natural")
    low, high = float(places[best - 1]), float(places[best + 1])
    inside = [float(root) for root in curve.derivative().roots(extrapolate=False) if low <= root <= high]
    return max([low, high, *inside], key=lambda place: float(curve(place)))


def first_reaching(
    places: np.ndarray, heights: np.ndarray, goal: float, left_out: np.ndarray | None = None
) -> Estimate | None:
    """The first place at which a curve reaches a goal; None where it stays below.

    Parameters
    ----------
    places : (n,) float64
        Rising.
    heights : (n,) float64
    goal : float
        In the unit of the heights.
    left_out : (b, n) float64, optional

    Notes
    -----
    Between the points the curve is the shape-preserving cubic of Fritsch and Carlson (SIAM J. Numerical Analysis 17
    (1980) 238-246), as the library has it. Where the first point is above the goal already, that one is told without an
    error: the place lies below it.
    """
    if heights.max() < goal:
        return None
    if heights[0] >= goal:
        return Estimate(float(places[0]), None)
    value = float(_crossing(places, heights, goal))
    if left_out is None:
        return Estimate(value, None)
    crossings = np.array([_crossing(places, row, goal) for row in left_out])
    return Estimate(value, None) if not np.isfinite(crossings).all() else from_left_out(value, crossings)


def _crossing(places: np.ndarray, heights: np.ndarray, goal: float) -> float:
    """First crossing of the curve through the points; NaN where it stays below."""
    from scipy.interpolate import PchipInterpolator

    above = np.flatnonzero(heights >= goal)
    if len(above) == 0:
        return np.nan
    if above[0] == 0:
        return float(places[0])
    curve = PchipInterpolator(places, heights)
    roots = curve.solve(goal, extrapolate=False)
    inside = roots[(roots >= places[above[0] - 1]) & (roots <= places[above[0]])]
    return float(inside.min()) if len(inside) else np.nan


def level_range(places: np.ndarray, heights: np.ndarray, goal: float, *, top: float) -> tuple[float, float]:
    """Ends of the stretch around its top in which a curve stays above a goal; the range's own ends beyond.

    Parameters
    ----------
    places : (n,) float64
        Rising.
    heights : (n,) float64
        The curve is the natural cubic spline through them.
    goal : float
        In the unit of the heights.
    top : float
        Place of the top.
    """
    from scipy.interpolate import CubicSpline

    curve = CubicSpline(places, heights, bc_type="natural")
    roots = curve.solve(min(goal, float(curve(top))), extrapolate=False)
    below, above = roots[roots < top], roots[roots > top]
    low = float(below.max()) if len(below) else float(places[0])
    high = float(above.min()) if len(above) else float(places[-1])
    return low, high
