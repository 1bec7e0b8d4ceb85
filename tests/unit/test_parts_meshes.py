"""Mesh files: read in four formats, scaled, turned, and every flaw told."""

import struct

import numpy as np
import pytest
import trimesh

from dishtrace.parts.meshes import MeshError, is_degenerate, mesh_report, read_triangles, turn_matrix
from dishtrace.parts.triangles import areas_of, is_closed, volume

BOX_MM = trimesh.creation.box((200.0, 100.0, 300.0))


def report(path, *, unit="mm", turn_deg=(0.0, 0.0, 0.0), dish_span=2.4):
    return mesh_report(path, unit=unit, turn_deg=turn_deg, dish_span=dish_span)


def saved(folder, mesh, name="part.stl"):
    mesh.export(folder / name)
    return folder / name


def changed(faces=None, vertices=None):
    """The box with other faces or corners, nothing merged."""
    given_faces = BOX_MM.faces if faces is None else faces
    return trimesh.Trimesh(BOX_MM.vertices if vertices is None else vertices, given_faces, process=False)


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "glb", "STL"])
def test_box_in_every_format(tmp_path, ending):
    path = saved(tmp_path, BOX_MM, f"box.{ending.lower()}")
    found = report(path.rename(tmp_path / f"box.{ending}"))
    assert found.is_closed
    assert is_closed(found.triangles)
    assert found.n_dropped == 0
    assert volume(found.triangles) == pytest.approx(0.2 * 0.1 * 0.3, rel=1e-6)
    assert np.ptp(found.triangles, axis=(0, 1)) == pytest.approx([0.2, 0.1, 0.3], rel=1e-6)
    assert areas_of(found.triangles).max() <= 1e-4
    assert found.notes == (f"12 triangles were split into {len(found.triangles)} to tell flux on small patches",)


@pytest.mark.parametrize(("unit", "metres"), [("m", 1.0), ("cm", 0.01), ("mm", 0.001), ("in", 0.0254), ("ft", 0.3048)])
def test_units(tmp_path, unit, metres):
    path = saved(tmp_path, trimesh.creation.box((0.2 / metres, 0.1 / metres, 0.3 / metres)))
    assert volume(report(path, unit=unit).triangles) == pytest.approx(0.006, rel=1e-6)


def test_turns_are_about_x_then_y_then_z():
    """x: y to z; y: z to x; z: x to y. All three at 90 deg take z to z by way of -y, so the order shows."""
    assert turn_matrix((90, 0, 0)) @ [0, 1, 0] == pytest.approx([0, 0, 1], abs=1e-15)
    assert turn_matrix((0, 90, 0)) @ [0, 0, 1] == pytest.approx([1, 0, 0], abs=1e-15)
    assert turn_matrix((0, 0, 90)) @ [1, 0, 0] == pytest.approx([0, 1, 0], abs=1e-15)
    assert turn_matrix((90, 0, 90)) @ [0, 1, 0] == pytest.approx([0, 0, 1], abs=1e-15)
    assert turn_matrix((90, 0, 90)) @ [0, 0, 1] == pytest.approx([1, 0, 0], abs=1e-15)
    assert turn_matrix((0, 90, 90)) @ [0, 0, 1] == pytest.approx([0, 1, 0], abs=1e-15)


def test_turned_mesh_keeps_its_volume_and_swaps_its_sizes(tmp_path):
    found = report(saved(tmp_path, BOX_MM), turn_deg=(90.0, 0.0, 0.0))
    assert np.ptp(found.triangles, axis=(0, 1)) == pytest.approx([0.2, 0.3, 0.1], rel=1e-6)
    assert volume(found.triangles) == pytest.approx(0.006, rel=1e-6)


def test_bodies_of_a_scene_are_put_where_the_file_puts_them(tmp_path):
    scene = trimesh.Scene()
    scene.add_geometry(trimesh.creation.box((0.1, 0.1, 0.1)))
    scene.add_geometry(
        trimesh.creation.box((0.1, 0.1, 0.1)),
        transform=trimesh.transformations.translation_matrix([0.5, 0, 0]),
    )
    scene.export(tmp_path / "two.glb")
    found = report(tmp_path / "two.glb", unit="m")
    assert np.ptp(found.triangles, axis=(0, 1)) == pytest.approx([0.6, 0.1, 0.1], rel=1e-6)
    assert volume(found.triangles) == pytest.approx(0.002, rel=1e-6)
    assert found.is_closed


def test_open_mesh_is_told(tmp_path):
    found = report(saved(tmp_path, changed(BOX_MM.faces[1:])))
    assert not found.is_closed
    assert "the mesh is open: 3 edges have no neighbour" in found.notes[0]


def test_inward_facing_mesh_is_told_and_left_as_it_is(tmp_path):
    found = report(saved(tmp_path, changed(BOX_MM.faces[:, ::-1])))
    assert found.is_closed
    assert volume(found.triangles) == pytest.approx(-0.006, rel=1e-6)
    assert "inside out" in found.notes[0]
    assert "its outside has surface_back" in found.notes[0]


def test_mixed_fronts_are_told(tmp_path):
    faces = BOX_MM.faces.copy()
    faces[0] = faces[0, ::-1]
    found = report(saved(tmp_path, changed(faces)))
    assert not found.is_closed
    assert "neighbours face opposite ways at 3 edges" in found.notes[0]


def test_degenerate_triangles_are_dropped_and_counted(tmp_path):
    """One with two corners in one place; one flat on an edge, whose loss must not make the mesh look open."""
    corners = np.vstack([BOX_MM.vertices, 0.5 * (BOX_MM.vertices[0] + BOX_MM.vertices[1])])
    faces = BOX_MM.faces.tolist()
    turned = next(face for face in faces if {0, 1} <= set(face))
    while {turned[0], turned[1]} != {0, 1}:
        turned = turned[1:] + turned[:1]
    a, b, c = turned
    faces = [face for face in faces if set(face) != set(turned)]
    faces += [
        [a, 8, c],
        [8, b, c],
        [a, b, 8],
        [0, 0, 1],
    ]  # the edge is split on one side, closed by a flat triangle
    found = report(saved(tmp_path, changed(np.array(faces), corners), "part.ply"))
    assert found.n_dropped == 2
    assert found.is_closed
    assert found.notes[0] == "2 of 15 triangles have no area and were left out"
    assert volume(found.triangles) == pytest.approx(0.006, rel=1e-6)


def test_doubled_triangles_are_told(tmp_path):
    found = report(saved(tmp_path, changed(np.vstack([BOX_MM.faces, BOX_MM.faces[:2]]))))
    assert any("2 triangles lie on top of others" in note for note in found.notes)


def test_slivers_count_as_degenerate_by_height_not_by_size():
    thin = np.array([[[0, 0, 0], [1, 0, 0], [0.5, 1e-10, 0]]], dtype=float)
    small = np.array([[[0, 0, 0], [1e-6, 0, 0], [0, 1e-6, 0]]], dtype=float)
    both = np.concatenate([thin, small])
    assert is_degenerate(both).tolist() == [True, False]


def test_millimetres_read_as_metres_are_refused_with_the_hint(tmp_path):
    with pytest.raises(MeshError, match=r"makes the mesh 300 m large, while the dish is 2\.4 m") as told:
        report(saved(tmp_path, BOX_MM), unit="m")
    assert (told.value.key, told.value.remedy) == ("unit", 'it looks like millimetres: write unit = "mm"')


def test_a_small_pan_in_millimetres_read_as_metres_is_refused(tmp_path):
    """90 mm against a dish of 2.4 m: 38 times as large as the dish, which no part is."""
    with pytest.raises(MeshError, match=r"makes the mesh 90 m large") as told:
        report(saved(tmp_path, trimesh.creation.box((90.0, 90.0, 20.0))), unit="m")
    assert told.value.remedy == 'it looks like millimetres: write unit = "mm"'


def test_metres_read_as_millimetres_are_refused_with_the_hint(tmp_path):
    with pytest.raises(MeshError, match="makes the mesh 0.0003 m large") as told:
        report(saved(tmp_path, trimesh.creation.box((0.2, 0.1, 0.3))), unit="mm")
    assert told.value.remedy == 'it looks like metres: write unit = "m"'


def test_unlikely_but_possible_size_is_asked_about(tmp_path):
    found = report(saved(tmp_path, trimesh.creation.box((30.0, 1.0, 30.0))), unit="m")
    assert found.notes[0] == "the mesh is 12.5 times as large as the dish: is its unit right?"


def test_missing_file_and_wrong_ending(tmp_path):
    with pytest.raises(MeshError, match="must be an existing file"):
        read_triangles(tmp_path / "none.stl")
    (tmp_path / "pot.step").write_text("ISO-10303-21;")
    with pytest.raises(MeshError, match=r"must be a \.stl, \.obj, \.ply or \.glb file"):
        read_triangles(tmp_path / "pot.step")
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(MeshError, match="must be an existing file"):
        read_triangles(tmp_path / "folder.stl")


def binary_stl(triangles):
    rows = [struct.pack("<12fH", 0, 0, 1, *np.ravel(triangle), 0) for triangle in triangles]
    return b"\0" * 80 + struct.pack("<I", len(rows)) + b"".join(rows)


@pytest.mark.parametrize("bad", [np.nan, np.inf, 1e30])
def test_mesh_with_nan_is_refused(tmp_path, bad):
    good = [[0, 0, 0], [100, 0, 0], [0, 100, 0]]
    (tmp_path / "bad.stl").write_bytes(binary_stl([good, [[0, 0, 0], [bad, 0, 0], [0, 1, 0]]]))
    with pytest.raises(MeshError, match="NaN, infinite or absurd coordinates in 1 of 2 triangles"):
        report(tmp_path / "bad.stl")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("none.stl", binary_stl([])),
        ("points.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n"),
        ("empty.obj", b""),
    ],
)
def test_mesh_without_triangles_is_refused(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(MeshError, match="has no triangles|cannot be read"):
        report(tmp_path / name)


def test_mesh_without_area_is_refused(tmp_path):
    (tmp_path / "flat.stl").write_bytes(binary_stl([[[0, 0, 0], [100, 0, 0], [200, 0, 0]]]))
    with pytest.raises(MeshError, match="has only triangles without area"):
        report(tmp_path / "flat.stl")


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "glb"])
def test_damaged_files_end_in_one_message(tmp_path, ending):
    """Cut, scrambled, random: whatever the reader raises becomes a MeshError, or the file still reads."""
    whole = saved(tmp_path, BOX_MM, f"box.{ending}").read_bytes()
    path = tmp_path / f"damaged.{ending}"
    told = 0
    for case in range(60):
        generator = np.random.default_rng(case)
        data = bytearray(whole)
        if case % 3 == 0:
            data = data[: generator.integers(len(data))]
        elif case % 3 == 1:
            for place in generator.integers(min(len(data), 300), size=12):
                data[place] = generator.integers(256)
        else:
            data = bytearray(generator.bytes(200))
        path.write_bytes(bytes(data))
        try:
            found = report(path)
        except MeshError as error:
            told += 1
            assert error.remedy
        else:
            assert np.isfinite(found.triangles).all()
    assert told >= 30
