"""Drawings of rib profiles: the curve over its base line, with heights to measure by, and the facets on it."""

from __future__ import annotations

import textwrap
from dataclasses import replace

import numpy as np

from dishtrace.report.making.ribs import TABLE_STEP_M, Rib
from dishtrace.report.making.sketch import LETTER_WIDTH, MM, Label, Line, Round, Shape, Sketch

TEXT = 3.5
"""Height of measures [mm]."""
CAPTION = 6.0
"""Height of the words below a rib [mm]."""
BETWEEN = 60.0
"""Left between ribs drawn one over the other [mm]."""


def rib_sketch(rib: Rib, heading: tuple[str, ...], name: str) -> Sketch:
    """One rib: way along it to the right, height over the flat frame upwards.

    Parameters
    ----------
    rib : Rib
        With at least one stretch.
    heading : tuple of str
        Lines for all drawings of this scene.
    name : str
        Stem of the file name.
    """
    shapes: list[Shape] = []
    low, high = rib.stretches[0][0, 0] * MM, rib.stretches[-1][-1, 0] * MM
    shapes.append(Line(np.array([[low - 10.0, 0.0], [high + 10.0, 0.0]]), "AXIS"))
    measured = []
    for chain in rib.stretches:
        shapes.append(Line(chain * MM, "RIB"))
        ordinates = _ordinates(chain * MM)
        shapes += [shape for x, y in ordinates for shape in _ordinate(x, y)]
        measured += [x for x, _ in ordinates]
    for run in rib.runs:
        points = run.curve * MM
        shapes.append(Line(points, "FACET"))
        place = _clear_of(points, measured)
        shapes.append(Label(str(run.number), place + np.array([0.0, 4.0 * TEXT]), TEXT, "NUMBER"))
        shapes.append(Line(np.array([place + [0.0, 0.5 * TEXT], place + [0.0, 3.0 * TEXT]]), "NUMBER"))
    length = f"{rib.length() * MM:.1f} mm along the curve"
    what = f"Rib at {rib.section.name}: from {low:.1f} to {high:.1f} mm, {length}"
    return Sketch(name, (*heading, what), tuple(shapes))


def _ordinates(chain: np.ndarray) -> list[np.ndarray]:
    """Points at whole steps of twice the table's, and both ends of a stretch. [mm]"""
    step = 2.0 * TABLE_STEP_M * MM
    rest = np.abs(np.remainder(chain[:, 0] + 0.5 * step, step) - 0.5 * step)
    chosen = [k for k in np.nonzero(rest < 1e-6)[0] if 3.0 * TEXT < chain[k, 0] - chain[0, 0]]
    return [chain[k] for k in (0, *(k for k in chosen if 3.0 * TEXT < chain[-1, 0] - chain[k, 0]), len(chain) - 1)]


def _ordinate(x: float, y: float) -> list[Shape]:
    """The line from the frame up to a point of the curve, its height above it and its way below. [mm]"""
    return [
        Line(np.array([[x, 0.0], [x, y]]), "HEIGHT"),
        Round(np.array([x, y]), (0.8, 0.8), "HEIGHT"),
        Label(f"{np.round(y, 1) + 0.0:.1f} high", np.array([x, y + 6.0 * TEXT]), TEXT, "HEIGHT", True, 90.0),
        Label(f"{np.round(x, 1) + 0.0:.1f}", np.array([x, -4.0 * TEXT]), TEXT, "HEIGHT", True, 90.0),
    ]


def _clear_of(points: np.ndarray, measured: list[float]) -> np.ndarray:
    """The point of a chain nearest to its middle that keeps away from all measures, else the middle. [mm]"""
    middle = len(points) // 2
    away = np.abs(points[:, :1] - np.array(measured)).min(axis=1) > 2.0 * TEXT
    order = sorted(range(len(points)), key=lambda k: abs(k - middle))
    return points[next((k for k in order if away[k]), middle)]


def stacked(sketches: tuple[Sketch, ...], heading: tuple[str, ...], name: str) -> Sketch:
    """Sketches one below the other in one drawing, each with its last heading line beneath it.

    Parameters
    ----------
    sketches : tuple of Sketch
        At least one.
    heading : tuple of str
        Of the whole.
    name : str
        Stem of its file name.
    """
    shapes: list[Shape] = []
    top = 0.0
    for sketch in sketches:
        low, high = sketch.extent()
        shift = np.array([0.0, top - high[1]])
        shapes += [moved(shape, shift) for shape in sketch.shapes]
        foot = low[1] + shift[1]
        for line in textwrap.wrap(sketch.heading[-1], max(60, int((high[0] - low[0]) / (LETTER_WIDTH * CAPTION)))):
            foot -= 2.0 * CAPTION
            shapes.append(Label(line, np.array([low[0], foot]), CAPTION, "NOTE", False))
        top = foot - BETWEEN
    return Sketch(name, heading, tuple(shapes))


def moved(shape: Shape, shift: np.ndarray) -> Shape:
    """A shape moved by (2,). [mm]"""
    if isinstance(shape, Line):
        return replace(shape, points=shape.points + shift)
    if isinstance(shape, Round):
        return replace(shape, center=shape.center + shift)
    return replace(shape, place=shape.place + shift)
