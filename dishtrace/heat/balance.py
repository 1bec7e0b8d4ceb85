"""The balance of a part of one temperature: where it settles with nothing drawn off, and the heat it has to give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.losses import Losses
from dishtrace.heat.root import root_between
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from collections.abc import Callable

    from dishtrace.flux.result import PartResult

N_CURVE = 25
HOTTEST = 6000.0
"""Above the sun's own temperature, which nothing lit by it can pass. [K]"""


@dataclass(frozen=True, eq=False)
class Balance:
    """Heat of a part that is equally warm everywhere.

    Parameters
    ----------
    absorbed_w : Estimate
        From the mirror and straight from the sun. [W]
    stagnation_k : Estimate
        Temperature at which all of it is lost; the error is that of the tracing. [K]
    losses_w : dict
        There, by where they go: "air", "sky", "surroundings". [W]
    curve : dict of (n,) float64
        temperature_k, loss_w, net_w and efficiency: net heat over the sunlight on the dish's outline. [–]
    """

    absorbed_w: Estimate
    stagnation_k: Estimate
    losses_w: dict[str, float]
    curve: dict[str, np.ndarray]


def settled(absorbed: float, loss: Callable[[float], float], *, coldest: float) -> float:
    """Temperature at which a loss [W] that rises with temperature [K] equals the heat absorbed [W]; in K.

    Parameters
    ----------
    absorbed : float
        [W]
    loss : callable
        Takes K, gives W.
    coldest : float
        Where to start looking. [K]

    Raises
    ------
    ValueError
        If the losses never reach the heat absorbed.
    """
    if loss(coldest) >= absorbed:
        return coldest
    if loss(HOTTEST) < absorbed:
        raise ValueError(f"losses stay below {absorbed:g} W up to {HOTTEST:g} K")

    def excess(wall: float) -> float:
        return loss(wall) - absorbed

    return float(root_between(excess, coldest, HOTTEST, x_tolerance=1e-9, relative=1e-13))


def absorbed_of(part: PartResult) -> Estimate:
    """Light absorbed by a part, from the mirror and straight from the sun; the two have separate rays. [W]"""
    mirror, direct = part.absorbed_w, part.direct_absorbed_w
    errors = [estimate.se for estimate in (mirror, direct) if estimate.value > 0.0]
    known = None if None in errors else float(np.hypot.reduce(errors)) if errors else 0.0
    return Estimate(mirror.value + direct.value, known)


def balance(absorbed: Estimate, losses: Losses, *, sunlight: float) -> Balance:
    """Balance of one part.

    Parameters
    ----------
    absorbed : Estimate
        [W]
    losses : Losses
    sunlight : float
        On the dish's outline, which efficiencies are shares of. [W]
    """
    coldest = min(losses.ambient.temperature, losses.ambient.sky)
    hottest = settled(absorbed.value, losses.total, coldest=coldest)
    step = 1e-3 * hottest
    slope = (losses.total(hottest + step) - losses.total(hottest - step)) / (2.0 * step)
    error = None if absorbed.se is None else absorbed.se / slope
    first = min(losses.ambient.temperature, hottest)
    temperature = np.linspace(first, hottest, N_CURVE)
    lost = np.array([losses.total(float(wall)) for wall in temperature])
    net = absorbed.value - lost
    curve = {"temperature_k": temperature, "loss_w": lost, "net_w": net, "efficiency": net / sunlight}
    return Balance(absorbed, Estimate(hottest, error), losses.split(hottest), curve)
