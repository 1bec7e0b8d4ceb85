"""Best sizes from trials of a closed form: a Gaussian spot whose width grows away from its focus, a loss per area.

Caught: P (1 - exp(-r^2 / (2 s^2))) with s^2 = s0^2 + (k (z - z0))^2; lost: q(T) pi r^2. The best place is z0, the best
radius s0 sqrt(2 ln(P / (2 pi s0^2 q))) (worked out by hand). An uncertain q moves ln r by -e / (2 ln(...)) for a
relative change e.

Shown to fail on: an interval without the uncertain numbers, a difference in place of a factor, sizes not in ratios.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from dishtrace.report.pictures.size import draw_size
from dishtrace.report.size import recommendation, size_text
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate, from_left_out
from dishtrace.study.size.best import Grid, best_at, smallest_for
from dishtrace.study.size.knobs import Knob
from dishtrace.study.size.outcome import Sizing
from dishtrace.study.size.trial import Heat, Trial
from tests.support.plate_scene import plate_scene

POWER, SIGMA, SPREAD, Z0 = 1000.0, 0.02, 0.4, 0.01
RATIO = 12.0
LOSS = POWER / (2.0 * np.pi * SIGMA**2) / RATIO
EXACT = SIGMA * np.sqrt(2.0 * np.log(RATIO))
NOISE = 1e-3 * np.random.default_rng(3).normal(size=32)
RADIUS = Knob("radius", 0.01, 0.12, 20)
OFFSET = Knob("offset", -0.04, 0.05, 9)
UP = 0.2
"""One standard deviation of the loss, relative. [–]"""


def noisy(value):
    return from_left_out(value, value * (1.0 + NOISE))


def trial(radius, offset=Z0, *, loss=LOSS):
    sigma2 = SIGMA**2 + (SPREAD * (offset - Z0)) ** 2
    share = 1.0 - np.exp(-(radius**2) / (2.0 * sigma2))
    lost = np.array([loss, 1e3 * loss]) * np.pi * radius**2
    return Trial(
        values={"radius": radius, "offset": offset},
        area_m2=np.pi * radius**2,
        share=noisy(share),
        caught_w=noisy(POWER * share),
        absorbed_w=noisy(POWER * share),
        peak_w_m2=Estimate(POWER / (2.0 * np.pi * sigma2), None),
        others_w={"stand": noisy(0.5 * POWER * (1.0 - share))},
        missed_w=noisy(0.5 * POWER * (1.0 - share)),
        shaded_w=Estimate(1.0, 0.1),
        heat=Heat(lost, ("loss",), np.array([1.0]), (1.0 + UP) * lost[np.newaxis]),
    )


def one_axis(**options):
    trials = np.empty(RADIUS.steps, dtype=object)
    trials[:] = [trial(float(radius), **options) for radius in RADIUS.values]
    return Grid((RADIUS,), (RADIUS.values,), trials)


def two_axes():
    trials = np.empty((RADIUS.steps, OFFSET.steps), dtype=object)
    trials.flat[:] = [trial(float(radius), float(z)) for radius in RADIUS.values for z in OFFSET.values]
    return Grid((RADIUS, OFFSET), (RADIUS.values, OFFSET.values), trials)


def sizing(grid, *, bests=None, **changes):
    names = [knob.name for knob in grid.knobs]
    trials = tuple(
        dataclasses.replace(one, values={name: one.values[name] for name in names}) for one in grid.trials.flat
    )
    found = Sizing(
        scene=scene_from_text(plate_scene()),
        part="plate",
        knobs=grid.knobs,
        temperatures_c=(200.0, 900.0),
        trials=trials,
        grid=grid,
        bests=tuple(best_at(grid, k, t) for k, t in enumerate((200.0, 900.0))) if bests is None else bests,
        captures={share: smallest_for(grid, share) for share in (0.9, 0.99, 0.999999999)},
        rays=8192,
        seed=1,
        version="0",
        stopped=False,
        notes=(),
    )
    return dataclasses.replace(found, **changes)


def test_best_radius_and_its_interval():
    best = best_at(one_axis(), 0, 200.0)
    (size,) = best.sizes
    assert size.value == pytest.approx(EXACT, rel=0.003)
    error = np.sqrt(31 / 32 * np.sum((NOISE - NOISE.mean()) ** 2))
    tracing, shift = error / (2.0 * np.log(RATIO)), np.log(np.log(RATIO) / np.log(RATIO / (1.0 + UP))) / 2.0
    half = 1.96 * np.hypot(tracing, shift)
    assert np.log(size.high / size.value) == pytest.approx(half, rel=0.03)
    assert np.log(size.value / size.low) == pytest.approx(half, rel=0.03)
    assert [name for name, _ in best.causes] == ["loss"]
    low, high = best.flat
    net = {radius: trial(radius).net_w(0).value for radius in (low, size.value, high)}
    assert net[low] == pytest.approx(0.99 * net[size.value], rel=1e-3)
    assert net[high] == pytest.approx(0.99 * net[size.value], rel=1e-3)
    assert best.figures["share"].value == pytest.approx(1.0 - 1.0 / RATIO, rel=2e-3)
    assert best.figures["others_w.stand"].value == pytest.approx(0.5 * POWER / RATIO, rel=0.02)


def test_best_radius_and_place_together():
    best = best_at(two_axes(), 0, 200.0)
    radius, offset = best.sizes
    assert radius.value == pytest.approx(EXACT, rel=0.01)
    assert offset.value == pytest.approx(Z0, abs=0.001)
    assert radius.low < EXACT < radius.high and offset.low < Z0 < offset.high
    assert best.net_w.value == pytest.approx(trial(EXACT).net_w(0).value, rel=3e-3)


def test_no_heat_left_has_no_best_size():
    best = best_at(one_axis(), 1, 900.0)
    assert best.sizes == () and best.net_w.value < 0.0


def test_smallest_sizes_stand_at_the_best_place():
    for grid in (one_axis(), two_axes()):
        radius, figures = smallest_for(grid, 0.9)
        assert radius.value == pytest.approx(SIGMA * np.sqrt(2.0 * np.log(10.0)), rel=0.01)
        assert figures["missed_w"].value == pytest.approx(0.05 * POWER, rel=0.03)
        assert smallest_for(grid, 0.9999999999) is None


def test_recommendation_says_size_interval_and_where_the_rest_goes():
    text = recommendation(sizing(one_axis()))
    assert text.startswith('For work at 200 C give "plate" a radius of 44.')
    assert "95 % interval" in text and "cost less than 1 % of the net heat" in text
    assert 'land on "stand" first' in text and "miss all parts" in text
    two = recommendation(sizing(two_axes()))
    assert " and an offset along the dish axis of " in two


def test_a_best_at_the_end_is_not_sold_as_the_best():
    grid = one_axis(loss=1e-6 * LOSS)
    best = best_at(grid, 0, 200.0)
    assert best.sizes[0].at_end == "high" and best.sizes[0].low is None and best.flat is None
    assert "THE BEST LIES AT AN END" in recommendation(sizing(grid))


def test_without_losses_it_goes_by_the_light():
    bare = np.empty(RADIUS.steps, dtype=object)
    bare[:] = [dataclasses.replace(one, heat=None) for one in one_axis().trials]
    grid = Grid((RADIUS,), (RADIUS.values,), bare)
    found = sizing(grid, bests=(), captures={0.95: smallest_for(grid, 0.95)})
    assert "Losses are not known. To meet 95 % of the light" in recommendation(found)
    assert "net_w.200_c" not in found.rows()[0]
    assert draw_size(found) is not None
    nothing = sizing(grid, bests=(), captures={0.95: None})
    assert recommendation(nothing).startswith("No size can be recommended")


@pytest.mark.parametrize("grid", [one_axis, two_axes])
def test_text_and_picture_hold_what_was_found(grid):
    found = sizing(grid())
    lines = size_text(found).plain.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert any(line.strip().startswith("900 C") for line in lines)
    assert draw_size(found) is not None
    assert len(found.rows()) == len(found.trials)
