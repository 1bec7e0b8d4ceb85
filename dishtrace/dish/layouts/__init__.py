"""How the mirror is put together: layouts of facets, how each is cut, curved and aimed, and what is wrong with it.

Public: `facets_of` (the mirror of a scene as traced, one skin when it has no facets), `whole_facets` (the same, each
facet as one quadric), `designed_facets` (as drawn, without the errors of one dish), `layout_summary` (its areas),
`fits_of` (what was measured, read and fitted), `measured_figures` and `facet_figures` (what to tell about that).
"""

from dishtrace.dish.layouts.figures import facet_figures, measured_figures
from dishtrace.dish.layouts.fits import Fits, fits_of
from dishtrace.dish.layouts.mirror import designed_facets, facets_of, whole_facets
from dishtrace.dish.layouts.summary import layout_summary

__all__ = [
    "Fits",
    "designed_facets",
    "facet_figures",
    "facets_of",
    "fits_of",
    "layout_summary",
    "measured_figures",
    "whole_facets",
]
