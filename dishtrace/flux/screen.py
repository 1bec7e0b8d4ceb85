"""What a screen tells: power, centroid, widths, encircled power, profile and map, each with its error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.peak import map_peak
from dishtrace.stats import Estimate, jackknife, total, totals

if TYPE_CHECKING:
    from dishtrace.flux.planes import Plane
    from dishtrace.trace.optics import Tally

PERCENTILES = (50, 90, 95, 99)


@dataclass(frozen=True, eq=False)
class ScreenResult:
    """Figures of one screen.

    Parameters
    ----------
    name : str
    offset_m : Estimate, float or None
        Distance from the focus along the axis, where the screen is placed so. [m]
    power_w : Estimate
        Power through the whole plane. [W]
    centroid_m : pair of Estimate
        From the screen's centre, in the map's axes. [m]
    rms_m, rms_xy_m : Estimate, pair of Estimate
        Root mean square distance from the centroid, radial and per axis. [m]
    radius_m : dict
        "50", "90", "95", "99": radius about the centroid that holds so many percent of the power. [m]
    peak_w_m2, peak_patch_m2, peak_at_m
        Highest mean flux over a disc, its area and its place. [W/m2], [m2], [m]
    inside : tuple of (float, Estimate)
        Radius about the screen's centre [m] and the power inside it [W].
    half_width_m : float
        Half the side of the map. [m]
    map_w_m2, map_se_w_m2 : (n, n) float64
        Flux on the map, row = y, column = x, and its standard error, NaN where nothing arrived. [W/m2]
    profile_edges_m, profile_w_m2, profile_se_w_m2
        Mean flux in rings about the screen's centre, (k + 1,), (k,), (k,). [m], [W/m2]
    encircled_radius_m, encircled_w, encircled_se_w : (k,) float64
        Power inside circles about the screen's centre. [m], [W]
    """

    name: str
    offset_m: Estimate | float | None
    power_w: Estimate
    centroid_m: tuple[Estimate, Estimate]
    rms_m: Estimate
    rms_xy_m: tuple[Estimate, Estimate]
    radius_m: dict[str, Estimate]
    peak_w_m2: Estimate
    peak_patch_m2: float
    peak_at_m: np.ndarray
    inside: tuple[tuple[float, Estimate], ...]
    half_width_m: float
    map_w_m2: np.ndarray
    map_se_w_m2: np.ndarray
    profile_edges_m: np.ndarray
    profile_w_m2: np.ndarray
    profile_se_w_m2: np.ndarray
    encircled_radius_m: np.ndarray
    encircled_w: np.ndarray
    encircled_se_w: np.ndarray

    def to_dict(self) -> dict:
        """As in results.json."""
        offset = self.offset_m.to_dict() if isinstance(self.offset_m, Estimate) else self.offset_m
        return {
            "offset_m": offset,
            "power_w": self.power_w.to_dict(),
            "centroid_m": [value.to_dict() for value in self.centroid_m],
            "rms_m": self.rms_m.to_dict(),
            "rms_xy_m": [value.to_dict() for value in self.rms_xy_m],
            "radius_m": {key: value.to_dict() for key, value in self.radius_m.items()},
            "peak_w_m2": self.peak_w_m2.to_dict(),
            "peak_patch_m2": self.peak_patch_m2,
            "peak_at_m": [float(value) for value in self.peak_at_m],
            "inside": [{"radius_m": radius, "power_w": power.to_dict()} for radius, power in self.inside],
            "half_width_m": self.half_width_m,
        }


def moments_of(sums: np.ndarray) -> np.ndarray:
    """Centroid x, y, radial rms, rms x, rms y from sums (k, 5) of 1, x, y, x^2, y^2: (k, 5), NaN without power. [m]"""
    power = np.where(sums[:, 0] > 0.0, sums[:, 0], np.nan)
    x, y = sums[:, 1] / power, sums[:, 2] / power
    xx = np.maximum(sums[:, 3] / power - x * x, 0.0)
    yy = np.maximum(sums[:, 4] / power - y * y, 0.0)
    return np.stack([x, y, np.sqrt(xx + yy), np.sqrt(xx), np.sqrt(yy)], axis=1)


def radii_of(sums: np.ndarray, scale: float) -> np.ndarray:
    """Radii that hold 50, 90, 95 and 99 percent, (k, 4), from histograms (k, n) over r / (r + scale). [m]"""
    n = sums.shape[1]
    enclosed = np.concatenate([np.zeros((len(sums), 1)), np.cumsum(sums, axis=1)], axis=1)
    found = np.full((len(sums), len(PERCENTILES)), np.nan)
    for case, line in enumerate(enclosed):
        if line[-1] > 0.0:
            wanted = np.array(PERCENTILES) / 100.0 * line[-1]
            above = np.searchsorted(line, wanted, side="left")
            share = (wanted - line[above - 1]) / (line[above] - line[above - 1])
            place = (above - 1 + share) / n
            found[case] = scale * place / (1.0 - place)
    return found


def screen_result(
    plane: Plane, tally: Tally, index: int, *, scale: float, n_rays: int, offset: Estimate | float | None
) -> ScreenResult:
    """Figures of one screen from the tally.

    Parameters
    ----------
    plane : Plane
        With its half width.
    tally : Tally
    index : int
        Number of the screen in the tally.
    scale : float
        Scale of the radial histogram. [m]
    n_rays : int
        Rays traced, which the tally's sums are divided by.
    offset : Estimate, float or None
        Told with the result.
    """
    moments, radial = tally.moments[:, index] / n_rays, tally.radial[:, index] / n_rays
    x, y, rms, rms_x, rms_y = jackknife(moments_of, moments)
    radii = jackknife(lambda sums: radii_of(sums, scale), radial)
    maps = tally.map[:, index] / n_rays
    peak = map_peak(maps, half_width=plane.half_width)
    pixel_area = (2.0 * plane.half_width / maps.shape[1]) ** 2
    map_flux, map_error = totals(maps / pixel_area)
    rings = tally.rings[:, index, :-1] / n_rays
    edges = np.linspace(0.0, plane.half_width, rings.shape[1] + 1)
    ring_areas = np.pi * (edges[1:] ** 2 - edges[:-1] ** 2)
    profile, profile_error = totals(rings / ring_areas)
    encircled, encircled_error = totals(np.cumsum(rings, axis=1))
    inside = tally.inside[:, index] / n_rays
    return ScreenResult(
        name=plane.name,
        offset_m=offset,
        power_w=total(moments[:, 0]),
        centroid_m=(x, y),
        rms_m=rms,
        rms_xy_m=(rms_x, rms_y),
        radius_m={str(p): radius for p, radius in zip(PERCENTILES, radii, strict=True)},
        peak_w_m2=peak.flux,
        peak_patch_m2=peak.area,
        peak_at_m=peak.place,
        inside=tuple((radius, total(inside[:, k])) for k, radius in enumerate(plane.radii)),
        half_width_m=plane.half_width,
        map_w_m2=map_flux,
        map_se_w_m2=map_error,
        profile_edges_m=edges,
        profile_w_m2=profile,
        profile_se_w_m2=profile_error,
        encircled_radius_m=edges[1:],
        encircled_w=encircled,
        encircled_se_w=encircled_error,
    )
