"""Scenes for the tests of the trace, tessellated so coarsely that a search through all triangles is quick."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from dishtrace.flux.measure import Prepared, prepare
from dishtrace.parts import refine, rings, solids
from dishtrace.scene.read import scene_from_text
from dishtrace.trace.cpu import Optics, trace_points
from dishtrace.trace.optics import Screens, Tally, empty_tally, no_screens
from dishtrace.trace.points import N_SCRAMBLES

CIRCLE = 'shape = "circle"\nradius_m = 1.0'


@contextmanager
def coarse_parts(*, n_around: int = 16, n_bins: int = 30) -> Iterator[None]:
    """Within, parts are made of few triangles: 16 steps around a circle, about 30 four-sided bins a part."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rings, "steps_around", lambda radius, side, *, least=n_around: n_around)
        patch.setattr(rings, "bin_side", lambda area: float(np.sqrt(area / n_bins)))
        patch.setattr(solids, "SPHERE_AROUND", n_around)
        patch.setattr(refine, "LARGEST_BIN_M2", 1.0)
        yield


def scene_text(
    parts: str = "", *, sun: str = "dni_w_m2 = 1000.0", mount: str = "", dish: str = "", outline: str = CIRCLE
) -> str:
    """A scene file: f = 1 m, reflectance 0.9 unless `dish` says otherwise."""
    mirror = dish if "reflectance" in dish else f"reflectance = 0.9\n{dish}"
    focal = "" if "focal_length_m" in mirror else "focal_length_m = 1.0\n"
    table = f"[mount]\n{mount}\n" if mount else ""
    return f'title = "small"\n[sun]\n{sun}\n{table}[dish]\n{focal}{mirror}\n[dish.outline]\n{outline}\n{parts}'


def prepared(text: str, *, seed: int = 1, folder: Path | None = None) -> Prepared:
    """A scene placed and coarsely tessellated."""
    with coarse_parts():
        return prepare(scene_from_text(text, folder=folder), seed=seed)


def tallied(
    optics: Optics,
    *,
    count: int,
    screens: Screens | None = None,
    start: int = 0,
    threads: int = 1,
    stretches: int = 1,
    n_legs: int = 0,
) -> Tally:
    """Tally of points `start .. start + count - 1` of all scrambles, traced in equal stretches; not yet divided."""
    screens = no_screens() if screens is None else screens
    tally = empty_tally(
        n_parts=len(optics.parts.role),
        n_triangles=len(optics.parts.part),
        n_screens=len(screens.origin),
        n_radii=screens.radii.shape[1],
        n_legs=n_legs,
    )
    with ThreadPoolExecutor(max_workers=threads) as pool:
        for k in range(stretches):
            step = count // stretches
            trace_points(optics, screens, tally, start=start + k * step, count=step, pool=pool)
    return tally


def budget(optics: Optics, *, count: int, **how: int) -> np.ndarray:
    """Power in each column of the budget, (20,). [W]"""
    return tallied(optics, count=count, **how).budget.sum(axis=0) / (count * N_SCRAMBLES)
