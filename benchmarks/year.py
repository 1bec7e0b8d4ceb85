"""A year by hourly steps as a ratio to one trace of the same rays, and how well steps between traces are foretold.

Two demo scenes: a dish that follows the sun, and a section that a clock turns under a pan that stands on the ground,
set anew every two weeks. The error between traced directions is what the year states, and beside it the true one at
random steps that are traced for this alone.

Run with ``python benchmarks/year.py [rays]``.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

import dishtrace as dt
from dishtrace.cores import available_cores
from dishtrace.study.day.light import figures_of, traced
from dishtrace.study.tracer import Tracer

SCENES = {"laboratory-cavity": None, "hill-clinic-pan": 14}
N_PROBES = 10
FOLDER = Path(__file__).parents[1] / "scenes"


def main(rays: int) -> None:
    """Print one line a scene."""
    for name, reset_days in SCENES.items():
        scene = dt.load_scene(FOLDER / f"{name}.toml")
        if reset_days is not None:
            scene = scene.model_copy(update={"mount": scene.mount.model_copy(update={"set_declination_deg": None})})
        dt.trace(scene, rays=rays)
        one, _ = _timed(lambda scene=scene: dt.trace(scene, rays=rays))
        whole, found = _timed(
            lambda scene=scene, days=reset_days: dt.year(scene, year=2026, rays=rays, reset_days=days)
        )
        stated = found.between()["receiver"]
        print(
            f"{name}: {found.traces} traces, a year takes {whole / one:.1f} times as long as a trace of {rays} rays; "
            f"receiver {found.energy_kwh['receiver'].value:.1f} kWh, error between directions {100 * stated:.2f} % of "
            f"the sunlight stated, {100 * _true_error(found):.2f} % at {N_PROBES} random steps"
        )


def _timed(work) -> tuple[float, object]:
    """Processor seconds of a call, and what it gives."""
    start = time.process_time()
    found = work()
    return time.process_time() - start, found


def _true_error(found: dt.Day) -> float:
    """Root mean square error of the light on receivers at random steps, as a share of the sunlight on the dish."""
    options = {"rays": found.rays, "seed": found.seed, "threads": available_cores(), "announce": None}
    tracer = Tracer(n_wanted=N_PROBES, progress=None, options=options)
    light = found.table.reaching_w_m2
    steps = np.random.default_rng(1).choice(len(light), size=N_PROBES, p=light / light.sum(), replace=False)
    foretold, settings = found.light.column("first.receiver")[0], found.set_declination
    errors, sunlight = [], []
    for step in steps:
        setting = None if settings is None else float(settings[step])
        figures = figures_of(traced(found.scene, found.table.path.time[step], tracer, set_declination=setting))
        errors.append(figures["first.receiver"].value - foretold[step])
        sunlight.append(figures["outline"].value)
    return float(np.sqrt(np.mean(np.square(errors))) / max(sunlight))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 65536)
