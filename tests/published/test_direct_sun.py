"""Sunlight before the mirror: outline, hole, shade, and parts that the sun meets directly.

Sources: definition of direct normal irradiance, power = DNI A cos(angle) for a flat area; a convex body facing the sun
takes DNI times its silhouette: pi r^2 for a ball, w h for a cylinder from the side; all closed forms. Curved shapes are
polygons of equal area, so their silhouettes err by up to 3e-4 (said in the parts' modules).

Shown to fail on planted errors: no cosine on the mirror (`test_oblique_sun_on_a_dish`), no cosine on parts (tilted
plate), sides of a sheet swapped, direct rays not shaded by other parts or not by the mirror, direct power per mirror
ray
instead of per direct ray (factor 8), shade of stands left out.
"""

import numpy as np
import pytest

from tests.support.optics import DNI, POINT_SUN, assert_agrees, part_text, scene_text, traced

RAYS = 2**17
HALF = "surface = { absorptance = 0.5, emittance = 0.9, specular_share = 0.0 }"


@pytest.fixture(scope="module")
def beside(seed):
    """Bodies far beside a small dish, each alone in the sun, and two plates one over the other."""
    parts = [
        part_text("ball", "sphere", center=[5.0, 0.0, 0.0], radius_m=0.3),
        part_text(
            "plate",
            "rectangle",
            center=[-5.0, 0.0, 0.0],
            size_m=[0.5, 0.4],
            axis=[0.0, np.sin(np.pi / 3), np.cos(np.pi / 3)],
        ),
        part_text("turned plate", "rectangle", center=[-5.0, 2.0, 0.0], size_m=[0.5, 0.4], axis=[0.6, 0.0, -0.8]),
        part_text("disc to the sun", "disc", center=[0.0, 5.0, 0.0], radius_m=0.25, axis=[0.0, 0.0, 1.0]),
        part_text(
            "disc to the mirror", "disc", center=[0.0, -5.0, 0.0], radius_m=0.25, axis=[0.0, 0.0, -1.0], surface=HALF
        ),
        part_text(
            "lying cylinder", "cylinder", center=[5.0, 3.0, 0.0], radius_m=0.1, height_m=0.6, axis=[1.0, 0.0, 0.0]
        ),
        part_text("box on its edge", "box", center=[5.0, -3.0, 0.0], size_m=[0.3, 0.2, 0.4], axis=[0.6, 0.0, 0.8]),
        part_text("upper disc", "disc", center=[-5.0, -3.0, 0.5], radius_m=0.2),
        part_text("lower plate", "rectangle", center=[-5.0, -3.0, 0.0], size_m=[0.8, 0.8]),
        part_text("cone", "cone", center=[3.0, 5.0, 0.0], radius_m=0.2, height_m=0.1),
    ]
    return traced(scene_text(radius=0.2, sun=POINT_SUN, more="".join(parts)), rays=2**20, seed=seed)


@pytest.mark.parametrize(
    ("name", "front_m2", "back_m2", "left_open"),
    [
        ("ball", np.pi * 0.09, 0.0, 4e-4),
        ("plate", 0.2 * 0.5, 0.0, 0.0),
        ("turned plate", 0.0, 0.2 * 0.8, 0.0),
        ("disc to the sun", np.pi * 0.0625, 0.0, 0.0),
        ("disc to the mirror", 0.0, np.pi * 0.0625, 0.0),
        ("lying cylinder", 0.2 * 0.6, 0.0, 4e-4),
        ("box on its edge", 0.2 * (0.4 * 0.6 + 0.3 * 0.8), 0.0, 0.0),
        ("upper disc", np.pi * 0.04, 0.0, 0.0),
        ("lower plate", 0.64 - np.pi * 0.04, 0.0, 1e-5),
        ("cone", np.pi * 0.04, 0.0, 1e-5),
    ],
)
def test_direct_power_is_dni_times_what_the_sun_sees(beside, name, front_m2, back_m2, left_open):
    part = beside.parts[name]
    for side, seen_m2 in (("front", front_m2), ("back", back_m2)):
        found = part.sides[side].direct_incident_w
        if seen_m2 == 0.0:
            assert found.value == 0.0
        else:
            assert_agrees(found, DNI * seen_m2, relative=left_open)
            assert found.se < 2e-3 * found.value
    share = 0.5 if name == "disc to the mirror" else 1.0
    assert part.direct_absorbed_w.value == pytest.approx(share * part.direct_incident_w.value, rel=1e-9)
    # none of it is mirror light
    assert part.incident_w.value == 0.0 and part.peak_w_m2.value == 0.0


def test_direct_flux_is_even_over_a_flat_plate(beside):
    mesh, side = beside.parts["plate"].mesh, beside.parts["plate"].sides["front"]
    strip = np.floor((mesh.triangles[:, :, 0].mean(axis=1) + 5.25) / 0.05).astype(int)
    area = np.bincount(strip, weights=mesh.areas)
    power = np.bincount(strip, weights=mesh.areas * side.absorbed_w_m2)
    assert len(area) == 10
    assert power / area == pytest.approx(np.full(10, 0.5 * DNI), rel=0.2)


def test_direct_ledger_closes(beside):
    direct = {key: entry.value for key, entry in beside.direct_w.items()}
    assert direct["incident"] == pytest.approx(
        sum(direct[key] for key in ("absorbed", "mirror", "escaped", "lost")), rel=1e-12
    )
    # the half-black disc sends half of its light to the sky, above everything else
    assert direct["escaped"] == pytest.approx(0.5 * DNI * np.pi * 0.0625, rel=5e-3)
    assert direct["lost"] == 0.0


def test_shade_and_hole_of_a_tiny_sun(seed):
    """A disc of radius r on the axis shades pi r^2 DNI, the hole lets pi h^2 DNI through, whatever stands below it."""
    text = scene_text(
        rim_deg=60.0,
        hole=0.1,
        sun=POINT_SUN,
        more=part_text("shade", "disc", role="stand", center=[0.3, 0.2, 1.0], radius_m=0.25)
        + part_text("over the hole", "disc", role="stand", center=[0.0, 0.0, 0.5], radius_m=0.05),
    )
    budget = traced(text, rays=2**18, seed=seed).budget_w
    assert_agrees(budget["shaded"], DNI * np.pi * 0.0625, relative=2e-5)
    assert budget["shaded"].se < 2e-3 * budget["shaded"].value
    assert budget["gaps"].value == pytest.approx(DNI * np.pi * 0.01, rel=1e-12)
    assert_agrees(budget["outline"], DNI * np.pi * 4.0 * np.tan(np.pi / 6) ** 2, relative=1e-6)


def test_shade_of_two_discs_in_line_counts_once(seed):
    more = "".join(
        part_text(f"disc {z}", "disc", role="stand", center=[0.4, 0.0, z], radius_m=0.2) for z in (0.6, 1.2, 1.8)
    )
    budget = traced(scene_text(rim_deg=60.0, sun=POINT_SUN, more=more), rays=2**17, seed=seed).budget_w
    assert_agrees(budget["shaded"], DNI * np.pi * 0.04, relative=2e-5)


def test_dish_shades_what_lies_behind_it(seed):
    plate = part_text("ground", "rectangle", center=[0.0, 0.0, -1.5], size_m=[3.0, 3.0])
    result = traced(scene_text(radius=0.8, hole=0.2, sun=POINT_SUN, more=plate), rays=2**18, seed=seed)
    found = result.parts["ground"].direct_incident_w
    assert_agrees(found, DNI * (9.0 - np.pi * (0.64 - 0.04)), relative=1e-5)
    assert found.se < 2e-3 * found.value
    assert result.budget_w["shaded"].value == 0.0


def test_oblique_sun_on_a_dish(seed):
    """A flat-rimmed dish takes DNI A cos(angle), the hole its part of it; a level plate on the ground DNI A
    sin(elevation)."""
    text = scene_text(
        radius=0.4,
        hole=0.1,
        sun="azimuth_deg = 200.0\nelevation_deg = 35.0",
        mount='kind = "fixed"\naxis_azimuth_deg = 180.0\naxis_elevation_deg = 50.0',
        more=part_text("level", "rectangle", frame="ground", center=[0.0, 5.0, 0.0], size_m=[1.0, 2.0]),
    )
    result = traced(text, rays=RAYS, seed=seed)
    az, el, axis = np.radians([20.0, 35.0, 50.0])
    cosine = np.sin(el) * np.sin(axis) + np.cos(el) * np.cos(axis) * np.cos(az)
    budget = result.budget_w
    assert_agrees(budget["outline"], DNI * np.pi * 0.16 * cosine, relative=1e-6)
    assert budget["gaps"].value == pytest.approx(DNI * np.pi * 0.01 * cosine, rel=1e-9)
    assert_agrees(result.parts["level"].direct_incident_w, DNI * 2.0 * np.sin(el), relative=1e-6)


def test_lateral_section_takes_its_aperture_only(seed):
    """The aperture square to the sun counts, not the larger mirror surface, for any place of the section."""
    result = traced(scene_text(radius=0.3, center=[2.0, -0.5]), rays=2**14, seed=seed)
    assert_agrees(result.budget_w["outline"], DNI * np.pi * 0.09, relative=1e-6)
    assert result.dish["mirror_m2"] > 1.3 * result.dish["aperture_m2"]


def test_wide_sun_keeps_the_irradiance(seed):
    """DNI = int L cos(theta) dOmega holds all of the sunshape: a sun of 100 mrad brings the same power to flat
    areas."""
    text = scene_text(
        radius=0.4,
        sun='shape = { profile = "pillbox", half_angle_mrad = 100.0 }',
        more=part_text("plate", "rectangle", center=[3.0, 0.0, 0.0], size_m=[1.0, 1.0], axis=[0.0, 0.6, 0.8]),
    )
    result = traced(text, rays=RAYS, seed=seed)
    assert_agrees(result.budget_w["outline"], DNI * np.pi * 0.16, relative=1e-6)
    assert_agrees(result.parts["plate"].direct_incident_w, DNI * 0.8, relative=1e-6)
