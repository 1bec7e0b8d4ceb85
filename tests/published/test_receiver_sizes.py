"""The smallest receivers that take all light, the flux they then have, and the limit that no flux passes.

Sources. Flat disc `W/D = sin theta / (sin rim cos(rim + theta))` and ball `d/D = sin theta / sin rim`: J.A. Duffie and
W.A. Beckman, *Solar Engineering of Thermal Processes*, ch. 7, and A. Rabl 1985 (formulas from memory; checked by an own
ray trace outside this code). Limit of concentration 1 / sin^2 theta_s: A. Rabl, Solar Energy 18 (1976) 93; for a sun of
uneven radiance it is pi times the highest radiance over DNI (radiance cannot grow along a ray).

Shown to fail on planted errors: half_angle halved, parts 1 percent of f away from where they belong, area of a part
halved (flux per wrong area), sunshape sampled without sin(theta) (passes the limit), sides of a sheet swapped.
"""

import numpy as np
import pytest
import trimesh

from tests.support.optics import BLACK, DNI, T_LIMIT, THETA_S, assert_agrees, part_text, scene_text, traced

RAYS = 2**18
LIMIT = 1.0 / np.sin(THETA_S) ** 2
# The polygon of a disc or ball lies inside its circle by up to 3e-4.
ROOMY, TIGHT = 1.0006, 0.97


def disc_share(rim_deg):
    """W/D of the flat receiver that takes all."""
    rim = np.radians(rim_deg)
    return np.sin(THETA_S) / (np.sin(rim) * np.cos(rim + THETA_S))


def aperture_diameter(rim_deg):
    return 4.0 * np.tan(np.radians(rim_deg) / 2)


@pytest.mark.parametrize(
    ("rim", "printed", "concentration"),
    [(30.0, 1.07677e-2, 8624.9), (45.0, 9.3435e-3, 11454.6), (60.0, 1.08260e-2, 8532.3)],
)
def test_flat_disc_takes_all_light_from_its_size_on(rim, printed, concentration, seed):
    share = disc_share(rim)
    assert share == pytest.approx(printed, rel=1e-4)
    radius = 0.5 * share * aperture_diameter(rim)
    more = part_text("target", "disc", radius_m=ROOMY * radius, axis=[0.0, 0.0, -1.0])
    result = traced(scene_text(rim_deg=rim, more=more), rays=RAYS, seed=seed)
    assert result.budget_w["missed"].value == 0.0
    assert result.intercept_factor.value == pytest.approx(1.0, rel=1e-12)
    part = result.parts["target"]
    assert part.sides["back"].incident_w.value == 0.0
    # mean flux: the geometric concentration, less the receiver's own shade
    assert_agrees(part.mean_w_m2.scaled(ROOMY**2 / DNI), concentration - ROOMY**2, absolute=0.5)
    # that a disc 3 percent smaller loses light is seen in test_focal_spot.py: it is the largest image radius


@pytest.mark.parametrize(("rim", "concentration"), [(45.0, 5781.1), (90.0, 11562.1)])
def test_ball_takes_all_light_from_its_size_on(rim, concentration, seed):
    radius = 0.5 * np.sin(THETA_S) / np.sin(np.radians(rim)) * aperture_diameter(rim)
    more = part_text("ball", "sphere", radius_m=ROOMY * radius)
    result = traced(scene_text(rim_deg=rim, more=more), rays=RAYS, seed=seed)
    assert result.budget_w["missed"].value == 0.0
    # the printed concentration has no shade in it: the ball's own is pi r^2 of its 4 pi r^2
    assert_agrees(result.parts["ball"].mean_w_m2.scaled(ROOMY**2 / DNI), concentration - 0.25, relative=1e-4)
    if rim == 90.0:
        return
    less = part_text("ball", "sphere", radius_m=TIGHT * radius)
    assert traced(scene_text(rim_deg=rim, more=less), rays=RAYS, seed=seed).budget_w["missed"].value > 0.0


def test_best_rim_angle_of_a_flat_receiver_is_45_degrees_less_half_theta():
    """Of the closed form that the traces above confirm: 44.8668 deg, 11454.84, a quarter (0.2477) of the limit."""
    rim = np.linspace(44.0, 45.5, 150_001)
    concentration = disc_share(rim) ** -2
    best = np.argmax(concentration)
    assert rim[best] == pytest.approx(44.8668, abs=1e-3)
    assert concentration[best] == pytest.approx(11454.84, abs=0.01)
    assert LIMIT == pytest.approx(46248.0, abs=1.0)
    assert concentration[best] / LIMIT == pytest.approx(0.2477, abs=1e-4)


def funnel(folder, *, wide, narrow, height):
    """An open cone of mirrors around the focus, from a wide end at z = 0 up to a narrow one, as an OBJ file in
    metres."""
    turn = 2.0 * np.pi * np.arange(128) / 128
    rings = [
        np.stack([r * np.cos(turn), r * np.sin(turn), np.full(128, z)], axis=1)
        for r, z in ((wide, 0.0), (narrow, height))
    ]
    i = np.arange(128)
    j = (i + 1) % 128
    faces = np.concatenate([np.stack([i, j, 128 + i], axis=1), np.stack([j, 128 + j, 128 + i], axis=1)])
    trimesh.Trimesh(np.concatenate(rings), faces, process=False).export(folder / "funnel.obj")


MIRROR = "surface = { absorptance = 0.0, emittance = 0.1, specular_share = 1.0 }"


def test_secondary_funnel_raises_the_flux_but_not_past_the_limit(tmp_path, seed):
    """A long-focus dish (rim 20 deg) reaches 0.117 of the limit; a mirror funnel behind the focus adds much to that.

    A funnel as wide as the image at its front (f theta sin(rim) / sin(exit) would be the ideal exit) turns back what is
    too oblique; what arrives at the exit, per area, stays below the limit.
    """
    wide = 1.15 * THETA_S * 5.0
    narrow = 0.45 * wide
    funnel(tmp_path, wide=wide, narrow=narrow, height=3.0 * wide)
    more = part_text("funnel", "mesh", role="mirror", surface=MIRROR, file="funnel.obj", unit="m")
    more += part_text(
        "exit", "disc", center=[0.0, 0.0, 3.0 * wide + 1e-5], radius_m=0.995 * narrow, axis=[0.0, 0.0, -1.0]
    )
    result = traced(scene_text(focal_length=5.0, rim_deg=20.0, more=more), rays=RAYS, seed=seed, folder=tmp_path)
    mean = result.parts["exit"].mean_w_m2
    without = DNI * np.sin(np.radians(20.0)) ** 2 * LIMIT
    assert mean.value > 2.0 * without
    assert mean.value + T_LIMIT * mean.se < DNI * LIMIT
    assert result.parts["exit"].peak_w_m2.value - T_LIMIT * result.parts["exit"].peak_w_m2.se < DNI * LIMIT
    assert result.budget_w["other_parts"].value == 0.0


BRIGHTEST = {
    'shape = { profile = "pillbox", half_angle_mrad = 4.65 }': LIMIT,
    # Jose 1957: centre over mean radiance 1 / 0.82
    'shape = { profile = "limb-darkened", half_angle_mrad = 4.65 }': LIMIT / 0.82,
    # pi / (2 pi sigma^2)
    'shape = { profile = "gaussian", sigma_mrad = 2.325 }': 0.5 / 2.325e-3**2,
    # Buie, Monger, Dey 2003 with chi = 0.05: disc integral 9.22474 mrad^2 is 1 - 0.04313 of the whole, int phi theta
    # dtheta
    'shape = { profile = "circumsolar", chi = 0.05 }': 1e6 / (2.0 * 9.22474 / (1.0 - 0.04313)),
}


@pytest.mark.parametrize(
    ("sun", "limit"), BRIGHTEST.items(), ids=["pillbox", "limb-darkened", "gaussian", "circumsolar"]
)
def test_no_flux_passes_the_thermodynamic_limit(sun, limit, seed):
    """A dish of rim angle 90 deg is the one that reaches it, on a flat face at the focus; 20 m focal length, so that
    the patch of 1 cm2 is small against the image.
    """
    more = part_text("target", "disc", radius_m=0.03, axis=[0.0, 0.0, -1.0], surface=BLACK)
    text = scene_text(focal_length=20.0, rim_deg=88.0, sun=sun, more=more)
    result = traced(text, rays=2**20, seed=seed)
    peaks = [result.parts["target"].peak_w_m2, result.focal_plane.peak_w_m2, result.best_focus.peak_w_m2]
    peaks += [result.highest_peak.peak_w_m2]
    for peak in peaks:
        assert peak.value - T_LIMIT * peak.se < DNI * limit
        assert peak.se < 0.06 * peak.value
    mean = result.parts["target"].mean_w_m2
    assert mean.value - T_LIMIT * mean.se < DNI * limit
    assert mean.se < 0.01 * mean.value
    # and it is nearly reached: within 4 percent for the even disc, as sin^2(88 deg) and the image's size let it
    if "pillbox" in sun:
        assert mean.value > 0.96 * DNI * limit


def test_reflectance_and_dust_scale_the_flux(seed):
    """All flux is proportional to reflectance times cleanliness; the mirror absorbs the rest."""
    dish = "slope_error_mrad = 2.0\ncleanliness = 0.9"
    more = part_text("ball", "sphere", radius_m=0.2)
    result = traced(scene_text(rim_deg=45.0, reflectance=0.8, dish=dish, more=more), rays=2**15, seed=seed)
    budget = result.budget_w
    lit = budget["outline"].value - budget["shaded"].value
    assert budget["receiver"].value == pytest.approx(0.72 * lit, rel=1e-12)
    assert budget["mirror_absorbed"].value == pytest.approx(0.28 * lit, rel=1e-12)
