"""From a scene that was traced to its result."""

from __future__ import annotations

from dataclasses import replace
from importlib import metadata
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.dish.layouts import facet_figures, measured_figures
from dishtrace.dish.outline import outline_of
from dishtrace.dish.paraboloid import rim_angle
from dishtrace.errors import RunError
from dishtrace.flux.agreement import Traced, with_peak_points
from dishtrace.flux.ledger import hole_power, ledger
from dishtrace.flux.look import looking
from dishtrace.flux.part import part_results
from dishtrace.flux.result import Result
from dishtrace.flux.sketch import sample_rays
from dishtrace.trace.assembly import direct_ray_power
from dishtrace.trace.cpu import BACKEND, Optics
from dishtrace.trace.interrupt import StopFlag
from dishtrace.trace.optics import no_screens
from dishtrace.trace.points import N_SCRAMBLES
from dishtrace.trace.run import UNIT_RAYS, run

if TYPE_CHECKING:
    from dishtrace.flux.laid import Laid
    from dishtrace.flux.prepared import Prepared
    from dishtrace.scene.model import Scene
    from dishtrace.trace.optics import Tally

MOST_LOST_SHARE = 1e-6


def with_brightest(result: Result, laid: Laid) -> Result:
    """The result with the flux at the parts' brightest points, and how that way to it agrees with the rays."""
    prepared, pilot = laid.prepared, laid.pilot
    optics, order = prepared.assembly.optics, prepared.assembly.order
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))

    def trace_first(other: Optics, n_points: int) -> Traced:
        counted = prepared.tally()
        with StopFlag() as stop:
            n_points = min(n_points, result.rays // N_SCRAMBLES)
            done = run(other, no_screens(), counted, n_points=n_points, threads=result.threads, stop=stop)
        return Traced(counted, done * N_SCRAMBLES, position)

    parts, agreement = with_peak_points(
        result.parts,
        look=looking(optics, sun=prepared.sun, facets=prepared.facets, seed=result.seed, threads=result.threads),
        traced=Traced(laid.tally, result.rays, position),
        pilot=Traced(pilot, pilot.legs.shape[1] * N_SCRAMBLES, position),
        trace_first=trace_first,
    )
    notes = result.notes
    if agreement is not None and not agreement.is_good:
        notes = (*notes, agreement.warning())
    return replace(result, parts=parts, agreement=agreement, notes=notes)


def _refuse_lost(scene: Scene, tally: Tally, n_rays: int, seed: int) -> None:
    n_lost = int(tally.n_lost.sum())
    if n_lost <= MOST_LOST_SHARE * n_rays:
        return
    first = int(tally.first_lost[tally.first_lost >= 0].min())
    raise RunError(
        f"{scene.file}: {n_lost} of {n_rays} rays were lost, more than one in a million: they bounced between parts "
        f"that absorb next to nothing, or left the numbers' range. Replay the first of them with\n"
        f"  dishtrace trace {scene.file} --seed {seed} --first-ray {first}"
    )


def _dish_figures(prepared: Prepared) -> dict[str, float]:
    facets, mirror, table = prepared.facets, prepared.mirror, prepared.scene.dish.facets
    figures = {
        "outline_m2": float(mirror.vector_area[2]),
        "aperture_m2": float(facets.aperture_areas().sum()),
        "mirror_m2": float(facets.surface_areas().sum()),
        "facets": len(np.unique(facets.number)),
        "rim_angle_deg": float(np.degrees(rim_angle(mirror.outline, focal_length=mirror.focal_length))),
        "focal_length_m": float(mirror.focal_length),
    }
    if table is not None and table.layout == "measured":
        figures["facets"] = 1
        outline = outline_of(prepared.scene)
        figures["measured"] = measured_figures(prepared.scene, outline, fits=prepared.fits, reset=mirror.reset)
    if prepared.fits.facets:
        figures["measured_facets"] = facet_figures(prepared.scene, facets, prepared.fits)
    return figures


def _notes(prepared: Prepared, *, n_rays: int, rays_wanted: int, stopped: bool, n_lost: int) -> tuple[str, ...]:
    notes = [*prepared.scene.notes, *prepared.sun.notes, *prepared.mirror.pose.notes]
    for mesh in prepared.meshes:
        notes += [f'part "{mesh.name}": {note}' for note in mesh.notes]
    if any(mesh.role == "cover" for mesh in prepared.meshes):
        notes.append(
            "light that goes through a cover has met the cover first: first hits and the intercept factor count it "
            "there, and what a receiver behind it gets is told by its incident and absorbed light"
        )
    if stopped:
        notes.append(f"stopped early: {n_rays} of {rays_wanted} rays were traced, and the figures are those of them")
    elif n_rays != rays_wanted:
        notes.append(f"{rays_wanted} rays were rounded up to {n_rays}, whole units of {UNIT_RAYS}")
    if n_lost:
        notes.append(f"{n_lost} rays were lost (told as lost in the budget)")
    return tuple(notes)


def result_of(
    laid: Laid,
    *,
    n_rays: int,
    rays_wanted: int,
    seed: int,
    stopped: bool,
    dish: dict[str, Any] | None = None,
    **about: Any,
) -> Result:
    """What the tally of a scene says after so many rays.

    Parameters
    ----------
    laid : Laid
        With its tally filled.
    n_rays, rays_wanted, seed, stopped
        As in `Result`.
    dish : dict, optional
        Figures of the same dish, where they are known already.
    about : dict
        threads, seconds and compile_seconds of `Result`.

    Raises
    ------
    RunError
        If more than one ray in a million was lost.
    """
    prepared, tally = laid.prepared, laid.tally
    _refuse_lost(prepared.scene, tally, n_rays, seed)
    shown, mirror, dni = laid.shown(n_rays=n_rays), prepared.mirror, prepared.sun.dni_w_m2
    outline_w = float(dni * (mirror.vector_area @ mirror.pose.sun))
    hole_w = hole_power(mirror.outline, mirror.pose.sun, dni=dni, focal_length=mirror.focal_length)
    is_skin = prepared.scene.dish.facets is None
    direct_ray_w = direct_ray_power(prepared.assembly.optics) / n_rays
    return Result(
        scene=prepared.scene,
        version=metadata.version("dishtrace"),
        rays=n_rays,
        rays_wanted=rays_wanted,
        seed=seed,
        backend=BACKEND,
        stopped=stopped,
        sun=prepared.sun,
        mirror=mirror,
        facets=prepared.facets,
        fits=prepared.fits,
        dish=_dish_figures(prepared) if dish is None else dish,
        ledger=ledger(
            tally.budget / n_rays, outline_w=outline_w, hole_w=hole_w, is_skin=is_skin, direct_ray_w=direct_ray_w
        ),
        focal_plane=shown[0],
        best_focus=shown[1],
        highest_peak=shown[2],
        parts=part_results(prepared.meshes, tally, prepared.assembly.order, n_rays=n_rays, direct_ray_w=direct_ray_w),
        screens={screen.name: screen for screen in shown[3:]},
        sample_rays=sample_rays(prepared),
        notes=_notes(prepared, n_rays=n_rays, rays_wanted=rays_wanted, stopped=stopped, n_lost=int(tally.n_lost.sum())),
        **about,
    )
