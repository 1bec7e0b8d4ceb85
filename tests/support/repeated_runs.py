"""Many runs of one scene with other seeds: what each tells, with its error, and the flux on all triangles."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from dishtrace.flux import peak
from dishtrace.flux.planes import framed, kernel_screens, spot_plane
from dishtrace.flux.prepared import Prepared, prepare
from dishtrace.flux.screen import radii_of
from dishtrace.scene.read import load_scene, scene_from_text
from dishtrace.stats import Estimate, jackknife, total, totals
from dishtrace.trace.cpu import Optics
from dishtrace.trace.optics import FIRST_RECEIVER, Screens
from dishtrace.trace.points import N_SCRAMBLES, direct_points, mirror_points
from tests.support.small_scenes import part, scene_text, tallied


def reseeded(optics: Optics, seed: int) -> Optics:
    """The same scene with other points."""
    mirror = mirror_points(seed=seed, has_facets=len(optics.mirror.kind) > 1)
    return optics._replace(mirror_points=mirror, direct_points=direct_points(seed=seed))


@dataclass(frozen=True, eq=False)
class Bench:
    """A scene with one part, ready to be run again and again; screen and triangle are chosen by a first run."""

    prepared: Prepared
    screens: Screens
    triangle: int

    def run(self, seed: int, *, count: int, threads: int = 1, has_peak: bool = True) -> dict:
        """Figures of one run: share, R90, peak, triangle as estimates; flux (n,) on the front, its blocks' sum."""
        optics = reseeded(self.prepared.assembly.optics, seed)
        tally = tallied(optics, count=count, screens=self.screens, threads=threads)
        rays = count * N_SCRAMBLES
        mesh = self.prepared.meshes[0]
        power = np.empty_like(tally.incident[:, :, 0])
        power[:, self.prepared.assembly.order] = tally.incident[:, :, 0] / rays
        flux, se = totals(power / mesh.areas)
        scale = self.screens.spot_scale[0]
        found = {
            "share": total(tally.budget[:, FIRST_RECEIVER] / rays),
            "R90": jackknife(lambda sums: radii_of(sums, scale)[:, 1:2], tally.radial[:, 0])[0],
            "triangle": total(power[:, self.triangle] / mesh.areas[self.triangle]),
            "flux": flux,
            "flux_se": se,
        }
        if has_peak:
            found["peak"] = self.peak(power)
        return found

    def peak(self, power: np.ndarray) -> Estimate:
        """Peak over 1 cm2 as it is reported, from each block's powers (b, n)."""
        mesh = self.prepared.meshes[0]
        centers = mesh.triangles.mean(axis=1)
        return peak.surface_peak(power, areas=mesh.areas, centers=centers, normals=mesh.normals).flux


def bench(prepared: Prepared, *, pilot: int = 4096) -> Bench:
    """A scene ready to be run; the triangle is the one whose flux is nearest to half the highest."""
    optics = prepared.assembly.optics
    tally = tallied(optics, count=pilot, n_legs=1024)
    plane = spot_plane("focal plane", focal_length=prepared.mirror.focal_length, offset=0.0)
    plane, center, scale = framed(plane, tally.legs, focal_length=prepared.mirror.focal_length)
    screens = kernel_screens((plane,), center[np.newaxis], np.array([scale]))
    mesh = prepared.meshes[0]
    flux = np.empty(len(mesh.areas))
    flux[prepared.assembly.order] = tally.incident[:, :, 0].sum(axis=0)
    flux /= mesh.areas
    bright = np.sort(flux)[-20:].mean()
    return Bench(prepared, screens, int(np.argmin(np.abs(flux - 0.5 * bright))))


def standard_case(folder: Path) -> Prepared:
    """The standard case of the benchmarks, with its mesh of 8192 triangles."""
    benchmarks = Path(__file__).parents[2] / "benchmarks"
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(benchmarks))
        import standard_case as case

        return prepare(load_scene(case.write_scene(folder)), seed=1)


TILES = 'layout = "square-grid"\nsize_m = 0.084\npitch_m = 0.086\ncurve = "flat"\ncanting_error_mrad = 1.0'
PETALS = 'layout = "petals"\ncount = 24\ninner_radius_m = 0.15\nouter_radius_m = 1.2\ngap_m = 0.004'


def faceted(facets: str, *, radius: float) -> Prepared:
    """The mirror of the standard case in facets, over a black plate at the focus that misses some of its light."""
    text = scene_text(
        f"[dish.facets]\n{facets}\n" + part("plate", "receiver", plate(radius), "absorptance = 1.0"),
        dish="focal_length_m = 0.9\nslope_error_mrad = 3.0",
        outline='shape = "circle"\nradius_m = 1.2',
    )
    return prepare(scene_from_text(text), seed=1)


def plate(radius: float) -> str:
    """A disc that looks at the mirror."""
    return f'shape = "disc"\nradius_m = {radius}\naxis = [0.0, 0.0, -1.0]'
