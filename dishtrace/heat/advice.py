"""What to change where the stand is in danger, in numbers: where light lands on it, and what would take that light."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dishtrace.flux.result import PartResult, Result
    from dishtrace.heat.outcome import PartTemperatures

LEAST_SHARE = 0.005
"""Share of the light off the mirror below which a bright part is left alone. [–]"""
MOST_FLUX = 4300.0
"""Smallest flux that has been seen to ignite wood; see data/wood_ignition.csv. [W/m2]"""
HELD = 0.98
"""Share of the light on a stand that the advice is sized for; the rest is left at both ends. [–]"""


def stand_advice(result: Result, parts: dict[str, PartTemperatures]) -> tuple[str, ...]:
    """Advice for every part of the stand that is too hot for itself, or lit brightly enough to set things alight."""
    found, leaving = [], sum(estimate.value for estimate in result.first_hit_w.values())
    for name, part in parts.items():
        traced = result.parts[name]
        is_hot = any(margin.is_own and margin.margin_k < 0.0 for margin in part.margins) or part.state == "melts"
        is_bright = traced.peak_w_m2.value > MOST_FLUX and traced.first_w.value > LEAST_SHARE * leaving
        if part.setting.part.role == "stand" and (is_hot or is_bright) and traced.first_w.value > 0.0:
            found.append(_advice(result, traced, "is too hot" if is_hot else "is lit brightly"))
    return tuple(found)


def lit_zone(traced: PartResult) -> dict[str, float]:
    """Where light lands on a part, about the dish axis: radii and heights that hold 98 % of it, dish frame. [m]"""
    mesh = traced.mesh
    power = mesh.areas * (traced.sides["front"].flux_w_m2 + traced.sides["back"].flux_w_m2)
    middles = mesh.triangles.mean(axis=1)
    radius = np.hypot(middles[:, 0], middles[:, 1])
    tail = 0.5 * (1.0 - HELD)
    inner, outer = _quantiles(radius, power, (tail, 1.0 - tail))
    low, high = _quantiles(middles[:, 2], power, (tail, 1.0 - tail))
    return {"inner_m": inner, "outer_m": outer, "low_m": low, "high_m": high}


def _advice(result: Result, traced: PartResult, why: str) -> str:
    zone, focus = lit_zone(traced), result.pose.focal_length
    watts = traced.first_w
    slant = float(np.tan(np.radians(min(result.dish["rim_angle_deg"], 80.0))))
    outer = zone["outer_m"] + slant * max(min(zone["high_m"], focus) - zone["low_m"], 0.0)
    error = "" if watts.se is None else f" ± {watts.se:.2g}"
    text = (
        f'"{traced.name}" {why}: {watts.value:.3g}{error} W of mirror light land on it, {100.0 * HELD:.0f} % of them '
        f"{1e3 * zone['inner_m']:.0f} to {1e3 * zone['outer_m']:.0f} mm from the dish axis and "
        f"{1e3 * (zone['low_m'] - focus):+.0f} to {1e3 * (zone['high_m'] - focus):+.0f} mm along it from the focus. "
        f"A shield ring in front of it, towards the mirror, would take them: {2e3 * max(zone['inner_m'], 0.0):.0f} mm "
        f"inside and {2e3 * outer:.0f} mm outside diameter."
    )
    receivers = [part for part in result.parts.values() if part.role == "receiver"]
    if not receivers:
        return text
    corners = np.concatenate([part.mesh.triangles.reshape(-1, 3) for part in receivers])
    low, high = float(corners[:, 2].min()), float(corners[:, 2].max())
    below, above = low - zone["low_m"], zone["high_m"] - high
    most = 2.0 * (high - low) + 0.02
    if max(below, above) > most:
        return text
    if below > 0.0 and below >= above:
        text += f" A receiver that reaches {1e3 * below:.0f} mm further towards the mirror would stand before it,"
    elif above > 0.0:
        text += f" A receiver {1e3 * above:.0f} mm taller, away from the mirror, would reach as far as it,"
    else:
        width = zone["outer_m"] - float(np.hypot(corners[:, 0], corners[:, 1]).max())
        return text + (f" A receiver {1e3 * width:.0f} mm larger in radius would cover it." if width > 0.0 else "")
    return text + " if it is as wide there."


def _quantiles(values: np.ndarray, weights: np.ndarray, shares: tuple[float, ...]) -> tuple[float, ...]:
    """Values below which these shares of the weight lie."""
    order = np.argsort(values, kind="stable")
    within = np.cumsum(weights[order])
    return tuple(float(values[order][np.searchsorted(within, share * within[-1])]) for share in shares)
