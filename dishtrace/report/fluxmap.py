"""What a flux map of a part shows: panels of flat triangles with flux, what is unknown, contours and labels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.projection import front_most, lit_direction, project, three_quarter, view_axes

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult

NOISE_FOR_CONTOURS = 0.2
"""Above this median relative standard error, contour lines would show noise; numbers are printed instead. [–]"""

LABELS_ACROSS = 5


@dataclass(frozen=True, eq=False)
class Panel:
    """One drawing of a flux map.

    Parameters
    ----------
    title : str
        What is seen.
    labels : tuple of 2 str
        What the two directions are.
    uv : (m, 3, 2) float64
        Corners in the drawing, what stands in front last. [m]
    flux, error : (m,) float64
        Incident mirror light and its standard error; NaN error where it is unknown. [W/m2]
    peak : (2,) float64 or None
        Where the part's peak lies, when it lies in this drawing. [m]
    numbers : tuple of (x, y, flux)
        Places and mean fluxes to print, for drawings without contour lines. [m, m, W/m2]
    is_view : bool
        A view of a body rather than a flat surface: no contour lines.
    """

    title: str
    labels: tuple[str, str]
    uv: np.ndarray
    flux: np.ndarray
    error: np.ndarray
    peak: np.ndarray | None
    numbers: tuple[tuple[float, float, float], ...]
    is_view: bool

    @property
    def is_known(self) -> np.ndarray:
        """Triangles that light was seen on and whose error is known, (m,) bool."""
        return np.isfinite(self.error) & (self.flux > 0.0)


def has_light(part: PartResult) -> bool:
    """Whether mirror light was seen on a part."""
    return any(bool(np.any(side.flux_w_m2 > 0.0)) for side in part.sides.values())


def panels(part: PartResult, up: np.ndarray) -> tuple[list[Panel], list[str]]:
    """The drawings of a part's flux map.

    Parameters
    ----------
    part : PartResult
        With light on it.
    up : (3,) float64
        Unit vector upwards in the dish frame. [–]

    Returns
    -------
    drawings : list of Panel
        Every chart and side that light was seen on; for a part without charts (a mesh file) two views of the body.
    dark : list of str
        Charts and sides without light, which get no drawing.
    """
    if not part.mesh.charts:
        return _views(part, up), []
    drawings, dark = [], []
    nearest = _peak_triangle(part)
    is_dark_inside = part.mesh.is_closed and not np.any(part.sides["back"].flux_w_m2 > 0.0)
    sides = ("front",) if is_dark_inside else ("front", "back")
    for side in sides:
        figures = part.sides[side]
        for chart in part.mesh.charts:
            flux = figures.flux_w_m2[chart.index]
            title = _panel_title(part, chart.name, side)
            if not np.any(flux > 0.0):
                dark.append(title)
                continue
            at = np.flatnonzero(chart.index == nearest) if side == part.peak_side else []
            peak = chart.uv[at[0]].mean(axis=0) if len(at) else None
            error = figures.flux_se_w_m2[chart.index]
            numbers = _numbers(chart.uv, flux, part.mesh.areas[chart.index], np.zeros(len(flux)))
            drawings.append(Panel(title, chart.labels, chart.uv, flux, error, peak, numbers, False))
    return drawings, dark


def typical_error(drawings: list[Panel]) -> float:
    """Median relative standard error of the triangles that light was seen on, NaN when none is known. [–]"""
    shares = [panel.error[panel.is_known] / panel.flux[panel.is_known] for panel in drawings]
    together = np.concatenate(shares) if shares else np.zeros(0)
    return float(np.median(together)) if len(together) else float("nan")


def top_of_scale(drawings: list[Panel]) -> float:
    """Flux at the top of the colour scale: what 0.5 % of the lit triangles exceed, so that one noisy sliver does not
    darken the map. [W/m2]"""
    together = np.concatenate([panel.flux[panel.flux > 0.0] for panel in drawings])
    return float(np.quantile(together, 0.995))


def corner_values(panel: Panel) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flux at the corners of a flat drawing, for contour lines: mean over the triangles that meet there, smoothed once.

    Returns
    -------
    corners : (k, 2) float64
        [m]
    triangles : (m, 3) int64
        Numbers of each triangle's corners. [–]
    values : (k,) float64
        [W/m2]
    """
    size = np.ptp(panel.uv.reshape(-1, 2), axis=0).max()
    keys = np.round(panel.uv.reshape(-1, 2) / (1e-7 * size)).astype(np.int64)
    _, first, numbers = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    triangles = numbers.reshape(-1, 3)
    sides = np.diff(panel.uv, axis=1)
    areas = 0.5 * np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0])
    flux = panel.flux
    for _ in range(2):
        weight = np.bincount(triangles.ravel(), weights=np.repeat(areas, 3))
        values = np.bincount(triangles.ravel(), weights=np.repeat(areas * flux, 3)) / np.where(
            weight > 0, weight, 1.0
        )
        flux = values[triangles].mean(axis=1)
    return panel.uv.reshape(-1, 2)[first], triangles, values


def round_levels(top: float, least: int = 4) -> np.ndarray:
    """Levels for contour lines at round numbers below a largest value.

    Parameters
    ----------
    top : float
        Largest value. [any]
    least : int
        At least so many levels. [–]

    Returns
    -------
    (k,) float64
        Multiples of 1, 2, 2.5 or 5 times a power of ten, above zero and below `top`; none when `top` is not above 0.
    """
    if not top > 0.0:
        return np.zeros(0)
    rough = top / (least + 0.5)
    power = 10.0 ** np.floor(np.log10(rough))
    step = max(factor * power for factor in (1.0, 2.0, 2.5, 5.0) if factor * power <= rough * (1.0 + 1e-9))
    return step * np.arange(1, int(np.ceil(top / step * (1.0 - 1e-9))))


def _panel_title(part: PartResult, chart: str, side: str) -> str:
    """What a drawing shows; the back of a sheet is drawn in the coordinates of its front."""
    if part.mesh.is_closed:
        return chart if side == "front" else f"{chart}, inside"
    if side == "front":
        return chart
    return (
        "back, as seen through the front"
        if chart == "front"
        else f"back of {chart}, as seen through the front"
    )


def _peak_triangle(part: PartResult) -> int:
    """The triangle whose middle is nearest to the part's peak."""
    mesh = part.mesh
    place = np.asarray(part.peak_at_m) @ mesh.frame_rotation + mesh.frame_origin
    return int(np.argmin(np.linalg.norm(mesh.triangles.mean(axis=1) - place, axis=1)))


def _views(part: PartResult, up: np.ndarray) -> list[Panel]:
    mesh, front, back = part.mesh, part.sides["front"], part.sides["back"]
    lit = lit_direction(mesh.normals, mesh.areas, front.flux_w_m2, back.flux_w_m2)
    return [
        _view(part, three_quarter(lit, up), up, "from where most light comes"),
        _view(part, three_quarter(-lit, up), up, "from the other side"),
    ]


def _view(part: PartResult, toward_viewer: np.ndarray, up: np.ndarray, title: str) -> Panel:
    mesh = part.mesh
    right, top = view_axes(toward_viewer, up)
    faces_viewer = mesh.normals @ toward_viewer > 0.0
    shown = np.flatnonzero(faces_viewer) if mesh.is_closed else np.arange(len(mesh.areas))
    depth = mesh.triangles.mean(axis=1) @ toward_viewer
    shown = shown[np.argsort(depth[shown], kind="stable")]
    flux = np.where(faces_viewer, part.sides["front"].flux_w_m2, part.sides["back"].flux_w_m2)[shown]
    error = np.where(faces_viewer, part.sides["front"].flux_se_w_m2, part.sides["back"].flux_se_w_m2)[shown]
    middle = 0.5 * (mesh.triangles.min(axis=(0, 1)) + mesh.triangles.max(axis=(0, 1)))
    uv = project(mesh.triangles[shown] - middle, right, top)
    on_peak = np.flatnonzero(shown == _peak_triangle(part))
    seen = len(on_peak) and (faces_viewer[shown[on_peak[0]]] == (part.peak_side == "front"))
    peak = None
    if seen:
        place = uv[on_peak[0]].mean(axis=0)
        is_hidden = front_most(uv, depth[shown], place[np.newaxis])[0] != on_peak[0]
        peak = None if is_hidden else place
    numbers = _numbers(uv, flux, mesh.areas[shown], depth[shown])
    return Panel(title, ("across (m)", "up in the view (m)"), uv, flux, error, peak, numbers, True)


def _numbers(
    uv: np.ndarray, flux: np.ndarray, areas: np.ndarray, depth: np.ndarray
) -> tuple[tuple[float, float, float], ...]:
    """Mean flux around places on a coarse grid over a drawing."""
    low, high = uv.min(axis=(0, 1)), uv.max(axis=(0, 1))
    step = (high - low).max() / LABELS_ACROSS
    counts = np.maximum(1, np.round((high - low) / step)).astype(int)
    grids = [low[k] + (np.arange(counts[k]) + 0.5) * (high[k] - low[k]) / counts[k] for k in (0, 1)]
    points = np.stack(np.meshgrid(*grids), axis=-1).reshape(-1, 2)
    middles = uv.mean(axis=1)
    found = []
    for point, seen in zip(points, front_most(uv, depth, points), strict=True):
        if seen < 0:
            continue
        near = (np.linalg.norm(middles - point, axis=1) < 0.35 * step) & (depth > depth[seen] - 0.5 * step)
        near[seen] = True
        found.append((float(point[0]), float(point[1]), float(np.average(flux[near], weights=areas[near]))))
    return tuple(found)
