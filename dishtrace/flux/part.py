"""What each part gets: power by side, flux on its triangles, and its peak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.peak import PATCH_AREA, Peak, surface_peak
from dishtrace.stats import Estimate, counted, totals

if TYPE_CHECKING:
    from dishtrace.flux.peak_point import PeakPoint
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.trace.optics import Tally

SIDES = ("front", "back")
FIGURES = ("first_w", "incident_w", "absorbed_w", "direct_incident_w", "direct_absorbed_w")


@dataclass(frozen=True, eq=False)
class SideResult:
    """One side of a part; the front is where its normals point.

    Parameters
    ----------
    first_w, incident_w, absorbed_w : Estimate
        Mirror light that arrives for the first time, all its arrivals, and what is absorbed of it. [W]
    direct_incident_w, direct_absorbed_w : Estimate
        The same of light straight from the sun, all arrivals. [W]
    flux_w_m2, flux_se_w_m2 : (n,) float64
        Incident mirror light on each triangle and its standard error, NaN where nothing arrived. [W/m2]
    absorbed_w_m2, absorbed_se_w_m2 : (n,) float64
        Absorbed light of both kinds on each triangle. [W/m2]
    """

    first_w: Estimate
    incident_w: Estimate
    absorbed_w: Estimate
    direct_incident_w: Estimate
    direct_absorbed_w: Estimate
    flux_w_m2: np.ndarray
    flux_se_w_m2: np.ndarray
    absorbed_w_m2: np.ndarray
    absorbed_se_w_m2: np.ndarray


@dataclass(frozen=True, eq=False)
class PartResult:
    """Figures of one part, both sides together; `mean_w_m2` is incident mirror light over the part's own area.

    `peak_w_m2` is the mean flux over the brightest disc of `peak_patch_m2` about `peak_at_m`, looked back over; as the
    tally alone has it, over the triangles nearest to the middle of one of them. `peak_triangle` is the triangle there;
    `peak_point` the flux at the brightest point, None where it was not looked for or most light had been thrown back.
    """

    name: str
    role: str
    area_m2: float
    first_w: Estimate
    incident_w: Estimate
    absorbed_w: Estimate
    direct_incident_w: Estimate
    direct_absorbed_w: Estimate
    mean_w_m2: Estimate
    peak_w_m2: Estimate
    peak_patch_m2: float
    peak_at_m: np.ndarray
    peak_side: str
    peak_triangle: int
    sides: dict[str, SideResult]
    mesh: PartMesh
    peak_point: PeakPoint | None = None

    def to_dict(self) -> dict:
        """As in results.json."""
        return {
            "role": self.role,
            "area_m2": self.area_m2,
            **{key: getattr(self, key).to_dict() for key in FIGURES},
            "mean_w_m2": self.mean_w_m2.to_dict(),
            "peak_w_m2": self.peak_w_m2.to_dict(),
            "peak_patch_m2": self.peak_patch_m2,
            "peak_at_m": [float(value) for value in self.peak_at_m],
            "peak_side": self.peak_side,
            "peak_point_w_m2": None if self.peak_point is None else self.peak_point.flux.to_dict(),
            "peak_point_at_m": None if self.peak_point is None else [float(value) for value in self.peak_point.at_m],
            "sides": {
                side: {key: getattr(result, key).to_dict() for key in FIGURES} for side, result in self.sides.items()
            },
        }


def part_results(
    meshes: tuple[PartMesh, ...], tally: Tally, order: np.ndarray, *, n_rays: int, direct_ray_w: float = 0.0
) -> dict[str, PartResult]:
    """Figures of all parts from the tally.

    Parameters
    ----------
    meshes : tuple of PartMesh
        In scene order.
    tally : Tally
    order : (n,) int64
        Position i of the tally's triangles is triangle order[i] of all parts' in scene order.
    n_rays : int
        Rays traced, which the tally's sums are divided by.
    direct_ray_w : float
        What one ray straight from the sun adds to a sum; 0 where that light is not told. [W]
    """
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))
    results, first = {}, 0
    for number, mesh in enumerate(meshes):
        rows = position[first : first + len(mesh.triangles)]
        first += len(mesh.triangles)
        results[mesh.name] = _part_result(
            mesh,
            tally.parts[:, number] / n_rays,
            tally.incident[:, rows] / n_rays,
            tally.absorbed[:, rows] / n_rays,
            direct_ray_w,
        )
    return results


def _part_result(
    mesh: PartMesh, figures: np.ndarray, incident: np.ndarray, absorbed: np.ndarray, direct_ray_w: float
) -> PartResult:
    """Figures of one part; figures (32, 2, 5), incident and absorbed (rows, n, 2) are each block's powers. [W]"""

    def told(rows: np.ndarray) -> dict[str, Estimate]:
        grains = [direct_ray_w if key.startswith("direct") else 0.0 for key in FIGURES]
        return {key: counted(rows[:, j], grain) for j, (key, grain) in enumerate(zip(FIGURES, grains, strict=True))}

    sides = {}
    for k, side in enumerate(SIDES):
        flux, flux_se = totals(incident[:, :, k] / mesh.areas)
        taken, taken_se = totals(absorbed[:, :, k] / mesh.areas)
        sides[side] = SideResult(
            **told(figures[:, k]),
            flux_w_m2=flux,
            flux_se_w_m2=flux_se,
            absorbed_w_m2=taken,
            absorbed_se_w_m2=taken_se,
        )
    both = told(figures.sum(axis=1))
    area = float(mesh.areas.sum())
    peak, peak_side = _peak(mesh, incident, sides)
    return PartResult(
        name=mesh.name,
        role=mesh.role,
        area_m2=area,
        **both,
        mean_w_m2=both["incident_w"].scaled(1.0 / area),
        peak_w_m2=peak.flux,
        peak_patch_m2=peak.area,
        peak_at_m=mesh.to_user(peak.place),
        peak_side=peak_side,
        peak_triangle=peak.index,
        sides=sides,
        mesh=mesh,
    )


def _peak(mesh: PartMesh, incident: np.ndarray, sides: dict[str, SideResult]) -> tuple[Peak, str]:
    """Peak on the side that has the higher one; a side without light is not searched."""
    centers = mesh.triangles.mean(axis=1)
    peaks = []
    for k, side in enumerate(SIDES):
        if sides[side].incident_w.value > 0.0:
            sign = 1.0 if k == 0 else -1.0
            found = surface_peak(incident[:, :, k], areas=mesh.areas, centers=centers, normals=sign * mesh.normals)
            peaks.append((found, side))
    if not peaks:
        nothing = Estimate(0.0, None)
        return Peak(nothing, float(min(PATCH_AREA, mesh.areas.sum())), centers.mean(axis=0), 0), "front"
    return max(peaks, key=lambda pair: pair[0].flux.value)
