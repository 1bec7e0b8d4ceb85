"""A search over 20 sizes of a demo scene's pot, as a ratio to one trace of that scene, both warm.

Each size is traced with a quarter of the scene's rays, as the command `size` does unless told otherwise.
"""

from __future__ import annotations

import time
from pathlib import Path

import dishtrace as dt

SCENE = Path(__file__).parents[1] / "scenes" / "schoolyard-pot.toml"
RADII_M = (0.006, 0.14, 20)


def seconds(work) -> float:
    """Wall-clock time of one call. [s]"""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def main() -> None:
    """Warm up, time one trace and one search, print both and their ratio."""
    scene = dt.load_scene(SCENE)
    dt.trace(scene, rays=8192)
    one = min(seconds(lambda: dt.trace(scene)) for _ in range(2))
    search = seconds(lambda: dt.size(scene, "pot", radius=RADII_M, temperatures_c=(100.0, 200.0)))
    print(f"one trace of {scene.run.rays} rays: {one:.1f} s")
    print(f"search over {RADII_M[2]} sizes: {search:.1f} s, {search / one:.1f} times one trace (aim: at most 4)")


if __name__ == "__main__":
    main()
