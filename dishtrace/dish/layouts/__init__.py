"""How the mirror is put together: layouts of facets, how each is cut, curved and aimed, and what is wrong with it.

Public: `facets_of` (the mirror of a scene, one skin when it has no facets), `designed_facets` (the same as drawn,
without the errors of one dish), `layout_summary` (its areas).
"""

from dishtrace.dish.layouts.mirror import designed_facets, facets_of
from dishtrace.dish.layouts.summary import layout_summary

__all__ = ["designed_facets", "facets_of", "layout_summary"]
