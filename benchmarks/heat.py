"""How long a wall's temperatures take beside tracing, in one run: ratios, which change little between machines.

A wall of 20,000 triangles, steady, may take half the time of tracing 1e7 rays, and two hours of a lumped filling the
time of 1e6 rays. The wall's heat is checked to close first.

Run with ``python benchmarks/heat.py [--rays N] [--repeats R]``; the time of 1e7 rays is scaled up from N.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable

import numpy as np

import dishtrace as dt
from dishtrace.heat.filling import run_fillings
from dishtrace.heat.run import up_direction
from dishtrace.heat.setting import settings_of
from dishtrace.heat.shell import shell_of
from dishtrace.heat.wall import wall_heat
from dishtrace.parts.refine import marked_edges, split
from dishtrace.scene.read import scene_from_text
from dishtrace.scene.wall import known_solids

SCENE = """title = "benchmark of heat (invented)"
[sun]
dni_w_m2 = 900.0
[dish]
focal_length_m = 0.8
reflectance = 0.85
slope_error_mrad = 5.0
[dish.outline]
shape = "circle"
radius_m = 0.9
[[part]]
name = "tank"
role = "receiver"
shape = "cylinder"
radius_m = 0.14
height_m = 0.30
center_m = [0.0, 0.0, 0.16]
surface = "black-paint"
wall = { material = "stainless-304", thickness_m = 0.002 }
contents = { kind = "water", mass_kg = 9.0, duration_min = 120.0 }
[[part.opening]]
diameter_m = 0.005
"""
N_TRIANGLES = 20_000


def timed(work: Callable[[], object], repeats: int) -> float:
    """Median time of a piece of work, after one run that does not count. [s]"""
    work()
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        work()
        times.append(time.perf_counter() - started)
    return statistics.median(times)


def refined(triangles: np.ndarray, owner: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """At least 20,000 triangles of the same surface, and the number of the one that each lies in."""
    middles = triangles.mean(axis=1)
    while len(triangles) < N_TRIANGLES:
        areas = 0.5 * np.linalg.norm(
            np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1
        )
        is_large = areas >= np.quantile(areas, 1.0 - min(1.0, (N_TRIANGLES - len(triangles)) / len(triangles)))
        triangles = split(triangles, marked_edges(triangles, is_large))
    from scipy.spatial import cKDTree

    return triangles, owner[cKDTree(middles).query(triangles.mean(axis=1))[1]]


def main() -> None:
    """Check, time, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rays", type=int, default=1_000_000)
    parser.add_argument("--repeats", type=int, default=3)
    given = parser.parse_args()
    scene = scene_from_text(SCENE)
    result = dt.trace(scene, rays=given.rays, seed=1)
    setting = settings_of(result, up_direction(result))["tank"]
    mesh = result.parts["tank"].mesh
    triangles, owner = refined(mesh.triangles, np.arange(len(mesh.areas)))
    fine = _refaced(setting, triangles, owner)

    def wall() -> object:
        return wall_heat(*fine, solid=known_solids()["stainless-304"], thickness=0.002)

    closed = wall()
    print(f"wall: {len(triangles)} triangles, heat not accounted for {closed.imbalance:.1e}")
    assert closed.imbalance < 1e-6
    tracing = timed(lambda: dt.trace(scene, rays=given.rays, seed=1), given.repeats) / result.rays
    steady = timed(wall, given.repeats)
    heats = {"tank": setting.part_heat()}
    filling = timed(lambda: run_fillings(scene, heats), given.repeats)
    print(f"tracing 1e7 rays      {1e7 * tracing:8.2f} s on {result.threads} threads (scaled from {result.rays})")
    print(f"steady wall           {steady:8.2f} s   ratio {steady / (1e7 * tracing):.3f} (at most 0.5)")
    print(f"two hours of filling  {filling:8.2f} s   ratio to 1e6 rays {filling / (1e6 * tracing):.3f} (at most 1)")


def _refaced(setting: object, triangles: np.ndarray, owner: np.ndarray) -> tuple:
    """Light, triangles and losses of a part on finer triangles."""
    from dataclasses import replace

    from dishtrace.heat.wall import Lit

    areas = shell_of(triangles).areas
    faces = []
    for face in setting.losses.faces:
        of_face = np.full(len(setting.traced.mesh.areas), -1)
        of_face[face.index] = np.arange(len(face.index))
        index = np.flatnonzero(of_face[owner] >= 0)
        faces.append(replace(face, index=index, area=float(areas[index].sum()), sky=face.sky[of_face[owner[index]]]))
    lit = Lit(setting.lit.flux[:, owner], setting.lit.error[:, owner])
    return lit, triangles, replace(setting.losses, faces=tuple(faces))


if __name__ == "__main__":
    main()
