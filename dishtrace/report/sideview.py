"""What the side view shows: mirror, silhouettes, rays and frames, seen square to the plane of axis and plumb line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import Outline
from dishtrace.report.projection import project

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch
    from dishtrace.parts.assemble import PartMesh

SECTION_STEPS = 400
MARGIN = 0.08
"""Free room around the drawn things, of their larger width. [–]"""


@dataclass(frozen=True, eq=False)
class Silhouette:
    """A part seen from the side.

    Parameters
    ----------
    name, role : str
    uv : (n, 3, 2) float64
        Projected triangles that cover what the part hides. [m]
    """

    name: str
    role: str
    uv: np.ndarray


@dataclass(frozen=True, eq=False)
class SideView:
    """A drawing to scale; all lengths in metres.

    Parameters
    ----------
    mirror : tuple of (k, 2) float64
        The mirror's section through its middle, one line for each piece.
    rim : (m, 2) float64
        The rim of the outline as a closed line.
    parts : tuple of Silhouette
    rays : tuple of (k, 2) float64
        Paths of sample rays.
    marks : dict
        Places of "vertex", "focus" and "ground origin" where the scene has one, each (2,); one mark for two that meet.
    vertex : (2,) float64
    arrows : dict
        Unit directions in the drawing, projected: "x", "y", "z" of the dish frame, "sun", each (2,).
    labels : tuple of 2 str
        What the two directions are.
    limits : tuple of 4 float
        Left, right, bottom, top.
    seen_from : str
        Where the viewer stands.
    """

    mirror: tuple[np.ndarray, ...]
    rim: np.ndarray
    parts: tuple[Silhouette, ...]
    rays: tuple[np.ndarray, ...]
    marks: dict[str, np.ndarray]
    vertex: np.ndarray
    arrows: dict[str, np.ndarray]
    labels: tuple[str, str]
    limits: tuple[float, float, float, float]
    seen_from: str


def up_direction(result: Result | Sketch) -> np.ndarray:
    """Unit vector upwards in the dish frame; the dish axis when the scene gives no sun direction, (3,). [–]"""
    return np.asarray(result.pose.rotation) @ np.array([0.0, 0.0, 1.0])


def side_view(result: Result | Sketch) -> SideView:
    """The side view of a scene.

    Parameters
    ----------
    result : Result or Sketch
        Traced or not.

    Returns
    -------
    SideView
        Seen along the dish's x axis, which is level, so that up is up. Lengths are from the ground origin where the
        scene gives the sun a direction, else from the vertex.
    """
    focal_length, outline = result.mirror.focal_length, result.mirror.outline
    has_ground = bool(result.sun.has_direction)
    origin = np.asarray(result.pose.ground_origin) if has_ground else np.zeros(3)
    top = up_direction(result)
    right = np.cross(top, [1.0, 0.0, 0.0])

    def flat(points: np.ndarray) -> np.ndarray:
        return project(np.asarray(points) - origin, right, top)

    has_facets = result.scene.dish.facets is not None
    lines = facet_sections(result.facets, outline.center[0]) if has_facets else section_lines(outline, focal_length)
    mirror = tuple(flat(line) for line in lines)
    rim = flat(on_paraboloid(outline.boundary(), focal_length))
    parts = tuple(_silhouette(mesh, flat(mesh.triangles)) for mesh in result.meshes)
    marks = _marks(flat(np.zeros(3)), flat(np.array([0.0, 0.0, focal_length])), has_ground=has_ground)
    arrows = {axis: project(vector, right, top) for axis, vector in zip("xyz", np.eye(3), strict=True)}
    arrows["sun"] = project(np.asarray(result.pose.sun), right, top)
    everything = [
        *mirror,
        rim,
        *(part.uv.reshape(-1, 2) for part in parts),
        *(m[np.newaxis] for m in marks.values()),
    ]
    return SideView(
        mirror=mirror,
        rim=rim,
        parts=parts,
        rays=tuple(flat(ray) for ray in result.sample_rays),
        marks=marks,
        vertex=flat(np.zeros(3)),
        arrows=arrows,
        labels=_labels(has_ground),
        limits=_limits(np.concatenate(everything)),
        seen_from=_seen_from(result, has_ground),
    )


def _silhouette(mesh: PartMesh, uv: np.ndarray) -> Silhouette:
    """A part's projected triangles (n, 3, 2), of a closed one those that face one way, which cover the others."""
    if mesh.is_closed:
        first, second = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
        uv = uv[first[:, 0] * second[:, 1] > first[:, 1] * second[:, 0]]
    return Silhouette(mesh.name, mesh.role, uv)


def _marks(vertex: np.ndarray, focus: np.ndarray, *, has_ground: bool) -> dict[str, np.ndarray]:
    """Vertex, focus and ground origin (the zero of the drawing), one name for those that share a place."""
    marks = {"vertex": vertex, "focus": focus}
    if not has_ground:
        return marks
    for name, place in marks.items():
        if np.linalg.norm(place) < 0.02 * np.linalg.norm(focus - vertex):
            return {f"{name}, ground origin" if key == name else key: value for key, value in marks.items()}
    return {**marks, "ground origin": np.zeros(2)}


def on_paraboloid(xy: np.ndarray, focal_length: float) -> np.ndarray:
    """Points of the mirror surface over (..., 2) points of the outline, (..., 3). [m]"""
    height = (xy[..., 0] ** 2 + xy[..., 1] ** 2) / (4.0 * focal_length)
    return np.concatenate([xy, height[..., np.newaxis]], axis=-1)


def section_lines(outline: Outline, focal_length: float) -> list[np.ndarray]:
    """Section of the mirror with the plane x = middle of the outline.

    Parameters
    ----------
    outline : Outline
        Of the dish.
    focal_length : float
        [m]

    Returns
    -------
    list of (k, 3) float64
        A line for each piece, since a hole or a notch breaks it. [m]
    """
    rim = outline.boundary()
    y = np.linspace(rim[:, 1].min(), rim[:, 1].max(), SECTION_STEPS + 1)
    xy = np.stack([np.full(len(y), outline.center[0]), y], axis=-1)
    is_mirror = outline.contains(xy)
    breaks = np.flatnonzero(np.diff(is_mirror.astype(int))) + 1
    pieces = np.split(np.arange(len(y)), breaks)
    return [on_paraboloid(xy[piece], focal_length) for piece in pieces if is_mirror[piece[0]] and len(piece) > 1]


def facet_sections(facets: Facets, x: float) -> list[np.ndarray]:
    """Sections of facets with a plane of constant x, to the small curvature of a facet across the plane.

    Parameters
    ----------
    facets : Facets
        In the dish frame.
    x : float
        Place of the plane. [m]

    Returns
    -------
    list of (k, 3) float64
        A line for each facet that the plane meets. [m]
    """
    lines = []
    for i, outline in enumerate(facets.outlines):
        across = facets.axes[i, :2, 0]
        steepness = np.hypot(*across)
        reach = np.abs(outline.extent()).max() * 1.5
        if abs(x - facets.origin[i, 0]) > reach * steepness:
            continue
        foot = (x - facets.origin[i, 0]) * across / steepness**2
        steps = np.linspace(-reach, reach, SECTION_STEPS // 4 + 1)[:, np.newaxis]
        uv = foot + steps * np.array([-across[1], across[0]]) / steepness
        uv = uv[outline.contains(uv)]
        if len(uv) > 1:
            lines.append(facets.surface(i, uv)[0])
    return lines


def _limits(points: np.ndarray) -> tuple[float, float, float, float]:
    low, high = points.min(axis=0), points.max(axis=0)
    room = MARGIN * (high - low).max()
    return float(low[0] - room), float(high[0] + room), float(low[1] - room), float(high[1] + room)


def _labels(has_ground: bool) -> tuple[str, str]:
    if has_ground:
        return "level distance from the ground origin (m)", "height above the ground origin (m)"
    return "y of the dish frame (m)", "z of the dish frame (m)"


def _seen_from(result: Result | Sketch, has_ground: bool) -> str:
    if not has_ground:
        return "seen against the x axis of the dish frame"
    x, y = (np.asarray(result.pose.rotation)[0, :2]).tolist()
    azimuth = np.degrees(np.arctan2(x, y)) % 360.0
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return f"seen from the {names[round(azimuth / 45.0) % 8]} (azimuth {azimuth:.0f}°)"
