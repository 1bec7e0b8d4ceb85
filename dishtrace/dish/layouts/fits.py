"""What was measured and fitted for a scene's mirror, read once: a whole mirror, or facets by file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from dishtrace.dish.layouts.listed import list_rows
from dishtrace.dish.measured import MeasuredMirror, measured_mirror
from dishtrace.dish.measured_facet import MeasuredFacet, fit_facet, points_of_file
from dishtrace.dish.outline import Outline
from dishtrace.dish.points import MeasuredError
from dishtrace.dish.smooth_surface import SmoothSurface, quadric_heights
from dishtrace.dish.surface_fit import fit_polynomial
from dishtrace.errors import Fault, InputError

if TYPE_CHECKING:
    from dishtrace.dish.facets import Facets
    from dishtrace.dish.stationary import Reset
    from dishtrace.scene.model import Scene


@dataclass(frozen=True, eq=False)
class Fits:
    """Fits to measured points.

    Parameters
    ----------
    mirror : MeasuredMirror or None
        Of layout = "measured".
    facets : dict of MeasuredFacet
        Of curve = "measured", by the file's name in the scene.
    where : dict of str
        For each of those files the row of a list that names it first; empty for the table itself.
    """

    mirror: MeasuredMirror | None = None
    facets: Mapping[str, MeasuredFacet] = field(default_factory=dict)
    where: Mapping[str, str] = field(default_factory=dict)


def fits_of(scene: Scene, outline: Outline) -> Fits:
    """Everything that was measured of a scene's mirror.

    Parameters
    ----------
    scene : Scene
    outline : Outline
        Of the dish. [m]

    Raises
    ------
    InputError
        With every file that cannot be used.
    """
    table = scene.dish.facets
    if table is None:
        return Fits()
    if table.layout == "measured":
        return Fits(mirror=measured_mirror(scene, outline))
    where = _files(scene)
    found, faults = {}, []
    for name in where:
        try:
            points = points_of_file(scene.path(name), name, table.curve_unit)
            found[name] = fit_facet(points, degree=table.curve_degree, height_error=table.curve_height_error_m)
        except MeasuredError as error:
            faults.append(file_fault(scene, where[name], name, error))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return Fits(facets=found, where=where)


def _files(scene: Scene) -> dict[str, str]:
    """Files of measured facets, each with the row of a list that names it first, "" when there is none."""
    table = scene.dish.facets
    if table.layout != "list":
        return {table.curve_file: ""} if table.curve == "measured" else {}
    files: dict[str, str] = {}
    for row in list_rows(scene):
        if row.curve_file is not None:
            files.setdefault(row.curve_file, "" if row.curve_file == table.curve_file else row.where)
    return files


def file_fault(scene: Scene, where: str, name: str, error: MeasuredError) -> Fault:
    """A fault at the key or the row that names a file of points."""
    if where:
        return Fault(where, "curve_file", name, str(error), error.remedy)
    return scene.fault(("dish", "facets", "curve_file"), allowed=str(error), remedy=error.remedy)


def fits_by_number(scene: Scene, facets: Facets, fits: Fits) -> dict[int, MeasuredFacet]:
    """The fit of each measured facet, by its number."""
    if not fits.facets:
        return {}
    table = scene.dish.facets
    if table.layout != "list":
        return dict.fromkeys(facets.number.tolist(), fits.facets[table.curve_file])
    return {row.number: fits.facets[row.curve_file] for row in list_rows(scene) if row.curve_file is not None}


def section_surface(mirror: MeasuredMirror, reset: Reset) -> SmoothSurface:
    """A measured lateral section as it lies on the day that it is set to, over its rim plane.

    Parameters
    ----------
    mirror : MeasuredMirror
        Measured as set at equinox, in the dish frame of equinox.
    reset : Reset
        How the mount re-set it.

    Returns
    -------
    SmoothSurface
        In the frame of the rim plane: the mirror of the day, and on top of it what the points stand above the mirror
        of equinox there. So a flexed mirror is bent by as much as the ideal one, square to the rim plane, and a stiff
        one only turns.
    """
    before = reset.equinox
    local = (mirror.points - before.origin[0]) @ before.axes[0].T
    beside = local[:, 2] - quadric_heights(before.quadric[0], local[:, :2])
    low, high = local[:, :2].min(axis=0), local[:, :2].max(axis=0)
    middle, half = 0.5 * (low + high), 0.5 * float((high - low).max())
    coefficients, _, _ = fit_polynomial((local[:, :2] - middle) / half, beside, degree=mirror.degree)
    return SmoothSurface(quadric=reset.day.quadric[0], coefficients=coefficients, middle=middle, half=half)


def measured_outline(outline: Outline, reset: Reset | None) -> Outline:
    """Outline over which a measured mirror is traced: that of the dish, or the rim of a re-set section. [m]"""
    return outline if reset is None else reset.day.outlines[0]


def measured_surface(mirror: MeasuredMirror, reset: Reset | None) -> SmoothSurface:
    """Surface of a measured mirror over that outline."""
    return mirror if reset is None else section_surface(mirror, reset)
