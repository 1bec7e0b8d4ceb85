"""Files for other programs: results.json, and csv tables of triangles and screens."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.csv_rows import write_columns
from dishtrace.report.folder import screen_slugs, slugs

if TYPE_CHECKING:
    from dishtrace.dish.measured import MeasuredMirror
    from dishtrace.dish.measured_facet import MeasuredFacet
    from dishtrace.flux.result import PartResult, Result, ScreenResult
    from dishtrace.study.drift import Drift

SIDES = ("front", "back")
DISH_FRAME = "dish frame: origin at the mirror's vertex, z along the axis towards the sun"


def write_tables(result: Result, folder: Path, drift: Drift | None = None, heat: dict | None = None) -> list[str]:
    """Write results.json and every csv table.

    Parameters
    ----------
    result : Result
        A traced scene.
    folder : Path
        Exists and can be written.
    drift : Drift, optional
        Of a dish that stands still, for results.json.
    heat : dict, optional
        Quick balance of the parts, for results.json.

    Returns
    -------
    list of str
        Names of the files written, results.json first.
    """
    written = [write_json(result, folder, drift, heat)]
    for name, part in zip(slugs(result.parts), result.parts.values(), strict=True):
        written.append(write_triangles(result, part, folder, name))
    for name, screen in named_screens(result).items():
        written += write_screen(result, screen, folder, name)
    mirror, facets = result.fits.mirror, result.fits.facets
    if mirror is not None:
        written.append(write_measured(result, mirror, folder))
    for slug, (name, fit) in zip(slugs(Path(file).stem for file in facets), facets.items(), strict=True):
        written.append(write_measured_facet(result, name, fit, folder / f"measured-facet-{slug}.csv"))
    return written


def named_screens(result: Result) -> dict[str, ScreenResult]:
    """All screens by the slug that their files carry: focal plane, best focus, highest peak, then the scene's own."""
    screens = (result.focal_plane, result.best_focus, result.highest_peak, *result.screens.values())
    return dict(zip(screen_slugs(result.screens), screens, strict=True))


def results_object(result: Result, drift: Drift | None = None, heat: dict | None = None) -> dict:
    """What `--json` prints: the result, with "drift" for a dish that stands still and "heat" where it is known."""
    more = {} if drift is None else {"drift": drift.to_dict()}
    return {**result.to_dict(), **more, **({"heat": heat} if heat else {})}


def write_json(result: Result, folder: Path, drift: Drift | None = None, heat: dict | None = None) -> str:
    """Write results.json, the object that `--json` prints, too."""
    return write_object(results_object(result, drift, heat), folder / "results.json")


def write_object(told: object, path: Path) -> str:
    """Write what `json_text` takes into a file; gives its name."""
    path.write_text(json_text(told) + "\n", encoding="utf-8")
    return path.name


def json_text(value: object, *, is_ascii: bool = False) -> str:
    """JSON that every reader takes: no NaN and no infinity.

    Parameters
    ----------
    value : object
        Of dicts, lists, texts, numbers, booleans and None.
    is_ascii : bool
        Write other characters as escapes, for outputs of unknown encoding.

    Raises
    ------
    ValueError
        If a number is not finite; results write null for what is unknown.
    """
    return json.dumps(value, indent=2, ensure_ascii=is_ascii, allow_nan=False)


def write_triangles(result: Result, part: PartResult, folder: Path, name: str) -> str:
    """Write triangles-<part>.csv: place, area, normal and the flux on either side of every triangle."""
    mesh = part.mesh
    columns = {"triangle": np.arange(len(mesh.areas))}
    for axis, values in zip("xyz", mesh.triangles.mean(axis=1).T, strict=True):
        columns[f"{axis}_m"] = values
    columns["area_m2"] = mesh.areas
    for axis, values in zip("xyz", mesh.normals.T, strict=True):
        columns[f"normal_{axis}"] = values
    for side in SIDES:
        figures = part.sides[side]
        columns[f"{side}_incident_w_m2"] = figures.flux_w_m2
        columns[f"{side}_incident_se_w_m2"] = figures.flux_se_w_m2
        columns[f"{side}_absorbed_w_m2"] = figures.absorbed_w_m2
        columns[f"{side}_absorbed_se_w_m2"] = figures.absorbed_se_w_m2
    head = [
        f"part {part.name!r}, role {part.role}, one row a triangle",
        f"x, y, z: middle of the triangle [m] and its unit normal, in the {DISH_FRAME}",
        "front: the side that the normal points to; incident: mirror light that arrives, without direct sun [W/m2]",
        "absorbed: mirror light and direct sun that stay [W/m2]; se: standard error, empty where it is unknown",
    ]
    return _write_csv(folder / f"triangles-{name}.csv", [*source_lines(result), *head], columns)


def write_screen(result: Result, screen: ScreenResult, folder: Path, name: str) -> list[str]:
    """Write screen-<name>-profile.csv (flux over radius) and screen-<name>-encircled.csv (power within a radius)."""
    edges = np.asarray(screen.profile_edges_m)
    source = [*source_lines(result), f"screen {screen.name!r}"]
    profile = {
        "inner_radius_m": edges[:-1],
        "outer_radius_m": edges[1:],
        "flux_w_m2": screen.profile_w_m2,
        "flux_se_w_m2": screen.profile_se_w_m2,
    }
    encircled = {
        "radius_m": screen.encircled_radius_m,
        "power_w": screen.encircled_w,
        "power_se_w": screen.encircled_se_w,
    }
    rings = "mean flux [W/m2] over rings about the screen's centre; se: standard error, empty where it is unknown"
    circles = "power [W] within a circle about the screen's centre; se: standard error, empty where it is unknown"
    return [
        _write_csv(folder / f"screen-{name}-profile.csv", [*source, rings], profile),
        _write_csv(folder / f"screen-{name}-encircled.csv", [*source, circles], encircled),
    ]


def write_measured(result: Result, mirror: MeasuredMirror, folder: Path) -> str:
    """Write measured-mirror.csv: the measured points, the fitted form there and what the fit leaves."""
    table = result.scene.dish.facets
    columns = _fit_columns(mirror)
    focal_length = f"{mirror.focal_length:.9g}"
    head = [
        f"measured mirror, {len(mirror.points)} points of {' '.join(table.file.split())!r}, placed {table.placed}",
        f"x, y, z: points [m] in the {DISH_FRAME}",
        f"departure: polynomial of degree {mirror.degree}, the fitted surface above the paraboloid [m]",
        "left: the point above the fitted surface [m]",
        f"z = (x^2 + y^2) / (4 f) + departure + left, with the fitted focal length f = {focal_length} m",
    ]
    return _write_csv(folder / "measured-mirror.csv", [*source_lines(result), *head], columns)


def write_measured_facet(result: Result, name: str, fit: MeasuredFacet, path: Path) -> str:
    """Write measured-facet-<file>.csv: the measured points, the fitted form there and what the fit leaves."""
    head = [
        f"measured facet, {len(fit.points)} points of {' '.join(name.split())!r}, turned to be level at 0, 0",
        "x, y, z: points [m] in the facet's frame: from its middle across it, z along its normal",
        f"departure: polynomial of degree {fit.degree}, the fitted surface above the sphere [m]",
        "left: the point above the fitted surface [m]",
        f"z = k r^2 / (1 + sqrt(1 - k^2 r^2)) + departure + left; r^2 = x^2 + y^2, k = {fit.sphere_curvature:.9g} / m",
    ]
    return _write_csv(path, [*source_lines(result), *head], _fit_columns(fit))


def _fit_columns(fit: MeasuredMirror | MeasuredFacet) -> dict[str, Iterable[float]]:
    columns = dict(zip(("x_m", "y_m", "z_m"), fit.points.T, strict=True))
    return columns | {"departure_m": fit.departure(fit.points[:, :2]), "left_m": fit.left}


def source_lines(result: Result) -> list[str]:
    """Which program, scene, rays and seed made a file."""
    title = result.scene.title_line
    return [f"dishtrace {result.version}, scene {title!r}, {result.rays} rays, seed {result.seed}"]


def _write_csv(path: Path, comments: Sequence[str], columns: dict[str, Iterable[float]]) -> str:
    return write_columns({name: _texts(column) for name, column in columns.items()}, path, comments)


def _texts(column: Iterable[float]) -> list[str]:
    values = np.asarray(column)
    if len(values) > 1 and np.all(values == values[0]):
        return _texts(values[:1]) * len(values)
    if np.issubdtype(values.dtype, np.integer):
        return [str(value) for value in values.tolist()]
    return [f"{value:.9g}" if math.isfinite(value) else "" for value in values.tolist()]
