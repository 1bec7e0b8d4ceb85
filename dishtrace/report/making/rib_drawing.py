"""Drawings of rib profiles: the curve over its base line, with heights to measure by, and the facets on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dishtrace.report.making.ribs import TABLE_STEP_M, Rib
from dishtrace.report.making.sketch import MM, Label, Line, Round, Shape, Sketch

TEXT = 3.5
"""Height of measures [mm]."""
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
    for chain in rib.stretches:
        shapes.append(Line(chain * MM, "RIB"))
        shapes += _ordinates(chain * MM)
    for run in rib.runs:
        points = run.curve * MM
        shapes.append(Line(points, "FACET"))
        middle = points[len(points) // 2]
        shapes.append(Label(str(run.number), middle + np.array([0.0, 4.0 * TEXT]), TEXT, "NUMBER"))
        shapes.append(Line(np.array([middle + [0.0, 0.5 * TEXT], middle + [0.0, 3.0 * TEXT]]), "NUMBER"))
    length = f"{rib.length() * MM:.1f} mm along the curve"
    what = f"Rib at {rib.section.name}: from {low:.1f} to {high:.1f} mm, {length}"
    return Sketch(name, (*heading, what), tuple(shapes))


def _ordinates(chain: np.ndarray) -> list[Shape]:
    """Heights at whole steps of twice the table's, and at both ends of a stretch. [mm]"""
    step = 2.0 * TABLE_STEP_M * MM
    rest = np.abs(np.remainder(chain[:, 0] + 0.5 * step, step) - 0.5 * step)
    chosen = [k for k in np.nonzero(rest < 1e-6)[0] if 3.0 * TEXT < chain[k, 0] - chain[0, 0]]
    chosen = [0, *(k for k in chosen if 3.0 * TEXT < chain[-1, 0] - chain[k, 0]), len(chain) - 1]
    shapes: list[Shape] = []
    for k in chosen:
        x, y = chain[k]
        shapes.append(Line(np.array([[x, 0.0], [x, y]]), "HEIGHT"))
        shapes.append(Round(np.array([x, y]), (0.8, 0.8), "HEIGHT"))
        shapes.append(Label(f"{y:.1f} high", np.array([x, y + 9.0 * TEXT]), TEXT, "HEIGHT", True, 90.0))
        shapes.append(Label(f"{x:.1f}", np.array([x, -3.5 * TEXT]), TEXT, "HEIGHT", True, 90.0))
    return shapes


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
        foot = low[1] + shift[1] - 4.0 * TEXT
        shapes.append(Label(sketch.heading[-1], np.array([low[0], foot]), 2.0 * TEXT, "NOTE", False))
        top = foot - BETWEEN
    return Sketch(name, heading, tuple(shapes))


def moved(shape: Shape, shift: np.ndarray) -> Shape:
    """A shape moved by (2,). [mm]"""
    if isinstance(shape, Line):
        return replace(shape, points=shape.points + shift)
    if isinstance(shape, Round):
        return replace(shape, center=shape.center + shift)
    return replace(shape, place=shape.place + shift)
