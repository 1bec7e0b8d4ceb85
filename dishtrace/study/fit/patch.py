"""The spot on a photograph, read off on a square grid of the target's plane, in the axes of the dish."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.study.fit.photo import Photo
from dishtrace.study.fit.scale import Scale

REACH = 5.0
"""Half the side of the grid, in radii of the patch brighter than half of the peak. [–]"""
MOST_BINS, LEAST_BINS = 61, 20
MOST_FULL = 0.25
"""Share of the bright patch that may be overexposed; more is refused (common practice, no source). [–]"""
COARSE_PX = 500
SOFTENED = 0.45
"""Standard deviation of the blur before the photo is read off, in sides of a bin, for finer detail would pose as
coarser. [–]"""


@dataclass(frozen=True, eq=False)
class Patch:
    """The spot on a grid.

    Parameters
    ----------
    x_m, y_m : (n,) float64
        Middles of the bins, in the axes of the dish, from the axis mark or from the middle of the bright patch. [m]
    light : (n, n) float64
        Linear light at the middles, row = y, column = x; NaN where there is no photo or it is overexposed. [–]
    is_full : (n, n) bool
        Overexposed.
    blur_m : float
        Standard deviation of what blurs the light: pixels, and the softening before it was read off. [m]
    half_width_m : float
        Half the side of the grid. [m]
    half_radius_m : float
        Radius of a circle as large as the patch brighter than half of the peak. [m]
    pixel_m : float
        Side of a pixel at the spot. [m]
    full_share : float
        Share of that patch that is overexposed. [–]
    has_axis : bool
        Whether places count from the axis.
    notes : tuple of str
    """

    x_m: np.ndarray
    y_m: np.ndarray
    light: np.ndarray
    is_full: np.ndarray
    blur_m: float
    half_width_m: float
    half_radius_m: float
    pixel_m: float
    full_share: float
    has_axis: bool
    notes: tuple[str, ...]

    @property
    def centre_m(self) -> tuple[float, float]:
        """Middle of the grid. [m]"""
        return float(self.x_m.mean()), float(self.y_m.mean())

    @property
    def pitch_m(self) -> float:
        """Side of a bin. [m]"""
        return 2.0 * self.half_width_m / len(self.x_m)

    def with_tone(self, exponent: float) -> Patch:
        """The patch had the tone curve another exponent by this factor. [–]"""
        return replace(self, light=np.sign(self.light) * np.abs(self.light) ** exponent)


def spot_patch(
    photo: Photo,
    scale: Scale,
    *,
    axis_px: tuple[float, float] | None,
    is_seen_from_mirror: bool,
    turn_deg: float,
) -> Patch:
    """Find the spot and average it onto a grid.

    Parameters
    ----------
    photo : Photo
    scale : Scale
    axis_px : (float, float) or None
        Column and row where the axis of the dish meets the target; None: not known. [px]
    is_seen_from_mirror : bool
        Whether the camera stood on the mirror's side, so that right on the photo is -x; else behind a translucent
        target.
    turn_deg : float
        How far the photo's up is turned from the dish's y, counter-clockwise as the photo shows it. [deg]

    Raises
    ------
    InputError
        If there is no spot, it is cut off, too coarse, or overexposed.
    """
    column, row, radius_px = _bright_patch(photo)
    pixel = scale.pixel_m(column, row)
    half_radius = radius_px * pixel
    half_width = REACH * half_radius
    axes = _Axes(scale, is_seen_from_mirror, turn_deg)
    centre = axes.place(column, row)
    origin = centre if axis_px is None else axes.place(*axis_px)
    bins = int(min(MOST_BINS, 2.0 * half_width / (1.5 * pixel)))
    if bins < LEAST_BINS:
        said = f"shows the bright patch only {2.0 * radius_px:.0f} pixels wide"
        raise InputError(Fault(photo.name, "", "", said, "go closer, or use more of the camera's pixels"))
    pitch = 2.0 * half_width / bins
    middles = (np.arange(bins) + 0.5) * pitch - half_width
    columns, rows = axes.pixels(centre[0] + middles[np.newaxis, :], centre[1] + middles[:, np.newaxis])
    light, is_full, blur_px = _read_off(photo, columns, rows, softened_px=SOFTENED * pitch / pixel)
    share = _checked(photo, light, is_full, middles, half_radius)
    notes = tuple(_notes(photo, light, is_full, share))
    near = centre - origin
    return Patch(
        middles + near[0],
        middles + near[1],
        np.where(is_full, np.nan, light),
        is_full,
        blur_px * pixel,
        half_width,
        half_radius,
        pixel,
        share,
        axis_px is not None,
        notes,
    )


def _bright_patch(photo: Photo) -> tuple[float, float, float]:
    """Column and row of the middle of the brightest patch, and the radius of a circle as large as it. [px]

    The patch is what is brighter than halfway from the border's median to the peak, on a coarser copy.
    """
    from scipy import ndimage

    factor = max(1, int(np.ceil(max(photo.light.shape) / COARSE_PX)))
    tall, wide = (size // factor * factor for size in photo.light.shape)
    if min(tall, wide) < 3 * factor:
        raise InputError(Fault(photo.name, "", "", "is too small", "give the whole photograph"))
    coarse = photo.light[:tall, :wide].reshape(tall // factor, factor, wide // factor, factor).mean(axis=(1, 3))
    edge = np.concatenate([coarse[0], coarse[-1], coarse[:, 0], coarse[:, -1]])
    base, scatter = float(np.median(edge)), float(np.median(np.abs(edge - np.median(edge))))
    smooth = ndimage.uniform_filter(coarse.astype(np.float64), 3)
    peak = float(smooth.max())
    if peak - base < max(10.0 * scatter, 0.004):
        said = "shows no bright patch: its brightest place hardly differs from its border"
        raise InputError(Fault(photo.name, "", "", said, "expose longer, and keep stray light off the target"))
    labels, n_found = ndimage.label(smooth > base + 0.5 * (peak - base))
    sizes = ndimage.sum_labels(np.ones_like(smooth), labels, np.arange(1, n_found + 1))
    number = int(np.argmax(sizes)) + 1
    middle = ndimage.center_of_mass(np.where(labels == number, 1.0, 0.0))
    return (
        (middle[1] + 0.5) * factor - 0.5,
        (middle[0] + 0.5) * factor - 0.5,
        float(np.sqrt(sizes[number - 1] / np.pi)) * factor,
    )


class _Axes:
    """Between pixels and x, y of the dish on the target."""

    def __init__(self, scale: Scale, is_seen_from_mirror: bool, turn_deg: float) -> None:
        turn = np.radians(turn_deg)
        right = -1.0 if is_seen_from_mirror else 1.0
        self.turn = np.array([[right * np.cos(turn), -right * np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        self.scale = scale
        self.back = np.linalg.inv(scale.matrix)

    def place(self, column: float, row: float) -> np.ndarray:
        """X and y of a pixel. [m]"""
        u, v = self.scale.metres(np.array(column), np.array(row))
        return self.turn @ np.array([float(u), float(v)])

    def pixels(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Columns and rows of places. [px]"""
        back = np.linalg.inv(self.turn)
        u, v = back[0, 0] * x + back[0, 1] * y, back[1, 0] * x + back[1, 1] * y
        columns, rows, scale = (m[0] * u + m[1] * v + m[2] for m in self.back)
        return columns / scale, rows / scale


def _read_off(
    photo: Photo, columns: np.ndarray, rows: np.ndarray, *, softened_px: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Light at places on the photo, whether overexposed pixels touch it, and what blurs it. [px]

    Fine photos are averaged over squares of pixels first; then they are softened and read off by cubic splines. NaN
    outside the photo.
    """
    from scipy import ndimage

    factor = max(int(softened_px / SOFTENED / 2.0), 1)
    tall, wide = photo.light.shape
    low = [max(int(np.floor(one.min() - 4.0 * softened_px)) - 2, 0) for one in (rows, columns)]
    high = [min(int(np.ceil(one.max() + 4.0 * softened_px)) + 3, size) for one, size in ((rows, tall), (columns, wide))]
    box = tuple(slice(a, a + (b - a) // factor * factor) for a, b in zip(low, high, strict=True))
    light, full = (_squares(one[box], factor) for one in (photo.light.astype(np.float64), photo.is_full))
    sigma = softened_px / factor
    light = ndimage.gaussian_filter(light, sigma, mode="nearest")
    touched = ndimage.gaussian_filter(full, sigma, mode="constant") if full.any() else full
    places = [(one - start + 0.5) / factor - 0.5 for one, start in ((rows, low[0]), (columns, low[1]))]
    read = ndimage.map_coordinates(light, places, order=3, mode="nearest")
    is_full = ndimage.map_coordinates(touched, places, order=1, mode="nearest") > 1e-3
    outside = (rows < 0.0) | (rows > tall - 1) | (columns < 0.0) | (columns > wide - 1)
    return np.where(outside, np.nan, read), is_full & ~outside, float(np.hypot(softened_px, factor / np.sqrt(12.0)))


def _squares(values: np.ndarray, factor: int) -> np.ndarray:
    """Means over squares of pixels."""
    tall, wide = (size // factor for size in values.shape)
    return values.reshape(tall, factor, wide, factor).mean(axis=(1, 3))


def _checked(photo: Photo, mean: np.ndarray, is_full: np.ndarray, middles: np.ndarray, half_radius: float) -> float:
    """Share of the bright patch that is overexposed; refuses too much of it, and a spot that is cut off."""
    radius = np.hypot(middles[:, np.newaxis], middles[np.newaxis, :])
    if np.isnan(mean[radius < 2.0 * half_radius]).any():
        said = "cuts the spot off: less than one of its own widths is left around the bright patch"
        raise InputError(Fault(photo.name, "", "", said, "take in more of the target"))
    share = float(is_full[radius < half_radius].mean())
    if share > MOST_FULL:
        most = 100.0 * MOST_FULL
        said = f"is overexposed over {100.0 * share:.0f} % of the bright patch; up to {most:.0f} % can be handled"
        remedy = "expose shorter, or put a darker filter before the lens (a phone can be dazzled for good, too)"
        raise InputError(Fault(photo.name, "", "", said, remedy))
    return share


def _notes(photo: Photo, mean: np.ndarray, is_full: np.ndarray, share: float) -> list[str]:
    notes = []
    if is_full.any():
        notes.append(
            f"{100.0 * share:.2g} % of the bright patch is overexposed: left out of the match, and filled in from "
            "the matched spot for centroid and radii"
        )
    edge = np.concatenate([mean[0], mean[-1], mean[:, 0], mean[:, -1]])
    known = edge[np.isfinite(edge)]
    if len(known) and np.mean(known <= 0.0) > 0.5:
        notes.append(
            "the dark around the spot is clipped to 0: faint outer light is lost and R90 may come out too small"
        )
    if len(known) < len(edge):
        notes.append("the photo does not reach as far around the spot as the grid does; light beyond it is not counted")
    if np.nanmax(mean) < 0.05:
        notes.append("the photo is very dark: its codes are coarse steps of light; expose longer")
    return notes
