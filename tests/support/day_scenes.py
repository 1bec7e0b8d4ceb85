"""Scenes for the tests of a day and a year: small, with a site, invented."""

from __future__ import annotations

import numpy as np

from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text
from dishtrace.study.day import Day
from dishtrace.study.day.light import figures_of, traced
from dishtrace.study.tracer import Tracer

PLATE = (
    '[[part]]\nname = "plate"\nrole = "receiver"\nshape = "disc"\nradius_m = 0.05\naxis = [0, 0, -1]\n'
    "surface = { absorptance = 0.9, emittance = 0.9 }\n"
)
NOON = "time = 2026-03-20T12:00:00+00:00"


def day_scene(
    parts: str = "",
    *,
    latitude_deg: float = 40.0,
    longitude_deg: float = 0.0,
    sky: str = 'dni = "clear-sky"\nlinke_turbidity = 3.0',
    mount: str = "",
    radius_m: float = 0.1,
    focal_length_m: float = 2.0,
    more: str = "",
) -> Scene:
    """A dish 0.2 m across, f = 2 m, reflectance 0.9, without errors of its mirror."""
    table = f"[mount]\n{mount}\n" if mount else ""
    return scene_from_text(
        f"[site]\nlatitude_deg = {latitude_deg!r}\nlongitude_deg = {longitude_deg!r}\n[sun]\n{NOON}\n{sky}\n{table}"
        f"[dish]\nfocal_length_m = {focal_length_m!r}\nreflectance = 0.9\n"
        f'[dish.outline]\nshape = "circle"\nradius_m = {radius_m!r}\n{more}{parts}'
    )


def probed(found: Day, number: int, *, seed: int, name: str = "first.receiver") -> tuple[np.ndarray, np.ndarray]:
    """Steps drawn by their light and traced for this alone: direct less foretold, and the standard error told, (n,).

    Both in W per W/m2; steps that were traced before are not drawn.
    """
    options = {"rays": found.rays, "seed": found.seed, "threads": 1, "announce": None}
    tracer = Tracer(n_wanted=number, progress=None, options=options)
    light = np.where(found.light.is_lit & (found.light.owners < 0), found.table.reaching_w_m2, 0.0)
    steps = np.random.default_rng(seed).choice(len(light), size=number, p=light / light.sum(), replace=False)
    foretold, told = found.light.column(name)
    direct = []
    for step in steps:
        setting = None if found.set_declination is None else float(found.set_declination[step])
        result = traced(found.scene, found.table.path.time[step], tracer, set_declination=setting)
        direct.append(figures_of(result)[name].value)
    return np.array(direct) - foretold[steps], told[steps]
