"""The result of a trace: every number with its error, and what was traced to get it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.flux.agreement import Agreement
from dishtrace.flux.ledger import Ledger
from dishtrace.flux.part import PartResult
from dishtrace.flux.screen import ScreenResult
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.dish.facets import Facets
    from dishtrace.dish.layouts import Fits
    from dishtrace.dish.mount import PlacedMirror, Pose
    from dishtrace.flux.goal import GoalReached
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState


@dataclass(frozen=True, eq=False)
class Result:
    """Result of `trace`.

    Parameters
    ----------
    scene : Scene
    version : str
        Of dishtrace.
    rays, rays_wanted : int
        Rays traced from the mirror; asked for, before rounding up to whole units or an early stop. [–]
    seed, threads : int
    backend : str
        What ran the kernels.
    stopped : bool
        Whether the user stopped the run early.
    seconds : float
        Time spent tracing, without compiling, reading and evaluating. [s]
    compile_seconds : float or None
        Time spent compiling kernels; None when they lay ready. [s]
    sun : SunState
    mirror : PlacedMirror
        The mirror at the moment: pose, focal length, outline.
    facets : Facets
        The mirror surfaces as traced, in the dish frame; patches of one measured facet share its number.
    dish : dict
        outline_m2, aperture_m2, mirror_m2, facets, rim_angle_deg, focal_length_m; for a measured mirror `measured`,
        for measured facets `measured_facets`: what was fitted to the points (see the README).
    ledger : Ledger
    focal_plane, best_focus, highest_peak : ScreenResult
        The spot in the focal plane, where R90 is smallest, and where the peak over 1 cm2 is highest.
    parts, screens : dict
        By name, in scene order.
    sample_rays : tuple of (k, 3) float64
        Paths of a few dozen rays, dish frame. [m]
    notes : tuple of str
        What the user should know.
    fits : Fits
        Fits to measured points of the mirror or its facets; empty for other mirrors.
    agreement : Agreement or None
        The flux over the brightest patch, found forward and backward; None where no part gets mirror light, or where
        peak points were not asked for.
    goal : GoalReached or None
        What the run was to reach and did, when it was to go on until then.
    """

    scene: Scene
    version: str
    rays: int
    rays_wanted: int
    seed: int
    threads: int
    backend: str
    stopped: bool
    seconds: float
    compile_seconds: float | None
    sun: SunState
    mirror: PlacedMirror
    facets: Facets
    dish: dict[str, Any]
    ledger: Ledger
    focal_plane: ScreenResult
    best_focus: ScreenResult
    highest_peak: ScreenResult
    parts: dict[str, PartResult]
    screens: dict[str, ScreenResult]
    sample_rays: tuple[np.ndarray, ...]
    notes: tuple[str, ...]
    fits: Fits
    agreement: Agreement | None = None
    goal: GoalReached | None = None

    @property
    def pose(self) -> Pose:
        """How the dish stands under the sun."""
        return self.mirror.pose

    @property
    def meshes(self) -> tuple[PartMesh, ...]:
        """The parts' triangles, in scene order."""
        return tuple(part.mesh for part in self.parts.values())

    @property
    def budget_w(self) -> dict[str, Estimate]:
        """The ledger's entries; see `Ledger`. [W]"""
        return self.ledger.budget_w

    @property
    def first_hit_w(self) -> dict[str, Estimate]:
        """What light from the mirror meets first; see `Ledger`. [W]"""
        return self.ledger.first_hit_w

    @property
    def intercept_factor(self) -> Estimate:
        """Share of the light leaving the mirror that meets a receiver first. [–]"""
        return self.ledger.intercept_factor

    @property
    def direct_w(self) -> dict[str, Estimate]:
        """Sunlight that meets parts without the mirror; see `Ledger`. [W]"""
        return self.ledger.direct_w

    def to_dict(self) -> dict:
        """As in results.json: plain numbers are inputs or exact, estimates are {"value", "se"}."""

        def estimates(entries: dict[str, Estimate]) -> dict:
            return {key: value.to_dict() for key, value in entries.items()}

        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "rays": self.rays,
            "rays_wanted": self.rays_wanted,
            "seed": self.seed,
            "backend": self.backend,
            "stopped": self.stopped,
            "sun": {
                "dni_w_m2": float(self.sun.dni_w_m2),
                "azimuth_deg": _plain(self.sun.azimuth_deg),
                "elevation_deg": _plain(self.sun.elevation_deg),
                "csr": _plain(self.sun.shape.csr),
            },
            "dish": self.dish,
            "budget_w": estimates(self.budget_w),
            "first_hit_w": estimates(self.first_hit_w),
            "intercept_factor": self.intercept_factor.to_dict(),
            "direct_w": estimates(self.direct_w),
            "overhang_w": self.ledger.overhang_w.to_dict(),
            "spot": {
                "focal_plane": self.focal_plane.to_dict(),
                "best_focus": self.best_focus.to_dict(),
                "highest_peak": self.highest_peak.to_dict(),
            },
            "parts": {name: part.to_dict() for name, part in self.parts.items()},
            "screens": {name: screen.to_dict() for name, screen in self.screens.items()},
            "agreement": None if self.agreement is None else self.agreement.to_dict(),
            "goal": None if self.goal is None else self.goal.to_dict(),
            "notes": list(self.notes),
        }


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)
