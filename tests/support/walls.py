"""Walls of known shape for the tests of heat: strips of triangles, constant losses, plain solids."""

from __future__ import annotations

import numpy as np

from dishtrace.heat.air import Ambient
from dishtrace.heat.faces import Face
from dishtrace.heat.losses import GRID, Losses
from dishtrace.heat.wall import Lit
from dishtrace.scene.wall import Solid

STILL = Ambient(temperature=300.0, sky=300.0)


def strip(n: int, *, length: float, width: float, across: int = 1) -> np.ndarray:
    """A strip along x of n by `across` cells of two triangles each, (2 n across, 3, 3), fronts up, by x first. [m]"""
    x, y = np.linspace(0.0, length, n + 1), np.linspace(0.0, width, across + 1)
    place = np.stack([*np.meshgrid(x, y, indexing="ij"), np.zeros((n + 1, across + 1))], axis=-1)
    a, b, c, d = place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:]
    return np.stack([np.stack([a, b, c], axis=-2), np.stack([a, c, d], axis=-2)], axis=2).reshape(-1, 3, 3)


def solid(*, conductivity: float, density: float = 8000.0, capacity: float = 500.0) -> Solid:
    """A solid whose numbers do not depend on temperature."""
    return Solid(
        "test", density, np.array([300.0]), np.array([conductivity]), np.array([capacity]), None, "test", "test"
    )


def constant_losses(
    areas: np.ndarray, *, front: float, back: float, emittance: float = 0.0, ambient: Ambient = STILL
) -> Losses:
    """Both sides of a sheet with coefficients [W/(m2 K)] that do not depend on temperature."""
    index = np.arange(len(areas))
    faces = tuple(
        Face("plate", {}, side, index, float(areas.sum()), np.full(len(areas), 0.5)) for side in ("front", "back")
    )
    rows = np.stack([np.full(len(GRID), front), np.full(len(GRID), back)])
    return Losses(faces, np.full(2, emittance), ambient, rows)


def lit(front: np.ndarray, back: np.ndarray | None = None) -> Lit:
    """Light without error. [W/m2]"""
    back = np.zeros_like(front) if back is None else back
    return Lit(np.stack([front, back]), np.zeros((2, len(front))))
