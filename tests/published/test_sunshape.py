"""Sunshape against printed formulas and values worked out from them outside this code.

"Buie" is D. Buie, A. G. Monger, C. J. Dey, "Sunshape distributions for terrestrial solar simulations", Solar
Energy 74 (2003) 113-122: equations from memory, numbers from quadrature of them outside this project.
"""

import numpy as np
import pytest

from dishtrace.scene.tables import Pillbox
from dishtrace.sun import profiles
from dishtrace.sun.sunshape import inverse_table
from tests.support.sun_angles import sampled_tan2


def sampled_mrad(radial, n):
    """Angles at n equidistant numbers u through the table. [mrad]"""
    u = (np.arange(n) + 0.5) / n
    return 1e3 * np.arctan(np.sqrt(sampled_tan2(inverse_table(radial), u)))


def test_default_half_angle_is_the_sun_at_one_astronomical_unit():
    # Nominal solar radius 695 700 km (IAU 2015 Resolution B3), 1 AU = 149 597 870.7 km (IAU 2012 Resolution
    # B2); both from memory. 4.6505 mrad; the textbooks' 4.65 is what we use.
    assert 1e3 * np.arcsin(695_700.0 / 149_597_870.7) == pytest.approx(4.6505, abs=5e-5)
    assert Pillbox(profile="pillbox").half_angle_mrad == pytest.approx(4.6505, abs=5.1e-4)


@pytest.mark.parametrize(
    ("mrad", "value"),
    [
        (0.0, 1.0),
        (1.0, 0.99411),
        (2.0, 0.97387),
        (3.0, 0.92707),
        (4.0, 0.79326),
        (4.5, 0.56388),
        (4.65, 0.39716),
    ],
)
def test_circumsolar_disc_radiance(mrad, value):
    # Buie, disc equation cos(0.326 theta) / cos(0.308 theta).
    assert profiles.circumsolar_radiance(np.array([1e-3 * mrad]), 0.1)[0] == pytest.approx(value, abs=1e-5)


@pytest.mark.parametrize(
    ("chi", "kappa", "gamma"),
    [
        (0.02, -3.810515, -1.968085),
        (0.05, -0.868943, -2.314277),
        (0.10, 0.538909, -2.516586),
        (0.20, 1.448748, -2.592413),
        (0.40, 1.997951, -2.429529),
    ],
)
def test_aureole_constants(chi, kappa, gamma):
    # Buie, equations for kappa and gamma.
    assert profiles.aureole_constants(chi) == pytest.approx((kappa, gamma), abs=1e-6)


@pytest.mark.parametrize(
    ("chi", "mrad", "value"),
    [
        (0.02, 5.0, 9.3214e-4),
        (0.05, 7.5, 3.9581e-3),
        (0.10, 10.0, 5.2175e-3),
        (0.20, 20.0, 1.8046e-3),
        (0.40, 10.0, 2.7426e-2),
        (0.40, 43.6, 7.6651e-4),
    ],
)
def test_aureole_radiance(chi, mrad, value):
    # Buie, exp(kappa) theta^gamma with theta in mrad.
    assert profiles.circumsolar_radiance(np.array([1e-3 * mrad]), chi)[0] == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("chi", "csr"),
    [
        (0.02, 0.00581),
        (0.05, 0.04313),
        (0.10, 0.10027),
        (0.20, 0.18714),
        (0.30, 0.27426),
        (0.40, 0.37265),
    ],
)
def test_realised_circumsolar_ratio(chi, csr):
    # Buie: closed-form integral of the aureole over the total, disc integral 9.22474 mrad^2.
    assert profiles.realised_csr(chi) == pytest.approx(csr, abs=1e-5)


@pytest.mark.parametrize(("chi", "csr"), [(0.02, 0.00581), (0.10, 0.10027), (0.20, 0.18714), (0.40, 0.37265)])
def test_traced_power_beyond_the_disc_is_the_realised_ratio(chi, csr):
    # The traced power carries cos(theta) sin(theta) where the paper has theta: less by up to 1.3e-3.
    traced = profiles.circumsolar(chi).share_outside(np.array([4.65e-3]))[0]
    assert csr * (1.0 - 1.3e-3) - 1e-5 <= traced <= csr + 1e-5


@pytest.mark.parametrize(
    ("csr", "chi"),
    [
        (0.02, 0.03263),
        (0.05, 0.05527),
        (0.10, 0.09973),
        (0.20, 0.21538),
        (0.40, 0.42598),
    ],
)
def test_parameter_for_a_wanted_ratio(csr, chi):
    # Root of the closed form, found outside this project.
    assert profiles.chi_for_csr(csr) == pytest.approx(chi, abs=1e-5)


@pytest.mark.parametrize(
    ("chi", "rms_per_axis_mrad"),
    [
        (0.02, 2.479),
        (0.05, 3.469),
        (0.10, 4.373),
        (0.20, 5.470),
        (0.30, 6.572),
        (0.40, 7.828),
    ],
)
def test_circumsolar_rms(chi, rms_per_axis_mrad):
    # Buie, with the cut at 43.6 mrad; small angles, hence the tolerance.
    assert 1e3 * profiles.circumsolar(chi).rms() / np.sqrt(2.0) == pytest.approx(rms_per_axis_mrad, abs=0.005)


@pytest.mark.parametrize(
    ("chi", "r50", "r90", "inside_10", "inside_20"),
    [
        (0.02, 3.101, 4.306, 0.9961, 0.9979),
        (0.05, 3.164, 4.420, 0.9751, 0.9883),
        (0.10, 3.268, 4.667, 0.9475, 0.9772),
        (0.20, 3.450, 9.425, 0.9058, 0.9603),
        (0.40, 3.984, 18.854, 0.7965, 0.9083),
    ],
)
def test_sampled_circumsolar_power_circles(chi, r50, r90, inside_10, inside_20):
    # Buie, encircled power. Through the table, so that a wrong Jacobian in the sampling would show: without
    # the factor theta, R50 at chi 0.2 would be below 3 mrad.
    mrad = sampled_mrad(profiles.circumsolar(chi), 20_000)
    assert np.quantile(mrad, 0.5) == pytest.approx(r50, rel=5e-4)
    # At chi 0.1 the disc edge lies in the cell of the table that holds R90: 3e-4 of the power moves there.
    assert np.quantile(mrad, 0.9) == pytest.approx(r90, rel=2e-3)
    assert np.mean(mrad < 10.0) == pytest.approx(inside_10, abs=3e-4)
    assert np.mean(mrad < 20.0) == pytest.approx(inside_20, abs=3e-4)


def test_pillbox_rms():
    # Closed form: theta_s / sqrt 2 radial, theta_s / 2 per axis (small angles).
    radial = profiles.pillbox(4.65e-3)
    assert 1e3 * radial.rms() == pytest.approx(3.288, abs=1e-3)
    assert np.sqrt(np.mean(sampled_mrad(radial, 20_000) ** 2) / 2.0) == pytest.approx(2.325, abs=1e-3)


@pytest.mark.parametrize(
    ("coefficients", "mean", "rms"),
    [
        (None, 0.8200, 0.67233),  # P. D. Jose, Solar Energy 1(4) (1957) 19-22; coefficients from memory
        (
            (0.30, 0.93, -0.23),
            0.8050,
            0.66842,
        ),  # Cox (ed.), Allen's Astrophysical Quantities, 550 nm; from memory
        ((0.4, 0.6, 0.0), 0.8000, 0.67082),  # grey atmosphere after Eddington, mean = 1 - 0.6 / 3
    ],
)
def test_limb_darkened_moments(coefficients, mean, rms):
    # Mean over centre and rms over the disc's radius: closed forms of the laws named.
    half_angle = 4.65e-3
    radial = profiles.limb_darkened(half_angle, coefficients)
    assert radial.total / profiles.pillbox(half_angle).total == pytest.approx(mean, abs=1e-5)
    assert radial.rms() / half_angle == pytest.approx(rms, abs=1e-5)
    assert np.sqrt(np.mean(sampled_mrad(radial, 20_000) ** 2)) / 4.65 == pytest.approx(rms, abs=2e-5)


def test_circumsolar_disc_moments():
    # Buie, disc alone: mean over centre 0.85325, rms 0.67528 of the edge.
    radial = profiles.circumsolar(0.0)
    assert radial.total / profiles.pillbox(4.65e-3).total == pytest.approx(0.85325, abs=1e-5)
    assert radial.rms() / 4.65e-3 == pytest.approx(0.67528, abs=1e-5)


def test_gaussian_with_the_pillbox_moment_leaves_power_outside_the_disc():
    # Closed form: exp(-2) = 13.5 % of the power lies beyond 2 sigma = 4.65 mrad.
    share = profiles.gaussian(2.325e-3).share_outside(np.array([4.65e-3]))[0]
    assert share == pytest.approx(np.exp(-2.0), rel=2e-5)
