"""Mesh files as parts: read, scaled, turned, checked and reported; never repaired in silence."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dishtrace.parts.plain_files import plain_triangles
from dishtrace.parts.refine import refine
from dishtrace.parts.triangles import area_vectors, corner_numbers, edge_faults, volume
from dishtrace.units import LENGTH_UNITS

FORMATS = (".stl", ".obj", ".ply", ".glb")
"""Endings of the files that are read."""
LARGEST_OF_DISH, SMALLEST_OF_DISH = 30.0, 1e-3
"""Size over that of the dish from which, or down to which, the unit is plainly wrong [–]."""
UNLIKELY_LARGE, UNLIKELY_SMALL = 10.0, 1e-2
"""The same, from which a note asks about the unit [–]."""
LARGEST_COORDINATE = 1e12
"""Coordinates from here on are damage, and would overflow. [file's unit]"""
SLIVER = 1e-9
"""A triangle whose height is below this share of its longest side is degenerate [–]."""


class MeshError(ValueError):
    """A mesh file that cannot be used; the text ends the sentence that starts with the key at fault.

    Parameters
    ----------
    allowed : str
        What is wrong, as the end of that sentence.
    remedy : str
        What to do about it.
    key : str
        The key at fault, "file" or "unit".
    """

    def __init__(self, allowed: str, remedy: str, key: str = "file") -> None:
        super().__init__(allowed)
        self.remedy = remedy
        self.key = key


@dataclass(frozen=True, eq=False)
class MeshReport:
    """A mesh ready to be placed, and what was found in it.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        In metres, turned, about the file's own origin. [m]
    is_closed : bool
        Whether every edge is run through equally often both ways.
    n_dropped : int
        Degenerate triangles left out. [–]
    notes : tuple of str
        What the user should know.
    """

    triangles: np.ndarray
    is_closed: bool
    n_dropped: int
    notes: tuple[str, ...]


def read_triangles(path: Path) -> np.ndarray:
    """Triangles of a mesh file in the file's own unit, all its bodies put together where the file puts them.

    Parameters
    ----------
    path : Path
        STL, OBJ, PLY or GLB file.

    Returns
    -------
    (n, 3, 3) float64
        At least one triangle, all numbers finite. [file's unit]

    Raises
    ------
    MeshError
        If there is no such file, its ending is not known, it cannot be read, it has no triangles, or it has
        NaN or infinite numbers.
    """
    if path.suffix.lower() not in FORMATS:
        raise MeshError("must be a .stl, .obj, .ply or .glb file", "export the mesh in one of these formats")
    if not path.is_file():
        raise MeshError("must be an existing file", f"looked for {path.name} in the folder of the scene")
    plain = plain_triangles(path)
    triangles = _loaded(path) if plain is None else plain
    if len(triangles) == 0:
        raise MeshError("has no triangles", "export a surface mesh, not points or lines")
    n_bad = int(np.count_nonzero(~(np.abs(triangles) < LARGEST_COORDINATE).all(axis=(1, 2))))
    if n_bad:
        raise MeshError(
            f"has NaN, infinite or absurd coordinates in {n_bad} of {len(triangles)} triangles",
            "export the mesh again",
        )
    return triangles


def _loaded(path: Path) -> np.ndarray:
    """What trimesh makes of the file, transforms of a scene applied, nothing merged or dropped."""
    import trimesh
    from trimesh.exchange.stl import HeaderError

    kind = path.suffix.lower()[1:]
    # what the readers raise on damaged files: they parse first and check little
    damage = (HeaderError, ValueError, TypeError, KeyError, IndexError, AttributeError, NotImplementedError)
    damage += (struct.error, OSError)
    try:
        with path.open("rb") as file, np.errstate(invalid="ignore", over="ignore"):
            scene = trimesh.load_scene(file, file_type=kind, process=False)
            bodies = [body for body in scene.dump(concatenate=False) if isinstance(body, trimesh.Trimesh)]
            pieces = [np.asarray(body.triangles, dtype=float) for body in bodies if len(body.faces)]
    except damage as error:
        reason = " ".join(str(error).split())[:120] or type(error).__name__
        raise MeshError(f"cannot be read as {kind.upper()} ({reason})", "export the mesh again") from error
    return np.concatenate(pieces) if pieces else np.zeros((0, 3, 3))


def turn_matrix(turn_deg: tuple[float, float, float]) -> np.ndarray:
    """Turn about x, then about the fixed y, then about the fixed z, right-handed.

    Parameters
    ----------
    turn_deg : tuple of 3 float
        Angles about x, y, z. [deg]

    Returns
    -------
    (3, 3) float64
        Rz Ry Rx, for column vectors. [–]
    """
    (cx, cy, cz), (sx, sy, sz) = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]])
    about_y = np.array([[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]])
    about_z = np.array([[cz, -sz, 0.0], [sz, cz, 0.0], [0.0, 0.0, 1.0]])
    return about_z @ about_y @ about_x


def is_degenerate(triangles: np.ndarray) -> np.ndarray:
    """Whether two corners fall together, or the height is below `SLIVER` of the longest side, (n,)."""
    sides = np.linalg.norm(np.roll(triangles, -1, axis=1) - triangles, axis=2)
    size = max(float(np.ptp(triangles, axis=(0, 1)).max()), np.finfo(float).tiny)
    longest = sides.max(axis=1)
    double_area = 2.0 * np.linalg.norm(area_vectors(triangles), axis=1)
    return (sides.min(axis=1) <= SLIVER * size) | (double_area <= SLIVER * longest**2)


def refuse_wrong_unit(triangles: np.ndarray, unit: str, dish_span: float) -> None:
    """Raise where a mesh is plainly in another unit than it says.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        In metres, by the unit stated. [m]
    unit : str
        That unit.
    dish_span : float
        Size of the dish. [m]

    Raises
    ------
    MeshError
        If the mesh is at least 30 times as large as the dish, or 1000 times smaller; with the unit it looks
        like.
    """
    size = float(np.ptp(triangles, axis=(0, 1)).max())
    if SMALLEST_OF_DISH < size / dish_span < LARGEST_OF_DISH:
        return
    names = {"mm": "millimetres", "m": "metres", "cm": "centimetres", "in": "inches", "ft": "feet"}
    ratio = {name: size / LENGTH_UNITS[unit] * LENGTH_UNITS[name] / dish_span for name in names}
    fitting = [name for name in names if 0.005 < ratio[name] < 3.0]
    hint = f'it looks like {names[fitting[0]]}: write unit = "{fitting[0]}"' if fitting else "state its true unit"
    raise MeshError(f"makes the mesh {size:.3g} m large, while the dish is {dish_span:.3g} m", hint, "unit")


def mesh_report(
    path: Path, *, unit: str, turn_deg: tuple[float, float, float], dish_span: float, scale: float = 1.0
) -> MeshReport:
    """Read a mesh file and tell what is wrong with it.

    Parameters
    ----------
    path : Path
        STL, OBJ, PLY or GLB file. A GLB file has its y axis up by convention: turn_deg = [90, 0, 0] makes
        that z.
    unit : str
        A key of `LENGTH_UNITS`.
    turn_deg : tuple of 3 float
        Turns about x, then y, then z, about the file's origin; see `turn_matrix`. [deg]
    dish_span : float
        Size of the dish. [m]
    scale : float
        Factor on the file's numbers. [–]

    Returns
    -------
    MeshReport
        Large triangles split, see `refine`.

    Raises
    ------
    MeshError
        As `read_triangles` and `refuse_wrong_unit`, and when all triangles are degenerate.
    """
    given = read_triangles(path) * (scale * LENGTH_UNITS[unit]) @ turn_matrix(turn_deg).T
    dropped = is_degenerate(given)
    if dropped.all():
        raise MeshError("has only triangles without area", "export the mesh again")
    refuse_wrong_unit(given, unit, dish_span)
    corners = corner_numbers(given)
    n_open, n_turned = edge_faults(corners)
    kept = given[~dropped]
    notes = _notes(given, n_dropped=int(dropped.sum()), n_open=n_open, n_turned=n_turned)
    ratio = float(np.ptp(given, axis=(0, 1)).max()) / dish_span
    if not UNLIKELY_SMALL < ratio < UNLIKELY_LARGE:
        notes.insert(0, f"the mesh is {ratio:.3g} times as large as the dish: is its unit right?")
    n_twins = len(corners[~dropped]) - len(np.unique(np.sort(corners[~dropped], axis=1), axis=0))
    if n_twins:
        notes.append(f"{n_twins} triangles lie on top of others with the same corners")
    fine = refine(kept)
    if len(fine) > len(kept):
        notes.append(f"{len(kept)} triangles were split into {len(fine)} to tell flux on small patches")
    return MeshReport(fine, n_open == 0 and n_turned == 0, int(dropped.sum()), tuple(notes))


def _notes(given: np.ndarray, *, n_dropped: int, n_open: int, n_turned: int) -> list[str]:
    """What to tell about a mesh before its large triangles are split."""
    notes = []
    if n_dropped:
        notes.append(f"{n_dropped} of {len(given)} triangles have no area and were left out")
    if n_open:
        notes.append(
            f"the mesh is open: {n_open} edges have no neighbour; light can reach its inside, which has surface_back"
        )
    if n_turned:
        notes.append(f"neighbours face opposite ways at {n_turned} edges, so surface and surface_back are mixed up")
    if not n_open and not n_turned and volume(given) < 0.0:
        notes.append(
            "the mesh is inside out: its fronts face inward, so its outside has surface_back; "
            "turn the faces round in the program that made it"
        )
    return notes
