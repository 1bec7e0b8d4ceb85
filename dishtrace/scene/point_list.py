"""The csv file of layout = "measured": one point of the mirror a row."""

from __future__ import annotations

from pathlib import Path

from dishtrace.errors import Fault, InputError
from dishtrace.scene.csv_table import cell_number, read_rows
from dishtrace.scene.quantity import Quantity

COLUMNS = ("x_m", "y_m", "z_m")
LEAST_POINTS, MOST_POINTS = 20, 100_000
"""A paraboloid with shift and tilt has 6 free numbers; fewer than 20 points leave nothing to check it by. [–]"""
_PLACE = Quantity("metres", -100.0, 100.0)


def read_points(path: Path, name: str) -> list[tuple[float, float, float]]:
    """Points of a measured mirror.

    Parameters
    ----------
    path : Path
        The file. Lines that start with # are notes; the first other line is ``x_m,y_m,z_m`` in any order.
    name : str
        The file as the user wrote it, for messages.

    Returns
    -------
    list of (float, float, float)
        x, y, z. [m]

    Raises
    ------
    InputError
        With every fault of the file, each with its line.
    """
    faults: list[Fault] = []
    rows = read_rows(path, name, needed=COLUMNS, known=COLUMNS, faults=faults)
    if len(rows) > MOST_POINTS:
        raise InputError(Fault(name, "", "", f"has {len(rows)} points, more than {MOST_POINTS}", "thin them out"))
    points = [tuple(cell_number(row, column, _PLACE, faults) for column in COLUMNS) for row in rows]
    first: dict[tuple, str] = {}
    for row, point in zip(rows, points, strict=True):
        before = first.setdefault(point[:2], row.where)
        if before != row.where and None not in point:
            allowed = f"has the x and y of another point ({before})"
            faults.append(Fault(row.where, "", ",".join(row.cells.values()), allowed, "keep one, or their mean"))
    if len(points) < LEAST_POINTS and not faults:
        faults.append(Fault(name, "", "", f"has {len(points)} points, fewer than the {LEAST_POINTS} that a fit needs"))
    if faults:
        raise InputError(faults)
    return points
