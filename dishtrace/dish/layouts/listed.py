"""Facets one by one, from a csv file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.layouts.grid import hexagon, polygon_piece
from dishtrace.dish.layouts.plan import Laid, LayoutError, laid_out
from dishtrace.dish.outline import Outline, circle, polygon, rectangle
from dishtrace.errors import Fault, InputError
from dishtrace.scene.facet_list import FacetRow, ListDefaults, read_facet_list

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene


def list_rows(scene: Scene) -> list[FacetRow]:
    """Rows of the scene's facet list.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    table = scene.dish.facets
    size = () if table.size_m is None else table.size_m
    defaults = ListDefaults(
        shape=table.shape,
        size=size if isinstance(size, tuple) else (size,),
        curve=table.curve,
        bend=table.bend,
        curve_file=table.curve_file,
    )
    return read_facet_list(scene.path(table.file), table.file, defaults)


def laid_list(rows: list[FacetRow], *, focal_length: float) -> Laid:
    """Facets where the rows put them; in their order and with their numbers.

    Parameters
    ----------
    rows : list of FacetRow
    focal_length : float
        Focal length f. [m]

    Raises
    ------
    InputError
        If a polygon is none.
    """
    pieces: dict[tuple, Outline] = {}
    for row in rows:
        key = (row.shape, row.size, row.vertices)
        if key not in pieces:
            pieces[key] = _piece(row)
    return laid_out(
        np.array([[row.x, row.y] for row in rows]),
        np.radians([row.turn_deg for row in rows]),
        [pieces[row.shape, row.size, row.vertices] for row in rows],
        focal_length=focal_length,
        number=np.array([row.number for row in rows]),
        z=np.array([np.nan if row.z is None else row.z for row in rows]),
    )


def _piece(row: FacetRow) -> Outline:
    """Outline of one row."""
    if row.shape == "polygon":
        try:
            return polygon_piece(row.vertices)
        except LayoutError as error:
            raise InputError(Fault(row.where, "vertices_m", "", str(error), error.remedy)) from None
    if row.shape == "circle":
        return circle(0.5 * row.size[0])
    if row.shape == "hexagon":
        return hexagon(row.size[0])
    if row.shape == "trapezium":
        inner, outer, length = row.size
        return polygon(0.5 * np.array([[-length, -inner], [length, -outer], [length, outer], [-length, inner]]))
    return rectangle((row.size[0], row.size[-1]))
