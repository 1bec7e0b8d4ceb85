"""Fresnel and sheet optics, alone and as a cover in a scene.

Sources: J.A. Duffie and W.A. Beckman, *Solar Engineering of Thermal Processes*, sec. 5.1, Example 5.1.1 (n = 1.526:
0.0434 at normal incidence, 0.093 at 60 deg; example from memory, numbers recomputed outside this code). Further
values: the Fresnel equations evaluated outside this code. Sheet: the sum over all passes inside, written out pass by
pass here.

Shown to fail on planted errors: Snell's law inverted, absorption over the thickness instead of the slant path,
cosine of
the cover's angle missing (scene test), light that leaves a cover booked as missed, and light that comes through a cover
onto the mirror counted as direct light a second time (which an early version did).
"""

import numpy as np
import pytest

from dishtrace.trace.kernels import surface
from tests.support.called import from_python
from tests.support.optics import DNI, POINT_SUN, assert_agrees, part_text, scene_text, traced

face_reflectances = from_python(surface.face_reflectances)
sheet_optics = from_python(surface.sheet_optics)


def face(index, angle_deg):
    s, p, _ = face_reflectances(index, np.cos(np.radians(angle_deg)))
    return s, p


@pytest.mark.parametrize(
    ("index", "angle_deg", "mean"),
    [
        (1.526, 0.0, 0.04336),
        (1.526, 30.0, 0.04494),
        (1.526, 45.0, 0.05389),
        (1.526, 60.0, 0.09346),
        (1.526, 75.0, 0.25777),
        (1.5, 0.0, 0.04000),
        (1.5, 45.0, 0.05024),
        (1.5, 60.0, 0.08919),
        (1.5, 75.0, 0.25306),
    ],
)
def test_unpolarised_face_reflectance(index, angle_deg, mean):
    assert sum(face(index, angle_deg)) / 2.0 == pytest.approx(mean, abs=6e-6)


def test_polarised_reflectance_and_brewster_angle():
    assert face(1.526, 60.0) == pytest.approx((0.18548, 0.00145), abs=6e-6)
    assert np.degrees(np.arctan(1.526)) == pytest.approx(56.763, abs=5e-4)
    assert face(1.526, np.degrees(np.arctan(1.526)))[1] == pytest.approx(0.0, abs=1e-30)
    assert face(1.526, 90.0) == pytest.approx((1.0, 1.0))


def passes_through(index, optical_depth, angle_deg):
    """Reflected and transmitted share of a sheet, pass by pass, both polarisations."""
    sine = np.sin(np.radians(angle_deg))
    inside, outside = np.sqrt(1.0 - (sine / index) ** 2), np.cos(np.radians(angle_deg))
    amplitudes = (
        (outside - index * inside) / (outside + index * inside),
        (index * outside - inside) / (index * outside + inside),
    )
    kept = np.exp(-optical_depth / inside)
    reflected = transmitted = 0.0
    for amplitude in amplitudes:
        r = amplitude**2
        reflected += 0.5 * r
        light = 0.5 * (1.0 - r) * kept
        for number in range(400):
            if number % 2 == 0:
                transmitted += light * (1.0 - r)
            else:
                reflected += light * (1.0 - r)
            light *= r * kept
    return reflected, transmitted


@pytest.mark.parametrize("angle_deg", [0.0, 20.0, 45.0, 60.0, 80.0, 89.0])
@pytest.mark.parametrize(("index", "optical_depth"), [(1.526, 0.0), (1.526, 0.0524), (1.5, 0.8), (2.0, 0.1)])
def test_sheet_against_the_sum_over_passes(index, optical_depth, angle_deg):
    found = sheet_optics(index, optical_depth, np.cos(np.radians(angle_deg)))
    assert found == pytest.approx(passes_through(index, optical_depth, angle_deg), rel=1e-10)
    if optical_depth == 0.0:
        assert sum(found) == pytest.approx(1.0, rel=1e-14)


def test_clear_sheet_in_closed_form():
    """Without absorption a sheet transmits (1 - r) / (1 + r) of each polarisation."""
    s, p = face(1.526, 60.0)
    expected = 0.5 * ((1.0 - s) / (1.0 + s) + (1.0 - p) / (1.0 + p))
    assert sheet_optics(1.526, 0.0, 0.5)[1] == pytest.approx(expected, rel=1e-12)


@pytest.fixture(scope="module")
def covered(seed):
    """Lateral section seen from the focus at 49 to 69 deg; a level pane under a black receiver, light on one side
    only."""
    parts = part_text("target", "rectangle", size_m=[0.4, 0.4], axis=[0.0, 0.0, -1.0])
    parts += part_text(
        "pane",
        "rectangle",
        role="cover",
        center=[0.0, 0.0, -0.01],
        size_m=[0.42, 0.42],
        axis=[0.0, 0.0, -1.0],
        surface="cover = { refractive_index = 1.526, extinction_per_m = 30.0, thickness_m = 0.006 }",
    )
    return traced(scene_text(radius=0.2, center=[1.155, 0.0], sun=POINT_SUN, more=parts), rays=2**17, seed=seed)


def places_on_section():
    """Heights of the mirror at even places of the plan, where power is even too. [m]"""
    share = (np.arange(400) + 0.5) / 400
    radius, turn = np.meshgrid(0.2 * np.sqrt(share), 2.0 * np.pi * share)
    return ((1.155 + radius * np.cos(turn)) ** 2 + (radius * np.sin(turn)) ** 2) / 4.0


def test_power_behind_a_cover_is_its_transmittance_over_the_cone(covered):
    z = places_on_section().ravel()
    cosine = (1.0 - z) / (1.0 + z)  # of the angle from the axis, at which light meets the level pane
    grid = np.linspace(cosine.min(), cosine.max(), 129)
    shares = np.array([passes_through(1.526, 0.18, angle) for angle in np.degrees(np.arccos(grid))])
    reflected, transmitted = (np.interp(cosine, grid, shares[:, k]).mean() for k in (0, 1))
    lit = DNI * np.pi * 0.04
    assert 0.6 < transmitted < 0.75
    assert_agrees(covered.parts["target"].incident_w.scaled(1.0 / lit), transmitted, relative=1e-5)
    assert_agrees(covered.parts["pane"].absorbed_w.scaled(1.0 / lit), 1.0 - reflected - transmitted, relative=1e-4)
    assert_agrees(covered.budget_w["escaped"].scaled(1.0 / lit), reflected, relative=1e-4)
    assert_agrees(covered.parts["pane"].first_w, lit, relative=1e-6)
    assert covered.parts["target"].incident_w.se < 2e-3 * lit


def test_sun_through_a_pane_onto_mirror_and_ball(seed):
    """A level pane over the whole dish lets sheet transmittance at normal incidence through; the rest is told as
    shaded.

    The light that the mirror sends to the ball is mirror light only: the ball's direct light is its silhouette's.
    """
    more = part_text(
        "pane",
        "rectangle",
        role="cover",
        center=[0.0, 0.0, 1.0],
        size_m=[1.0, 1.0],
        surface="cover = { refractive_index = 1.5, extinction_per_m = 16.0, thickness_m = 0.01 }",
    )
    more += part_text("ball", "sphere", radius_m=0.05)
    result = traced(scene_text(radius=0.3, hole=0.06, more=more), rays=2**17, seed=seed)
    reflected, transmitted = passes_through(1.5, 0.16, 0.0)
    lit = DNI * np.pi * (0.09 - 0.0036)
    assert_agrees(result.budget_w["shaded"], lit * (1.0 - transmitted), relative=1e-5)
    assert_agrees(result.parts["ball"].incident_w, lit * transmitted, relative=1e-5)
    assert_agrees(result.parts["ball"].direct_incident_w, DNI * np.pi * 0.0025 * transmitted, relative=1e-3)
    pane = result.parts["pane"]
    # of 512 direct rays a block a whole number meets the pane, the same in all blocks
    assert_agrees(pane.direct_incident_w, DNI, relative=1e-4)
    assert_agrees(pane.direct_absorbed_w, DNI * (1.0 - reflected - transmitted), relative=1e-4)
    assert result.direct_w["mirror"].value == pytest.approx(lit * transmitted, rel=0.02)
