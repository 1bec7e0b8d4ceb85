"""Measured facets as they are traced: one quadric where that follows the fit, else small patches of second order."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts.patches import SLOPE_BOUND, chosen_side, patch_errors, patches_of
from dishtrace.dish.layouts.plan import LayoutError
from dishtrace.dish.measured_facet import MeasuredFacet
from dishtrace.dish.outline import Outline
from dishtrace.dish.smooth_surface import SmoothSurface
from dishtrace.scene.facets import MOST_FACETS


def quadric_stray(fit: MeasuredFacet, outline: Outline) -> float:
    """Largest angle between the fit's normals and those of its one quadric, over an outline. [rad]"""
    one = SmoothSurface(quadric=fit.touching_quadric(), coefficients=np.zeros((1, 1)), middle=np.zeros(2), half=1.0)
    places = np.concatenate([outline.boundary(64), outline.quadrature(4)[0]])
    stray = np.linalg.norm(fit.gradient(places) - one.gradient(places), axis=1)
    return float(stray.max()) if np.isfinite(stray).all() else np.inf


def split(facets: Facets, fits: Mapping[int, MeasuredFacet]) -> Facets:
    """Facets whose fit one quadric does not follow, as patches that keep the facet's number.

    Parameters
    ----------
    facets : Facets
        As they stand, each number once; measured ones with their one quadric.
    fits : dict of MeasuredFacet
        Of the measured ones, by number.

    Returns
    -------
    Facets
        In the order of `facets`.

    Raises
    ------
    LayoutError
        If patches would be too many, or none are small enough.
    """
    if not fits:
        return facets
    known: dict[tuple[int, int], Facets | None] = {}
    found: list[Facets] = []
    for i, number in enumerate(facets.number.tolist()):
        whole, fit = facets.taken(np.array([i])), fits.get(number)
        pieces = None
        if fit is not None:
            key = (id(facets.outlines[i]), id(fit))
            if key not in known:
                known[key] = _pieces(fit, facets.outlines[i])
            pieces = known[key]
        found.append(whole if pieces is None else _placed(pieces, whole))
    total = sum(map(len, found))
    if total > MOST_FACETS:
        allowed = f"makes {total} patches of all facets, more than {MOST_FACETS}"
        raise LayoutError("curve_degree", allowed, "2 makes one patch of each facet")
    return _joined(found)


def _pieces(fit: MeasuredFacet, outline: Outline) -> Facets | None:
    """Patches of a facet in its own frame; None where its one quadric does."""
    if quadric_stray(fit, outline) <= SLOPE_BOUND:
        return None
    side = chosen_side(fit, outline, least=2)
    if not patch_errors(fit, outline, side).is_within:
        allowed = f"lets the fit bend so sharply that patches of {1e3 * side:.2g} mm do not follow it"
        raise LayoutError("curve_degree", allowed, "a lower degree")
    return patches_of(fit, outline, side=side, slope=0.0)


def _placed(pieces: Facets, whole: Facets) -> Facets:
    """Patches of a facet's frame where the facet stands."""
    n = len(pieces)
    return replace(
        pieces,
        number=np.repeat(whole.number, n),
        origin=whole.origin + pieces.origin @ whole.axes[0],
        axes=pieces.axes @ whole.axes[0],
        slope=np.repeat(whole.slope, n),
        brightness=np.repeat(whole.brightness, n),
    )


def _joined(parts: list[Facets]) -> Facets:
    """Facets one after the other."""
    keys = ("number", "origin", "axes", "quadric", "slope", "brightness")
    arrays = {key: np.concatenate([getattr(part, key) for part in parts]) for key in keys}
    return Facets(outlines=tuple(outline for part in parts for outline in part.outlines), **arrays)
