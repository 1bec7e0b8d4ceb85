"""Puts the mirror of a scene together: lays out, curves, cuts, aims, and applies what is wrong with this one dish."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets, skin
from dishtrace.dish.layouts.aim import aim_points, aimed_axes, behind
from dishtrace.dish.layouts.curves import bend_directions, quadrics
from dishtrace.dish.layouts.cut import cut_pieces
from dishtrace.dish.layouts.errors import canted, pistoned, without
from dishtrace.dish.layouts.fits import (
    Fits,
    file_fault,
    fits_by_number,
    fits_of,
    measured_outline,
    measured_surface,
)
from dishtrace.dish.layouts.grid import laid_hexagonal, laid_square
from dishtrace.dish.layouts.listed import laid_list, list_rows
from dishtrace.dish.layouts.overlap import footprints, overlaps
from dishtrace.dish.layouts.patches import patches_of
from dishtrace.dish.layouts.petals import laid_petals
from dishtrace.dish.layouts.pieces import split
from dishtrace.dish.layouts.plan import Laid, LayoutError
from dishtrace.dish.layouts.rings import laid_rings
from dishtrace.dish.layouts.strips import laid_strips
from dishtrace.dish.outline import Outline
from dishtrace.dish.points import MeasuredError, refuse_holes
from dishtrace.dish.section import carried
from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.units import MRAD

if TYPE_CHECKING:
    from dishtrace.dish.stationary import Reset
    from dishtrace.scene.facet_list import FacetRow
    from dishtrace.scene.facets import FacetTable
    from dishtrace.scene.model import Scene

LAYOUTS = {
    "square-grid": laid_square,
    "hex-grid": laid_hexagonal,
    "rings": laid_rings,
    "petals": laid_petals,
    "strips": laid_strips,
}
LARGEST_OF_DISH = 2.0
"""A facet that reaches farther from its middle than this many widths of the dish is in a wrong unit. [–]"""
_SIZE_KEYS = ("pitch_m", "size_m", "vertices_m", "width_m", "length_m", "counts", "outer_radius_m", "count", "file")


def facets_of(scene: Scene, outline: Outline, *, fits: Fits | None = None, reset: Reset | None = None) -> Facets:
    """The mirror that a scene describes, with the errors of this one dish, as it is traced.

    Parameters
    ----------
    scene : Scene
        As read and checked.
    outline : Outline
        Of the dish, in plan. [m]
    fits : Fits, optional
        What was measured, when it is at hand; else it is read and fitted here.
    reset : Reset, optional
        How a mount with a stationary focus re-set the mirror: facets are carried along, a measured mirror is flexed.

    Returns
    -------
    Facets
        One continuous skin when the scene has no facets. Measured facets may be split into patches of one number.

    Raises
    ------
    InputError
        As `whole_facets`.
    """
    fits = fits_of(scene, outline) if fits is None else fits
    table = scene.dish.facets
    if table is not None and table.layout == "measured":
        return _measured(scene, outline, fits, reset)
    facets = whole_facets(scene, outline, fits=fits)
    if reset is not None:
        facets = carried(facets, reset.equinox, reset.day)
    try:
        _refuse_turned_away(scene, facets)
        return split(facets, fits_by_number(scene, facets, fits))
    except LayoutError as error:
        raise _told(scene, error) from error


def whole_facets(scene: Scene, outline: Outline, *, fits: Fits | None = None) -> Facets:
    """The facets of a scene with the errors of this one dish, each as one quadric; a measured mirror as its patches.

    Parameters
    ----------
    scene : Scene
    outline : Outline
        Of the dish, in plan. [m]
    fits : Fits, optional
        What was measured, when it is at hand.

    Raises
    ------
    InputError
        If no facet lies inside the outline, facets overlap, an aim lies behind a facet, a missing facet is not one
        of them, sizes do not go together, or measured points cannot be used.
    """
    table = scene.dish.facets
    designed = designed_facets(scene, outline, fits=fits)
    if table is None or table.layout == "measured":
        return designed
    try:
        facets = without(designed, table.missing)
        _refuse_overlap(scene, facets)
        facets = canted(facets, spread=nominal(table.canting_error_mrad) * MRAD, seed=scene.dish.seed)
        return pistoned(facets, spread=table.piston_error_m, seed=scene.dish.seed)
    except LayoutError as error:
        raise _told(scene, error) from error


def designed_facets(scene: Scene, outline: Outline, *, fits: Fits | None = None) -> Facets:
    """The mirror as it is drawn: all facets, nothing canted, shifted or missing; overlaps are not looked for.

    Parameters
    ----------
    scene : Scene
    outline : Outline
        Of the dish, in plan. [m]
    fits : Fits, optional
        What was measured, when it is at hand.

    Returns
    -------
    Facets
        Facets that are cut alike share one `Outline` object. Measured ones have the quadric that touches their fit at
        the middle.

    Raises
    ------
    InputError
        As `whole_facets`.
    """
    table, focal_length = scene.dish.facets, nominal(scene.dish.focal_length_m)
    slope = nominal(scene.dish.slope_error_mrad) * MRAD
    if table is None:
        return skin(outline, focal_length=focal_length, slope=slope)
    fits = fits_of(scene, outline) if fits is None else fits
    if table.layout == "measured":
        return _measured(scene, outline, fits, None)
    rows = list_rows(scene) if table.layout == "list" else []
    try:
        if rows:
            laid = laid_list(rows, focal_length=focal_length)
        else:
            laid = LAYOUTS[table.layout](table, outline, focal_length=focal_length)
        _refuse_none_inside(laid, outline, "file" if rows else "layout")
        curved = _curved(table, laid, rows, focal_length, fits)
        outlines = cut_pieces(laid, curved)
        facets = Facets(
            number=laid.number,
            origin=laid.center,
            axes=aimed_axes(laid, _aim(scene, laid, rows, outline, focal_length)),
            quadric=curved,
            outlines=outlines,
            slope=np.hypot(
                _row_values(rows, laid, "slope_error_mrad", MRAD, slope), _left_slopes(table, laid, rows, fits)
            ),
            brightness=_row_values(rows, laid, "reflectance_factor", 1.0, 1.0),
        )
        _refuse_uncovered(scene, facets, fits)
        _refuse_nonsense(facets, table, outline, rows)
    except LayoutError as error:
        raise _told(scene, error) from error
    return facets


def _measured(scene: Scene, outline: Outline, fits: Fits, reset: Reset | None) -> Facets:
    """Patches of a measured mirror, as it is now."""
    slope = np.hypot(nominal(scene.dish.slope_error_mrad) * MRAD, fits.mirror.slope_error)
    surface, rim = measured_surface(fits.mirror, reset), measured_outline(outline, reset)
    try:
        patches = patches_of(surface, rim, side=scene.dish.facets.patch_m, slope=float(slope))
    except LayoutError as error:
        raise _told(scene, error) from error
    if reset is None:
        return patches
    there = reset.day
    return replace(patches, origin=patches.origin @ there.axes[0] + there.origin[0], axes=patches.axes @ there.axes[0])


def _refuse_turned_away(scene: Scene, facets: Facets) -> None:
    """Facets whose plane looks away from where the dish points: no ray could start on them."""
    away = np.flatnonzero(facets.axes[:, 2, 2] <= 0.0)
    if len(away):
        table = scene.dish.facets
        has_canting = table is not None and nominal(table.canting_error_mrad) > 0.0
        allowed = f"turns facet {facets.number[away[0]]} past square to the dish axis, so that its back is to the sun"
        raise LayoutError("canting_error_mrad" if has_canting else "aim_m", allowed, "pieces nearer to the axis")


def _left_slopes(table: FacetTable, laid: Laid, rows: list[FacetRow], fits: Fits) -> np.ndarray:
    """Slope errors that the fits of measured facets leave, 0 for others, (n,). [rad]"""
    default = table.curve_file if table.curve == "measured" else None
    files = [row.curve_file for row in rows] or [default] * len(laid)
    return np.array([0.0 if name is None else fits.facets[name].slope_error for name in files])


def _refuse_uncovered(scene: Scene, facets: Facets, fits: Fits) -> None:
    """Measured facets whose points do not cover them."""
    by_number = fits_by_number(scene, facets, fits)
    names = {id(fit): name for name, fit in fits.facets.items()}
    faults: dict[str, Fault] = {}
    for members, outline in facets.by_outline():
        for fit in {id(fit): fit for i in members if (fit := by_number.get(int(facets.number[i])))}.values():
            name = names[id(fit)]
            try:
                refuse_holes(fit.points, outline, what="facet")
            except MeasuredError as error:
                faults.setdefault(name, file_fault(scene, fits.where[name], name, error))
    if faults:
        raise InputError(list(faults.values()))


def _told(scene: Scene, error: LayoutError) -> InputError:
    """A layout's fault with its place in the scene file."""
    if error.key == "radius_m" and scene.dish.facets.curve_file is not None and scene.dish.facets.radius_m is None:
        allowed = "has points of a facet so hollow that its surface ends before the facet does"
        return InputError(scene.fault(("dish", "facets", "curve_file"), allowed=allowed, remedy="check the unit"))
    return InputError(scene.fault(("dish", "facets", error.key), allowed=str(error), remedy=error.remedy))


def _refuse_none_inside(laid: Laid, outline: Outline, key: str) -> None:
    if len(laid) == 0 or not outline.contains(laid.center[:, :2]).any():
        raise LayoutError(key, "has no facet whose centre lies inside the outline", "smaller facets, or other places")


def _row_values(rows: list[FacetRow], laid: Laid, name: str, unit: float, default: float) -> np.ndarray:
    """A value of each row of a list, else one for all, (n,)."""
    values = [getattr(row, name) for row in rows] or [None] * len(laid)
    return np.array([default if value is None else unit * value for value in values])


def _curved(table: FacetTable, laid: Laid, rows: list[FacetRow], focal_length: float, fits: Fits) -> np.ndarray:
    """Surfaces of all facets, (n, 6). [1/m]"""
    if not rows and table.curve == "measured":
        return np.tile(fits.facets[table.curve_file].touching_quadric(), (len(laid), 1))
    if not rows:
        bend = bend_directions(laid, _bend(table))
        return quadrics(laid, curve=table.curve, radius=table.radius_m, bend=bend, focal_length=focal_length)
    found = np.zeros((len(laid), 6))
    ways = [(row.curve, row.bend, row.radius_m or table.radius_m, row.curve_file) for row in rows]
    for way in set(ways):
        curve, bend, radius, file = way
        members = np.array([each == way for each in ways])
        if curve == "measured":
            found[members] = fits.facets[file].touching_quadric()
            continue
        directions = bend_directions(laid, bend)
        found[members] = quadrics(laid, curve=curve, radius=radius, bend=directions, focal_length=focal_length)[members]
    return found


def _bend(table: FacetTable) -> str:
    """Direction along which facets are bent: strips along their length, petals along their middle line."""
    if table.layout == "strips":
        return table.along
    return "radial" if table.layout == "petals" else table.bend


def _aim(scene: Scene, laid: Laid, rows: list[FacetRow], outline: Outline, focal_length: float) -> np.ndarray:
    """Aim of each facet, in front of it, (n, 3). [m]"""
    table = scene.dish.facets
    points = aim_points(laid, aim=table.aim_m, ring=table.aim_ring_m, middle=outline.center, focal_length=focal_length)
    for i, row in enumerate(rows):
        if row.aim is not None:
            points[i] = np.array(row.aim) + [0.0, 0.0, focal_length]
    wrong = behind(laid, points)
    if len(wrong):
        allowed = f"lies behind facet {laid.number[wrong[0]]}, or on it"
        remedy = "aims are told from the focus: [0, 0, 0] is the focus itself"
        if rows and rows[wrong[0]].aim is not None:
            row = rows[wrong[0]]
            raise InputError(Fault(row.where, "aim_x_m, aim_y_m, aim_z_m", str(list(row.aim)), allowed, remedy))
        raise LayoutError("aim_m", allowed, remedy)
    return points


def _refuse_nonsense(facets: Facets, table: FacetTable, outline: Outline, rows: list[FacetRow]) -> None:
    """Facets far larger than the dish, and surfaces that end before the facet does."""
    for members, piece in facets.by_outline():
        if piece.largest_radius > LARGEST_OF_DISH * outline.span:
            allowed = f"makes a facet that is larger than the dish, {outline.span:.4g} m wide"
            key = "size_m" if rows else _size_key(table)
            raise _at_row(rows, members[0], LayoutError(key, allowed, "millimetres? write metres"))
        uv = piece.boundary(64)
        u, v = uv.T
        uu, vv, ww, mixed_uv, uw, vw = facets.quadric[members].T[:, :, np.newaxis]
        q = uu * u * u + vv * v * v + 2.0 * mixed_uv * u * v
        b = 1.0 - 2.0 * (uw * u + vw * v)
        ends = (b <= 0.0) | (b * b <= 4.0 * ww * q)
        if ends.any():
            first = members[np.flatnonzero(ends.any(axis=1))[0]]
            key = "radius_m" if table.radius_m is not None or rows else _size_key(table)
            allowed = f"makes the surface of facet {facets.number[first]} end before the facet does"
            raise _at_row(rows, first, LayoutError(key, allowed, "a larger radius, or smaller facets"))


def _size_key(table: FacetTable) -> str:
    """The key that says how large the facets are or how close they stand."""
    return next(key for key in _SIZE_KEYS if getattr(table, key, None) is not None)


def _at_row(rows: list[FacetRow], place: int, error: LayoutError) -> LayoutError | InputError:
    """A layout's fault, moved to its row when it comes from a list."""
    if not rows:
        return error
    return InputError(Fault(rows[place].where, error.key, "", str(error), error.remedy))


def _refuse_overlap(scene: Scene, facets: Facets) -> None:
    """Facets that overlap seen along the axis."""
    pairs = overlaps(footprints(facets))
    if not pairs:
        return
    deepest = pairs[0]
    first, second = facets.number[deepest.first], facets.number[deepest.second]
    more = f" (and {len(pairs) - 1} more pairs)" if len(pairs) > 1 else ""
    overlap = f"by {1e3 * deepest.depth:.3g} mm seen along the axis{more}"
    table, remedy = scene.dish.facets, "smaller facets, or wider apart"
    if table.layout == "list":
        where = {row.number: row.where for row in list_rows(scene)}
        allowed = f"overlaps facet {first} ({where[first]}) {overlap}"
        raise InputError(Fault(where[second], f"facet {second}", "", allowed, remedy))
    raise LayoutError(_size_key(table), f"makes facets {first} and {second} overlap {overlap}", remedy)
