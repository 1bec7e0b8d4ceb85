"""What the report shows of measured mirrors and facets: a map of the fit's departure, and levels for contour lines."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.outline import Outline, polygon
from dishtrace.dish.smooth_surface import SmoothSurface
from dishtrace.report.fluxmap import round_levels
from dishtrace.report.numerals import significant

BINS = 181
"""Places of the map along the longer side of the dish. [–]"""
LEAST_LIMIT = 1e-6
"""Half of the narrowest colour scale, so that rounding is not drawn as form. [m]"""
LEAST_TOLD = 1e-4
"""Figures of the fit below this are not told by number. [mm or mrad]"""
SHARE_IN_SCALE = 0.99
"""Share of the points whose heights the colours can tell apart; single wild points do not hide the rest. [–]"""
SQUARES = 8
"""Squares along the longer side of the dish over which heights of points are averaged. [–]"""


def small(value: float, unit: str) -> str:
    """What a fit leaves, in mm or mrad with two digits; rounding is not told as a height or a slope."""
    return f"{significant(value, 2)} {unit}" if value >= LEAST_TOLD else f"less than {LEAST_TOLD:g} {unit}"


def outline_around(points: np.ndarray) -> Outline:
    """Line around all points (n, 3) of a facet, in its plane. [m]"""
    from scipy.spatial import ConvexHull

    return polygon(points[ConvexHull(points[:, :2]).vertices, :2])


def departure_map(fit: SmoothSurface, outline: Outline) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Heights of the fitted surface above the fitted paraboloid or sphere.

    Returns
    -------
    x : (n,) float64
        [m]
    y : (m,) float64
        [m]
    heights : (m, n) float64
        NaN outside the outline. [m]
    """
    x0, x1, y0, y1 = outline.extent()
    step = max(x1 - x0, y1 - y0) / (BINS - 1)
    x, y = (np.linspace(low, high, 1 + int(np.ceil((high - low) / step - 1e-9))) for low, high in ((x0, x1), (y0, y1)))
    places = np.stack(np.meshgrid(x, y), axis=-1)
    inside = outline.contains(places.reshape(-1, 2)).reshape(places.shape[:2])
    return x, y, np.where(inside, fit.departure(places), np.nan)


def colour_limit(heights: np.ndarray, *, share: float = 1.0) -> float:
    """End of a colour scale that is symmetric about 0: it holds a share of the heights, NaN left out. [m]"""
    return max(LEAST_LIMIT, float(np.nanquantile(np.abs(heights), share)))


def signed_levels(heights: np.ndarray) -> np.ndarray:
    """Round levels on both sides of 0 and 0 itself, those that the heights cross; unit as the heights."""
    above = round_levels(0.0, float(np.nanmax(np.abs(heights))))
    levels = np.concatenate([-above[::-1], [0.0], above])
    return levels[(levels > np.nanmin(heights)) & (levels < np.nanmax(heights))]


def square_means(places: np.ndarray, heights: np.ndarray) -> list[tuple[float, float, float]]:
    """Mean height over even squares, for numbers on a map.

    Parameters
    ----------
    places : (n, 2) float64
        [m]
    heights : (n,) float64
        [any]

    Returns
    -------
    list of (x, y, mean)
        Middle of the points of each square that has some, and their mean height.
    """
    low = places.min(axis=0)
    side = float(np.ptp(places, axis=0).max()) / SQUARES
    column, row = np.minimum((places - low) / side, SQUARES - 1).astype(int).T
    found = []
    for square in np.unique(row * SQUARES + column):
        members = row * SQUARES + column == square
        x, y = places[members].mean(axis=0)
        found.append((float(x), float(y), float(heights[members].mean())))
    return found
