"""The traced spot that is most like the one on a photograph: slope error, place, and how sure both are.

The photo's light is `A F(x - cx, y - cy; v) + b0 + bx x + by y` plus noise, F the traced flux on the target for the
squared slope error v, and fitted by least squares. F runs through traces at several v as Lagrange's polynomial in v,
and as a cubic spline in x and y. Both sides are blurred alike first: noise of the
traces would otherwise pull v down. The photo's noise need not be even nor free of correlation between neighbours: the
grid is cut into blocks, and the errors come from leaving out one block after another.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dishtrace.study.fit.blocks import BLOCKS, WIDENED, numbered, sums, with_neighbours
from dishtrace.study.fit.ladder import Rung, between
from dishtrace.study.fit.patch import Patch

N_NUMBERS = 7
VARIANCE, SHIFT_X, SHIFT_Y, AMPLITUDE = range(4)
LEAST_FREEDOM = 4.0
BLUR = 0.2
"""Standard deviation of the blur, in radii of the bright patch. [–]"""
CUT = 3.0
"""The blur ends so many of its standard deviations away. [–]"""


@dataclass(frozen=True, eq=False)
class Spots:
    """The spot on a target traced at several slope errors.

    Parameters
    ----------
    variances : (k,) float64
        Squared slope errors, rising. [mrad2]
    maps, errors : (k, n, n) float64
        Flux and its standard error, row = y. [W/m2]
    half_width_m : float
        Half the side of the maps, which lie about the axis. [m]
    centroid_m : (2,) float64
        Of the middle one. [m]
    """

    variances: np.ndarray
    maps: np.ndarray
    errors: np.ndarray
    half_width_m: float
    centroid_m: np.ndarray
    splines: np.ndarray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        from scipy import ndimage

        splines = np.stack([ndimage.spline_filter(one, order=3, mode="constant") for one in self.maps])
        object.__setattr__(self, "splines", splines)

    @property
    def pitch_m(self) -> float:
        """Side of a pixel of the maps. [m]"""
        return 2.0 * self.half_width_m / self.maps.shape[1]

    def blurred(self, sigma_m: float) -> Spots:
        """The same with maps blurred; the errors are still those of the sharp ones."""
        from scipy import ndimage

        sigma = sigma_m / self.pitch_m
        maps = np.stack([ndimage.gaussian_filter(one, sigma, mode="nearest", truncate=CUT) for one in self.maps])
        return replace(self, maps=maps)

    def at(self, variance: float, x: np.ndarray, y: np.ndarray, *, slope: bool = False) -> np.ndarray:
        """Flux at places for a squared slope error, or its derivative to it."""
        weights = _slopes(self.variances, variance) if slope else between(self.variances, variance)
        return self._read(np.tensordot(weights, self.splines, axes=1), x, y)

    def variance_at(self, variance: float, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Squared standard error of the flux at places, from the tracing."""
        from scipy import ndimage

        weights = between(self.variances, variance) ** 2
        squared = np.tensordot(weights, np.nan_to_num(self.errors) ** 2, axes=1)
        return np.maximum(ndimage.map_coordinates(squared, self._places(x, y), order=1, mode="constant"), 0.0)

    def _read(self, spline: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        from scipy import ndimage

        return ndimage.map_coordinates(spline, self._places(x, y), order=3, mode="constant", prefilter=False)

    def _places(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.stack([(y + self.half_width_m) / self.pitch_m - 0.5, (x + self.half_width_m) / self.pitch_m - 0.5])


def spots_of(rungs: Sequence[Rung], place: int = 0) -> Spots:
    """The spots of traces at rising slope errors on a plane of the target."""
    screens = [rung.target(place) for rung in rungs]
    middle = screens[len(screens) // 2]
    return Spots(
        np.array([rung.slope_mrad**2 for rung in rungs]),
        np.stack([screen.map_w_m2 for screen in screens]),
        np.stack([screen.map_se_w_m2 for screen in screens]),
        middle.half_width_m,
        np.array([value.value for value in middle.centroid_m]),
    )


@dataclass(frozen=True, eq=False)
class SpotMatch:
    """A traced spot laid onto a photographed one.

    Parameters
    ----------
    numbers : (7,) float64
        v [mrad2], cx, cy [m], A, b0, bx, by.
    scatter_se, tracing_se : (7,) float64
        Standard errors from the photo's noise, and from the tracing.
    freedom : (7,) float64
        Degrees of freedom of the former.
    fitted, left : (n, n) float64
        The photo without noise, and photo less that; NaN where nothing was seen.
    misfit : float
        Root mean square of what is left within the bright patch, beyond what neighbours' noise explains, over the peak.
    """

    numbers: np.ndarray
    scatter_se: np.ndarray
    tracing_se: np.ndarray
    freedom: np.ndarray
    fitted: np.ndarray
    left: np.ndarray
    misfit: float


def match_spot(patch: Patch, spots: Spots, *, start_mrad2: float, is_quick: bool = False) -> SpotMatch:
    """Lay traced spots onto a photographed one.

    Parameters
    ----------
    patch : Patch
    spots : Spots
    start_mrad2 : float
        Squared slope error to start from. [mrad2]
    is_quick : bool
        Leave errors out (zeros).
    """
    from scipy.optimize import least_squares

    x, y = np.meshgrid(patch.x_m, patch.y_m)
    sigma = BLUR * patch.half_radius_m
    light, known = _blurred_light(patch.light, sigma / patch.pitch_m)
    soft = math.sqrt(max(sigma**2 + patch.blur_m**2 - spots.pitch_m**2 / 12.0, 0.0))
    problem = _Problem(spots.blurred(soft), x[known], y[known], light[known], patch.half_width_m)
    found = least_squares(
        problem.left, problem.start(start_mrad2), jac=problem.jacobian, x_scale="jac", method="lm", xtol=1e-10
    )
    sharp = math.sqrt(max(patch.blur_m**2 - spots.pitch_m**2 / 12.0, 0.0))
    everywhere = _Problem(
        spots.blurred(sharp), x.ravel(), y.ravel(), np.zeros(x.size), patch.half_width_m, problem.centre
    )
    fitted = everywhere.left(found.x).reshape(x.shape)
    left = patch.light - fitted
    scatter, tracing, freedom = np.zeros(N_NUMBERS), np.zeros(N_NUMBERS), np.full(N_NUMBERS, np.inf)
    if not is_quick:
        weights = _weights(found.jac, known, sigma / patch.pitch_m)
        scatter, freedom = _left_out_errors(found.jac, weights, np.nan_to_num(left), known)
        noise = np.zeros(x.shape)
        noise[known] = spots.variance_at(found.x[VARIANCE], *problem.shifted(found.x))
        noise *= (found.x[AMPLITUDE] * spots.pitch_m / patch.pitch_m) ** 2
        tracing = np.sqrt(np.tensordot(noise, weights**2, axes=2))
        scatter = np.sqrt(np.maximum(scatter**2 - tracing**2, 0.0))
    return SpotMatch(found.x, scatter, tracing, freedom, fitted, left, _misfit(left, patch, found.x, fitted))


def _blurred_light(light: np.ndarray, sigma: float) -> tuple[np.ndarray, np.ndarray]:
    """Light blurred by so many bins, and where no hole lies within the blur."""
    from scipy import ndimage

    holes = ~np.isfinite(light)
    blurred = ndimage.gaussian_filter(np.where(holes, 0.0, light), sigma, mode="nearest", truncate=CUT)
    if not holes.any():
        return blurred, ~holes
    return blurred, ndimage.distance_transform_edt(~holes) > CUT * sigma + 0.5


class _Problem:
    """The least-squares problem; lengths of the background's slopes are in half widths."""

    def __init__(
        self,
        spots: Spots,
        x: np.ndarray,
        y: np.ndarray,
        light: np.ndarray,
        half_width: float,
        centre: np.ndarray | None = None,
    ) -> None:
        self.spots, self.x, self.y, self.light = spots, x, y, light
        self.centre = np.array([x.mean(), y.mean()]) if centre is None else centre
        self.plane = np.stack(
            [np.ones_like(x), (x - self.centre[0]) / half_width, (y - self.centre[1]) / half_width], axis=1
        )
        self.step = 0.25 * 2.0 * spots.half_width_m / spots.maps.shape[1]

    def start(self, variance: float) -> np.ndarray:
        base = float(np.percentile(self.light, 20.0))
        shift = self.centre - self.spots.centroid_m
        amplitude = (float(np.percentile(self.light, 99.5)) - base) / float(self.spots.maps.max())
        return np.array([variance, *shift, amplitude, base, 0.0, 0.0])

    def shifted(self, numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return self.x - numbers[SHIFT_X], self.y - numbers[SHIFT_Y]

    def left(self, numbers: np.ndarray) -> np.ndarray:
        flux = self.spots.at(numbers[VARIANCE], *self.shifted(numbers))
        return numbers[AMPLITUDE] * flux + self.plane @ numbers[AMPLITUDE + 1 :] - self.light

    def jacobian(self, numbers: np.ndarray) -> np.ndarray:
        x, y = self.shifted(numbers)
        v, amplitude, h = numbers[VARIANCE], numbers[AMPLITUDE], self.step
        along_x = (self.spots.at(v, x + h, y) - self.spots.at(v, x - h, y)) / (2.0 * h)
        along_y = (self.spots.at(v, x, y + h) - self.spots.at(v, x, y - h)) / (2.0 * h)
        slope = self.spots.at(v, x, y, slope=True)
        columns = [amplitude * slope, -amplitude * along_x, -amplitude * along_y, self.spots.at(v, x, y)]
        return np.concatenate([np.stack(columns, axis=1), self.plane], axis=1)


def _slopes(nodes: np.ndarray, place: float) -> np.ndarray:
    """Derivatives of Lagrange's weights, by a central difference that is exact to rounding for these polynomials."""
    step = 1e-3 * float(nodes[-1] - nodes[0])
    return (between(nodes, place + step) - between(nodes, place - step)) / (2.0 * step)


def _weights(jacobian: np.ndarray, known: np.ndarray, sigma: float) -> np.ndarray:
    """How each number moves with noise of each bin before the blur, (n, n, 7): pseudoinverse, then the blur."""
    from scipy import ndimage

    size = np.abs(jacobian).max(axis=0)
    size = np.where(size > 0.0, size, 1.0)
    scaled = jacobian / size
    weights = np.zeros((*known.shape, N_NUMBERS))
    weights[known] = scaled @ np.linalg.pinv(scaled.T @ scaled) / size
    return ndimage.gaussian_filter(weights, (sigma, sigma, 0.0), mode="constant", truncate=CUT)


def _left_out_errors(
    jacobian: np.ndarray, weights: np.ndarray, left: np.ndarray, known: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Standard errors of the numbers by leaving out blocks, one Newton step each, and their degrees of freedom.

    Parameters
    ----------
    jacobian : (m, 7) float64
        At the bins that are known.
    weights : (n, n, 7) float64
        How the numbers move with the noise of each bin.
    left : (n, n) float64
        What the fit leaves before the blur; 0 where nothing is known.
    known : (n, n) bool

    Notes
    -----
    Products of neighbouring blocks count by half (a quarter across a corner), so that noise that reaches over their
    border is not missed: Bartlett's weights [1]_. A block that holds much of what is known of a number moves it the
    more for being left out: its move is divided by one less its share of the information. The degrees of freedom are
    the number of blocks that carry the error, (sum E)^2 / sum E^2 over their shares E of the variance.

    References
    ----------
    .. [1] W.K. Newey and K.D. West, "A Simple, Positive Semi-Definite, Heteroskedasticity and Autocorrelation
       Consistent Covariance Matrix", Econometrica 55 (1987) 703-708 (from memory; here in two directions).
    """
    block = numbered(len(known))
    size = np.abs(jacobian).max(axis=0)
    scaled = jacobian / np.where(size > 0.0, size, 1.0)
    whole = scaled.T @ scaled
    inverse = np.linalg.pinv(whole)
    of_known = block[known]
    moves = np.stack([sums(left * weights[..., k]) for k in range(N_NUMBERS)], axis=1)
    moved = []
    for number, move in enumerate(moves):
        own = scaled[of_known == number]
        share = inverse @ (own.T @ own)
        moved.append(np.linalg.solve(np.eye(N_NUMBERS) - share, move * size) / np.where(size > 0.0, size, 1.0))
    moved = np.array(moved).reshape(BLOCKS, BLOCKS, N_NUMBERS)
    errors = np.sqrt(np.maximum((moved * with_neighbours(moved)).sum(axis=(0, 1)), 0.0))
    carried = np.stack([sums((left * weights[..., k]) ** 2) for k in range(N_NUMBERS)], axis=1)
    blocks = carried.sum(axis=0) ** 2 / np.maximum((carried**2).sum(axis=0), 1e-300)
    return errors, np.maximum(blocks / WIDENED, LEAST_FREEDOM)


def _misfit(left: np.ndarray, patch: Patch, numbers: np.ndarray, fitted: np.ndarray) -> float:
    """Root of the mean product of neighbours' residuals: noise that is new in each bin drops out."""
    peak = float(np.nanmax(fitted) - numbers[AMPLITUDE + 1])
    centre = np.unravel_index(np.nanargmax(fitted), fitted.shape)
    radius = np.hypot(patch.x_m - patch.x_m[centre[1]], (patch.y_m - patch.y_m[centre[0]])[:, np.newaxis])
    inner = np.where(radius < 2.0 * patch.half_radius_m, left, np.nan)
    products = np.concatenate([(inner[1:] * inner[:-1]).ravel(), (inner[:, 1:] * inner[:, :-1]).ravel()])
    products = products[np.isfinite(products)]
    if not len(products) or peak <= 0.0:
        return math.nan
    return math.sqrt(max(float(products.mean()), 0.0)) / peak
