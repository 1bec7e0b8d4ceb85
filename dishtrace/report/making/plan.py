"""The numbered plan: every facet where it stands on the flat frame, with the heights of its corners."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height
from dishtrace.report.making.facet_table import corner_places
from dishtrace.report.making.frame import Frame
from dishtrace.report.making.ribs import Rib
from dishtrace.report.making.sketch import LETTER_WIDTH, MM, Label, Line, Shape, Sketch

LEAST_TEXT = 1.6
"""Height of letters below which corner heights are left to the table [mm]."""
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
    size = float(np.max(np.ptp(shapes[0].points, axis=0)))
    shapes += _axes(shapes[0].points, size)
    shapes += _rib_lines(ribs, size)
    for i in range(0 if facets is None else len(facets)):
        shapes += _facet(facets, i, frame)
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


def _axes(rim: np.ndarray, size: float) -> list[Shape]:
    """The frame's axes through the outline's centre, a little longer than the dish, and their names."""
    text = 0.02 * size
    low, high = rim.min(axis=0) - 2.0 * text, rim.max(axis=0) + 2.0 * text
    return [
        Line(np.array([[low[0], 0.0], [high[0], 0.0]]), "AXIS"),
        Line(np.array([[0.0, low[1]], [0.0, high[1]]]), "AXIS"),
        Label("a", np.array([high[0] + text, 0.0]), text, "NOTE"),
        Label("b", np.array([0.0, high[1] + text]), text, "NOTE"),
    ]


def _rib_lines(ribs: tuple[Rib, ...], size: float) -> list[Shape]:
    shapes: list[Shape] = []
    text = 0.015 * size
    for rib in ribs:
        for chain in rib.stretches:
            shapes.append(Line(rib.section.feet(chain[[0, -1], 0]) * MM, "RIB"))
        end = rib.section.feet(np.array([rib.stretches[-1][-1, 0]]))[0] * MM
        turn = np.radians(rib.section.angle_deg)
        along, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        words = f"rib {rib.section.name}"
        place = end + along * 0.5 * LETTER_WIDTH * text * (len(words) + 2) + left * text
        upright = (rib.section.angle_deg + 90.0) % 360.0 <= 180.0
        shapes.append(Label(words, place, text, "NOTE", True, rib.section.angle_deg - (0.0 if upright else 180.0)))
    return shapes


def _facet(facets: Facets, i: int, frame: Frame) -> list[Shape]:
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
    if text < LEAST_TEXT:
        return shapes
    for place in corner_places(facets, i, frame) * MM:
        inwards = middle - place[:2]
        distance = np.hypot(*inwards)
        shapes.append(Label(f"{place[2]:.1f}", place[:2] + inwards * min(0.5, 2.4 * text / distance), text, "HEIGHT"))
    return shapes
