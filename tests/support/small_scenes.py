"""Scenes for the tests of the trace, tessellated so coarsely that a search through all triangles is quick."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from dishtrace.flux.prepared import Prepared, prepare
from dishtrace.parts import refine, rings, solids
from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text
from dishtrace.sun import state
from dishtrace.sun.sunshape import SunShape, sunshape_of
from dishtrace.trace.cpu import Job, Optics, trace_points
from dishtrace.trace.optics import Screens, Tally, empty_tally, no_screens
from dishtrace.trace.points import N_SCRAMBLES

CIRCLE = 'shape = "circle"\nradius_m = 1.0'


@contextmanager
def coarse_parts(*, n_around: int = 16, n_bins: int = 30) -> Iterator[None]:
    """Within, parts are made of few triangles: 16 steps around a circle, about 30 four-sided bins a part.

    Sunshape tables are kept from scene to scene.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rings, "steps_around", lambda radius, side, *, least=n_around: n_around)
        patch.setattr(rings, "bin_side", lambda area: float(np.sqrt(area / n_bins)))
        patch.setattr(solids, "SPHERE_AROUND", n_around)
        patch.setattr(refine, "LARGEST_BIN_M2", 1.0)
        patch.setattr(state, "sunshape_of", sunshape_once)
        yield


KNOWN_SHAPES: dict[str, SunShape] = {}


def sunshape_once(scene: Scene) -> SunShape:
    """Sunshape of a scene; its table takes longer than the trace of a small scene, so it is made once for all tests."""
    wanted = repr(scene.sun.shape)
    if wanted not in KNOWN_SHAPES:
        KNOWN_SHAPES[wanted] = sunshape_of(scene)
    return KNOWN_SHAPES[wanted]


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
            trace_points([Job(optics, screens, tally)], start=start + k * step, count=step, pool=pool)
    return tally


def budget(optics: Optics, *, count: int, **how: int) -> np.ndarray:
    """Power in each column of the budget, (20,). [W]"""
    return tallied(optics, count=count, **how).budget.sum(axis=0) / (count * N_SCRAMBLES)


def part(name, role, shape, surface="absorptance = 0.63, specular_share = 0.3", *, more=""):
    return f'[[part]]\nname = "{name}"\nrole = "{role}"\n{shape}\nsurface = {{ {surface} }}\n{more}\n'


POT = part("pot", "receiver", 'shape = "cylinder"\nradius_m = 0.05\nheight_m = 0.12')
CAVITY = part(
    "cavity",
    "receiver",
    'shape = "cavity"\nradius_m = 0.08\ndepth_m = 0.15\nopening_radius_m = 0.05\naxis = [0.0, 0.1, -1.0]',
    "absorptance = 0.31, specular_share = 0.4",
    more="surface_back = { absorptance = 0.72, specular_share = 0.0 }",
)
TUBE = part(
    "tube",
    "stand",
    'shape = "tube"\nradius_m = 0.12\nheight_m = 0.2\naxis = [0.3, 0.0, 1.0]\ncenter_m = [0.05, 0.0, -0.1]',
    "absorptance = 0.2, specular_share = 0.9",
    more="surface_back = { absorptance = 0.55, specular_share = 0.1 }",
)
COVER = (
    '[[part]]\nname = "window"\nrole = "cover"\nshape = "disc"\nradius_m = 0.3\ncenter_m = [0.0, 0.0, -0.15]\n'
    "cover = { refractive_index = 1.526, extinction_per_m = 16.0, thickness_m = 0.004 }\n"
)
DOME = COVER.replace("window", "dome").replace("disc", "sphere").replace("0.3\ncenter", "0.35\ncenter")
SECONDARY = part(
    "secondary",
    "mirror",
    'shape = "cone"\nradius_m = 0.16\nheight_m = 0.05\ncenter_m = [0.0, 0.01, -0.3]\naxis = [0.0, 0.0, -1.0]',
    "absorptance = 0.05, specular_share = 1.0",
)
FOLDED = part(
    "folding mirror",
    "mirror",
    'shape = "disc"\nradius_m = 0.55\ncenter_m = [0.0, 0.0, -0.5]\naxis = [0.0, 0.0, -1.0]',
    "absorptance = 0.07, specular_share = 1.0",
) + part(
    "white floor",
    "stand",
    'shape = "disc"\nradius_m = 0.8\ncenter_m = [0.0, 0.0, -1.2]',
    "absorptance = 0.2, specular_share = 0.0",
)
WHITE_BALL = part(
    "ball",
    "stand",
    'shape = "sphere"\nradius_m = 0.15\ncenter_m = [0.1, 0.0, 0.02]',
    "absorptance = 0.08, specular_share = 0.0",
)
BOX = part(
    "box",
    "receiver",
    'shape = "box"\nsize_m = [0.2, 0.3, 0.1]\naxis = [0.2, 0.1, 1.0]\ncenter_m = [0.0, 0.0, 0.03]',
)
PLATE = part("plate", "stand", 'shape = "rectangle"\nsize_m = [0.5, 0.4]\ncenter_m = [0.0, 0.1, -0.07]')
GROUND_POST = part(
    "post",
    "stand",
    'frame = "ground"\nshape = "box"\nsize_m = [0.1, 0.1, 1.2]\ncenter_m = [0.2, 0.3, 0.7]',
    "absorptance = 0.4, specular_share = 0.1",
)
MESH = part(
    "wedge",
    "receiver",
    'shape = "mesh"\nfile = "wedge.stl"\nunit = "mm"\nturn_deg = [20.0, 0.0, 45.0]',
    more="surface_back = { absorptance = 0.5 }",
)
ROUGH = "slope_error_mrad = 5.0\nbeam_spread_mrad = 2.0"
