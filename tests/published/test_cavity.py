"""Cavities against diffuse exchange.

Sources. Ball with an opening: every point of a sphere sees equal areas of it alike, so light reflected diffusely leaves
through the opening with the share s = opening's share of the sphere, and of what came in through it the part
a / (a + (1 - a) s) is absorbed: closed form, any text on cavity radiators, e.g. E.M. Sparrow and R.D. Cess, *Radiation
Heat Transfer* (from memory). Cylinder with lid: radiosity over 120 rings with view factors of coaxial discs (Incropera
and DeWitt, from memory), in tests/support/diffuse_exchange.py.

Shown to fail on planted errors: diffuse directions without the cosine (uniform over the hemisphere), all light that is
left sent to one side of the sheet, specular in place of diffuse, absorptance applied twice.
"""

import numpy as np
import pytest
import trimesh

from tests.support.diffuse_exchange import cavity_absorption
from tests.support.optics import POINT_SUN, assert_agrees, part_text, scene_text, traced

RAYS = 2**16


def grey(absorptance):
    return f"surface = {{ absorptance = {absorptance}, emittance = 0.9, specular_share = 0.0 }}"


def ball_with_opening(folder, share):
    """A sphere of radius 1 m without the cap of the given share of its area, opening below; returns its opening's
    share.

    The rim is cut exactly, and the share is that of the facets' own area, whose sum with the cut-off cap is the
    sphere's.
    """
    ball = trimesh.creation.icosphere(subdivisions=5, radius=1.0)
    height = -1.0 + 2.0 * share
    cut = trimesh.intersections.slice_mesh_plane(ball, plane_normal=[0.0, 0.0, 1.0], plane_origin=[0.0, 0.0, height])
    cut.apply_translation([0.0, 0.0, -height])
    cut.export(folder / "ball.stl")
    return 1.0 - cut.area / ball.area


@pytest.mark.parametrize(("absorptance", "share"), [(0.3, 0.05), (0.6, 0.2)])
def test_spherical_cavity_in_closed_form(absorptance, share, seed, tmp_path):
    opening = ball_with_opening(tmp_path, share)
    assert opening == pytest.approx(share, abs=1e-3)
    more = part_text("ball", "mesh", surface=grey(absorptance), file="ball.stl", unit="cm")
    # what comes back parallel from the mirror passes beside the opening: the hole is as wide as that
    text = scene_text(focal_length=2.0, rim_deg=15.0, hole=0.02, sun=POINT_SUN, more=more)
    ball = traced(text, rays=RAYS, seed=seed, folder=tmp_path).parts["ball"]
    inside = ball.sides["back"]
    assert ball.sides["front"].first_w.value == 0.0
    found = inside.absorbed_w.scaled(1.0 / inside.first_w.value)
    # facets: 3e-4 of the area and of the exchange
    assert_agrees(found, absorptance / (absorptance + (1.0 - absorptance) * opening), absolute=5e-4)
    # arrivals: one, and again with every reflection that stays inside
    assert inside.incident_w.value * absorptance == pytest.approx(inside.absorbed_w.value, rel=5e-3)


@pytest.mark.parametrize(("absorptance", "opening_radius"), [(0.25, 0.05), (0.6, 0.02)])
def test_cylindrical_cavity_by_radiosity(absorptance, opening_radius, seed):
    radius, depth, rim, focal, hole = 0.1, 0.15, 30.0, 2.0, 0.12
    edge = 2.0 * focal * np.tan(np.radians(rim) / 2)
    more = part_text(
        "cavity",
        "cavity",
        axis=[0.0, 0.0, -1.0],
        surface=grey(absorptance),
        radius_m=radius,
        depth_m=depth,
        opening_radius_m=opening_radius,
    )
    text = scene_text(focal_length=focal, rim_deg=rim, hole=hole, sun=POINT_SUN, more=more)
    part = traced(text, rays=RAYS, seed=seed).parts["cavity"]

    def first_on_floor(r):
        """Light through the focus in the opening's middle meets the floor at depth tan(psi), r_mirror = 2 f tan(psi /
        2)."""
        mirror = 2.0 * focal * np.tan(0.5 * np.arctan(r / depth))
        return np.clip((mirror**2 - hole**2) / (edge**2 - hole**2), 0.0, 1.0)

    floor, wall, lid, escaped = cavity_absorption(
        radius=radius,
        depth=depth,
        opening_radius=opening_radius,
        absorptance=absorptance,
        first_on_floor=first_on_floor,
    )
    assert floor + wall + lid + escaped == pytest.approx(1.0, abs=1e-12)
    inside = part.sides["front"]
    assert part.sides["back"].first_w.value == 0.0
    assert_agrees(inside.absorbed_w.scaled(1.0 / inside.first_w.value), 1.0 - escaped, absolute=1e-3)
    z = part.mesh.triangles.mean(axis=1)[:, 2] - focal
    is_floor, is_lid = z > depth - 1e-9, z < 1e-9
    taken = inside.absorbed_w_m2 * part.mesh.areas / inside.first_w.value
    for expected, chosen in ((floor, is_floor), (lid, is_lid), (wall, ~(is_floor | is_lid))):
        # direct sun does not reach the inside; 6.6e4 rays: 3e-3
        assert taken[chosen].sum() == pytest.approx(expected, abs=5e-3)


def test_radiosity_of_the_reference_itself():
    """Against the sphere-like limit: a black cavity takes all; view factors close; finer rings change it by 1e-4."""
    given = {
        "radius": 0.1,
        "depth": 0.15,
        "opening_radius": 0.05,
        "first_on_floor": lambda r: np.clip((r / 0.06) ** 2, 0.0, 1.0),
    }
    assert cavity_absorption(**given, absorptance=1.0) == pytest.approx((1.0, 0.0, 0.0, 0.0), abs=1e-12)
    coarse, fine = (cavity_absorption(**given, absorptance=0.25, n=n) for n in (40, 80))
    assert coarse == pytest.approx(fine, abs=1e-4)
    assert sum(fine) == pytest.approx(1.0, abs=1e-12)
