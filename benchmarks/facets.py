"""What facets cost in speed: rays per second of tiled mirrors as a ratio to one continuous skin, in one run.

Run with ``python benchmarks/facets.py [rays]``. All mirrors are traced on one thread, in turn, best of three; the
ledger of each is checked to close before any time counts.
"""

from __future__ import annotations

import sys

import dishtrace as dt
from dishtrace.scene.read import scene_from_text

SCENE = """
title = "{name}"
[sun]
dni_w_m2 = 1000
[dish]
focal_length_m = 0.9
reflectance = 0.9
slope_error_mrad = 3
[dish.outline]
shape = "circle"
radius_m = 1.2
{facets}
[[part]]
name = "plate"
role = "receiver"
shape = "disc"
radius_m = 0.12
axis = [0, 0, -1]
surface = {{ absorptance = 1.0, emittance = 0.9 }}
"""
TILES = '[dish.facets]\nlayout = "square-grid"\nsize_m = {size}\npitch_m = {pitch}\ncurve = "flat"'
# Tile sizes that give about 600 and 20,000 tiles on a circle of radius 1.2 m.
MIRRORS = {
    "one skin": "",
    "600 tiles": TILES.format(size=0.084, pitch=0.086),
    "20,000 tiles": TILES.format(size=0.0145, pitch=0.015),
}


def best_rate(scene: dt.Scene, rays: int) -> tuple[float, int]:
    """Rays per second of tracing, best of three, and the number of facets."""
    rates = []
    for _ in range(3):
        result = dt.trace(scene, rays=rays, threads=1)
        budget = {key: entry.value for key, entry in result.budget_w.items()}
        outline = budget.pop("outline")
        if abs(outline - sum(budget.values())) > 1e-9 * outline:
            raise RuntimeError(f"{scene.title}: the ledger does not close")
        rates.append(result.rays / result.seconds)
    return max(rates), result.dish["facets"]


def main() -> None:
    """Trace and print the ratios."""
    rays = int(sys.argv[1]) if len(sys.argv) > 1 else 2**20
    scenes = {name: scene_from_text(SCENE.format(name=name, facets=facets)) for name, facets in MIRRORS.items()}
    dt.trace(scenes["one skin"], rays=8192, threads=1)
    skin = None
    for name, scene in scenes.items():
        rate, n_facets = best_rate(scene, rays)
        skin = skin or rate
        print(f"{name:14s} {n_facets:6d} facets   rays/s over one skin: {rate / skin:.2f}")


if __name__ == "__main__":
    main()
