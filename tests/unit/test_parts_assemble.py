"""From the parts of a scene file to triangles in the dish frame."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from dishtrace.dish.mount import direction_of, pose
from dishtrace.dish.outline import outline_of
from dishtrace.errors import InputError
from dishtrace.parts.assemble import SHAPES, part_meshes
from dishtrace.parts.triangles import volume
from dishtrace.scene.part import PART_SHAPES
from dishtrace.scene.read import scene_from_text

F = 0.9
HEAD = """
title = "t"
[sun]
{sun}
dni_w_m2 = 900
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 1.2
{outline}
"""
PART = """
[[part]]
name = "{name}"
role = "{role}"
surface = {{ absorptance = 0.9, specular_share = 0.9 }}
{keys}
"""


def meshes(*parts, sun=(180.0, 40.0), outline="", folder=None):
    keys = "" if sun is None else f"azimuth_deg = {sun[0]}\nelevation_deg = {sun[1]}"
    text = HEAD.format(sun=keys, outline=outline) + "".join(parts)
    scene = scene_from_text(text) if folder is None else scene_from_text(text, folder=folder)
    direction = np.array([0.0, 0.0, 1.0]) if sun is None else direction_of(*sun)
    state = SimpleNamespace(direction=direction, azimuth_deg=None, elevation_deg=None, has_direction=sun is not None)
    return part_meshes(scene, pose(scene, state), outline_of(scene))


def part(keys, *, name="pot", role="receiver"):
    return PART.format(name=name, role=role, keys=keys)


def test_every_shape_of_the_scene_file_has_a_way():
    assert set(SHAPES) | {"mesh"} == set(PART_SHAPES)


def test_cylinder_at_the_focus():
    (pot,) = meshes(part('shape = "cylinder"\nradius_m = 0.12\nheight_m = 0.3'))
    assert (pot.name, pot.role, pot.is_closed, pot.n_dropped, pot.notes) == ("pot", "receiver", True, 0, ())
    assert volume(pot.triangles) == pytest.approx(np.pi * 0.12**2 * 0.3, rel=1e-12)
    corners = pot.triangles.reshape(-1, 3)
    assert (corners[:, 2].min(), corners[:, 2].max()) == pytest.approx((F - 0.15, F + 0.15))
    assert pot.triangles.flags.c_contiguous
    assert pot.triangles.dtype == np.float64
    assert np.linalg.norm(pot.normals, axis=1) == pytest.approx(np.ones(len(pot.areas)), abs=1e-12)
    assert pot.areas.sum() == pytest.approx(2 * np.pi * 0.12 * 0.42, rel=1.1e-4)
    assert [chart.name for chart in pot.charts] == ["wall unrolled", "end +z", "end −z"]


def test_disc_faces_along_its_axis_of_any_length():
    (disc,) = meshes(part('shape = "disc"\nradius_m = 0.1\ncenter_m = [0.1, 0.2, 0.3]\naxis = [0, 0, -2.5]'))
    assert disc.normals == pytest.approx(np.tile([0.0, 0.0, -1.0], (len(disc.areas), 1)), abs=1e-12)
    centroid = disc.areas @ disc.triangles.mean(axis=1) / disc.areas.sum()
    assert centroid == pytest.approx([0.1, 0.2, F + 0.3], abs=1e-12)
    assert disc.to_user(centroid) == pytest.approx([0.1, 0.2, 0.3], abs=1e-12)


def test_tilted_cavity_opens_along_its_axis():
    keys = 'shape = "cavity"\nradius_m = 0.1\ndepth_m = 0.2\nopening_radius_m = 0.05\naxis = [0, 1, -1]'
    (cavity,) = meshes(part(keys))
    missing = (cavity.areas[:, np.newaxis] * cavity.normals).sum(axis=0)  # fronts inside: what is missing looks out
    assert missing == pytest.approx(np.pi * 0.05**2 * np.array([0.0, 1.0, -1.0]) / 2**0.5, abs=1e-12)


def test_ground_post_stands_upright_on_the_ground_origin():
    """Dish facing south at 40 deg; a post 1 m north of the pivot stands behind and below the dish."""
    keys = 'frame = "ground"\nshape = "cylinder"\nradius_m = 0.03\nheight_m = 2.0\ncenter_m = [0, 1.6, -1.0]'
    (post,) = meshes(part(keys, name="post", role="stand"))
    assert post.notes == ()
    corners = post.to_user(post.triangles).reshape(-1, 3)
    assert (corners[:, 2].min(), corners[:, 2].max()) == pytest.approx((-2.0, 0.0), abs=1e-12)
    assert corners.mean(axis=0)[:2] == pytest.approx([0.0, 1.6], abs=1e-9)
    top = post.triangles[np.abs(post.to_user(post.triangles)[..., 2]).max(axis=1) < 1e-9].reshape(-1, 3)
    up = np.array([0.0, np.cos(np.radians(40.0)), np.sin(np.radians(40.0))])
    assert top @ up == pytest.approx(np.zeros(len(top)), abs=1e-12)
    assert top.mean(axis=0) == pytest.approx(
        [0.0, 1.6 * np.sin(np.radians(40)), -1.6 * np.cos(np.radians(40))], abs=1e-3
    )


def test_ground_part_without_a_sun_direction_is_refused():
    keys = 'frame = "ground"\nshape = "box"\nsize_m = [0.1, 0.1, 0.1]\ncenter_m = [0, 0, -2.0]'
    with pytest.raises(InputError, match=r'part "post" frame.* direction'):
        meshes(part(keys, name="post", role="stand"), sun=None)


def test_receiver_inside_the_mirror_names_depth_and_place():
    """Centre 0.8 m below the focus: the rim of its bottom lies 0.05 + 0.12^2 / (4 f) = 0.054 m behind."""
    keys = 'shape = "cylinder"\nradius_m = 0.12\nheight_m = 0.3\ncenter_m = [0, 0, -0.8]'
    text = r'part "pot" center_m = \[0, 0, -0\.8\] goes through the mirror, up to 0\.054 m .*-0\.95\]'
    with pytest.raises(InputError, match=text):
        meshes(part(keys))


def test_stand_through_the_mirror_is_a_note():
    keys = 'shape = "cylinder"\nradius_m = 0.03\nheight_m = 1.2\ncenter_m = [0.3, 0, -0.6]'
    (post,) = meshes(part(keys, role="stand"))
    assert "the part goes through the mirror, up to 0.3" in post.notes[0]


def test_receiver_behind_the_mirror_needs_a_hole():
    keys = 'shape = "disc"\nradius_m = 0.2\ncenter_m = [0, 0, -1.2]'
    with pytest.raises(InputError, match="lies behind the mirror, up to 0.3"):
        meshes(part(keys))
    (disc,) = meshes(part(keys), outline="hole_radius_m = 0.15")
    assert "lies behind the mirror" in disc.notes[0]


def test_mesh_file_is_placed_and_turned(tmp_path):
    trimesh.creation.box((200.0, 100.0, 300.0)).export(tmp_path / "pot.stl")
    keys = 'shape = "mesh"\nfile = "pot.stl"\nunit = "mm"\nturn_deg = [90, 0, 0]\ncenter_m = [0, 0, 0.1]'
    (pot,) = meshes(part(keys), folder=tmp_path)
    corners = pot.triangles.reshape(-1, 3)
    assert corners.min(axis=0) == pytest.approx([-0.1, -0.15, F + 0.05], abs=1e-6)
    assert corners.max(axis=0) == pytest.approx([0.1, 0.15, F + 0.15], abs=1e-6)
    assert pot.charts == ()
    assert pot.is_closed


def test_all_faults_of_all_parts_are_told_at_once(tmp_path):
    trimesh.creation.box((200.0, 100.0, 300.0)).export(tmp_path / "pot.stl")
    (tmp_path / "torn.stl").write_bytes(b"solid torn")
    with pytest.raises(InputError) as told:
        meshes(
            part('shape = "mesh"\nfile = "pot.stl"\nunit = "m"', name="big"),
            part('shape = "mesh"\nfile = "torn.stl"\nunit = "mm"', name="torn"),
            part('shape = "sphere"\nradius_m = 0.1\ncenter_m = [0, 0, -0.9]', name="low"),
            folder=tmp_path,
        )
    assert [fault.key for fault in told.value.faults] == [
        'part "big" unit',
        'part "torn" file',
        'part "low" center_m',
    ]
    assert told.value.faults[0].remedy == 'it looks like millimetres: write unit = "mm"'
