"""Slope errors from traced power, from radii by hand, and from all readings together; a new scene file."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.stats import Estimate
from dishtrace.study.fit.edges import edge_radii, match_edges, read_radii, traced_edges
from dishtrace.study.fit.findings import Finding, finding, mixed_half_width, student
from dishtrace.study.fit.ladder import between
from dishtrace.study.fit.power_match import match_power, optical_spread
from dishtrace.study.fit.rewrite import write_scene
from dishtrace.study.fit.spot_test import nodes_about
from dishtrace.study.fit.whole import combined
from tests.support.fit_readings import gaussian_spots, spread_m

SLOPES = (0.0, 1.5, 3.0, 5.0, 8.0, 12.0, 18.0)


def captured(slope, radius_m):
    """Share of a Gaussian spot within a radius."""
    return 1.0 - math.exp(-0.5 * (radius_m / spread_m(slope)) ** 2)


def rungs(radius_m=0.012, power_w=1000.0, half_width_m=0.08):
    """Traces whose receiver is a disc, in closed form."""
    maps = gaussian_spots(SLOPES, half_width_m=half_width_m).maps
    return [
        SimpleNamespace(
            slope_mrad=slope,
            receiver_w=Estimate(power_w * captured(slope, radius_m), 0.1),
            target=lambda place, flux=flux: SimpleNamespace(
                map_w_m2=flux, half_width_m=half_width_m, centroid_m=(Estimate(0.0, 0.0), Estimate(0.0, 0.0))
            ),
        )
        for slope, flux in zip(SLOPES, maps, strict=True)
    ]


def measured(power_w, half_w):
    return finding("power_w", "W", power_w, statistical_se=half_w / student(30.0), freedom=30.0)


def matched(power_w, half_w, **how):
    options = {"dni_ratio": 1.0, "dni_share": 0.0, "spread": 0.0, "slope_mrad": 5.0, **how}
    return match_power(measured(power_w, half_w), rungs(how.pop("radius_m", 0.012)), **options)


def test_slope_error_that_explains_a_power():
    """The interval's ends are where the closed form gives the ends of the power's interval."""
    true = 1000.0 * captured(6.0, 0.012)
    found = matched(true, 30.0).finding
    assert found.told
    assert found.value == pytest.approx(6.0, abs=0.1)
    for end, side in ((found.low, 1.0), (found.high, -1.0)):
        assert 1000.0 * captured(end, 0.012) == pytest.approx(true + side * 30.0, abs=4.0)


def test_a_large_receiver_cannot_tell():
    options = {"dni_ratio": 1.0, "dni_share": 0.0, "spread": 0.0, "slope_mrad": 5.0}
    found = match_power(measured(990.0, 20.0), rungs(0.3), **options).finding
    assert not found.told
    assert "cannot tell" in found.remark
    assert math.isnan(found.value)


@pytest.mark.parametrize(
    ("power", "said"), [(1400.0, "more than any slope error"), (30.0, "less than any slope error")]
)
def test_powers_that_no_slope_error_gives(power, said):
    found = matched(power, 10.0).finding
    assert not found.told
    assert said in found.remark


def test_one_sided_power():
    found = matched(1000.0, 80.0).finding
    assert "at most" in found.remark
    assert found.low == 0.0
    assert 1000.0 * captured(found.high, 0.012) == pytest.approx(920.0, abs=5.0)


def test_irradiance_scales_and_its_error_widens():
    found = matched(500.0, 10.0, dni_ratio=0.5, dni_share=0.05)
    assert found.traced_w[0] == pytest.approx(500.0 * captured(0.0, 0.012))
    assert found.half_w == pytest.approx(math.hypot(10.0, 2.0 * 500.0 * 0.05), rel=1e-6)
    assert found.brightness.value == pytest.approx(1.0 / captured(5.0, 0.012), rel=1e-3)


def test_spread_of_the_optics():
    text = """[sun]
dni_w_m2 = 900
[dish]
focal_length_m = 0.6
reflectance = { value = 0.8, sd = 0.04 }
cleanliness = { low = 0.9, high = 1.0 }
outline = { shape = "circle", radius_m = 0.7 }
[[part]]
name = "plate"
role = "receiver"
shape = "disc"
radius_m = 0.02
surface = { absorptance = { value = 0.9, sd = 0.009 } }
"""
    from dishtrace.scene.read import scene_from_text

    expected = math.hypot(0.05, 0.1 / math.sqrt(12.0) / 0.95, 0.01)
    assert optical_spread(scene_from_text(text)) == pytest.approx(expected)


@pytest.mark.parametrize("slope", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("share", [0.1, 0.5])
def test_edge_of_a_gaussian_spot(slope, share):
    """r = s sqrt(-2 ln f), read off pixels of 1.6 mm to 2 %."""
    screen = rungs()[SLOPES.index(slope)].target(0)
    (found,) = edge_radii(screen, [share])
    assert found == pytest.approx(spread_m(slope) * math.sqrt(-2.0 * math.log(share)), rel=0.02)


def test_radii_by_hand_tell_the_slope_error():
    """Radii at 25 % of the peak of a spot of 6 mrad: within the interval, which the unknown edge dominates."""
    radius = spread_m(6.0) * math.sqrt(-2.0 * math.log(0.25))
    match = match_edges(radius * np.array([0.98, 1.0, 1.02, 1.01, 0.99]), traced_edges(rungs()))
    assert match.finding.low < 6.0 < match.finding.high
    assert match.finding.value == pytest.approx(6.0, abs=0.6)
    known = match_edges(radius * np.array([0.98, 1.0, 1.02, 1.01, 0.99]), traced_edges(rungs(), edge=(0.25, 0.25)))
    assert known.finding.value == pytest.approx(6.0, abs=0.15)
    assert known.finding.se < 0.3 * match.finding.se


def test_patches_larger_or_smaller_than_any():
    known = traced_edges(rungs())
    assert "larger than any" in match_edges(np.array([0.5, 0.501, 0.502]), known).finding.remark
    assert "smaller than a perfect" in match_edges(np.array([0.001, 0.0011, 0.0012]), known).finding.remark


def test_patches_that_have_an_end_at_one_side_only():
    """The edge of a spot of 17 mrad seen at 20 % of the peak fits 18 mrad and more, too; one of a perfect mirror fits
    small slope errors."""
    known = traced_edges(rungs(half_width_m=0.12))
    large = match_edges(spread_m(17.0) * math.sqrt(-2.0 * math.log(0.2)) * np.array([0.99, 1.0, 1.01]), known).finding
    assert not large.told
    assert large.low < 17.0
    assert large.high is None
    assert "at least" in large.remark
    small = match_edges(spread_m(0.0) * math.sqrt(-2.0 * math.log(0.2)) * np.array([0.99, 1.0, 1.01]), known).finding
    assert not small.told
    assert (small.low, small.se) == (0.0, None)
    assert 0.5 < small.high < 2.0
    assert "at most" in small.remark


def test_a_target_at_an_uncertain_place_widens_the_interval():
    """Spots whose cone opens by 0.3, 40 mm beside the focus known to 1 mm: the interval of the squared slope error is
    2 x 1.96 x d(spread^2)/d(place) x 1 mm / (2 f)^2 wide. Catches a place of the target that is forgotten."""
    from tests.support.fit_readings import edge_rungs, edge_spread_m

    read = edge_spread_m(5.0, -0.04) * math.sqrt(-2.0 * math.log(0.3)) * np.array([0.999, 1.0, 1.001])
    exact = match_edges(read, traced_edges(edge_rungs(SLOPES, (-0.04,)), edge=(0.3, 0.3))).finding
    loose = match_edges(
        read, traced_edges(edge_rungs(SLOPES, (-0.04, -0.039, -0.041)), n_offsets=3, edge=(0.3, 0.3))
    ).finding
    moved = 0.3**2 * 2.0 * 0.04 * 0.001 / (1e-3 * 0.6 * 2.0) ** 2  # mrad2
    assert exact.low < 5.0 < exact.high
    assert loose.high**2 - loose.low**2 == pytest.approx(2.0 * 1.96 * moved, rel=0.15)
    assert exact.high**2 - exact.low**2 < 0.2 * (loose.high**2 - loose.low**2)


def test_radii_are_read_with_their_unit():
    assert read_radii("31, 33;30 mm") == pytest.approx([0.031, 0.033, 0.030])
    assert read_radii([0.02, 0.03, 0.04]) == pytest.approx([0.02, 0.03, 0.04])


@pytest.mark.parametrize("text", ["31,33,30", "mm", "31,-3,30 mm", "31,33 mm", "a,b,c mm", "31,33,30 inch"])
def test_radii_that_cannot_be_are_refused(text):
    with pytest.raises(InputError, match="target"):
        read_radii(text)


def test_welch_and_satterthwaite():
    """GUM annex G.4: equal parts with 4 and infinite degrees make 16; without inexact inputs Student's t stays."""
    assert mixed_half_width(1.0, 4.0, 0.0) == pytest.approx((1.0, 2.776), abs=5e-4)
    se, half = mixed_half_width(1.0, 4.0, 1.0)
    assert (se, half / se) == pytest.approx((math.sqrt(2.0), 2.120), abs=5e-4)


def slope_of(kind, value, se):
    return Finding(f"slope_error_from_{kind}_mrad", "mrad", value, se, value - 2 * se, value + 2 * se)


def test_readings_that_agree_are_averaged_and_others_are_not():
    both = combined([slope_of("spot", 5.0, 0.1), slope_of("power", 5.3, 0.3)])
    assert both.value == pytest.approx(5.03)
    assert both.se == pytest.approx(0.0949, abs=1e-4)
    apart = combined([slope_of("spot", 5.0, 0.1), slope_of("power", 7.0, 0.3)])
    assert apart.value == 5.0
    assert "disagree" in apart.remark
    none = combined([replace(slope_of("power", 5.0, 0.1), told=False, se=None, low=0.0)])
    assert not none.told


@pytest.mark.parametrize(("n", "point"), [(2, 3.841), (3, 5.991)])
def test_kinds_are_averaged_up_to_the_95_percent_point_of_chi_squared(n, point):
    """Upper critical values for 1 and 2 degrees: NIST/SEMATECH, *e-Handbook of Statistical Methods*, 1.3.6.7.4.

    Of n values with errors of 1, the outer two at -d and d, chi-squared is 2 d^2. Catches a point for one degree times
    the degrees, and as many degrees as kinds.
    """
    for chi, is_averaged in ((0.999 * point, True), (1.001 * point, False)):
        d = math.sqrt(0.5 * chi)
        kinds = zip(("spot", "power", "target"), (-d, d, 0.0), strict=True)
        found = combined([slope_of(kind, 20.0 + beside, 1.0) for kind, beside in kinds][:n])
        assert found.value == pytest.approx(20.0 if is_averaged else 20.0 - d)
        assert ("disagree by more than their errors" in found.remark) is not is_averaged
        assert found.se == pytest.approx(d / math.sqrt(n) * math.sqrt(2.0 / (n - 1)) if is_averaged else 1.0)


def test_scatter_beyond_the_errors_widens_error_and_interval_alike():
    """R. T. Birge, Phys. Rev. 40 (1932) 207: errors times sqrt(chi^2 / (n - 1)); of three alike ones this is the error
    that the scatter of the values alone gives. The kinds' own intervals reach two errors to both sides, and so does
    that of the mean. Catches an error or an interval that is not widened, chi for the ratio, and a normal interval.
    """
    values = np.array([4.86, 5.0, 5.14])
    found = combined(
        [slope_of(kind, value, 0.1) for kind, value in zip(("spot", "target", "power"), values, strict=True)]
    )
    assert found.se == pytest.approx(values.std(ddof=1) / math.sqrt(3.0))
    assert (found.high - found.value, found.value - found.low) == pytest.approx((2.0 * found.se,) * 2)
    assert "1.4 times" in found.remark
    calm = combined([slope_of("spot", 5.0, 0.1), slope_of("power", 5.1, 0.1)])
    assert calm.se == pytest.approx(0.1 / math.sqrt(2.0))
    assert calm.high - calm.value == pytest.approx(2.0 * calm.se)
    assert "times" not in calm.remark


def test_a_kind_that_tells_nothing_leaves_the_other_its_interval():
    """Three radii: Student's factor for 2 degrees is 4.303 (Student's table, NIST/SEMATECH, *e-Handbook of Statistical
    Methods*, 1.3.6.7.2). A power with 100 times their error changes nothing of it; alike errors that reach 4.303 and
    1.960 errors make a half width of the root of both squared, over 2. Catches a normal factor for all."""
    few = Finding("slope_error_from_target_mrad", "mrad", 5.0, 0.2, 5.0 - 4.303 * 0.2, 5.0 + 4.303 * 0.2)
    many = Finding("slope_error_from_power_mrad", "mrad", 5.0, 20.0, 0.0, 5.0 + 1.960 * 20.0)
    found = combined([few, many])
    assert (found.high - found.value, found.value - found.low) == pytest.approx((4.303 * 0.2,) * 2, rel=1e-3)
    alike = combined([few, replace(many, se=0.2, low=5.0 - 1.960 * 0.2, high=5.0 + 1.960 * 0.2)])
    assert alike.high - alike.value == pytest.approx(0.5 * math.hypot(4.303, 1.960) * 0.2)


def test_polynomial_between_nodes_is_exact_for_polynomials():
    nodes = nodes_about(20.0)
    assert len(nodes) == 5
    assert nodes[0] > 0.0
    assert nodes_about(0.3)[0] == 0.0
    for power in range(5):
        assert between(nodes, 21.7) @ nodes**power == pytest.approx(21.7**power)


SCENE = """# remark at the top
title = "Invented test dish"
[sun]
dni_w_m2 = 900.0
[dish]
focal_length_m = 0.9
reflectance = "film.csv"     # a file
slope_error_mrad = 3.0       # a guess
outline = { shape = "circle", radius_m = 1.0 }
"""


def as_fitted(scene, **findings):
    return SimpleNamespace(scene=scene, findings=findings, power=None)


def test_a_new_scene_keeps_remarks_and_finds_its_files(tmp_path):
    (tmp_path / "film.csv").write_text("incidence_deg,reflectance\n0,0.9\n90,0.9\n")
    (tmp_path / "yard.toml").write_text(SCENE, encoding="utf-8")
    (tmp_path / "new").mkdir()
    scene = dt.load_scene(tmp_path / "yard.toml")
    found = {
        f"pointing_offset_{k}_mrad": Finding("", "mrad", v, 0.2, v - 1, v + 1) for k, v in (("x", 1.5), ("y", -2.0))
    }
    fit = as_fitted(scene, slope_error_mrad=Finding("", "mrad", 4.321, 0.11, 4.1, 4.5, True, "from spot"), **found)
    keys = write_scene(fit, tmp_path / "new" / "built.toml")
    assert keys == ["dish.slope_error_mrad", "mount.pointing_offset_mrad"]
    built = dt.load_scene(tmp_path / "new" / "built.toml")
    assert (built.dish.slope_error_mrad.value, built.dish.slope_error_mrad.sd) == (4.321, 0.11)
    assert built.mount.pointing_offset_mrad == (1.5, -2.0)
    text = (tmp_path / "new" / "built.toml").read_text(encoding="utf-8")
    assert "# remark at the top" in text
    assert '"../film.csv"' in text
    assert "fitted from spot" in text


def test_nothing_told_writes_nothing(tmp_path):
    (tmp_path / "yard.toml").write_text(SCENE.replace('"film.csv"', "0.9"), encoding="utf-8")
    scene = dt.load_scene(tmp_path / "yard.toml")
    with pytest.raises(InputError, match="has nothing to write"):
        write_scene(as_fitted(scene), tmp_path / "new.toml")
    fit = as_fitted(scene, slope_error_mrad=Finding("", "mrad", 4.0, 0.1, 3.8, 4.2))
    with pytest.raises(InputError, match="is the scene itself"):
        write_scene(fit, tmp_path / "yard.toml")
    assert not (tmp_path / "new.toml").exists()
