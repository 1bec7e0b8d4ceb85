"""A local sweep side by side on all cores, as a ratio to its points one after another on all threads, both warm.

Told for few rays, where most of a point runs on one core anyway, and for the rays of a demo scene.
"""

from __future__ import annotations

import time
from pathlib import Path

import dishtrace as dt
from dishtrace.cores import available_cores
from dishtrace.study.sweep import run

SCENE = Path(__file__).parents[1] / "scenes" / "schoolyard-pot.toml"
VARY = "dish.slope_error_mrad=2:6:17"


def seconds(scene: dt.Scene, *, rays: int, worth_s: float) -> float:
    """Wall-clock time of a sweep that goes side by side if that saves so much. [s]"""
    run.WORTH_S = worth_s
    started = time.perf_counter()
    dt.sweep(scene, [VARY], rays=rays)
    return time.perf_counter() - started


def main() -> None:
    """Warm up and print ratios."""
    scene = dt.load_scene(SCENE)
    dt.trace(scene, rays=8192)
    for rays in (2**17, 2**20):
        alone, beside = (seconds(scene, rays=rays, worth_s=worth) for worth in (float("inf"), 0.0))
        print(
            f"17 points of {rays} rays on {available_cores()} cores: one after another {alone:.1f} s, "
            f"side by side {beside:.1f} s: {alone / beside:.2f} times faster"
        )


if __name__ == "__main__":
    main()
