"""A scene laid out for all its figures: planes of the spot placed by a pilot sample of rays, and the user's screens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.flux.focus import highest_peak, smallest_spot
from dishtrace.flux.planes import Plane, framed, kernel_screens, spot_plane, user_planes
from dishtrace.flux.screen import ScreenResult, screen_result
from dishtrace.trace.optics import no_screens
from dishtrace.trace.run import run

if TYPE_CHECKING:
    from dishtrace.flux.prepared import Prepared
    from dishtrace.stats import Estimate
    from dishtrace.trace.interrupt import StopFlag
    from dishtrace.trace.optics import Screens, Tally

PILOT_POINTS = 1024
"""Points of each scramble that the planes are placed by. [–]"""


@dataclass(frozen=True, eq=False)
class Laid:
    """A scene with its planes and an empty tally.

    Parameters
    ----------
    prepared : Prepared
    pilot : Tally
        Of the pilot sample, with its legs.
    planes : tuple of Plane
        Focal plane, smallest spot, highest peak, then the user's.
    offsets : tuple
        From the focus along the axis; of the first three with what is known of their errors. [m]
    scales : (s,) float64
        Of the radial histograms. [m]
    screens : Screens
        The same as the kernels see it.
    tally : Tally
    """

    prepared: Prepared
    pilot: Tally
    planes: tuple[Plane, ...]
    offsets: tuple[Estimate | float | None, ...]
    scales: np.ndarray
    screens: Screens
    tally: Tally

    def shown(self, *, n_rays: int) -> list[ScreenResult]:
        """What the planes say after so many rays."""
        return [
            screen_result(plane, self.tally, k, scale=self.scales[k], n_rays=n_rays, offset=offset)
            for k, (plane, offset) in enumerate(zip(self.planes, self.offsets, strict=True))
        ]


def laid_out(prepared: Prepared, *, n_points: int, threads: int, stop: StopFlag) -> Laid:
    """Trace the pilot sample, at most so many points of each scramble, and place the planes by it."""
    pilot = prepared.tally(n_legs=min(n_points, PILOT_POINTS))
    run(prepared.assembly.optics, no_screens(), pilot, n_points=pilot.legs.shape[1], threads=threads, stop=stop)
    focal_length = prepared.mirror.focal_length
    spots, offsets = _spot_planes(pilot.legs, focal_length)
    users = user_planes(prepared.scene, prepared.mirror.pose)
    frames = [framed(plane, pilot.legs, focal_length=focal_length) for plane in (*spots, *users)]
    planes, scales = tuple(frame[0] for frame in frames), np.array([frame[2] for frame in frames])
    screens = kernel_screens(planes, np.stack([frame[1] for frame in frames]), scales)
    return Laid(
        prepared=prepared,
        pilot=pilot,
        planes=planes,
        offsets=(*offsets, *(plane.offset for plane in users)),
        scales=scales,
        screens=screens,
        tally=prepared.tally(n_screens=len(planes), n_radii=screens.radii.shape[1]),
    )


def _spot_planes(legs: np.ndarray, focal_length: float) -> tuple[tuple[Plane, ...], tuple[Estimate | float, ...]]:
    """Focal plane, smallest spot and highest peak, and their offsets from the focus."""
    smallest = smallest_spot(legs, focal_length=focal_length)
    peak = highest_peak(legs, focal_length=focal_length)
    planes = (
        spot_plane("focal plane", focal_length=focal_length, offset=0.0),
        spot_plane("best focus", focal_length=focal_length, offset=smallest.value),
        spot_plane("highest peak", focal_length=focal_length, offset=peak.value),
    )
    return planes, (0.0, smallest, peak)
