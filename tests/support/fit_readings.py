"""Invented readings for the tests of the fit: heating logs and photographs whose truth is known in closed form."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from dishtrace.stats import Estimate
from dishtrace.study.fit.heating import Stretch, temperatures
from dishtrace.study.fit.matching import Spots
from dishtrace.study.fit.patch import Patch, spot_patch
from dishtrace.study.fit.photo import Photo
from dishtrace.study.fit.scale import read_scale

WATER_J_KG_K = 4190.0
"""(419.1 - 83.9) kJ/kg / 80 K, saturated water at 100 and 20 degC, IAPWS-IF97 tables."""
FOCAL_M = 0.6
SUN_MRAD = 2.325
"""Per-axis spread of the light that a perfect mirror returns. [mrad]"""


def stretch(minutes, *, on=None, drive=None, air_c=20.0, is_wall=None):
    """Times and inputs without readings."""
    time_s = 60.0 * np.asarray(minutes, dtype=np.float64)
    n = len(time_s)
    return Stretch(
        time_s - time_s[0],
        np.zeros(n),
        np.ones(n) if drive is None else np.asarray(drive, dtype=np.float64),
        np.ones(n, dtype=bool) if on is None else np.asarray(on, dtype=bool),
        np.full(n, air_c),
        np.zeros(n, dtype=bool) if is_wall is None else np.asarray(is_wall, dtype=bool),
    )


def heated(
    one, noise=None, *, noise_k=0.0, power_w=800.0, loss_w_k=3.0, capacity_j_k=12000.0, start_c=20.0, wall_k_w=0.0
):
    """A stretch with readings of known numbers, and noise."""
    clean = temperatures(one, start_c, power_w=power_w, loss_w_k=loss_w_k, capacity_j_k=capacity_j_k, wall_k_w=wall_k_w)
    shaken = clean if noise is None else clean + noise_k * noise.standard_normal(len(clean))
    return Stretch(one.time_s, shaken, one.drive, one.is_on, one.air_c, one.is_wall)


def spread_m(slope_mrad):
    """Per-axis standard deviation of a Gaussian spot: a slope error s turns light by 2 s. [m]"""
    return 1e-3 * FOCAL_M * np.hypot(SUN_MRAD, 2.0 * slope_mrad)


def gaussian_spots(slopes_mrad, *, half_width_m, n=97):
    """Spots of unit power, exact means over the pixels."""
    from scipy.special import ndtr

    edges = np.linspace(-half_width_m, half_width_m, n + 1)
    maps = []
    for slope in slopes_mrad:
        line = np.diff(ndtr(edges / spread_m(slope)))
        maps.append(line[:, np.newaxis] * line[np.newaxis, :] / (edges[1] - edges[0]) ** 2)
    maps = np.array(maps)
    return Spots(np.array(slopes_mrad) ** 2.0, maps, np.zeros_like(maps), half_width_m, np.zeros(2))


def edge_spread_m(slope_mrad, place_m=0.0):
    """Per-axis standard deviation of a Gaussian spot on a target beside the focus, whose cone opens by 0.3. [m]"""
    return np.hypot(spread_m(slope_mrad), 0.3 * place_m)


def edge_rungs(slopes_mrad, places_m=(0.0,), *, half_width_m=0.08, n=97):
    """Stand-ins for traces whose spots on the target's planes are Gaussian."""
    from scipy.special import ndtr

    edges = np.linspace(-half_width_m, half_width_m, n + 1)

    def screen(slope, place):
        line = np.diff(ndtr(edges / edge_spread_m(slope, place)))
        flux = line[:, np.newaxis] * line[np.newaxis, :]
        return SimpleNamespace(map_w_m2=flux, half_width_m=half_width_m, centroid_m=(Estimate(0.0, 0.0),) * 2)

    return [
        SimpleNamespace(slope_mrad=slope, target=[screen(slope, place) for place in places_m].__getitem__)
        for slope in slopes_mrad
    ]


def gaussian_photo(
    slope_mrad,
    noise=None,
    *,
    centre_m=(0.0, 0.0),
    size=(240, 320),
    mm=0.4,
    peak=0.8,
    base=0.03,
    noise_at_peak=0.01,
    highest=None,
    smear=0.0,
):
    """A linear photograph of a Gaussian spot, seen from the mirror's side: x of the dish runs to the left.

    The noise grows with the root of the light, and is smeared over neighbours by a Gaussian of `smear` pixels.
    """
    from scipy import ndimage

    rows, columns = np.indices(size, dtype=np.float64)
    x = -1e-3 * mm * (columns - 0.5 * (size[1] - 1)) - centre_m[0]
    y = -1e-3 * mm * (rows - 0.5 * (size[0] - 1)) - centre_m[1]
    sigma = np.sqrt(spread_m(slope_mrad) ** 2 + (1e-3 * mm) ** 2 / 12.0)  # pixels average
    light = base + peak * np.exp(-0.5 * (x**2 + y**2) / sigma**2)
    if noise is not None:
        shake = noise.standard_normal(size)
        if smear:
            shake = ndimage.gaussian_filter(shake, smear) * (2.0 * np.sqrt(np.pi) * smear)
        light = light + noise_at_peak * np.sqrt(light / peak) * shake
    full = np.zeros(size, dtype=bool) if highest is None else light >= highest
    light = light if highest is None else np.minimum(light, highest)
    return Photo("invented.png", light.astype(np.float32), full, "codes taken as light", 0.0)


def patch_of(photo: Photo, *, mm=0.4) -> Patch:
    """Its spot on a grid, the axis in the middle of the photo."""
    rows, columns = photo.light.shape
    axis = (0.5 * (columns - 1), 0.5 * (rows - 1))
    return spot_patch(photo, read_scale(f"{mm} mm/px"), axis_px=axis, is_seen_from_mirror=True, turn_deg=0.0)
