"""The radial profiles, their exact shares of power, and the inverse table with its sampling."""

import pickle

import numpy as np
import pytest
from scipy.integrate import quad

from dishtrace.errors import InputError
from dishtrace.scene.read import scene_from_text
from dishtrace.sun import profiles
from dishtrace.sun.radial import RadialProfile
from dishtrace.sun.sunshape import inverse_table, read_profile_table, sunshape_of
from tests.support.sun_angles import sampled_tan2

HALF_ANGLE = 4.65e-3
DISH = """
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "circle"
radius_m = 0.6
"""
PROFILES = {
    "pillbox": lambda: profiles.pillbox(HALF_ANGLE),
    "wide pillbox": lambda: profiles.pillbox(0.1),
    "gaussian": lambda: profiles.gaussian(2.325e-3),
    "wide gaussian": lambda: profiles.gaussian(0.1),
    "limb-darkened": lambda: profiles.limb_darkened(HALF_ANGLE),
    "circumsolar": lambda: profiles.circumsolar(0.1),
    "strong aureole": lambda: profiles.circumsolar(0.6),
    "disc alone": lambda: profiles.circumsolar(0.0),
    "table": lambda: profiles.tabulated(np.array([0.0, 4e-3, 5e-3, 20e-3]), np.array([1.0, 0.8, 0.01, 0.0])),
}
SHARES = 0.5 ** np.arange(1, 34)[:, None] * (1.0 + np.arange(257) / 256.0)
ANY_PROFILE = pytest.mark.parametrize("radial", [make() for make in PROFILES.values()], ids=list(PROFILES))


def shape_with(text, folder=None):
    return sunshape_of(scene_from_text(f"[sun]\ndni_w_m2 = 900\n{text}\n{DISH}", folder=folder))


def test_pillbox_share_and_table_in_closed_form():
    for half_angle in (HALF_ANGLE, 0.1, 0.5):
        radial = profiles.pillbox(half_angle)
        theta = np.linspace(0.0, half_angle, 50)
        sin2 = np.sin(half_angle) ** 2
        assert radial.share_outside(theta) == pytest.approx(1.0 - np.sin(theta) ** 2 / sin2, abs=1e-14)
        inside = sin2 * (1.0 - SHARES)
        assert inverse_table(radial) == pytest.approx(inside / (1.0 - inside), rel=1e-12, abs=1e-30)


def test_limb_darkened_share_in_closed_form():
    # With mu^2 = 1 - sin^2(theta) / sin^2(edge): share outside = F(mu) / F(1),
    # F = a0 mu^2/2 + a1 mu^3/3 + a2 mu^4/4.
    a0, a1, a2 = profiles.limb_darkening_law()
    radial = profiles.limb_darkened(HALF_ANGLE)
    mu = np.linspace(0.0, 1.0, 101)
    theta = np.arcsin(np.sin(HALF_ANGLE) * np.sqrt(1.0 - mu**2))
    share = (a0 * mu**2 / 2 + a1 * mu**3 / 3 + a2 * mu**4 / 4) / (a0 / 2 + a1 / 3 + a2 / 4)
    assert radial.share_outside(theta) == pytest.approx(share, abs=1e-14)
    assert a0 + a1 + a2 == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("chi", [0.02, 0.0217, 0.1, 0.4])
def test_realised_ratio_in_closed_form(chi):
    # (43.6^(gamma+2) - 4.65^(gamma+2)) / (gamma+2); 0.0217 puts gamma + 2 close to zero.
    kappa, gamma = profiles.aureole_constants(chi)
    aureole = np.exp(kappa) * (43.6 ** (gamma + 2) - 4.65 ** (gamma + 2)) / (gamma + 2)
    disc = quad(lambda t: t * np.cos(0.326 * t) / np.cos(0.308 * t), 0.0, 4.65, epsabs=0, epsrel=1e-12)[0]
    assert profiles.realised_csr(chi) == pytest.approx(aureole / (aureole + disc), rel=1e-10)


@pytest.mark.parametrize("csr", [1e-10, 0.01, 0.3, 0.7, 0.89])
def test_ratio_and_parameter_are_inverse(csr):
    assert profiles.realised_csr(profiles.chi_for_csr(csr)) == pytest.approx(csr, rel=1e-12)


def test_ratio_without_a_profile_is_refused():
    assert profiles.chi_for_csr(0.0) == 0.0
    with pytest.raises(ValueError, match="realised ratio of 0.95"):
        profiles.chi_for_csr(0.95)


@pytest.mark.parametrize("name", [name for name in PROFILES if name != "limb-darkened"])  # that has a closed form
def test_share_outside_against_adaptive_quadrature(name):
    radial = PROFILES[name]()

    def power(theta):
        return float(radial.radiance(np.array([theta]))[0]) * np.cos(theta) * np.sin(theta)

    edges = radial.panel_edges
    for theta in edges[-1] * np.array([0.03, 0.2, 0.5]):
        ends = np.append(theta, edges[edges > theta])
        outside = sum(quad(power, a, b, epsabs=0, epsrel=1e-11)[0] for a, b in zip(ends[:-1], ends[1:], strict=True))
        inside_ends = np.append(edges[edges < theta], theta)
        inside = sum(
            quad(power, a, b, epsabs=0, epsrel=1e-11)[0] for a, b in zip(inside_ends[:-1], inside_ends[1:], strict=True)
        )
        assert radial.share_outside(np.array([theta]))[0] == pytest.approx(outside / (outside + inside), rel=1e-10)


@ANY_PROFILE
def test_table_nodes_have_the_share_they_stand_for(radial):
    table = inverse_table(radial)
    assert table.shape == (33, 257)
    assert table[0, 256] == 0.0
    assert np.all(np.diff(table, axis=1) <= 0.0)
    assert np.array_equal(table[1:, 256], table[:-1, 0])
    share = radial.share_outside(np.arctan(np.sqrt(table)))
    assert share == pytest.approx(SHARES, rel=1e-12, abs=2e-15)


def test_gaussian_table_is_the_logarithm_for_small_angles():
    # Small angles: share outside = exp(-theta^2 / (2 sigma^2)), so tan^2 = -2 sigma^2 ln w, to order sigma^2.
    sigma = 1e-5
    assert inverse_table(profiles.gaussian(sigma)) == pytest.approx(-2 * sigma**2 * np.log(SHARES), rel=1e-8, abs=1e-24)


@ANY_PROFILE
def test_sampled_angles_have_the_exact_distribution(radial):
    # Equidistant u are exact quantiles: no chance in it. A sampling without the factor sin(theta) would miss
    # by a quarter of the power. Tables with a jump in radiance move up to 1/256 of the share outside the jump.
    u = (np.arange(20_000) + 0.5) / 20_000
    theta = np.arctan(np.sqrt(sampled_tan2(inverse_table(radial), u)))
    missed = np.abs(1.0 - radial.share_outside(theta) - u)
    assert missed.max() < 0.01
    assert np.mean(missed) < 5e-5


@pytest.mark.parametrize("name", ["gaussian", "limb-darkened", "wide pillbox"])
def test_table_error_falls_with_the_square_of_the_cell(name):
    radial = PROFILES[name]()
    u = (np.arange(5_000) + 0.5) / 5_000
    exact = np.tan(radial.angle_outside(1.0 - u)) ** 2
    errors = [
        np.sqrt(np.mean((sampled_tan2(inverse_table(radial, cells=cells), u) - exact) ** 2)) for cells in (8, 16, 32)
    ]
    orders = np.log2(np.array(errors[:-1]) / errors[1:])
    assert orders == pytest.approx([2.0, 2.0], abs=0.15)


def test_the_ends_of_a_profile_with_a_dark_rim():
    """All power lies beyond the centre, none beyond the last angle, however dark the rim is."""
    radial = RadialProfile(lambda theta: np.where(theta < 2e-3, 1.0, 0.0), 1e-3 * np.array([0.0, 2.0, 4.0]))
    assert radial.angle_outside(np.array([1.0, 0.0])) == pytest.approx([0.0, 4e-3], abs=1e-18)


def test_dark_ring_receives_nothing():
    radial = profiles.tabulated(
        1e-3 * np.array([0.0, 3.0, 3.001, 6.0, 6.001, 8.0]), np.array([1.0, 1.0, 0.0, 0.0, 0.5, 0.5])
    )
    table = inverse_table(radial)
    mrad = 1e3 * np.arctan(np.sqrt(table))
    assert not np.any((mrad > 3.001) & (mrad < 6.0))
    assert np.any(mrad < 3.0) and np.any(mrad > 6.001)


def test_zeros_at_the_end_of_a_table_set_the_edge():
    radial = profiles.tabulated(np.array([0.0, 1e-3, 2e-3, 3e-3]), np.array([1.0, 1.0, 0.0, 0.0]))
    assert radial.panel_edges[-1] == 2e-3


def test_panels_may_be_cut_finer_without_a_change():
    coarse = RadialProfile(np.ones_like, np.array([0.0, 0.01]))
    fine = RadialProfile(np.ones_like, np.linspace(0.0, 0.01, 40))
    theta = np.linspace(0.0, 0.012, 30)
    assert coarse.share_outside(theta) == pytest.approx(fine.share_outside(theta), abs=1e-15)
    assert coarse.rms() == pytest.approx(fine.rms(), rel=1e-14)


class TestFromAScene:
    def test_default_is_the_pillbox(self):
        shape = shape_with("")
        assert (shape.profile, shape.edge_rad, shape.csr) == (
            "pillbox",
            pytest.approx(4.65e-3, rel=1e-15),
            None,
        )
        assert shape.radial.rms() == pytest.approx(4.65e-3 / np.sqrt(2.0), rel=1e-5)
        assert np.array_equal(shape.radial.radiance(np.array([0.0, 4.6e-3])), [1.0, 1.0])

    def test_gaussian_is_per_axis_and_cut_where_the_table_ends(self):
        shape = shape_with('shape = { profile = "gaussian", sigma_mrad = 2 }')
        assert shape.radial.rms() == pytest.approx(2e-3 * np.sqrt(2.0), rel=1e-5)
        assert shape.edge_rad == pytest.approx(2e-3 * np.sqrt(2.0 * 33.0 * np.log(2.0)), rel=1e-4)
        assert shape.radial.share_outside(np.array([2e-3]))[0] == pytest.approx(np.exp(-0.5), rel=1e-5)

    def test_limb_darkened(self):
        shape = shape_with('shape = { profile = "limb-darkened", half_angle_mrad = 4.7 }')
        assert (shape.profile, shape.edge_rad) == ("limb-darkened", pytest.approx(4.7e-3, rel=1e-15))

    def test_circumsolar_by_ratio_and_by_parameter(self):
        by_ratio = shape_with('shape = { profile = "circumsolar", csr = 0.2 }')
        by_parameter = shape_with('shape = { profile = "circumsolar", chi = 0.2 }')
        assert by_ratio.csr == pytest.approx(0.2, rel=1e-12)
        assert by_parameter.chi == 0.2
        assert by_parameter.csr == profiles.realised_csr(0.2) < 0.19
        assert by_ratio.edge_rad == pytest.approx(43.6e-3, rel=1e-12)

    def test_table_file(self, tmp_path):
        (tmp_path / "sun.csv").write_text("# invented\nangle_mrad,radiance\n0,1\n\n5,1\n# far\n10,0\n")
        shape = shape_with('shape = { profile = "table", file = "sun.csv" }', folder=tmp_path)
        assert shape.radial.radiance(np.array([2e-3, 7.5e-3])) == pytest.approx([1.0, 0.5])
        assert shape.edge_rad == pytest.approx(0.01, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "sun.csv: head must be"),
        ("0,1\n5,0\n", r'sun.csv:1: head = 0,1 must be "angle_mrad,radiance"'),
        ("angle_mrad,radiance\n0,1\n", "sun.csv: holds 1 rows of numbers; at least 2 are needed"),
        ("angle_mrad,radiance\n1,1\n5,0\n", "sun.csv:2: angle_mrad = 1 must be 0 in the first row"),
        ("angle_mrad,radiance\n0,1\n# a\n5,1\n5,0\n", "sun.csv:5: angle_mrad = 5 must be > 5"),
        ("angle_mrad,radiance\n0,1\n5,-1\n", "sun.csv:3: radiance = -1 must be >= 0"),
        ("angle_mrad,radiance\n0,1\n5,nan\n", "sun.csv:3: radiance = nan must be >= 0"),
        ("angle_mrad,radiance\n0,1\n101,0\n", "sun.csv:3: angle_mrad = 101 must lie from 0 to 100"),
        ("angle_mrad,radiance\n0,1\nnan,0\n", "sun.csv:3: angle_mrad = nan must lie from 0 to 100"),
        ("angle_mrad,radiance\n0,1\n5;0\n", "sun.csv:3: 5;0 must be two numbers"),
        ("angle_mrad,radiance\n0,1,2\n5,0\n", "sun.csv:2: 0,1,2 must be two numbers"),
        ("angle_mrad,radiance\n0,0\n5,0\n", "sun.csv: radiance = 0 is zero in every row"),
    ],
)
def test_table_file_at_fault(tmp_path, text, message):
    path = tmp_path / "sun.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_profile_table(path, name="sun.csv")


def test_all_faults_of_a_table_file_are_told(tmp_path):
    path = tmp_path / "sun.csv"
    path.write_text("angle_mrad,radiance\n0,-1\n5,x\n")
    with pytest.raises(InputError) as caught:
        read_profile_table(path, name="sun.csv")
    assert [fault.where for fault in caught.value.faults] == ["sun.csv:2", "sun.csv:3"]


def test_table_file_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match="no.csv: sunshape table cannot be read: No such file"):
        read_profile_table(tmp_path / "no.csv", name="no.csv")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_profile_table(tmp_path / "bytes.csv", name="bytes.csv")


@ANY_PROFILE
def test_profiles_can_be_sent_to_another_process(radial):
    """Shown to fail on a profile made of a function within a function."""
    sent = pickle.loads(pickle.dumps(radial))
    theta = np.linspace(0.0, radial.panel_edges[-1], 30)
    assert np.array_equal(sent.radiance(theta), radial.radiance(theta))
    assert np.array_equal(sent.angle_outside(SHARES[:3, 0]), radial.angle_outside(SHARES[:3, 0]))
