"""The numbered plan: every facet where it stands on the flat frame, with the heights of its corners."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height
from dishtrace.report.making.facet_table import corner_places
from dishtrace.report.making.frame import Frame
from dishtrace.report.making.ribs import Rib
from dishtrace.report.making.sketch import LETTER_WIDTH, MM, Label, Line, Shape, Sketch, box_around

LEAST_TEXT = 1.6
"""Height of letters below which corner heights are left to the table [mm]."""
MOST_WITH_HEIGHTS = 2000
"""Facets up to which corner heights are written into the plan; more are left to the table [–]."""
RIM_STEPS = 360
"""Steps of a rim that is drawn as a chain [–]."""


def plan_sketch(
    facets: Facets | None,
    outline: Outline,
    frame: Frame,
    ribs: tuple[Rib, ...],
    *,
    focal_length: float,
    heading: tuple[str, ...],
) -> Sketch:
    """The plan, seen along the frame's normal from the mirror side.

    Parameters
    ----------
    facets : Facets or None
        None for one skin.
    outline : Outline
        Of the dish, in plan. [m]
    frame : Frame
        The flat frame; its a axis is drawn to the right, b upwards.
    ribs : tuple of Rib
        Sections to mark.
    focal_length : float
        Focal length f. [m]
    heading : tuple of str
        Lines for all drawings of this scene.
    """
    shapes: list[Shape] = list(_rims(outline, frame, focal_length))
    for i in range(0 if facets is None else len(facets)):
        shapes += _facet(facets, i, frame, has_heights=len(facets) <= MOST_WITH_HEIGHTS)
    low, high = box_around(tuple(shapes))
    shapes += _axes(low, high) + _rib_lines(ribs, low, high)
    what = "Plan on the flat frame, seen from the mirror side; blue: heights of the mirror's corners over the frame"
    if facets is None:
        what = "Plan on the flat frame, seen from the mirror side"
    return Sketch("plan", (*heading, what), tuple(shapes))


def _rims(outline: Outline, frame: Frame, focal_length: float) -> list[Line]:
    """The rim of the dish on its paraboloid, and that of its hole, on the frame."""
    rims = [outline.boundary(RIM_STEPS)]
    if outline.hole_radius > 0.0:
        center = outline.params[:2]
        rims.append(center + (rims[0] - center) * outline.hole_radius / outline.params[2])
    places = [frame.places(np.column_stack([rim, height(*rim.T, focal_length=focal_length)])) for rim in rims]
    return [Line(place[:-1, :2] * MM, "OUTLINE", True) for place in places]


def _axes(low: np.ndarray, high: np.ndarray) -> list[Shape]:
    """The frame's axes through the outline's centre, a little longer than the box around the dish, and their names."""
    text = 0.02 * float(np.max(high - low))
    low, high = low - text, high + text
    return [
        Line(np.array([[low[0], 0.0], [high[0], 0.0]]), "AXIS"),
        Line(np.array([[0.0, low[1]], [0.0, high[1]]]), "AXIS"),
        Label("a", np.array([high[0] + text, 0.0]), text, "NOTE"),
        Label("b", np.array([0.0, high[1] + text]), text, "NOTE"),
    ]


def _rib_lines(ribs: tuple[Rib, ...], low: np.ndarray, high: np.ndarray) -> list[Shape]:
    """Where ribs run, each named at its end outside the box around the dish."""
    shapes: list[Shape] = []
    text = 0.015 * float(np.max(high - low))
    for rib in ribs:
        for chain in rib.stretches:
            shapes.append(Line(rib.section.feet(chain[[0, -1], 0]) * MM, "RIB"))
        turn = np.radians(rib.section.angle_deg)
        along = np.array([np.cos(turn), np.sin(turn)])
        end = rib.section.feet(np.array([rib.stretches[-1][-1, 0]]))[0] * MM
        words = f"rib {rib.section.name}"
        is_on_axis = rib.section.angle_deg % 90.0 == 0.0 and rib.section.offset_m == 0.0
        aside = _way_out(end, along, low, high) + 3.0 * text if is_on_axis else 0.0
        aside += (1.5 + 0.5 * LETTER_WIDTH * len(words)) * text
        place = end + along * aside
        upright = (rib.section.angle_deg + 90.0) % 360.0 <= 180.0
        shapes.append(Label(words, place, text, "NOTE", True, rib.section.angle_deg - (0.0 if upright else 180.0)))
    return shapes


def _way_out(start: np.ndarray, along: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
    """Way from a place inside a box to its border. [mm]"""
    with np.errstate(divide="ignore", invalid="ignore"):
        ways = np.where(along > 1e-9, (high - start) / along, np.where(along < -1e-9, (low - start) / along, np.inf))
    return max(0.0, float(ways.min()))


def _facet(facets: Facets, i: int, frame: Frame, *, has_heights: bool) -> list[Shape]:
    """One facet: its rim, its number, and heights near its corners where they can be read."""
    outline = facets.outlines[i]
    places = frame.places(facets.surface(i, outline.boundary(RIM_STEPS if outline.kind in (0, 3) else 1))[0])
    rim = places[:-1, :2] * MM
    middle = frame.places(facets.origin[i])[:2] * MM
    area = 0.5 * abs(float(np.sum(rim[:, 0] * np.roll(rim[:, 1], -1) - rim[:, 1] * np.roll(rim[:, 0], -1))))
    side = np.sqrt(area)
    words = str(facets.number[i])
    shapes: list[Shape] = [
        Line(rim, "FACET", True),
        Label(words, middle, min(0.2 * side, 0.4 * side / (LETTER_WIDTH * len(words))), "NUMBER"),
    ]
    text = min(0.075 * side, 8.0)
    if has_heights and text >= LEAST_TEXT:
        shapes += _heights(corner_places(facets, i, frame) * MM, rim, middle, text)
    return shapes


def _heights(places: np.ndarray, rim: np.ndarray, middle: np.ndarray, text: float) -> list[Label]:
    """Heights of corners (k, 3), each as near to its corner as the rim leaves room for it. [mm]"""
    import shapely

    inside = shapely.Polygon(rim)
    shapely.prepare(inside)
    labels = []
    for place in places:
        words, inwards = f"{place[2]:.1f}", middle - place[:2]
        tries = [Label(words, place[:2] + share * inwards, text, "HEIGHT") for share in np.arange(0.08, 0.6, 0.04)]
        fitting = (label for label in tries if inside.contains(shapely.box(*np.concatenate(label.extent()))))
        labels.append(next(fitting, tries[-1]))
    return labels
