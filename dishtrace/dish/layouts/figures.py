"""What is told about fits to measured mirrors and facets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts.fits import Fits, fits_by_number, fits_of, measured_outline, measured_surface
from dishtrace.dish.layouts.patches import chosen_side, patch_errors
from dishtrace.dish.outline import Outline

if TYPE_CHECKING:
    from dishtrace.dish.stationary import Reset
    from dishtrace.scene.model import Scene


def measured_figures(
    scene: Scene, outline: Outline, *, fits: Fits | None = None, reset: Reset | None = None
) -> dict[str, float | int | list[float]]:
    """What to tell about a measured mirror: its fit, and how far the traced patches stray from it.

    Parameters
    ----------
    scene : Scene
        With layout = "measured".
    outline : Outline
        Of the dish. [m]
    fits : Fits, optional
        What was measured, when it is at hand.
    reset : Reset, optional
        How a mount with a stationary focus re-set the mirror.

    Returns
    -------
    dict
        `MeasuredMirror.figures`, with patch_m, patch_slope_mrad, patch_height_m and patch_cracks_share.
    """
    mirror = (fits_of(scene, outline) if fits is None else fits).mirror
    surface, rim = measured_surface(mirror, reset), measured_outline(outline, reset)
    errors = patch_errors(surface, rim, scene.dish.facets.patch_m or chosen_side(surface, rim))
    return mirror.figures() | {
        "patch_m": errors.side,
        "patch_slope_mrad": 1e3 * errors.slope,
        "patch_height_m": errors.height,
        "patch_cracks_share": errors.cracks,
    }


def facet_figures(scene: Scene, facets: Facets, fits: Fits) -> list[dict]:
    """What to tell about measured facets, one entry a file.

    Parameters
    ----------
    scene : Scene
    facets : Facets
        As traced.
    fits : Fits

    Returns
    -------
    list of dict
        file, facets (how many have its shape), patches (the most that one of them is traced as), and
        `MeasuredFacet.figures`.
    """
    by_number = fits_by_number(scene, facets, fits)
    numbers, counts = np.unique(facets.number, return_counts=True)
    figures = []
    for name, fit in fits.facets.items():
        patches = [
            int(count) for number, count in zip(numbers.tolist(), counts, strict=True) if by_number.get(number) is fit
        ]
        figures.append({"file": name, "facets": len(patches), "patches": max(patches, default=0)} | fit.figures())
    return figures
