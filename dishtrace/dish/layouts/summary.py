"""What a layout comes to: areas and what is left between, beside and on top of each other."""

from __future__ import annotations

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts.overlap import footprints, outline_polygon, shared_areas
from dishtrace.dish.outline import Outline


def layout_summary(facets: Facets, outline: Outline) -> dict[str, float | int]:
    """Figures of a layout.

    Parameters
    ----------
    facets : Facets
    outline : Outline
        Of the dish, in plan. [m]

    Returns
    -------
    dict
        facets (count); mirror_m2 true surface; aperture_m2 its projection along the axis; outline_m2 the outline
        without the hole; overlap_m2 what two facets both cover in plan; overhang_m2 what they cover outside the
        outline; gaps_m2 what of the outline none covers. The last three are told by polygons with round lines as
        chords, to about 1e-5 of the areas; all lie in the plane square to the axis but mirror_m2.
    """
    import shapely

    shapes = footprints(facets)
    overlap = float(shapely.area(shared_areas(shapes)[2]).sum())
    dish = outline_polygon(outline)
    shapely.prepare(dish)
    beside = shapes[~shapely.covers(dish, shapes)]
    overhang = float(shapely.area(shapely.difference(beside, dish)).sum())
    return {
        "facets": len(facets),
        "mirror_m2": float(facets.surface_areas().sum()),
        "aperture_m2": float(facets.aperture_areas().sum()),
        "outline_m2": outline.area,
        "overlap_m2": overlap,
        "overhang_m2": overhang,
        "gaps_m2": max(0.0, outline.area - float(shapely.area(shapes).sum()) + overlap + overhang),
    }
