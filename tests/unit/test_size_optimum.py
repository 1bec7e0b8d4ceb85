"""Best size and smallest size for a share, against closed forms.

A Gaussian spot of power P and standard deviation s per axis puts P (1 - exp(-r^2 / (2 s^2))) inside a radius r. With a
loss q per area of the disc the net power is highest where the flux at the edge, P / (2 pi s^2) exp(-r^2 / (2 s^2)),
equals q: r = s sqrt(2 ln(P / (2 pi s^2 q))) (worked out by hand).

Shown to fail on: the highest point taken for the top.
"""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.study.size.optimum import first_reaching, level_range, top_of

SIGMA, POWER = 0.05, 1000.0
RADII = np.geomspace(0.5 * SIGMA, 5.0 * SIGMA, 20)


def caught(radius):
    return 1.0 - np.exp(-(radius**2) / (2.0 * SIGMA**2))


def net(radius, *, ratio, power=POWER):
    """Net power with a loss per area that is the brightest flux over `ratio`."""
    loss = POWER / (2.0 * np.pi * SIGMA**2) / ratio
    return power * caught(radius) - loss * np.pi * radius**2


@pytest.mark.parametrize("ratio", [1.5, 2.0, 5.0, 20.0, 100.0, 1000.0])
def test_optimum_of_a_gaussian_spot_with_loss_per_area(ratio):
    top = top_of(np.log(RADII), net(RADII, ratio=ratio))
    exact = SIGMA * np.sqrt(2.0 * np.log(ratio))
    assert np.exp(top.place.value) == pytest.approx(exact, rel=0.005)
    assert top.height.value == pytest.approx(net(exact, ratio=ratio), rel=1e-3)
    assert top.at_end == ""


@pytest.mark.parametrize("share", [0.90, 0.95, 0.99])
def test_smallest_radius_for_a_share_of_a_gaussian_spot(share):
    """R = s sqrt(2 ln(1 / (1 - share))); 0.86466 within 2 s (reference value of the closed form)."""
    assert caught(2.0 * SIGMA) == pytest.approx(0.86466, abs=5e-6)
    place = first_reaching(np.log(RADII), caught(RADII), share)
    assert np.exp(place.value) == pytest.approx(SIGMA * np.sqrt(-2.0 * np.log(1.0 - share)), rel=1e-3)


def test_error_of_the_optimum_follows_that_of_the_power():
    """r = s sqrt(2 ln(P / p)): a relative error e of P moves ln r by e / (2 ln(P / p))."""
    ratio, n_blocks = 10.0, 32
    noise = 1e-3 * np.random.default_rng(1).normal(size=n_blocks)
    left_out = np.array([net(RADII, ratio=ratio, power=POWER * (1.0 + one)) for one in noise])
    top = top_of(np.log(RADII), net(RADII, ratio=ratio), left_out)
    error = np.sqrt((n_blocks - 1) / n_blocks * np.sum((noise - noise.mean()) ** 2))
    assert top.place.se == pytest.approx(error / (2.0 * np.log(ratio)), rel=0.03)
    assert top.height.left_out == pytest.approx(left_out.max(axis=1), rel=2e-3)


def test_error_of_the_smallest_size_follows_that_of_the_share():
    noise = 1e-3 * np.random.default_rng(2).normal(size=32)
    left_out = np.array([caught(RADII) * (1.0 + one) for one in noise])
    place = first_reaching(np.log(RADII), caught(RADII), 0.9, left_out)
    # d share / d ln r = (r / s)^2 exp(-r^2 / 2 s^2) = 2 ln(10) / 10 at 90 %
    error = 0.9 * np.sqrt(31 / 32 * np.sum((noise - noise.mean()) ** 2)) / (0.2 * np.log(10.0))
    assert place.se == pytest.approx(error, rel=0.05)


def test_what_the_steps_may_hide_is_told():
    """With 8 steps over a factor of 20 the top of a lopsided curve is not read off well, and that is told."""
    places = np.log(np.geomspace(0.5 * SIGMA, 10.0 * SIGMA, 8))
    top = top_of(places, net(np.exp(places), ratio=1000.0))
    off = abs(top.place.value - np.log(SIGMA * np.sqrt(2.0 * np.log(1000.0))))
    assert top.reading > 0.02 and off < 3.0 * top.reading
    assert top_of(np.log(RADII), net(RADII, ratio=10.0)).reading < 0.005


def test_a_curve_that_rises_or_falls_throughout_has_its_top_at_an_end():
    places = np.linspace(0.0, 1.0, 9)
    for heights, end, place in ((places, "high", 1.0), (-places, "low", 0.0)):
        top = top_of(places, heights, np.stack([heights, 1.01 * heights]))
        assert (top.at_end, top.place.value, top.place.se) == (end, place, None)
        assert top.height.left_out == pytest.approx([heights.max(), 1.01 * heights.max()])


def test_a_share_that_is_never_reached_or_always_passed():
    assert first_reaching(np.log(RADII), caught(RADII), 1.0) is None
    low = first_reaching(np.log(RADII), caught(RADII), 0.05)
    assert low.value == np.log(RADII[0]) and low.se is None
    tight = first_reaching(np.log(RADII), caught(RADII), 0.999, np.array([caught(RADII), 0.9 * caught(RADII)]))
    assert np.exp(tight.value) == pytest.approx(SIGMA * np.sqrt(-2.0 * np.log(0.001)), rel=2e-3)
    assert tight.se is None


def test_range_that_costs_little_is_where_the_curve_meets_the_level():
    places = np.linspace(-1.0, 1.0, 41)
    low, high = level_range(places, 1.0 - places**2, 0.99, top=0.0)
    assert (low, high) == (pytest.approx(-0.1, abs=0.003), pytest.approx(0.1, abs=0.003))
    assert level_range(places, 1.0 - 0.001 * places**2, 0.99, top=0.0) == (-1.0, 1.0)
