"""Pictures of a spot: the flux in a plane, and its radial profile with the power inside circles."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from dishtrace.report import fluxmap, spotmap
from dishtrace.report.layout import one_drawing
from dishtrace.report.numerals import FINE, written
from dishtrace.report.pictures.style import (
    COLOURS,
    DARK_HALO,
    HALO,
    NO_LIGHT,
    SETTINGS,
    foot,
    head,
    noise_line,
)

if TYPE_CHECKING:
    from dishtrace.flux.result import Result, ScreenResult


def draw_spot(result: Result, screen: ScreenResult) -> Figure:
    """Flux in the plane of a screen with the circles that hold 50, 90, 95 and 99 % of the power."""
    flux, error = np.asarray(screen.map_w_m2) / 1000.0, np.asarray(screen.map_se_w_m2) / 1000.0
    known = fluxmap.is_certain(flux, error)
    half = screen.half_width_m * 1000.0
    layout = one_drawing((5.0, 5.0), has_bar=True)
    figure = Figure(figsize=layout.size)
    with rc_context(SETTINGS):
        axis = figure.add_axes(layout.boxes[0])
        axis.patch.set(**NO_LIGHT)
        shown = np.ma.masked_where(~known, flux)
        image = axis.imshow(shown, origin="lower", extent=(-half, half, -half, half), cmap=COLOURS)
        image.set_clim(0.0, float(flux[known].max()) if known.any() else 1.0)
        middles = (np.arange(len(flux)) + 0.5) / len(flux) * 2.0 * half - half
        smooth = spotmap.smoothed(flux)
        levels = spotmap.contour_levels(smooth)
        if len(levels):
            lines = axis.contour(middles, middles, smooth, levels=levels, colors="white", linewidths=0.8)
            for text in axis.clabel(lines, fmt="%g", fontsize=7.5):
                text.set_path_effects(DARK_HALO)
        _draw_circles(axis, screen, half)
        axis.set(xlim=(-half, half), ylim=(-half, half), xlabel="x (mm)", ylabel="y (mm)", aspect="equal")
        figure.colorbar(image, cax=figure.add_axes(layout.bar)).set_label("mirror light (kW/m²)")
        head(figure, result, f"Spot on “{screen.name}”")
        noise = spotmap.typical_error(flux, error, known)
        peak = written(screen.peak_w_m2.scaled(1e-3), FINE)
        power = written(screen.power_w, FINE)
        foot(
            figure,
            f"{power} W, peak {peak} kW/m² over {1e4 * screen.peak_patch_m2:.2g} cm². {noise_line(noise, 'bin')}",
            f"{spotmap.viewer(result, screen)} Dashed circles hold the share of the power written on them.",
            "Colours: single bins, so the brightest can pass the peak. White contours in kW/m²: smoothed.",
            "Hatched: no light seen, or standard error above 50 %.",
        )
    return figure


def draw_profile(result: Result, screen: ScreenResult) -> Figure:
    """Flux over the radius and power within a radius, about the screen's centre, with error bands."""
    edges = 1000.0 * np.asarray(screen.profile_edges_m)
    flux, error = np.asarray(screen.profile_w_m2) / 1000.0, np.asarray(screen.profile_se_w_m2) / 1000.0
    radius, power = 1000.0 * np.asarray(screen.encircled_radius_m), np.asarray(screen.encircled_w)
    power_error = np.asarray(screen.encircled_se_w)
    layout = one_drawing((5.8, 5.0), has_bar=False)
    figure = Figure(figsize=layout.size)
    left, bottom, width, height = layout.boxes[0]
    with rc_context(SETTINGS):
        lower = figure.add_axes((left, bottom, width, 0.48 * height))
        upper = figure.add_axes((left, bottom + 0.52 * height, width, 0.48 * height), sharex=lower)
        upper.tick_params(labelbottom=False)
        upper.stairs(flux, edges, color="black", linewidth=1.2)
        upper.stairs(
            flux + 2.0 * error,
            edges,
            baseline=np.maximum(flux - 2.0 * error, 0.0),
            fill=True,
            color="0.7",
            zorder=0,
        )
        upper.set(ylabel="flux, mean over a ring (kW/m²)", ylim=(0.0, None))
        lower.plot(radius, power, color="black", linewidth=1.2)
        lower.fill_between(radius, power - 2.0 * power_error, power + 2.0 * power_error, color="0.7", zorder=0)
        whole = screen.power_w.value
        for share in (0.5, 0.9, 0.95, 0.99):
            lower.axhline(share * whole, color="0.5", linewidth=0.7, linestyle="--")
            lower.annotate(
                f"{100 * share:.0f} %",
                (1.0, share * whole),
                xycoords=("axes fraction", "data"),
                xytext=(3, 0),
                textcoords="offset points",
                va="center",
                fontsize=7,
            )
        lower.set(
            xlabel="radius about the screen's centre (mm)",
            ylabel="power within the radius (W)",
            xlim=(0.0, edges[-1]),
            ylim=(0.0, None),
        )
        for axis in (upper, lower):
            axis.grid(color="0.9", linewidth=0.6)
        head(figure, result, f"Radial profile and encircled power on “{screen.name}”")
        noise = spotmap.typical_error(flux, error, np.isfinite(error) & (flux > 0.0))
        foot(
            figure,
            f"Grey band: ± 2 standard errors. {noise_line(noise, 'ring')}",
            "Dashed: shares of the power on the plane.",
        )
    return figure


def _draw_circles(axis: Any, screen: ScreenResult, half: float) -> None:
    x, y = (1000.0 * value.value for value in screen.centroid_m)
    axis.plot(x, y, marker="+", color="black", markersize=9, path_effects=HALO, zorder=5)
    for number, (share, estimate) in enumerate(screen.radius_m.items()):
        radius = 1000.0 * estimate.value
        if not np.isfinite(radius) or radius > 1.3 * half:
            continue
        for colour, width, style in (("white", 1.8, "-"), ("black", 1.0, "--")):
            axis.add_patch(Circle((x, y), radius, fill=False, linestyle=style, linewidth=width, edgecolor=colour))
        angle = np.radians(55.0 - 30.0 * number)
        place = (x + radius * np.cos(angle), y + radius * np.sin(angle))
        if max(abs(place[0]), abs(place[1])) < half:
            axis.text(*place, f"{share} %", ha="center", va="center", fontsize=8, path_effects=HALO, zorder=6)
