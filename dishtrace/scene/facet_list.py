"""The csv file of layout = "list": one facet a row."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from dishtrace.errors import Fault, InputError
from dishtrace.scene.csv_table import Row, cell_number, cell_word, read_rows, text_number
from dishtrace.scene.facets import MOST_FACETS, Bend, Curve
from dishtrace.scene.quantity import Quantity

SIZE_NUMBERS = {"square": (1, 2), "hexagon": (1,), "circle": (1,), "trapezium": (3,), "polygon": ()}
"""How many numbers size_m takes for each shape: a side or two; width across flats; diameter; inner width, outer width
and length; none."""
_PLACE = Quantity("metres", -100.0, 100.0)
_LENGTH = Quantity("metres", 0.001, 100.0)
_PLAIN = {
    "number": Quantity("", 1, 10**9, is_whole=True),
    "x_m": _PLACE,
    "y_m": _PLACE,
    "z_m": _PLACE,
    "aim_x_m": _PLACE,
    "aim_y_m": _PLACE,
    "aim_z_m": _PLACE,
    "turn_deg": Quantity("degrees", -360.0, 360.0),
    "slope_error_mrad": Quantity("mrad", 0.0, 100.0),
    "reflectance_factor": Quantity("share", 0.0, 1.0),
}
_AIM = ("aim_x_m", "aim_y_m", "aim_z_m")
NEEDED = ("number", "x_m", "y_m")
KNOWN = (*_PLAIN, "shape", "size_m", "vertices_m", "curve", "radius_m", "bend", "curve_file")


@dataclass(frozen=True)
class FacetRow:
    """One facet of a list; None where neither the row nor the table says.

    Parameters
    ----------
    where : str
        File and line.
    number : int
        Number by which the user knows it.
    x, y, z : float
        Place of its middle, dish frame; z None: on the parent. [m]
    aim : tuple of 3 float
        From the focus. [m]
    shape : str
        Outline.
    size : tuple of float
        One to three numbers, by shape; empty for a polygon. [m]
    vertices : tuple of (float, float)
        Corners of a polygon. [m]
    turn_deg : float
        Turn in its own plane. [deg]
    curve, bend : str
        How and along which direction it is curved.
    radius_m : float
        Radius of curvature. [m]
    curve_file : str
        File of a measured facet's points.
    slope_error_mrad : float
        Slope error per axis. [mrad]
    reflectance_factor : float
        Share of the dish's reflectance. [–]
    """

    where: str
    number: int
    x: float
    y: float
    z: float | None
    aim: tuple[float, float, float] | None
    shape: str
    size: tuple[float, ...]
    vertices: tuple[tuple[float, float], ...]
    turn_deg: float
    curve: str
    bend: str
    radius_m: float | None
    curve_file: str | None
    slope_error_mrad: float | None
    reflectance_factor: float


@dataclass(frozen=True)
class ListDefaults:
    """What the table says for rows that do not."""

    shape: str = "square"
    size: tuple[float, ...] = ()
    curve: str = "flat"
    bend: str = "radial"
    curve_file: str | None = None


def read_facet_list(path: Path, name: str, defaults: ListDefaults) -> list[FacetRow]:
    """Rows of a facet list.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        The file as the user wrote it, for messages.
    defaults : ListDefaults
        For columns that are not there.

    Returns
    -------
    list of FacetRow
        In the order of the file, numbers unique.

    Raises
    ------
    InputError
        With every fault of the file, each with its line.
    """
    faults: list[Fault] = []
    rows = read_rows(path, name, needed=NEEDED, known=KNOWN, faults=faults)
    if len(rows) > MOST_FACETS:
        raise InputError(Fault(name, "", "", f"has {len(rows)} rows, more than {MOST_FACETS}"))
    facets = [_facet(row, defaults, faults) for row in rows]
    first: dict[int, str] = {}
    for row, facet in zip(rows, facets, strict=True):
        before = first.setdefault(facet.number, row.where) if facet.number is not None else row.where
        if before != row.where:
            faults.append(row.fault("number", f"is used already ({before})", "give each facet its own number"))
    if faults:
        raise InputError(faults)
    return facets


def _facet(row: Row, defaults: ListDefaults, faults: list[Fault]) -> FacetRow:
    """One row; what is wrong is added to the faults, and None stands in its place."""
    numbers = {key: cell_number(row, key, what, faults) for key, what in _PLAIN.items() if key in row.cells}
    given = [key for key in _AIM if key in row.cells]
    if given and len(given) < len(_AIM):
        faults.append(row.fault(given[0], "needs all of aim_x_m, aim_y_m and aim_z_m", "add the other columns"))
    shape = _word(row, "shape", tuple(SIZE_NUMBERS), defaults.shape, faults)
    curve = _word(row, "curve", get_args(Curve), defaults.curve, faults)
    is_bent = curve == "bent" and bool(row.cells.get("bend"))
    is_round = curve in ("bent", "spherical") and bool(row.cells.get("radius_m"))
    if curve in ("flat", "parent", "measured") and row.cells.get("radius_m"):
        faults.append(row.fault("radius_m", f"is not used with curve {curve}", "empty the cell"))
    curve_file = row.cells.get("curve_file") or (defaults.curve_file if curve == "measured" else None)
    if curve == "measured" and curve_file is None:
        faults.append(row.fault("curve", "needs a file of points", "name it in curve_file, here or in [dish.facets]"))
    if curve not in ("measured", None) and curve_file is not None:
        faults.append(row.fault("curve_file", f"is not used with curve {curve}", "empty the cell"))
    return FacetRow(
        where=row.where,
        number=numbers["number"],
        x=numbers["x_m"],
        y=numbers["y_m"],
        z=numbers.get("z_m"),
        aim=tuple(numbers[key] for key in _AIM) if len(given) == len(_AIM) else None,
        shape=shape,
        size=_size(row, shape, defaults, faults),
        vertices=_vertices(row, shape, faults),
        turn_deg=numbers.get("turn_deg", 0.0),
        curve=curve,
        bend=_word(row, "bend", get_args(Bend), defaults.bend, faults) if is_bent else defaults.bend,
        radius_m=cell_number(row, "radius_m", Quantity("metres", 0.01, 1000.0), faults) if is_round else None,
        curve_file=curve_file,
        slope_error_mrad=numbers.get("slope_error_mrad"),
        reflectance_factor=numbers.get("reflectance_factor", 1.0),
    )


def _word(row: Row, column: str, words: tuple[str, ...], default: str, faults: list[Fault]) -> str | None:
    """A word of the row, or the table's where the column is not there."""
    return cell_word(row, column, words, faults) if column in row.cells else default


def _size(row: Row, shape: str | None, defaults: ListDefaults, faults: list[Fault]) -> tuple[float, ...]:
    """Numbers of size_m, as many as the shape takes."""
    if shape is None:
        return ()
    wanted = SIZE_NUMBERS[shape]
    text = row.cells.get("size_m", "")
    if not wanted:
        if text:
            faults.append(row.fault("size_m", "is not used with shape polygon", "empty the cell"))
        return ()
    size = tuple(text_number(row, "size_m", piece, _LENGTH, faults) for piece in text.split()) or defaults.size
    if len(size) not in wanted:
        count = " or ".join(map(str, wanted))
        allowed = f"must be {count} number{'' if count == '1' else 's'} for shape {shape} (metres)"
        faults.append(row.fault("size_m", allowed, "separate several by blanks" if max(wanted) > 1 else ""))
    return size


def _vertices(row: Row, shape: str | None, faults: list[Fault]) -> tuple[tuple[float, float], ...]:
    """Corners of a polygon, written ``u v; u v; u v``."""
    text = row.cells.get("vertices_m", "")
    if shape != "polygon":
        if text and shape is not None:
            faults.append(row.fault("vertices_m", f"is not used with shape {shape}", "empty the cell"))
        return ()
    pieces = [piece.split() for piece in text.split(";") if piece.strip()]
    if len(pieces) < 3 or any(len(piece) != 2 for piece in pieces):
        faults.append(row.fault("vertices_m", "must be at least 3 corners u v; u v; u v (metres)"))
        return ()
    return tuple(tuple(text_number(row, "vertices_m", cell, _PLACE, faults) for cell in piece) for piece in pieces)
