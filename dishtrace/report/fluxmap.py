"""What a flux map of a part shows: drawings with flux, what is too uncertain to show, contours and numbers."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.projection import front_most, is_hidden, lit_direction, project, three_quarter, view_axes
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult

MOST_ERROR = 0.5
"""Triangles with a larger relative standard error are left blank: their colour would be chance. [–]"""

NOISE_FOR_CONTOURS = 0.2
"""Above this median relative error contour lines would show noise; numbers are printed instead. [–]"""

DECADES = 3.0
"""What a logarithmic colour scale spans, in powers of ten. [–]"""

LABELS_ACROSS = 5
CLOSE_UP = 0.1
"""Half width of the close-up of a body around its peak, of the body's size. [–]"""


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
    shade : (m,) float64
        How squarely a triangle faces the viewer, 0 to 1. [–]
    peak : (2,) float64 or None
        Where the part's peak lies, when it is seen in this drawing. [m]
    window : (2, 2) float64
        Lower left and upper right corner of what is shown. [m]
    areas, depth : (m,) float64
        Of the triangles [m2], and how near they are to the viewer [m].
    is_view : bool
        A view of a body rather than a flat surface: no contour lines.
    is_close : bool
        A close-up, drawn in a larger scale.
    """

    title: str
    labels: tuple[str, str]
    uv: np.ndarray
    flux: np.ndarray
    error: np.ndarray
    shade: np.ndarray
    peak: np.ndarray | None
    window: np.ndarray
    areas: np.ndarray
    depth: np.ndarray
    is_view: bool
    is_close: bool = False

    @property
    def span(self) -> np.ndarray:
        """Width and height of what is shown, (2,). [m]"""
        return self.window[1] - self.window[0]

    @property
    def is_known(self) -> np.ndarray:
        """Triangles whose flux is certain enough to be shown, (m,) bool."""
        return is_certain(self.flux, self.error)


def is_certain(flux: np.ndarray, error: np.ndarray) -> np.ndarray:
    """Where light was seen and its standard error is known and below half of it, bool like the inputs."""
    return (flux > 0.0) & np.isfinite(error) & (np.nan_to_num(error, nan=np.inf) <= MOST_ERROR * flux)


def can_be_mapped(part: PartResult) -> bool:
    """Whether any triangle of a part has a flux that is certain enough to be shown."""
    return any(bool(np.any(is_certain(side.flux_w_m2, side.flux_se_w_m2))) for side in part.sides.values())


def panels(part: PartResult, up: np.ndarray) -> tuple[list[Panel], list[str]]:
    """The drawings of a part's flux map.

    Parameters
    ----------
    part : PartResult
        One that can be mapped.
    up : (3,) float64
        Unit vector upwards in the dish frame. [–]

    Returns
    -------
    drawings : list of Panel
        Every chart and side with light; for a part without charts (a mesh file) views of the body.
    dark : list of str
        Charts and sides with too little light for a drawing.
    """
    if not part.mesh.charts:
        return _views(part, up), []
    drawings, dark = [], []
    of_corners = _peak_in_triangle(part)
    for side, figures in part.sides.items():
        for chart in part.mesh.charts:
            flux, error = figures.flux_w_m2[chart.index], figures.flux_se_w_m2[chart.index]
            title = _panel_title(part, chart.name, side)
            if not np.any(is_certain(flux, error)):
                if side == "front" or not part.mesh.is_closed:
                    dark.append(title)
                continue
            at = np.flatnonzero(chart.index == part.peak_triangle) if side == part.peak_side else []
            drawings.append(
                Panel(
                    title=title,
                    labels=chart.labels,
                    uv=chart.uv,
                    flux=flux,
                    error=error,
                    shade=np.ones(len(flux)),
                    peak=of_corners @ chart.uv[at[0]] if len(at) else None,
                    window=_window(chart.uv),
                    areas=part.mesh.areas[chart.index],
                    depth=np.zeros(len(flux)),
                    is_view=False,
                )
            )
    return drawings, dark


def drawn_spans(drawings: list[Panel]) -> np.ndarray:
    """Width and height that the drawings get in a common scale; a close-up gets 0.8 of the largest. (n, 2) [m]."""
    largest = max(float(panel.span.max()) for panel in drawings)
    return np.array([panel.span * (0.8 * largest / panel.span.max() if panel.is_close else 1.0) for panel in drawings])


def typical_error(drawings: list[Panel]) -> float:
    """Median relative standard error of the triangles shown; NaN when there are none."""
    shares = [panel.error[panel.is_known] / panel.flux[panel.is_known] for panel in drawings]
    together = np.concatenate(shares) if shares else np.zeros(0)
    return float(np.median(together)) if len(together) else float("nan")


def scale_of(drawings: list[Panel]) -> tuple[float, float]:
    """Ends of the colour scale.

    Parameters
    ----------
    drawings : list of Panel
        With at least one triangle to be shown.

    Returns
    -------
    low, high : float
        `high` is the largest flux shown; `low` is zero for a linear scale and three powers of ten below `high` for a
        logarithmic one, which is taken when half of the triangles shown stay below a tenth of `high`. [W/m2]
    """
    together = np.concatenate([panel.flux[panel.is_known] for panel in drawings])
    high = float(together.max())
    return (high * 10.0**-DECADES if np.median(together) < 0.1 * high else 0.0), high


def corner_values(panel: Panel) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Flux at the corners of a flat drawing, for contour lines.

    Returns
    -------
    corners : (k, 2) float64
        [m]
    triangles : (m, 3) int64
        Numbers of each triangle's corners. [–]
    values : (k,) float64
        Mean, by area, over the triangles that meet at a corner, smoothed once. [W/m2]
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
        values = np.bincount(triangles.ravel(), weights=np.repeat(areas * flux, 3)) / np.where(weight > 0, weight, 1.0)
        flux = values[triangles].mean(axis=1)
    return panel.uv.reshape(-1, 2)[first], triangles, values


def round_levels(low: float, high: float, *, least: int = 4) -> np.ndarray:
    """Levels for contour lines at round numbers.

    Parameters
    ----------
    low, high : float
        Ends of the scale; `low` zero for even steps, above zero for steps by factors. [any]
    least : int
        At least so many levels between zero and `high`. [–]

    Returns
    -------
    (k,) float64
        Below `high`: multiples of 1, 2, 2.5 or 5 times a power of ten, or 1, 2, 5, 10, 20, 50 ... above `low`; none
        when `high` is not above 0.
    """
    if not high > 0.0:
        return np.zeros(0)
    if low > 0.0:
        powers = 10.0 ** np.arange(np.floor(np.log10(low)), np.ceil(np.log10(high)) + 1.0)
        levels = np.sort(np.concatenate([powers, 2.0 * powers, 5.0 * powers]))
        return levels[(levels > low) & (levels < high * (1.0 - 1e-9))]
    rough = high / (least + 0.5)
    power = 10.0 ** np.floor(np.log10(rough))
    step = max(factor * power for factor in (1.0, 2.0, 2.5, 5.0) if factor * power <= rough * (1.0 + 1e-9))
    return step * np.arange(1, int(np.ceil(high / step * (1.0 - 1e-9))))


def _window(uv: np.ndarray) -> np.ndarray:
    low, high = uv.min(axis=(0, 1)), uv.max(axis=(0, 1))
    room = 0.02 * (high - low).max()
    return np.stack([low - room, high + room])


def _panel_title(part: PartResult, chart: str, side: str) -> str:
    if side == "front":
        return chart
    if part.mesh.is_closed:
        return f"{chart}, inside"
    return "back" if chart == "front" else f"{chart}: back"


def _peak_place(part: PartResult) -> np.ndarray:
    """The part's peak in the dish frame, (3,) [m]."""
    return np.asarray(part.peak_at_m) @ part.mesh.frame_rotation + part.mesh.frame_origin


def _peak_in_triangle(part: PartResult) -> np.ndarray:
    """Weights of the corners of the peak's triangle that make the peak, (3,): the same in every drawing. [–]"""
    corner, *others = part.mesh.triangles[part.peak_triangle]
    sides = np.stack([other - corner for other in others], axis=1)
    second, third = np.linalg.lstsq(sides, _peak_place(part) - corner, rcond=None)[0]
    return np.array([1.0 - second - third, second, third])


def _views(part: PartResult, up: np.ndarray) -> list[Panel]:
    """A mesh from the lit side and from the other, and close to its peak."""
    mesh, front, back = part.mesh, part.sides["front"], part.sides["back"]
    shown = _drawn_side(part)
    lit = lit_direction(mesh.normals, mesh.areas, front.flux_w_m2, back.flux_w_m2)
    out_of_peak = mesh.normals[part.peak_triangle] * (1.0 if part.peak_side == "front" else -1.0)
    size = float(np.ptp(mesh.triangles.reshape(-1, 3), axis=0).max())
    found = [
        _view(part, three_quarter(lit, up), up, "from where most light comes", shown=shown),
        _view(
            part,
            three_quarter(normalise(out_of_peak + 0.7 * lit), up),
            up,
            "close to the peak",
            shown=shown,
            half_width=CLOSE_UP * size,
        ),
        _view(part, three_quarter(-lit, up), up, "from the other side", shown=shown),
    ]
    return [panel for panel in found if np.any(panel.is_known)] or [_view_of_brightest(part, up, shown)]


def _drawn_side(part: PartResult) -> str:
    """The side with more light that is certain: of a closed mesh the other one is not drawn.

    Usually the front, but the back where a mesh is inside out or the light comes from inside it.
    """
    areas = part.mesh.areas
    known = {
        side: float((areas * figures.flux_w_m2)[is_certain(figures.flux_w_m2, figures.flux_se_w_m2)].sum())
        for side, figures in part.sides.items()
    }
    return "front" if known["front"] >= known["back"] else "back"


def _view_of_brightest(part: PartResult, up: np.ndarray, shown: str) -> Panel:
    """A mesh as its brightest triangle is faced, where the other views show no light that is certain."""
    figures = part.sides[shown]
    known = is_certain(figures.flux_w_m2, figures.flux_se_w_m2)
    normal = part.mesh.normals[int(np.argmax(np.where(known, figures.flux_w_m2, 0.0)))]
    toward = normal if shown == "front" else -normal
    return _view(part, toward, up, "from before its brightest place", shown=shown)


def _view(
    part: PartResult,
    toward_viewer: np.ndarray,
    up: np.ndarray,
    title: str,
    *,
    shown: str,
    half_width: float | None = None,
) -> Panel:
    """A view of a body, of a closed one the side `shown`; with `half_width` only what lies so near to the peak [m]."""
    mesh = part.mesh
    right, top = view_axes(toward_viewer, up)
    cosines = mesh.normals @ toward_viewer
    depth = mesh.triangles.mean(axis=1) @ toward_viewer
    middle = 0.5 * (mesh.triangles.min(axis=(0, 1)) + mesh.triangles.max(axis=(0, 1)))
    drawn = project(mesh.triangles - middle, right, top)
    peak = _peak_place(part)
    place = project(peak - middle, right, top)
    is_front = cosines > 0.0
    is_seen = is_front == (shown == "front") if mesh.is_closed else np.ones(len(cosines), dtype=bool)
    if half_width is not None:
        is_seen &= np.all(np.abs(drawn.mean(axis=1) - place) < 1.2 * half_width, axis=1)
    seen = np.flatnonzero(is_seen)
    seen = seen[np.argsort(depth[seen], kind="stable")]
    uv = drawn[seen]
    flux = np.where(is_front, part.sides["front"].flux_w_m2, part.sides["back"].flux_w_m2)[seen]
    error = np.where(is_front, part.sides["front"].flux_se_w_m2, part.sides["back"].flux_se_w_m2)[seen]
    faces = is_front[part.peak_triangle] == (part.peak_side == "front")
    is_peak_seen = faces and not is_hidden(peak, mesh.triangles[seen], mesh.normals[seen], right=right, top=top)
    return Panel(
        title=title,
        labels=("across (m)", "up in the view (m)"),
        uv=uv,
        flux=flux,
        error=error,
        shade=np.abs(cosines[seen]),
        peak=place if is_peak_seen else None,
        window=_window(uv) if half_width is None else np.stack([place - half_width, place + half_width]),
        areas=mesh.areas[seen],
        depth=depth[seen],
        is_view=True,
        is_close=half_width is not None,
    )


def numbers(panel: Panel) -> Iterator[tuple[float, float, float]]:
    """Places on a coarse grid over a drawing and the mean flux around each, to print where there are no contour lines.

    Yields
    ------
    (x, y, flux)
        [m], [m], [W/m2]
    """
    uv, depth = panel.uv, panel.depth
    low, high = uv.min(axis=(0, 1)), uv.max(axis=(0, 1))
    step = (high - low).max() / LABELS_ACROSS
    counts = np.maximum(1, np.round((high - low) / step)).astype(int)
    grids = [low[k] + (np.arange(counts[k]) + 0.5) * (high[k] - low[k]) / counts[k] for k in (0, 1)]
    points = np.stack(np.meshgrid(*grids), axis=-1).reshape(-1, 2)
    middles = uv.mean(axis=1)
    for point, seen in zip(points, front_most(uv, depth, points), strict=True):
        if seen < 0:
            continue
        near = (np.linalg.norm(middles - point, axis=1) < 0.25 * step) & (depth > depth[seen] - 0.5 * step)
        near[seen] = True
        yield float(point[0]), float(point[1]), float(np.average(panel.flux[near], weights=panel.areas[near]))
