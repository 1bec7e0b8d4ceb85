"""A scene traced at several slope errors with common random points: power on the receivers and the spot on a target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dishtrace.flux.result import Result, ScreenResult
from dishtrace.scene.model import Scene
from dishtrace.scene.tables import Screen
from dishtrace.stats import Estimate
from dishtrace.study.tracer import Tracer

FIRST_SLOPES_MRAD = (0.0, 1.5, 3.0, 5.0, 8.0, 12.0, 18.0)
"""Slope errors traced first, from a perfect mirror to a very bad one. [mrad]"""
SUN_MRAD2 = 1.35
"""About what the sun's disc adds to the squared slope error: (4.65 / 2)^2 / 4. [mrad2]"""
TARGET = "fit target"


@dataclass(frozen=True, eq=False)
class Rung:
    """A trace at one slope error.

    Parameters
    ----------
    slope_mrad : float
        Of the dish. [mrad]
    result : Result
    """

    slope_mrad: float
    result: Result

    @property
    def receiver_w(self) -> Estimate:
        """What the receivers absorb, light straight from the sun included. [W]"""
        light = self.result.budget_w["receiver"]
        direct = sum(p.direct_absorbed_w.value for p in self.result.parts.values() if p.role == "receiver")
        left_out = None if light.left_out is None else light.left_out + direct
        return Estimate(light.value + direct, light.se, left_out)

    def target(self, place: int) -> ScreenResult:
        """The spot on a plane of the target, receivers not there."""
        return self.result.screens[f"{TARGET} {place}"]


class Ladder:
    """Traces of a scene at slope errors as they are asked for.

    Parameters
    ----------
    scene : Scene
    screens : tuple of Screen
        The planes of the target, in place of the scene's screens.
    tracer : Tracer
    """

    def __init__(self, scene: Scene, screens: tuple[Screen, ...], tracer: Tracer) -> None:
        self.scene, self.screens, self.tracer = scene, screens, tracer
        self.rungs: dict[float, Rung] = {}

    def rung(self, slope_mrad: float) -> Rung:
        """The trace at a slope error, made when it is not there yet."""
        if slope_mrad not in self.rungs:
            dish = self.scene.dish.model_copy(update={"slope_error_mrad": float(slope_mrad)})
            scene = self.scene.model_copy(update={"dish": dish, "screens": self.screens})
            self.rungs[slope_mrad] = Rung(slope_mrad, self.tracer.traced(scene))
        return self.rungs[slope_mrad]

    def climb(self, slopes_mrad: Sequence[float]) -> list[Rung]:
        """Traces at several slope errors, rising."""
        return [self.rung(slope) for slope in sorted(set(slopes_mrad))]

    def turned(self, aim_mrad: tuple[float, float]) -> Ladder:
        """A ladder of the same dish with another pointing offset, traced by the same tracer."""
        mount = self.scene.mount.model_copy(update={"pointing_offset_mrad": aim_mrad})
        return Ladder(self.scene.model_copy(update={"mount": mount}), self.screens, self.tracer)


def target_planes(offsets_m: Sequence[float], half_width_m: float) -> tuple[Screen, ...]:
    """Planes square to the axis at offsets from the focus, with maps of a half width. [m]"""
    return tuple(
        Screen(
            name=f"{TARGET} {place}",
            offset_m=float(offset),
            half_width_m=float(half_width_m),
            through_receivers=True,
        )
        for place, offset in enumerate(offsets_m)
    )


def between(nodes: np.ndarray, place: float) -> np.ndarray:
    """Weights of Lagrange's polynomial through nodes at a place, (k,). [–]"""
    nodes = np.asarray(nodes, dtype=np.float64)
    weights = np.ones(len(nodes))
    for k, node in enumerate(nodes):
        others = np.delete(nodes, k)
        weights[k] = np.prod((place - others) / (node - others))
    return weights
