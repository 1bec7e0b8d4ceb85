"""The flux at points, looked back over the mirror, against closed forms, tables and plain quadrature.

Sources. Peak of the ideal paraboloid `sin^2(rim) / sin^2(theta_s)` and its value under a Gaussian cone
`sin^2(rim) / (2 sigma^2)`: any radiance argument, e.g. A. Rabl, *Active Solar Collectors and Their Applications*, 1985
(from memory). C / C_peak beside the core, and the factor by which slope errors of 2.5 mrad raise the peak over the
Gaussian formula (1 percent): derived for this project outside this code, no publication behind them. Transmittance of
one sheet of glass: Fresnel and Beer, written out here.

Planted errors that these tests catch: a normal turned by the slope and the light by no more (factor 2 in the slope),
the cosine of incidence left out across the plane of incidence, solid angles of a turned normal without their factor 4,
half the cosine at the receiver, distance instead of its square, sunlight's way in through the receiver.
"""

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text
from tests.support.optics import DNI, THETA_S, assert_agrees, part_text, scene_text
from tests.support.second_way import backward_flux, gaussian_radiance, pillbox_radiance

DOWN = [0.0, 0.0, -1.0]
RIMS = (30.0, 45.0, 60.0, 75.0)
PROFILE_AT = (1.1, 1.2, 1.4, 1.6, 2.0, 3.0)
PROFILE = {
    30.0: (0.253, 0.025, 0.0, 0.0, 0.0, 0.0),
    45.0: (0.597, 0.302, 0.0787, 0.0059, 0.0, 0.0),
    60.0: (0.731, 0.525, 0.253, 0.137, 0.0400, 0.0),
    75.0: (0.784, 0.618, 0.389, 0.245, 0.120, 0.0317),
}


def flux(text, points, normals=None, **how):
    points = np.atleast_2d(np.asarray(points, dtype=float))
    normals = np.tile(DOWN, (len(points), 1)) if normals is None else normals
    return dt.flux_at(scene_from_text(text), points, normals, **{"rays": 16384, "seed": 1, **how})


@pytest.mark.parametrize("rim", RIMS)
def test_peak_and_profile_of_the_ideal_paraboloid(rim):
    points = [[0.0, 0.0, 0.0], *([at * THETA_S, 0.0, 0.0] for at in PROFILE_AT)]
    found = flux(scene_text(rim_deg=rim), points)
    exact = DNI * np.sin(np.radians(rim)) ** 2 / np.sin(THETA_S) ** 2
    assert_agrees(found[0], exact, relative=2e-5)
    assert found[0].se < 1e-3 * exact
    assert found.value[1:] / exact == pytest.approx(np.array(PROFILE[rim]), abs=3e-3)
    # what is dark is dark exactly: no sample of a pillbox sun lies beyond the rim ray
    assert np.all(found.value[1:][np.array(PROFILE[rim]) == 0.0] == 0.0)


@pytest.mark.parametrize("rim", [30.0, 45.0, 60.0])
def test_peak_under_a_gaussian_sun(rim):
    sigma = 5e-3
    sun = 'shape = { profile = "gaussian", sigma_mrad = 5.0 }'
    places = sigma * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.5]])
    found = flux(scene_text(rim_deg=rim, sun=sun), np.column_stack([places, np.zeros(3)]))
    assert_agrees(found[0], DNI * np.sin(np.radians(rim)) ** 2 / (2.0 * sigma**2), relative=5e-5)
    radius = 2.0 * np.tan(np.radians(rim) / 2)
    expected = backward_flux(places, focal_length=1.0, radius=radius, radiance=gaussian_radiance(sigma), n=(300, 200))
    for k in range(3):
        # the quadrature takes the Gaussian in the angle and for small ones; the sun of the scene has cos in its DNI
        assert_agrees(found[k], DNI * expected[k], relative=5e-4)


@pytest.mark.parametrize(("rim", "raised"), [(30.0, 1.015), (45.0, 1.034), (60.0, 1.055)])
def test_slope_errors_act_less_across_the_plane_of_incidence(rim, raised):
    """Peak over sin^2(rim) / (2 (2 sigma)^2), a point sun: 1 percent is the table's own error."""
    sun = 'shape = { profile = "pillbox", half_angle_mrad = 0.05 }'
    found = flux(scene_text(rim_deg=rim, sun=sun, dish="slope_error_mrad = 2.5"), [0.0, 0.0, 0.0])
    plain = DNI * np.sin(np.radians(rim)) ** 2 / (2.0 * 5e-3**2)
    assert found.value[0] / plain == pytest.approx(raised, abs=0.012)
    # by quadrature: across, the turn is 2 sigma cos(i), so a zone of half the angle i counts 1 / cos(i)
    rims = np.linspace(0.0, np.radians(rim), 2001)
    weight = np.sin(rims) * np.cos(rims)
    exact = np.trapezoid(weight / np.cos(0.5 * rims), rims) / np.trapezoid(weight, rims)
    assert found.value[0] / plain == pytest.approx(exact, rel=3e-4)


@pytest.mark.parametrize("spread", ["beam_spread_mrad = 5.0", "mount"])
def test_spread_and_jitter_are_gaussian_cones(spread):
    """Either of 5 mrad per axis under a point sun gives the peak of a Gaussian cone (no cosine of incidence)."""
    sun = 'shape = { profile = "pillbox", half_angle_mrad = 0.05 }'
    mount = 'kind = "two-axis"\npointing_jitter_mrad = 5.0' if spread == "mount" else ""
    text = scene_text(rim_deg=45.0, sun=sun, dish="" if mount else spread, mount=mount)
    found = flux(text, [0.0, 0.0, 0.0], rays=65536)
    assert_agrees(found[0], DNI * 10000.0, relative=3e-4)


def test_sun_off_the_axis():
    mount = 'kind = "fixed"\naxis_azimuth_deg = 180.0\naxis_elevation_deg = 48.0'
    sun = 'azimuth_deg = 183.0\nelevation_deg = 50.0\nshape = { profile = "pillbox", half_angle_mrad = 9.3 }'
    text = scene_text(rim_deg=40.0, sun=sun, mount=mount)
    places = np.array([[0.033, -0.034], [0.037, -0.038], [0.029, -0.034], [0.045, -0.045]])
    found = flux(text, np.column_stack([places, np.zeros(4)]))
    from dishtrace.flux.measure import prepare

    expected = backward_flux(
        places,
        focal_length=1.0,
        radius=2.0 * np.tan(np.radians(20.0)),
        radiance=pillbox_radiance(9.3e-3),
        sun=prepare(scene_from_text(text), seed=1).mirror.pose.sun,
        n=(600, 900),
    )
    for k in range(4):
        assert_agrees(found[k], DNI * expected[k], relative=4e-3)


def test_a_tilted_face_gets_less_and_a_face_turned_away_nothing():
    """At the focus of a narrow dish all light comes along the axis: flux goes with the cosine."""
    text = scene_text(rim_deg=2.0)
    tilt = np.radians(60.0)
    normals = [DOWN, [np.sin(tilt), 0.0, -np.cos(tilt)], [0.0, 0.0, 1.0]]
    found = flux(text, np.zeros((3, 3)), normals)
    assert found.value[1] / found.value[0] == pytest.approx(0.5, rel=2e-3)
    assert found.value[2] == 0.0


def test_shade_of_the_receiver_is_a_hole_in_the_mirror():
    """A disc above the focus shades a core of the mirror; the flux below is that of the ring (same radiance argument).

    The disc stands 1 m above the focus: its penumbra is some 10 mm of 300.
    """
    disc = part_text("disc", "disc", center=[0.0, 0.0, 1.0], radius_m=0.3, axis=[0.0, 0.0, 1.0])
    found = flux(scene_text(rim_deg=45.0, more=disc), [[0.0, 0.0, 0.0]] * 2, rays=65536)
    rho = 0.3  # the same radius on the mirror, f = 1: angle from the axis 2 atan(rho / 2f)
    hole = 2.0 * np.arctan(0.5 * rho)
    exact = DNI * (np.sin(np.radians(45.0)) ** 2 - np.sin(hole) ** 2) / np.sin(THETA_S) ** 2
    assert found.value[0] == pytest.approx(exact, rel=2e-3)


def test_receivers_shade_reflected_light_unless_told_otherwise():
    plate = part_text("plate", "disc", center=[0.0, 0.0, -0.1], radius_m=0.2, axis=[0.0, 0.0, -1.0])
    text = scene_text(rim_deg=45.0, more=plate)
    assert flux(text, [0.0, 0.0, 0.0]).value[0] == 0.0
    through = flux(text, [0.0, 0.0, 0.0], through_receivers=True)
    hole = 2.0 * np.arctan(0.5 * 0.2)
    exact = DNI * (np.sin(np.radians(45.0)) ** 2 - np.sin(hole) ** 2) / np.sin(THETA_S) ** 2
    assert through.value[0] == pytest.approx(exact, rel=2e-3)


def test_glass_lets_through_what_fresnel_and_beer_say():
    """A narrow dish: light meets the sheet square on, where both faces reflect r = ((n - 1) / (n + 1))^2."""
    glass = (
        '[[part]]\nname = "glass"\nrole = "cover"\nshape = "disc"\nradius_m = 0.05\ncenter_m = [0.0, 0.0, -0.1]\n'
        "cover = { refractive_index = 1.526, extinction_per_m = 20.0, thickness_m = 0.004 }\n"
    )
    bare, covered = (flux(scene_text(rim_deg=4.0, hole=0.055, more=more), [0.0, 0.0, 0.0]) for more in ("", glass))
    r, tau = (0.526 / 2.526) ** 2, np.exp(-0.08)
    assert covered.value[0] / bare.value[0] == pytest.approx((1.0 - r) ** 2 * tau / (1.0 - (r * tau) ** 2), rel=2e-4)


def test_places_in_the_ground_frame():
    """The focus of a fixed dish, told from the ground frame's origin there; its axis, turned with it."""
    mount = 'kind = "fixed"\naxis_azimuth_deg = 180.0\naxis_elevation_deg = 50.0'
    text = scene_text(rim_deg=45.0, sun="azimuth_deg = 180.0\nelevation_deg = 50.0", mount=mount)
    away = -np.array([0.0, -np.cos(np.radians(50.0)), np.sin(np.radians(50.0))])
    found = flux(text, [0.0, 0.0, 0.0], [away], frame="ground")
    assert_agrees(found[0], DNI * 0.5 / np.sin(THETA_S) ** 2, relative=2e-4)
