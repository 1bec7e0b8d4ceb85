"""The worked example of the ledger's definition, built as a scene.

Ten shares of sunlight on the outline: one through the hole, one shaded, one absorbed by the mirror, five on the
receiver, one on the stand (absorptance 0.5: half absorbed, half reflected away), one past everything. The proportions
are this project's definition of the ledger; the geometry that makes them is closed form for a point sun: light from
the mirror at radius r goes straight to the focus, and power is even over the plan.

Shown to fail on planted errors: hole light left out of the outline, intercept over the outline instead of over the
light
leaving the mirror, reflected light of the stand booked as missed, receiver and stand exchanged, shade of stands left
out, absorptance applied twice, diffuse in place of specular reflection.
"""

import numpy as np
import pytest

from tests.support.optics import DNI, POINT_SUN, assert_agrees, part_text, scene_text, traced

INNER = np.sqrt(0.2)  # hole to sqrt(0.1), shade to sqrt(0.2) of the outer radius 1 m
SPLIT = np.sqrt(0.2 + 0.8 * 5.0 / 7.0)  # receiver from INNER to here, stand from here to PASS, the rest misses
PASS = np.sqrt(0.2 + 0.8 * 6.0 / 7.0)


def height_over_focus(r, *, at):
    """Height at which light from mirror radius r comes in to the distance `at` from the axis, focus 1 m high. [m]"""
    mirror = r * r / 4.0
    return mirror + (1.0 - at / r) * (1.0 - mirror) - 1.0


@pytest.fixture(scope="module")
def example(seed):
    low, high = height_over_focus(SPLIT, at=INNER), height_over_focus(PASS, at=INNER)
    # what enters the tube's lower end has come to within 0.96 of its radius at the height of the disc
    disc = height_over_focus(SPLIT, at=0.96 * INNER)
    assert disc < high
    parts = [
        part_text("receiver", "disc", center=[0.0, 0.0, disc], axis=[0.0, 0.0, -1.0], radius_m=0.98 * INNER),
        # its wall throws light that comes in from the side outwards and on upwards: it never meets anything again
        part_text(
            "stand",
            "tube",
            role="stand",
            center=[0.0, 0.0, 0.5 * (low + high)],
            radius_m=INNER,
            height_m=high - low,
            surface="surface = { absorptance = 0.5, emittance = 0.5, specular_share = 1.0 }",
        ),
        part_text("shade", "disc", role="stand", center=[0.0, 0.0, 1.0], radius_m=INNER),
    ]
    text = scene_text(radius=1.0, hole=np.sqrt(0.1), sun=POINT_SUN, reflectance=0.875, more="".join(parts))
    return traced(text, rays=2**19, seed=seed)


WATTS = {
    "outline": 10.0,
    "gaps": 1.0,
    "shaded": 1.0,
    "mirror_absorbed": 1.0,
    "blocked": 0.0,
    "receiver": 5.0,
    "stand": 0.5,
    "other_parts": 0.0,
    "escaped": 0.5,
    "missed": 1.0,
    "lost": 0.0,
}


def test_budget_in_tenths(example):
    tenth = DNI * np.pi / 10.0
    assert list(example.budget_w) == list(WATTS)
    for key, share in WATTS.items():
        # the tube and the disc are polygons: their radius errs by up to 3e-4, the split by 2e-3 of a tenth
        assert_agrees(example.budget_w[key].scaled(1.0 / tenth), share, absolute=4e-3)
    entries = [entry.value for entry in example.budget_w.values()]
    assert entries[0] == pytest.approx(sum(entries[1:]), rel=1e-12)


def test_first_hits_and_intercept_factor(example):
    tenth = DNI * np.pi / 10.0
    for key, share in {"receiver": 5.0, "stand": 1.0, "other_parts": 0.0, "none": 1.0}.items():
        assert_agrees(example.first_hit_w[key].scaled(1.0 / tenth), share, absolute=4e-3)
    assert_agrees(example.intercept_factor, 5.0 / 7.0, absolute=1e-3)
    # paired blocks: the ratio of two figures of the same rays
    first, none = example.first_hit_w["receiver"].value, example.first_hit_w["none"].value
    leaving = first + none + example.first_hit_w["stand"].value
    assert example.intercept_factor.value == pytest.approx(first / leaving, rel=1e-12)


def test_part_and_side_of_the_example(example):
    receiver, stand, shade = (example.parts[name] for name in ("receiver", "stand", "shade"))
    assert receiver.sides["back"].incident_w.value == 0.0
    assert receiver.sides["front"].first_w.value == example.first_hit_w["receiver"].value
    assert stand.sides["front"].absorbed_w.value == pytest.approx(0.5 * stand.first_w.value, rel=1e-9)
    assert stand.sides["back"].incident_w.value == 0.0
    # the shade is in the sun and not in mirror light: the two ledgers are never added
    assert shade.incident_w.value == 0.0
    assert_agrees(shade.direct_incident_w, DNI * np.pi * 0.2, relative=1e-5)
