"""Sums stay exact after 10^10 rays, and indices do not run over."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from dishtrace.trace.cpu import Job, trace_points
from dishtrace.trace.optics import N_BUDGET, empty_tally, no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import MOST_POINTS
from tests.support.small_scenes import POT, prepared, scene_text, tallied

N_BEFORE = 10**10
COUNT = 256


def test_rays_added_to_ten_billion_are_counted_in_full():
    """Onto sums as 10^10 rays leave them come those of 8192 more: to 1e-9 of their own, all but the sums' last digit.

    Sums in single precision would lose them all; the ledger's columns keep closing to rounding.
    """
    optics = prepared(scene_text(POT)).assembly.optics
    start = N_BEFORE // N_SCRAMBLES // COUNT * COUNT
    alone = tallied(optics, count=COUNT, start=start)
    tally = empty_tally(
        n_parts=len(optics.parts.role), n_triangles=len(optics.parts.part), n_screens=0, n_radii=0, n_legs=0
    )
    before = np.full((N_SCRAMBLES, N_BUDGET), 3000.0 * start)
    tally.budget[:] = before
    with ThreadPoolExecutor(max_workers=1) as pool:
        trace_points([Job(optics, no_screens(), tally)], start=start, count=COUNT, pool=pool)
    added = (tally.budget - before).sum(axis=0)
    rounding = COUNT * N_SCRAMBLES * np.spacing(before.max())
    assert np.all(np.abs(added - alone.budget.sum(axis=0)) <= rounding)
    assert rounding < 1e-6 * added.max()
    assert start + COUNT < MOST_POINTS
