"""Write the mesh files of the demo scenes; every size here is invented.

Run ``python scenes/make_meshes.py`` after changing a size. Only NumPy is needed. All faces are
counter-clockwise seen from outside. Lengths are millimetres, as most drawing programs export them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

Solid = tuple[np.ndarray, np.ndarray]
FOLDER = Path(__file__).parent
# Corner 4 i + 2 j + k of a bar: i along it, j across, k upward.
BOX_FACES = np.array(
    [[0, 3, 2], [0, 1, 3], [4, 7, 5], [4, 6, 7], [0, 5, 1], [0, 4, 5]]
    + [[2, 7, 6], [2, 3, 7], [0, 6, 4], [0, 2, 6], [1, 7, 3], [1, 5, 7]]
)


def bar(start: list[float], end: list[float], width: float) -> Solid:
    """Straight bar of square section between two points.

    Parameters
    ----------
    start, end : (3,) float
        Middles of its two ends. [mm]
    width : float
        Side of the section. [mm]

    Returns
    -------
    vertices : (8, 3) float64
        Corners. [mm]
    faces : (12, 3) int64
        Corner numbers. [–]
    """
    start, end = np.array(start, float), np.array(end, float)
    along = (end - start) / np.linalg.norm(end - start)
    across = np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.9 else [0.0, 1.0, 0.0])
    across *= 0.5 * width / np.linalg.norm(across)
    upward = np.cross(along, across)
    corners = [end_point + j * across + k * upward for end_point in (start, end) for j in (-1, 1) for k in (-1, 1)]
    return np.array(corners), BOX_FACES


def ring(inner: float, outer: float, low: float, high: float, *, sides: int) -> Solid:
    """Flat ring of rectangular section about the z axis.

    Parameters
    ----------
    inner, outer : float
        Radii. [mm]
    low, high : float
        z of its two faces. [mm]
    sides : int
        Straight pieces all round. [–]

    Returns
    -------
    vertices : (4 * sides, 3) float64
        Corners. [mm]
    faces : (8 * sides, 3) int64
        Corner numbers. [–]
    """
    turn = 2.0 * np.pi * np.arange(sides) / sides
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    loops = [(inner, low), (outer, low), (outer, high), (inner, high)]
    vertices = np.concatenate([np.column_stack([r * circle, np.full(sides, z)]) for r, z in loops])
    here, following = np.arange(sides), np.roll(np.arange(sides), -1)
    faces = []
    for loop in range(4):
        a, b = loop * sides, (loop + 1) % 4 * sides
        faces.append(np.column_stack([a + here, a + following, b + following]))
        faces.append(np.column_stack([a + here, b + following, b + here]))
    return vertices, np.concatenate(faces)


def write_obj(name: str, remark: str, solids: list[Solid]) -> None:
    """Write solids side by side into one OBJ file.

    Parameters
    ----------
    name : str
        File name in this folder.
    remark : str
        What it is; goes into the file's first line.
    solids : list of (vertices, faces)
        Lengths as they are to stand in the file. [mm]
    """
    lines = [f"# {remark} Invented; millimetres. Written by make_meshes.py."]
    offset = 1
    for vertices, faces in solids:
        lines += [f"v {x:.3f} {y:.3f} {z:.3f}" for x, y, z in vertices]
        lines += [f"f {a} {b} {c}" for a, b, c in faces + offset]
        offset += len(vertices)
    (FOLDER / name).write_text("\n".join(lines) + "\n", encoding="ascii")


def ring_stand() -> list[Solid]:
    """Ring that carries the pot, on two arms to posts east and west of the dish; origin in the ring."""
    arms = [bar([side * 108.0, 0.0, 0.0], [side * 820.0, 0.0, 0.0], 20.0) for side in (-1, 1)]
    posts = [bar([side * 820.0, 0.0, 10.0], [side * 820.0, 0.0, -1150.0], 35.0) for side in (-1, 1)]
    return [ring(92.0, 112.0, -5.0, 5.0, sides=48), *arms, *posts]


def trestle() -> list[Solid]:
    """Two rails under the pan, cross pieces and four splayed legs; origin on top of the rails."""
    rails = [bar([-1000.0, side * 65.0, -15.0], [1000.0, side * 65.0, -15.0], 30.0) for side in (-1, 1)]
    ties = [bar([x, -260.0, -45.0], [x, 260.0, -45.0], 30.0) for x in (-985.0, 985.0)]
    legs = [bar([x, s * 245.0, -45.0], [x * 1.15, s * 700.0, -1900.0], 40.0) for x in (-985.0, 985.0) for s in (-1, 1)]
    return rails + ties + legs


def cooled_plate() -> list[Solid]:
    """Ring plate before the laboratory cavity; origin in the middle of its lit face, +z to the cavity."""
    return [ring(12.0, 60.0, 0.0, 8.0, sides=96)]


if __name__ == "__main__":
    write_obj("ring-stand.obj", "Ring with two arms and posts for a pot.", ring_stand())
    write_obj("trestle.obj", "Trestle of square timber for a pan.", trestle())
    write_obj("cooled-plate.obj", "Water-cooled ring plate.", cooled_plate())
