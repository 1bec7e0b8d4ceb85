"""One size of a part: what it catches and where the rest goes, and what it loses at working temperatures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.ranges import Ranged, with_values
from dishtrace.heat.run import up_direction
from dishtrace.heat.setting import CONVECTION, EMITTANCE, Setting, changed
from dishtrace.stats import Estimate
from dishtrace.study.figures import combined
from dishtrace.study.sweep.figures import absorbed_of_part
from dishtrace.units import kelvin

if TYPE_CHECKING:
    from dishtrace.heat.losses import Losses
    from dishtrace.study.size.light import Light


@dataclass(frozen=True, eq=False)
class Heat:
    """Losses of one size at the working temperatures, and what uncertain numbers change.

    Parameters
    ----------
    losses_w : (t,) float64
        To air, sky and surroundings. [W]
    names : tuple of str
        Uncertain numbers that bear on absorbed light and losses.
    factors : (k,) float64
        On the absorbed light with each number one standard deviation up. [–]
    varied_losses_w : (k, t) float64
        Losses with each number one standard deviation up. [W]
    """

    losses_w: np.ndarray
    names: tuple[str, ...]
    factors: np.ndarray
    varied_losses_w: np.ndarray


@dataclass(frozen=True, eq=False)
class Trial:
    """One size, traced.

    Parameters
    ----------
    values : dict
        What is varied, by name.
    area_m2 : float
        Of the part, one side of sheets. [m2]
    share : Estimate
        Of the light that leaves the mirror, what meets this part first; of a cavity, what meets its inside. [–]
    caught_w, absorbed_w : Estimate
        That light, and what the part absorbs, direct sun included. [W]
    peak_w_m2 : Estimate
        Highest mean flux over 1 cm2 of it. [W/m2]
    others_w : dict of Estimate
        Light from the mirror that meets other parts first, by their name; of a cavity also its own outside. [W]
    missed_w : Estimate
        Light from the mirror that meets no part. [W]
    shaded_w : Estimate
        Sunlight that parts keep from the mirror. [W]
    heat : Heat or None
        None where the part's emittance is not known.
    """

    values: dict[str, float]
    area_m2: float
    share: Estimate
    caught_w: Estimate
    absorbed_w: Estimate
    peak_w_m2: Estimate
    others_w: dict[str, Estimate]
    missed_w: Estimate
    shaded_w: Estimate
    heat: Heat | None

    def net_w(self, number: int) -> Estimate:
        """Heat that can be drawn off at a working temperature, by its number; the error is that of the tracing. [W]"""
        absorbed = self.absorbed_w
        lost = float(self.heat.losses_w[number])
        left_out = None if absorbed.left_out is None else absorbed.left_out - lost
        return Estimate(absorbed.value - lost, absorbed.se, left_out)


def trial_of(result: Light, number: int, values: Mapping[str, float], temperatures_c: Sequence[float]) -> Trial:
    """What a trace says of one size of a part.

    Parameters
    ----------
    result : Light
        Of the scene with the part at that size.
    number : int
        Of the part in the scene.
    values : mapping
        What is varied, by name.
    temperatures_c : sequence of float
        Working temperatures. [degC]
    """
    table = result.scene.parts[number]
    name, first = table.name, result.first_hit_w
    part = result.parts[name]
    caught = part.sides["front"].first_w if table.shape == "cavity" else part.first_w

    def share(met: np.ndarray, *all_of_it: np.ndarray) -> np.ndarray:
        leaving = np.sum(all_of_it, axis=0)
        return np.divide(met, leaving, out=np.full(np.shape(leaving), np.nan), where=leaving > 0.0)

    return Trial(
        values=dict(values),
        area_m2=part.area_m2,
        share=combined(share, caught, *first.values()),
        caught_w=caught,
        absorbed_w=absorbed_of_part(part.absorbed_w, part.direct_absorbed_w),
        peak_w_m2=part.peak_w_m2,
        others_w=_others(result, number),
        missed_w=first["none"],
        shaded_w=result.shaded_w,
        heat=_heat(Setting(result, number, up_direction(result)), temperatures_c),
    )


def _others(result: Light, number: int) -> dict[str, Estimate]:
    """Light from the mirror that meets something else first. [W]"""
    part = result.scene.parts[number]
    found = dict(result.others_w)
    if part.shape == "cavity":
        found[f"outside of {part.name}"] = result.parts[part.name].sides["back"].first_w
    return found


def _heat(setting: Setting, temperatures_c: Sequence[float]) -> Heat | None:
    """Losses, also with each uncertain number one standard deviation up."""
    if setting.losses is None:
        return None
    walls = [kelvin(temperature) for temperature in temperatures_c]
    inputs = setting.inputs()
    factors, rows = [], []
    for entry in inputs:
        factor, losses = _varied(setting, entry)
        factors.append(factor)
        rows.append([losses.total(wall) for wall in walls])
    return Heat(
        losses_w=np.array([setting.losses.total(wall) for wall in walls]),
        names=tuple(entry.name for entry in inputs),
        factors=np.array(factors),
        varied_losses_w=np.array(rows).reshape(len(inputs), len(walls)),
    )


def _varied(setting: Setting, entry: Ranged) -> tuple[float, Losses]:
    """Factor on the absorbed light, and the losses, with one number a standard deviation up."""
    if entry.path == CONVECTION:
        return 1.0, changed(setting.losses, convection=1.0 + entry.sd)
    if entry.path == EMITTANCE:
        return 1.0, changed(setting.losses, emittance=entry.sd)
    value = float(np.clip(entry.middle + entry.sd, entry.low, entry.high))
    scene = with_values(setting.result.scene, {entry.path: value})
    absorbed, own = setting.absorbed_in(scene).value, setting.absorbed.value
    is_of_losses = entry.path[0] == "air" or entry.path[-1] == "emittance"
    losses = setting.losses_in(scene) if is_of_losses else setting.losses
    return (absorbed / own if own > 0.0 else 1.0), losses
