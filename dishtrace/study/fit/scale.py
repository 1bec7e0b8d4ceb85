"""From the pixels of a photograph to metres on the target: a scale, two known points, or four corners."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError

UNITS_M = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
POINT_PX = 1.0
"""Standard error with which people read a point off a photograph (common practice, no source). [px]"""
_PER_PIXEL = re.compile(r"^([0-9.eE+-]+)\s*(mm|cm|m)\s*/\s*(?:px|pixel)$")
_POINT = re.compile(r"^(-?[0-9.]+),(-?[0-9.]+)$")
_LENGTH = re.compile(r"^([0-9.]+)(?:x([0-9.]+))?\s*(mm|cm|m)$")
FORMS = (
    '"0.4 mm/px", "120,340 880,352 200 mm" (two points and their distance), or four corners '
    '"x,y x,y x,y x,y 200x150 mm"'
)


@dataclass(frozen=True, eq=False)
class Scale:
    """A map from pixels to the plane of the target, metres to the right and up as the photograph shows it.

    Parameters
    ----------
    matrix : (3, 3) float64
        Homography on (column, row, 1).
    share_se : float
        Relative standard error of lengths, from reading the points. [–]
    kind : str
        How it was given, in words.
    """

    matrix: np.ndarray
    share_se: float
    kind: str

    def metres(self, columns: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places on the target, to the right and up. [m]"""
        m = self.matrix
        scale = m[2, 0] * columns + m[2, 1] * rows + m[2, 2]
        return (
            (m[0, 0] * columns + m[0, 1] * rows + m[0, 2]) / scale,
            (m[1, 0] * columns + m[1, 1] * rows + m[1, 2]) / scale,
        )

    def pixel_m(self, column: float, row: float) -> float:
        """Side of the square as large as one pixel at a place. [m]"""
        at = np.array([column, column + 1.0, column]), np.array([row, row, row + 1.0])
        x, y = self.metres(*at)
        return float(np.sqrt(abs((x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0]))))


def read_scale(text: str) -> Scale:
    """The scale that a text tells.

    Parameters
    ----------
    text : str
        One of `FORMS`. Points are column,row from the upper left corner. Corners run around the rectangle, clockwise
        as the photograph shows it, from the one that counts as upper left; the first length is along the first side.

    Raises
    ------
    InputError
        If it has another form.
    """
    flat = " ".join(text.replace("×", "x").split())
    single = _PER_PIXEL.match(flat)
    if single:
        return _even(text, float(single.group(1)) * UNITS_M[single.group(2)])
    tokens = re.sub(r"(\d)\s+(mm|cm|m)$", r"\1\2", flat).split(" ")
    points = [_POINT.match(token) for token in tokens[:-1]]
    length = _LENGTH.match(tokens[-1])
    if length is None or not all(points) or len(points) not in (2, 4) or (len(points) == 4) != bool(length.group(2)):
        raise _refused(text, f"must be {FORMS}")
    try:
        places = np.array([[float(one.group(1)), float(one.group(2))] for one in points])
        sides = [float(one) * UNITS_M[length.group(3)] for one in length.groups()[:2] if one]
    except ValueError:
        raise _refused(text, f"must be {FORMS}") from None
    if min(sides) <= 0.0:
        raise _refused(text, "has a length that is not above 0")
    return _of_two(text, places, sides[0]) if len(points) == 2 else _of_four(text, places, *sides)


def _refused(text: str, allowed: str) -> InputError:
    return InputError(Fault(COMMAND_LINE, "--scale", f'"{text}"', allowed, "read the points off in any picture viewer"))


def _even(text: str, metres: float) -> Scale:
    if not 1e-7 < metres < 0.1:
        raise _refused(text, "must be from 0.0001 to 100 mm a pixel")
    return Scale(np.diag([metres, -metres, 1.0]), 0.0, f"{1e3 * metres:.4g} mm a pixel")


def _of_two(text: str, places: np.ndarray, distance: float) -> Scale:
    apart = float(np.hypot(*(places[1] - places[0])))
    if apart < 10.0:
        raise _refused(text, "has two points less than 10 pixels apart")
    scale = _even(text, distance / apart)
    return Scale(scale.matrix, np.sqrt(2.0) * POINT_PX / apart, f"two points {apart:.0f} pixels apart")


def _of_four(text: str, places: np.ndarray, width: float, height: float) -> Scale:
    goals = np.array([[0.0, height], [width, height], [width, 0.0], [0.0, 0.0]])
    sides = places - np.roll(places, 1, axis=0)
    turns = sides[:, 0] * np.roll(sides, -1, axis=0)[:, 1] - sides[:, 1] * np.roll(sides, -1, axis=0)[:, 0]
    if np.hypot(*sides.T).min() < 10.0 or not np.all(turns > 0.0):
        raise _refused(text, "must have its four corners in clockwise order, none of them in line, 10 pixels apart")
    matrix = homography(places, goals)
    short = float(np.hypot(*sides.T).min())
    return Scale(matrix, np.sqrt(2.0) * POINT_PX / short, "four corners, perspective taken out")


def homography(places: np.ndarray, goals: np.ndarray) -> np.ndarray:
    """The projective map of a plane that takes four places to four goals.

    Parameters
    ----------
    places, goals : (4, 2) float64
        No three in line.

    Returns
    -------
    (3, 3) float64
        Its last element is 1.

    References
    ----------
    .. [1] R. Hartley and A. Zisserman, *Multiple View Geometry in Computer Vision*, 2nd ed., Cambridge University
       Press, 2003, section 4.1 (from memory).
    """
    rows, right = [], []
    for (x, y), (u, v) in zip(places, goals, strict=True):
        rows += [[x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)
