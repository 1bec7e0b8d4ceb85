"""How much one dish differs from the next where chance sets its facets, told apart from the Monte Carlo error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import fits_of, whole_facets
from dishtrace.dish.outline import outline_of
from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate

LARGEST_SEED = 2**63 - 1
ROUNDING = 1e-9
"""Relative scatter that is only rounding. [–]"""


@dataclass(frozen=True)
class Scatter:
    """A figure over several dishes that only chance tells apart.

    Parameters
    ----------
    mean : float
        Over the dishes.
    sd : float or None
        Standard deviation from one dish to another, the Monte Carlo error taken out; zero when that explains all of
        it, None when it is unknown.
    """

    mean: float
    sd: float | None


def with_dish_seed(scene: Scene, seed: int) -> Scene:
    """The same scene with another seed of the chance that belongs to one dish."""
    return scene.model_copy(update={"dish": scene.dish.model_copy(update={"seed": seed % (LARGEST_SEED + 1)})})


def has_chance(scene: Scene) -> bool:
    """Whether the mirror depends on `dish.seed`: two dishes with different seeds have different facets."""
    outline = outline_of(scene)
    fits = fits_of(scene, outline)
    first, second = (
        whole_facets(one, outline, fits=fits) for one in (scene, with_dish_seed(scene, scene.dish.seed + 1))
    )
    return not _are_equal(first, second)


def _are_equal(first: Facets, second: Facets) -> bool:
    names = ("number", "origin", "axes", "quadric", "slope", "brightness")
    return all(np.array_equal(getattr(first, name), getattr(second, name)) for name in names)


def scatter(draws: Sequence[Estimate]) -> Scatter:
    """Mean and standard deviation of a figure over dishes traced with common random points.

    Parameters
    ----------
    draws : sequence of Estimate
        One a dish, at least two.

    Returns
    -------
    Scatter
        The variance over the dishes less what the Monte Carlo error adds to it. That part is the jackknife variance of
        each dish's distance from the mean of all: noise that the dishes have in common, from the same random points,
        cancels there as it does in the variance over the dishes.
    """
    values = np.array([draw.value for draw in draws])
    mean, n_dishes = float(values.mean()), len(values)
    left_out = [draw.left_out for draw in draws]
    if any(one is None or len(one) != len(left_out[0]) for one in left_out):
        is_exact = all(draw.se == 0.0 for draw in draws)
        sd = float(values.std(ddof=1))
        return Scatter(mean, (sd if sd > ROUNDING * abs(mean) else 0.0) if is_exact else None)
    distance = np.array(left_out) - np.mean(left_out, axis=0)
    n_blocks = distance.shape[1]
    spread = distance - distance.mean(axis=1, keepdims=True)
    noise = (n_blocks - 1) / n_blocks * float(np.sum(spread**2)) / (n_dishes - 1)
    variance = float(values.var(ddof=1)) - noise
    if not np.isfinite(variance):
        return Scatter(mean, None)
    sd = float(np.sqrt(max(variance, 0.0)))
    return Scatter(mean, sd if sd > ROUNDING * abs(mean) else 0.0)
