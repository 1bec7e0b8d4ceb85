"""A drawing in millimetres at scale 1:1, as plain shapes on named layers; the writers turn it into files."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace

import numpy as np

MM = 1e3
"""Millimetres in a metre."""
LETTER_WIDTH = 0.85
"""Width of a letter over its height, for sizes of text only [–]."""


@dataclass(frozen=True)
class Layer:
    """How the lines of a layer look.

    Parameters
    ----------
    colour : str
        Six hexadecimal digits.
    width : float
        Of the line. [mm]
    dashes : tuple of float
        Lengths of stroke and gap, empty for a full line. [mm]
    """

    colour: str
    width: float
    dashes: tuple[float, ...] = ()


LAYERS = {
    "SHEET": Layer("8a8a8a", 0.35),
    "CUT": Layer("000000", 0.25),
    "BEND": Layer("31688e", 0.18, (6.0, 3.0)),
    "FACET": Layer("000000", 0.25),
    "OUTLINE": Layer("8a8a8a", 0.35, (8.0, 3.0)),
    "RIB": Layer("000000", 0.35),
    "HEIGHT": Layer("31688e", 0.13),
    "AXIS": Layer("8a8a8a", 0.18, (8.0, 2.0, 1.0, 2.0)),
    "IMAGE": Layer("8a8a8a", 0.13),
    "MARK": Layer("000000", 0.35),
    "NUMBER": Layer("000000", 0.25),
    "NOTE": Layer("000000", 0.25),
}
"""Every layer of our drawings; dark lines for what is made, grey for what it refers to, blue for measures."""


@dataclass(frozen=True, eq=False)
class Line:
    """A chain of straight lines through points (k, 2). [mm]"""

    points: np.ndarray
    layer: str
    is_closed: bool = False


@dataclass(frozen=True, eq=False)
class Round:
    """A circle or an ellipse.

    Parameters
    ----------
    center : (2,) float64
        Its middle. [mm]
    semi_axes : tuple of float
        Two, equal for a circle. [mm]
    layer : str
        One of `LAYERS`.
    angle : float
        Of the first axis, counter-clockwise from x. [rad]
    """

    center: np.ndarray
    semi_axes: tuple[float, float]
    layer: str
    angle: float = 0.0

    @property
    def is_circle(self) -> bool:
        """Whether the two axes are equal."""
        return self.semi_axes[0] == self.semi_axes[1]

    def extent(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest corner of the box around it, (2,) each. [mm]"""
        (a, b), c, s = self.semi_axes, np.cos(self.angle), np.sin(self.angle)
        half = np.array([np.hypot(a * c, b * s), np.hypot(a * s, b * c)])
        return self.center - half, self.center + half


@dataclass(frozen=True, eq=False)
class Label:
    """A line of text.

    Parameters
    ----------
    text : str
        Without line breaks.
    place : (2,) float64
        Middle of the text, or the start of its base line. [mm]
    height : float
        Of capital letters. [mm]
    layer : str
        One of `LAYERS`.
    is_centred : bool
        Whether `place` is the middle.
    angle_deg : float
        Of the base line, counter-clockwise from x. [deg]
    """

    text: str
    place: np.ndarray
    height: float
    layer: str = "NUMBER"
    is_centred: bool = True
    angle_deg: float = 0.0

    def extent(self) -> tuple[np.ndarray, np.ndarray]:
        """Box around it, estimated from the number of letters, (2,) each. [mm]"""
        width, turn = LETTER_WIDTH * self.height * len(self.text), np.radians(self.angle_deg)
        along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        start = -0.5 if self.is_centred else 0.0
        corners = [
            start * (width * along + self.height * up) + i * width * along + j * self.height * up
            for i in (0, 1)
            for j in (0, 1)
        ]
        return self.place + np.min(corners, axis=0), self.place + np.max(corners, axis=0)


Shape = Line | Round | Label


@dataclass(frozen=True, eq=False)
class Sketch:
    """One drawing.

    Parameters
    ----------
    name : str
        Stem of its file names.
    heading : tuple of str
        What it shows, one statement a line, the most important first.
    shapes : tuple of Shape
        At least one.
    """

    name: str
    heading: tuple[str, ...]
    shapes: tuple[Shape, ...]

    def extent(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest corner of the box around all shapes, (2,) each. [mm]"""
        return box_around(self.shapes)

    def with_heading(self) -> Sketch:
        """The same with its heading written above it as labels, wrapped to its width."""
        low, high = self.extent()
        height = float(np.clip(0.012 * np.max(high - low), 3.0, max(3.0, (high[0] - low[0]) / (50.0 * LETTER_WIDTH))))
        letters = max(50, int((high[0] - low[0]) / (LETTER_WIDTH * height)))
        lines = [line for text in self.heading for line in textwrap.wrap(text, letters)]
        labels = [
            Label(line, np.array([low[0], high[1] + height * (1.8 * (len(lines) - k))]), height, "NOTE", False)
            for k, line in enumerate(lines)
        ]
        return replace(self, shapes=(*self.shapes, *labels))


def boxes_around(shapes: tuple[Shape, ...]) -> np.ndarray:
    """Lowest and highest corner of the box around each shape, (k, 2, 2). [mm]"""
    return np.array(
        [
            (shape.points.min(axis=0), shape.points.max(axis=0)) if isinstance(shape, Line) else shape.extent()
            for shape in shapes
        ]
    )


def box_around(shapes: tuple[Shape, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest corner of the box around all shapes, (2,) each. [mm]"""
    boxes = boxes_around(shapes)
    return boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)


def plain_text(text: str) -> str:
    """A text on one line, without control characters, for titles that people wrote."""
    return "".join(letter for letter in " ".join(text.split()) if letter.isprintable())


def facets_named(numbers: list[int]) -> str:
    """Facets by their numbers.

    Examples
    --------
    >>> facets_named([7]), facets_named([1, 2, 3, 7])
    ('facet 7', 'facets 1-3, 7')
    """
    return f"facet{'' if len(numbers) == 1 else 's'} {number_ranges(numbers)}"


def number_ranges(numbers: list[int]) -> str:
    """Whole numbers in few letters.

    Examples
    --------
    >>> number_ranges([1, 2, 3, 7, 9, 10])
    '1-3, 7, 9-10'
    """
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)
