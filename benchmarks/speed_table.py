"""The whole of speed and accuracy in one table, every line a ratio from this one run.

Throughput beside the NumPy + embreex script, time to accuracy, threads, a stand of a million triangles, the plain
reference, facets, and the laws of cost and error. Run with ``python benchmarks/speed_table.py [--rays N]`` after
``pip install .[bench]``, on a quiet machine.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import embree_script as script
import facets
import numpy as np
import standard_case
import throughput

import dishtrace as dt
from dishtrace.flux.prepared import prepare
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate
from dishtrace.trace.optics import no_screens
from dishtrace.trace.reference import trace_reference

REPEATS = 3
PRIMITIVE = f"""shape = "cylinder"
radius_m = {script.CYLINDER_RADIUS_M!r}
height_m = {script.CYLINDER_HEIGHT_M!r}
"""
MESH = 'shape = "mesh"\nfile = "cylinder.obj"\nunit = "m"\n'
STAND = """
[[part]]
name = "cloth"
role = "stand"
shape = "mesh"
file = "cloth.stl"
unit = "m"
surface = { absorptance = 0.8, emittance = 0.8 }
"""
# What the release before this one read in the line "mesh of 8192 triangles", on another machine.
RATIO_BEFORE = 0.23


def seconds_of(scene: dt.Scene, rays: int, *, threads: int = 1) -> float:
    """Median time of tracing: pilot, search for the best focus and all rays. [s]"""
    return statistics.median(
        dt.trace(scene, rays=rays, seed=seed, threads=threads, peak_points=False).seconds for seed in range(REPEATS)
    )


def write_cloth(path: Path, *, number: int) -> None:
    """A rough sheet of so many triangles beside the way of the light below the focus, as an STL file."""
    import trimesh

    n = int(np.sqrt(number / 2))
    u, v = np.meshgrid(np.linspace(-0.5, 0.5, n + 1), np.linspace(-0.5, 0.5, n + 1))
    height = -0.25 + 0.02 * np.sin(40.0 * u) * np.cos(37.0 * v)
    vertices = np.column_stack([0.2 * u.ravel(), 0.2 * v.ravel(), height.ravel()])
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    faces = np.concatenate(
        [
            np.column_stack([corner, corner + 1, corner + n + 2]),
            np.column_stack([corner, corner + n + 2, corner + n + 1]),
        ]
    )
    trimesh.Trimesh(vertices, faces, process=False).export(path)


def scenes(folder: Path) -> dict[str, dt.Scene]:
    """The standard case as a mesh, as a primitive, and with a stand of a million triangles."""
    mesh = standard_case.write_scene(folder)
    text = mesh.read_text(encoding="utf-8")
    write_cloth(folder / "cloth.stl", number=1_000_000)
    paths = {"mesh": mesh}
    for name, body in (("primitive", text.replace(MESH, PRIMITIVE)), ("million", text + STAND)):
        paths[name] = folder / f"{name}.toml"
        paths[name].write_text(body, encoding="utf-8")
    return {name: dt.load_scene(path) for name, path in paths.items()}


def told(name: str, value: float, aim: str = "") -> None:
    """Print one line of the table."""
    print(f"| {name:<66} | {value:8.3g} | {aim:<14} |", flush=True)


def throughput_lines(cases: dict[str, dt.Scene], rays: int) -> None:
    """Rays per second and time to accuracy beside the script, each on one core, run in turn."""
    theirs, ours = [], {name: [] for name in cases}
    for seed in range(REPEATS):
        theirs.append(script.run(rays, seed=seed))
        for name, scene in cases.items():
            ours[name].append(dt.trace(scene, rays=rays, seed=seed, threads=1, peak_points=False))
    script_s = statistics.median(float(run["seconds"]) for run in theirs)
    seconds = {name: statistics.median(run.seconds for run in runs) for name, runs in ours.items()}
    told("rays/s, dishtrace / script, mesh of 8192 triangles", script_s / seconds["mesh"], "1.2")
    told("  the same in the release before", RATIO_BEFORE)
    told("rays/s, dishtrace / script, the cylinder as a primitive", script_s / seconds["primitive"], "2")
    told("time with a stand of 1,000,000 triangles / without", seconds["million"] / seconds["mesh"], "at most 2")
    shares = [run.first_hit_w["receiver"].scaled(1.0 / run.budget_w["outline"].value) for run in ours["mesh"]]
    error = statistics.mean(share.se for share in shares)
    their_error = statistics.mean(float(run["share_se"]) for run in theirs)
    gain = (their_error / error) ** 2 * script_s / seconds["mesh"]
    told("1 / (error^2 time) of the receiver's share, dishtrace / script", gain, "10")


def thread_line(scene: dt.Scene, rays: int) -> None:
    """Two threads beside one."""
    told("time on one thread / on two", seconds_of(scene, rays) / seconds_of(scene, rays, threads=2), "1.8")


def reference_line(scene: dt.Scene) -> None:
    """The plain NumPy twin beside the kernels."""
    optics = prepare(scene, seed=1).assembly.optics
    started = time.perf_counter()
    trace_reference(optics, no_screens(), count=128)
    per_ray = (time.perf_counter() - started) / (128 * 32)
    told("time a ray, plain reference / dishtrace", per_ray / (seconds_of(scene, 2**20) / 2**20))


def facet_lines(rays: int) -> None:
    """Tiled mirrors beside one skin."""
    made = {name: scene_from_text(facets.SCENE.format(name=name, facets=text)) for name, text in facets.MIRRORS.items()}
    rates = {name: rays / seconds_of(scene, rays) for name, scene in made.items()}
    told("rays/s, 600 tiles / one skin", rates["600 tiles"] / rates["one skin"], "0.5")
    told("rays/s, 20,000 tiles / one skin", rates["20,000 tiles"] / rates["one skin"], "0.35")


def slope_of(x: list[float], y: list[float]) -> float:
    """Power law through the points."""
    return float(np.polyfit(np.log(x), np.log(y), 1)[0])


def law_lines(folder: Path, scene: dt.Scene, pick: Callable[[dt.Result], Estimate]) -> None:
    """How error falls with rays, and how time grows with triangles."""
    rays = [2**14, 2**16, 2**18, 2**20]
    errors = [
        statistics.mean(pick(dt.trace(scene, rays=n, seed=seed, peak_points=False)).se for seed in range(8))
        for n in rays
    ]
    told("error of the receiver's power ~ rays^p, p (plain random: -0.5)", slope_of(rays, errors))
    numbers, times = [1000, 10_000, 100_000, 1_000_000], []
    text = standard_case.write_scene(folder).read_text(encoding="utf-8")
    for number in numbers:
        write_cloth(folder / "cloth.stl", number=number)
        path = folder / "cloth.toml"
        path.write_text(text + STAND, encoding="utf-8")
        times.append(seconds_of(dt.load_scene(path), 2**20))
    told("time ~ triangles^p from 1e3 to 1e6, p", slope_of(numbers, times))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rays", type=int, default=1 << 21, help="rays of a timed run")
    rays = parser.parse_args().rays
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cases = scenes(folder)
        dt.trace(cases["mesh"], rays=1 << 14, threads=1)
        throughput.validate(cases["mesh"], rays)
        print(f"| {'what':<66} | {'ratio':>8} | {'wanted':<14} |\n|{'-' * 68}|{'-' * 9}:|{'-' * 16}|")
        throughput_lines(cases, rays)
        thread_line(cases["mesh"], rays)
        reference_line(cases["mesh"])
        facet_lines(rays)
        law_lines(folder, cases["mesh"], lambda result: result.first_hit_w["receiver"])
        print(f"peak memory of this process {throughput.peak_memory_mib():.0f} MiB")


if __name__ == "__main__":
    main()
