"""Where the image of each facet must fall on a target board, in sunlight or from a lamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.report.making.facet_table import DOWN, reflected
from dishtrace.report.making.sketch import MM, Label, Line, Shape, Sketch, number_ranges

TOGETHER_MM = 1.0
"""Marks closer than this share one label [mm]."""
LONGEST_WORDS = 40
"""Letters of a label at most [–]."""
MOST_IMAGES = 60
"""Facets up to which the rims of their images are drawn [–]."""
RIM_STEPS = 64
"""Points around the rim of an image [–]."""


@dataclass(frozen=True, eq=False)
class Marks:
    """Where centre rays meet a board square to the dish axis.

    Parameters
    ----------
    board_z : float
        Height of the board over the vertex. [m]
    lamp : (3,) float64 or None
        Place of a lamp, dish frame; None for the sun straight ahead. [m]
    number : (n,) int64
        Of the facets.
    places : (n, 2) float64
        Where the centre rays meet the board, x and y of the dish frame; NaN where they do not. [m]
    distance : (n,) float64
        From the facet's middle to its mark; NaN where there is none. [m]
    images : tuple of (k, 2) float64
        Rims of the facets carried to the board by light from a point: the lamp or the sun's centre; only of facets with
        a mark. [m]
    """

    board_z: float
    lamp: np.ndarray | None
    number: np.ndarray
    places: np.ndarray
    distance: np.ndarray
    images: tuple[np.ndarray, ...]

    @property
    def is_reached(self) -> np.ndarray:
        """Whether a facet's centre ray reaches the board, (n,)."""
        return np.isfinite(self.distance)

    @property
    def name(self) -> str:
        """Word for file names."""
        return "sun" if self.lamp is None else "lamp"


def marks_of(facets: Facets, *, board_z: float, lamp: np.ndarray | None) -> Marks:
    """Marks of all facets on a board.

    Parameters
    ----------
    facets : Facets
        The mirror.
    board_z : float
        Height of the board over the vertex; its plane is square to the dish axis. [m]
    lamp : (3,) float64 or None
        Place of a lamp, dish frame; None for the sun straight ahead, as when the dish points at it. [m]

    Returns
    -------
    Marks
        By the law of reflection at the facets' middles; parts and other facets are not looked at.
    """
    places, distance = _carried(facets.origin, facets.axes[:, 2], board_z, lamp)
    images = []
    for i in np.nonzero(np.isfinite(distance))[0] if len(facets) <= MOST_IMAGES else ():
        rim, normals = facets.surface(int(i), facets.outlines[i].boundary(RIM_STEPS))
        normals = normals / np.linalg.norm(normals, axis=1, keepdims=True)
        image, reach = _carried(rim, normals, board_z, lamp)
        if np.all(np.isfinite(reach)):
            images.append(image)
    return Marks(board_z, lamp, facets.number, places, distance, tuple(images))


def _carried(
    points: np.ndarray, normals: np.ndarray, board_z: float, lamp: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """Where light reflected at points (k, 3) meets the board, (k, 2), and after which way, (k,); NaN if never. [m]"""
    way_in = np.broadcast_to(DOWN, points.shape) if lamp is None else points - lamp
    way_in = way_in / np.linalg.norm(way_in, axis=1, keepdims=True)
    way_out = reflected(way_in, normals)
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (board_z - points[:, 2]) / way_out[:, 2]
    meets = np.isfinite(distance) & (distance > 0.0) & (np.sum(way_in * normals, axis=1) < 0.0)
    distance = np.where(meets, distance, np.nan)
    return points[:, :2] + distance[:, np.newaxis] * way_out[:, :2], distance


def mark_columns(boards: tuple[Marks, ...]) -> dict[str, list]:
    """The table of marks.

    Returns
    -------
    dict of str to list
        Columns: light (sun or lamp), height of the board over the vertex, facet, place on the board, way of the ray,
        and how far the mark moves across the ray when the facet is turned by 1 mrad: twice the way, in thousandths.
    """
    keys = ("light", "board_mm", "facet", "x_mm", "y_mm", "way_mm", "moves_mm_per_mrad")
    columns: dict[str, list] = {key: [] for key in keys}
    for marks in boards:
        count = len(marks.number)
        columns["light"] += [marks.name] * count
        columns["board_mm"] += [f"{marks.board_z * MM:.3f}"] * count
        columns["facet"] += marks.number.tolist()
        values = (*marks.places.T * MM, marks.distance * MM, 2.0 * marks.distance)
        for key, column in zip(keys[3:], values, strict=True):
            columns[key] += [f"{value:.3f}" if np.isfinite(value) else "" for value in np.round(column, 3) + 0.0]
    return columns


def target_sketch(marks: Marks, heading: tuple[str, ...]) -> Sketch:
    """The board at scale 1:1, seen from the mirror: x to the left, y upwards.

    Parameters
    ----------
    marks : Marks
        At least one of them on the board.
    heading : tuple of str
        Lines for all drawings of this scene.
    """
    places = _seen(marks.places[marks.is_reached])
    numbers = marks.number[marks.is_reached]
    groups: dict[tuple[int, int], list[int]] = {}
    for k, cell in enumerate(np.round(places / TOGETHER_MM).astype(int)):
        groups.setdefault((int(cell[0]), int(cell[1])), []).append(k)
    middles = np.array([places[group].mean(axis=0) for group in groups.values()])
    text = _text_height(middles)
    shapes: list[Shape] = [Line(_seen(image), "IMAGE", True) for image in marks.images]
    for middle, group in zip(middles, groups.values(), strict=True):
        shapes += _cross(middle, text)
        words = number_ranges(numbers[group].tolist())
        if len(group) == len(places):
            words = f"all facets ({words})" if len(words) < LONGEST_WORDS else "all facets"
        elif len(words) > LONGEST_WORDS:
            words = f"{len(group)} facets, see the table"
        shapes.append(Label(words, middle + 0.5 * text, text, "NUMBER", False))
    shapes += _middle(np.vstack([middles, *(_seen(image) for image in marks.images)]))
    return Sketch(f"target-{marks.name}", (*heading, *_words(marks)), tuple(shapes))


def _words(marks: Marks) -> tuple[str, ...]:
    light = "sunlight along the dish axis"
    if marks.lamp is not None:
        x, y, z = marks.lamp * MM + 0.0
        light = f"a lamp at x {x:.1f}, y {y:.1f}, z {z:.1f} mm from the vertex"
    board = f"Target board square to the axis, {marks.board_z * MM:.1f} mm from the vertex, in {light}"
    seen = "Seen from the mirror, x to the left, y up; cross: where the middle of a facet's image must fall"
    grey = "grey: rim of the image for a light as small as a point" if marks.images else ""
    return board, f"{seen}; {grey}" if grey else seen


def _seen(places: np.ndarray) -> np.ndarray:
    """Places on the board as the mirror sees it. [m] to [mm]"""
    return places * np.array([-MM, MM])


def _text_height(middles: np.ndarray) -> float:
    """Letters small enough for the closest marks, between 1.5 and 8 mm."""
    if len(middles) < 2:
        return 8.0
    from scipy.spatial import cKDTree

    nearest = cKDTree(middles).query(middles, k=2)[0][:, 1]
    return float(np.clip(0.3 * np.median(nearest), 1.5, 8.0))


def _cross(middle: np.ndarray, size: float) -> list[Shape]:
    arm = np.array([size, 0.0])
    return [Line(np.array([middle - a, middle + a]), "MARK") for a in (0.5 * arm, 0.5 * arm[::-1])]


def _middle(points: np.ndarray) -> list[Shape]:
    """Axes of the board through the dish axis, wide enough for all marks."""
    reach = np.maximum(np.abs(points).max(axis=0), 40.0) + 10.0
    return [
        Line(np.array([[-reach[0], 0.0], [reach[0], 0.0]]), "AXIS"),
        Line(np.array([[0.0, -reach[1]], [0.0, reach[1]]]), "AXIS"),
        Label("x", np.array([-reach[0] - 6.0, 0.0]), 5.0, "NOTE"),
        Label("y", np.array([0.0, reach[1] + 6.0]), 5.0, "NOTE"),
    ]
