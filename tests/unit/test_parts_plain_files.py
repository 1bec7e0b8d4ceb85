"""Plain mesh files: the same triangles in the same order as the mesh library gives, and nothing else taken.

Errors planted and caught: corners counted from 0, a corner's texture taken for its place, one record of an STL file
lost, a second body taken for the same.
"""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from dishtrace.parts import meshes, plain_files
from dishtrace.parts.plain_files import plain_triangles

SPHERE = trimesh.creation.icosphere(2)
PYRAMID = """# four corners
v 0 0 0
v 1.5 0 0
v 0 1e0 0
v 0.25 .25 1
f 1 3 2
f 1 2 4
f 2 3 4
f 3 1 4
"""
FULL = """mtllib pyramid.mtl
o pyramid
v 0 0 0
v 1.5 0 0
v 0 1e0 0
v 0.25 .25 1
vt 0 0
vt 1 1
vn 0 0 1
usemtl grey
s off
f 1/1/1 3/2/1 2/2/1
f 1/1/1 2/2/1 4/1/1
f 2//1 3//1 4//1
"""


@pytest.mark.parametrize("name", ["ring-stand.obj", "cooled-plate.obj", "trestle.obj"])
def test_meshes_of_the_demo_scenes_are_plain_and_as_the_library_reads_them(name):
    path = Path(__file__).parents[2] / "scenes" / name
    assert np.array_equal(plain_triangles(path), meshes._loaded(path))


@pytest.mark.parametrize("ending", ["obj", "stl"])
def test_exported_meshes_are_as_the_library_reads_them(tmp_path, ending):
    path = tmp_path / f"part.{ending}"
    SPHERE.export(path)
    found = plain_triangles(path)
    assert found.dtype == np.float64
    assert np.array_equal(found, meshes._loaded(path))


@pytest.mark.parametrize("text", [PYRAMID, FULL.replace("2//1 3//1 4//1", "2/1/1 3/2/1 4/2/1"), FULL])
def test_written_by_hand(tmp_path, text):
    path = tmp_path / "part.obj"
    path.write_text(text)
    found = plain_triangles(path)
    assert found[0].tolist() == [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.5, 0.0, 0.0]]
    assert np.array_equal(found, meshes._loaded(path))


@pytest.mark.parametrize(
    "text",
    [
        PYRAMID.replace("f 3 1 4", "f -2 -4 -1"),
        PYRAMID.replace("f 3 1 4", "f 0 1 4"),
        PYRAMID.replace("f 3 1 4", "f 3 1 5"),
        PYRAMID.replace("f 3 1 4", "f 3 1 4 2"),
        PYRAMID.replace("f 3 1 4", "f 3 1 x"),
        PYRAMID.replace("v 0 0 0", "v 0 0 0 0.5 0.5 0.5"),
        PYRAMID.replace("v 0 0 0", "v 0 0 zero"),
        PYRAMID.replace("f 1 2 4", "o second\nf 1 2 4\no third"),
        PYRAMID.replace("f 1 2 4", "l 1 2"),
        PYRAMID.replace("f 1 2 4", "  f 1 2 4"),
        "v 0 0 0\n",
        "",
    ],
)
def test_what_is_not_plain_is_left_to_the_library(tmp_path, text):
    path = tmp_path / "part.obj"
    path.write_text(text)
    assert plain_triangles(path) is None


def test_large_obj_files_are_left_to_the_library(tmp_path, monkeypatch):
    path = tmp_path / "part.obj"
    path.write_text(PYRAMID)
    monkeypatch.setattr(plain_files, "LARGEST_OBJ", len(PYRAMID) - 1)
    assert plain_triangles(path) is None


def test_damaged_and_text_stl_files_are_left_to_the_library(tmp_path):
    path = tmp_path / "part.stl"
    SPHERE.export(path)
    data = path.read_bytes()
    for wrong in (data[:-1], data + b"0", data[:60], b"", data[:80] + b"\0\0\0\0"):
        path.write_bytes(wrong)
        assert plain_triangles(path) is None
    SPHERE.export(path, file_type="stl_ascii")
    assert plain_triangles(path) is None
    assert len(meshes.read_triangles(path)) == len(SPHERE.faces)


def test_other_formats_are_left_to_the_library(tmp_path):
    SPHERE.export(tmp_path / "part.ply")
    assert plain_triangles(tmp_path / "part.ply") is None
    assert plain_files.STL_TRIANGLE.itemsize == 50
