"""Two ways to one number: the flux over a patch from rays that start on the mirror, and from looking back from it.

Both count light that arrives for the first time. They share the scene's surfaces and the code that meets them, but not
where rays start, how light is spread, nor how it is counted; so a mistake in one of those parts them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.brightest import brightest, flux_to_compare, flux_to_tell
from dishtrace.flux.disc import Patch
from dishtrace.flux.look import Look
from dishtrace.flux.peak_point import (
    has_later_light,
    patch_of,
    peak_point,
    together,
    without_later_light,
)
from dishtrace.stats import Estimate, total
from dishtrace.trace.points import N_SCRAMBLES

if TYPE_CHECKING:
    from dishtrace.flux.part import PartResult
    from dishtrace.trace.cpu import Optics
    from dishtrace.trace.optics import Tally

# Points of each scramble that the rays of a scene without later light are traced for.
FIRST_LIGHT_POINTS = 4096
# Chance that two ways that agree are called at odds.
FALSE_ALARM = 1e-5
# The bound for the Gaussian, rounded down, which is below those for Student's t of any freedom.
GAUSSIAN_BOUND = 4.417


@dataclass(frozen=True, eq=False)
class Agreement:
    """Mean flux of first arrivals over the patch about the brightest point, found in two ways.

    Parameters
    ----------
    part, side : str
        Where.
    at_m : (3,) float64
        The brightest point, as the user places the part. [m]
    patch_m2 : float
        Area of the patch. [m2]
    forward, backward : Estimate
        From rays that start on the mirror; from looking back over it. [W/m2]
    n_blocks : int
        Blocks that the error of the forward one comes from. [–]
    has_covers : bool
        Covers of the scene were taken out for both, since the tally does not keep apart what came straight through.
    """

    part: str
    side: str
    at_m: np.ndarray
    patch_m2: float
    forward: Estimate
    backward: Estimate
    n_blocks: int
    has_covers: bool

    @property
    def z(self) -> float | None:
        """Difference over its standard error, forward minus backward; None where an error is unknown. [–]"""
        errors = (self.forward.se, self.backward.se)
        if None in errors or not any(errors):
            return None
        return (self.forward.value - self.backward.value) / float(np.hypot(*errors))

    @property
    def is_good(self) -> bool:
        """Whether the difference can be chance, by Student's t with one degree of freedom less than blocks."""
        if self.z is None or abs(self.z) <= GAUSSIAN_BOUND:
            return True
        from scipy.special import stdtrit

        return bool(abs(self.z) <= -stdtrit(self.n_blocks - 1, 0.5 * FALSE_ALARM))

    def warning(self) -> str:
        """What to say when the difference is no chance."""
        return (
            f'the flux on "{self.part}" disagrees between rays ({self.forward.value:.4g} W/m2) and looking back '
            f"({self.backward.value:.4g} W/m2) by {self.z:.1f} standard errors: trust neither, and report the scene"
        )

    def to_dict(self) -> dict:
        """As in results.json."""
        return {
            "part": self.part,
            "side": self.side,
            "at_m": [float(value) for value in self.at_m],
            "patch_m2": self.patch_m2,
            "forward_w_m2": self.forward.to_dict(),
            "backward_w_m2": self.backward.to_dict(),
            "z": self.z,
            "is_good": self.is_good,
            "covers_taken_out": self.has_covers,
        }


@dataclass(frozen=True, eq=False)
class Traced:
    """Rays traced for the parts' triangles.

    Parameters
    ----------
    tally : Tally
    n_rays : int
        [–]
    position : (n,) int64
        Place in the tally of each triangle of all parts in scene order.
    """

    tally: Tally
    n_rays: int
    position: np.ndarray

    def flux(self, patch: Patch, *, first: int, side: str) -> Estimate:
        """Mean flux over a patch of the part whose first triangle has the number `first`. [W/m2]"""
        rows = self.position[first + patch.index]
        power = self.tally.incident[:, rows, 0 if side == "front" else 1] / self.n_rays
        return total(power @ patch.shares / patch.area)


def with_peak_points(
    parts: dict[str, PartResult],
    *,
    look: Look,
    traced: Traced,
    pilot: Traced,
    trace_first: Callable[[Optics, int], Traced],
) -> tuple[dict[str, PartResult], Agreement | None]:
    """Parts with the flux at their brightest points, and how both ways agree on the brightest part.

    Parameters
    ----------
    parts : dict
        As found from the tally.
    look : Look
    traced, pilot : Traced
        All rays, and the first few of them.
    trace_first : callable
        Traces the first so many points of each scramble, at most all, in optics with the same mirror and triangles.

    Returns
    -------
    parts : dict
    agreement : Agreement or None
        None where no part gets mirror light.
    """
    lit = [part for part in parts.values() if part.peak_w_m2.value > 0.0]
    solid = [part for part in lit if part.role != "cover"]
    if not solid:
        return parts, None
    main = max(solid, key=lambda part: part.peak_w_m2.value)
    light = _Light(parts, look, traced, pilot, trace_first)
    found, agreement = dict(parts), None
    for part in lit:
        if part is not main and not is_worth_a_look(part):
            continue
        place, triangle, disc = brightest(look, part)
        patch = patch_of(part.mesh, triangle, part.peak_side)
        later = light.later(part, patch)
        point = peak_point(look, part, later, place=place, triangle=triangle)
        if is_known(part) and point.first.value >= later.value:
            found[part.name] = replace(
                part,
                peak_point=point,
                peak_w_m2=together(flux_to_tell(look, disc), later),
                peak_patch_m2=disc.area,
                peak_at_m=part.mesh.to_user(disc.place),
                peak_triangle=disc.triangle,
            )
        if part is main:
            ways = light.two_ways(part, patch, later)
            agreement = Agreement(part.name, part.peak_side, point.at_m, patch.area, *ways)
    return found, agreement


def is_known(part: PartResult) -> bool:
    """Whether the tally knows a part's peak to a fifth at least."""
    peak = part.peak_w_m2
    return peak.se is not None and peak.se < 0.2 * peak.value


def is_worth_a_look(part: PartResult) -> bool:
    """Whether that is so, and most of the part's light arrives for the first time."""
    return is_known(part) and part.first_w.value > 0.5 * part.incident_w.value


class _Light:
    """First and later arrivals on patches; the arguments are those of `with_peak_points`."""

    def __init__(
        self,
        parts: dict[str, PartResult],
        look: Look,
        traced: Traced,
        pilot: Traced,
        trace_first: Callable[[Optics, int], Traced],
    ) -> None:
        sizes = [len(part.mesh.triangles) for part in parts.values()]
        self.first = dict(zip(parts, np.cumsum([0, *sizes]), strict=False))
        self.has_covers = any(part.role == "cover" for part in parts.values())
        self.look, self.traced, self.pilot, self.trace_first = look, traced, pilot, trace_first
        self.bare = without_later_light(look.optics)
        self._once: Traced | None = None

    def _on(self, rays: Traced, part: PartResult, patch: Patch) -> Estimate:
        return rays.flux(patch, first=self.first[part.name], side=part.peak_side)

    def later(self, part: PartResult, patch: Patch) -> Estimate:
        """Mean flux over a patch of light that has touched a part or cover before. [W/m2]

        Paired: the same rays in the scene as it is, and where each arrives once. With covers: what straight light
        leaves.
        """
        if not has_later_light(part):
            return Estimate(0.0, 0.0)
        if self.has_covers:
            return self._on(self.traced, part, patch).minus(flux_to_tell(self.look, patch))
        if self._once is None:
            self._once = self.trace_first(self.bare, self.pilot.n_rays // N_SCRAMBLES)
        return self._on(self.pilot, part, patch).minus(self._on(self._once, part, patch))

    def two_ways(self, part: PartResult, patch: Patch, later: Estimate) -> tuple[Estimate, Estimate, int, bool]:
        """Flux of first arrivals over a patch, forward and backward; blocks of the forward one; covers taken out."""
        if self.has_covers:
            rays = self.trace_first(self.bare, FIRST_LIGHT_POINTS)
            forward, look = self._on(rays, part, patch), self.look.with_optics(self.bare)
        else:
            rays, look = self.traced, self.look
            forward = self._on(rays, part, patch)
            forward = forward.minus(later) if later.value != 0.0 else forward
        return forward, flux_to_compare(look, patch), len(rays.tally.incident), self.has_covers
