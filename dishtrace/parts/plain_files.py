"""The plainest mesh files, read without the mesh library, which takes longer to load than they take to read.

OBJ files of one body of triangles, and binary STL files. The numbers and their order are those that the library gives;
whatever is not plain is left to it, and so is every complaint.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

LARGEST_OBJ = 4_000_000
"""Larger OBJ files are read by the library, which is quicker then. [bytes]"""
STL_HEAD = 84
STL_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
OBJ_SKIPPED = {b"vn", b"vt", b"s", b"mtllib"}
OBJ_ONCE = {b"o", b"g", b"usemtl"}


def plain_triangles(path: Path) -> np.ndarray | None:
    """Triangles of a plain OBJ or binary STL file.

    Parameters
    ----------
    path : Path
        An existing file.

    Returns
    -------
    (n, 3, 3) float64 or None
        Corners in the order of the file [file's unit]; None where the file is not plain, or has no triangles.
    """
    reader = {".obj": _plain_obj, ".stl": _binary_stl}.get(path.suffix.lower())
    if reader is _plain_obj and path.stat().st_size > LARGEST_OBJ:
        return None
    return None if reader is None else reader(path.read_bytes())


def _binary_stl(data: bytes) -> np.ndarray | None:
    """Triangles of a binary STL file whose length fits the number it tells."""
    n = int.from_bytes(data[STL_HEAD - 4 : STL_HEAD], "little")
    if n == 0 or len(data) != STL_HEAD + n * STL_TRIANGLE.itemsize:
        return None
    return np.frombuffer(data, dtype=STL_TRIANGLE, offset=STL_HEAD)["corners"].astype(np.float64)


def _plain_obj(data: bytes) -> np.ndarray | None:
    """Triangles of an OBJ file with x, y, z and three corners a line, in at most one body, counted from 1."""
    corners, faces, once = [], [], []
    for line in data.splitlines():
        word, *rest = line.split() or [b"#"]
        if not line.startswith(word) and rest:
            return None
        if word == b"v":
            corners.append(rest)
        elif word == b"f":
            faces.append([each.partition(b"/")[0] for each in rest])
        elif word in OBJ_ONCE:
            once.append(word)
        elif not (word in OBJ_SKIPPED or word.startswith(b"#")):
            return None
    if not faces or len(set(once)) != len(once) or any(len(row) != 3 for row in (*corners, *faces)):
        return None
    try:
        points = np.array(corners, dtype=np.float64)
        numbers = np.array(faces, dtype=np.int64)
    except ValueError:
        return None
    if numbers.min() < 1 or numbers.max() > len(points):
        return None
    return points[numbers - 1]
