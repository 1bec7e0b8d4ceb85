"""How many sun rays per second, beside the NumPy + embreex script of the same physics, in one run.

Both are checked against each other first: the receiver's share of the light, and the flux on the wall in 31
rings. Then they are timed in turn, each on one core, and the medians are compared; the ratio is the number
to quote, since it changes less from machine to machine than rays per second do.

Run with ``python benchmarks/throughput.py [--rays N] [--repeats R]`` after ``pip install .[bench]``.
"""

from __future__ import annotations

import argparse
import platform
import resource
import statistics
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

import embree_script as script
import numpy as np
import standard_case

import dishtrace as dt


def power_by_ring(triangles: np.ndarray, power: np.ndarray) -> np.ndarray:
    """Power on each of 31 rings of the wall and on the two ends, whatever the triangles' order and fineness.

    Parameters
    ----------
    triangles : (n, 3, 3) float64
        Corners, with the cylinder's middle at the origin. [m]
    power : (n,) float64
        Power on each. [W]

    Returns
    -------
    (33,) float64
        Rings from the mirror's end on, then the lower and the upper end. [W]
    """
    z = triangles[:, :, 2] / script.CYLINDER_HEIGHT_M + 0.5
    is_flat = np.ptp(z, axis=1) < 1e-6
    ring = np.clip((z.mean(axis=1) * script.N_ALONG).astype(int), 0, script.N_ALONG - 1)
    place = np.where(is_flat, script.N_ALONG + (z.mean(axis=1) > 0.5), ring)
    return np.bincount(place, power, minlength=script.N_ALONG + 2)


def validate(scene: dt.Scene, rays: int) -> None:
    """Compare shares and rings of both programs; end the run where they differ beyond their errors.

    Rays on one triangle make a count with Poisson spread, so a ring's error is its power over the root of
    its count. The bound of 4.5 standard errors over 34 numbers gives a false alarm in fewer than one of
    4000 runs.
    """
    ours = dt.trace(scene, rays=rays, seed=3, threads=1)
    theirs = script.run(rays, seed=3)
    outline = ours.budget_w["outline"].value
    share = ours.first_hit_w["receiver"].scaled(1.0 / outline)
    z_share = (share.value - theirs["share"]) / np.hypot(share.se, theirs["share_se"])
    part = ours.parts["cylinder"]
    centred = part.mesh.triangles - [0.0, 0.0, script.FOCAL_LENGTH_M]
    rings = power_by_ring(centred, part.sides["front"].flux_w_m2 * part.mesh.areas)
    vertices, faces = script.cylinder()
    their_rings = power_by_ring(vertices[faces], theirs["per_triangle"])
    per_ray = script.REFLECTANCE * outline
    error = np.sqrt(np.maximum(their_rings, per_ray / rays) * per_ray * (1.0 / rays + 1.0 / theirs["rays"]))
    z_rings = (rings - their_rings) / error
    print(f"share of the outline's light   dishtrace {share.value:.5f} +- {share.se:.5f}", end="   ")
    print(f"script {theirs['share']:.5f} +- {theirs['share_se']:.5f}   z = {z_share:+.2f}")
    print(f"rings and ends of the cylinder largest |z| of {len(rings)}: {np.max(np.abs(z_rings)):.2f}")
    if max(abs(z_share), np.max(np.abs(z_rings))) > 4.5:
        sys.exit("the two programs do not agree; timing them would compare different things")


def time_all(scene: dt.Scene, rays: int, repeats: int) -> dict[str, list[float]]:
    """Seconds of script, dishtrace on one thread (all rays, and a quarter of them) and on two, taken in turn."""
    seconds: dict[str, list[float]] = {"script": [], "dishtrace 1": [], "quarter": [], "dishtrace 2": []}
    for repeat in range(repeats):
        seconds["script"].append(float(script.run(rays, seed=repeat)["seconds"]))
        seconds["dishtrace 1"].append(dt.trace(scene, rays=rays, seed=repeat, threads=1, peak_points=False).seconds)
        seconds["quarter"].append(dt.trace(scene, rays=rays // 4, seed=repeat, threads=1, peak_points=False).seconds)
        seconds["dishtrace 2"].append(dt.trace(scene, rays=rays, seed=repeat, threads=2, peak_points=False).seconds)
    return seconds


def report(seconds: dict[str, list[float]], rays: int) -> None:
    """Print the speeds, the ratios of the medians, and what a run costs whatever its number of rays."""
    median = {name: statistics.median(values) for name, values in seconds.items()}
    for name in ("script", "dishtrace 1", "dishtrace 2"):
        values = seconds[name]
        speed = f"{rays / median[name] / 1e6:.3f} million rays/s"
        spread = f"{rays / max(values) / 1e6:.2f} to {rays / min(values) / 1e6:.2f}"
        print(f"{name:<14}{speed:>24}   ({spread}; {len(values)} runs of {rays} rays)")
    print(f"ratio dishtrace / script, one core   {median['script'] / median['dishtrace 1']:.3f}")
    per_ray = (median["dishtrace 1"] - median["quarter"]) / (0.75 * rays)
    fixed = median["dishtrace 1"] - per_ray * rays
    print(f"  of which a run costs once          {fixed:.2f} s (seeks the best focus along the axis)")
    print(f"  ratio without that                 {median['script'] / (per_ray * rays):.3f}")
    print(f"ratio dishtrace, two threads / one   {median['dishtrace 1'] / median['dishtrace 2']:.3f}")


def peak_memory_mib() -> float:
    """Largest resident memory of this process so far, in MiB."""
    largest = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return largest / 2**20 if sys.platform == "darwin" else largest / 2**10


def main() -> None:
    """Check, time, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rays", type=int, default=1 << 22, help="rays of a timed run")
    parser.add_argument("--repeats", type=int, default=5, help="timed runs of each")
    arguments = parser.parse_args()
    names = ("numpy", "numba", "embreex")
    print(f"dishtrace {dt.__version__}, " + ", ".join(f"{name} {version(name)}" for name in names), end=", ")
    print(f"Python {platform.python_version()}, {platform.machine()}")
    with tempfile.TemporaryDirectory() as folder:
        scene = dt.load_scene(standard_case.write_scene(Path(folder)))
        warm = dt.trace(scene, rays=1 << 15, seed=0, threads=1)
        compiled = "kernels were compiled before" if warm.compile_seconds is None else f"{warm.compile_seconds:.1f} s"
        print(f"compile time                         {compiled}")
        validate(scene, arguments.rays)
        report(time_all(scene, arguments.rays, arguments.repeats), arguments.rays)
    print(f"peak memory of this process          {peak_memory_mib():.0f} MiB")


if __name__ == "__main__":
    main()
