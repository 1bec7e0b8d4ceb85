"""Facets that cannot be unrolled: the curves of the mould that shapes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.report.making.cutting import bend_of
from dishtrace.report.making.sketch import MM, Label, Line, Sketch, facets_named

STEPS = 64
"""Steps of a curve [–]."""
MOST_DRAWN = 24
"""Moulds drawn; more are only listed [–]."""


@dataclass(frozen=True, eq=False)
class Mould:
    """A mould for facets that are curved alike.

    Parameters
    ----------
    name : str
        M1, M2, ...
    numbers : tuple of int
        Of the facets.
    along_u, along_v : (k, 2) float64
        Way from the facet's middle and height of the mirror side over its tangent plane there. [m]
    """

    name: str
    numbers: tuple[int, ...]
    along_u: np.ndarray
    along_v: np.ndarray


def moulds_of(facets: Facets) -> tuple[Mould, ...]:
    """Moulds of all facets that cannot be unrolled, in the order of their first facets."""
    found: dict[bytes, tuple[int, list[int]]] = {}
    for i, number in enumerate(facets.number.tolist()):
        if bend_of(facets.quadric[i]) is not None:
            continue
        outline = facets.outlines[i]
        shape = np.concatenate([outline.params, outline.vertices.ravel(), facets.quadric[i]])
        found.setdefault(np.round(shape, 7).tobytes(), (i, []))[1].append(number)
    return tuple(
        Mould(f"M{k}", tuple(numbers), _curve(facets, i, 0), _curve(facets, i, 1))
        for k, (i, numbers) in enumerate(found.values(), start=1)
    )


def _curve(facets: Facets, i: int, axis: int) -> np.ndarray:
    low, high = facets.outlines[i].extent()[2 * axis : 2 * axis + 2]
    uv = np.zeros((STEPS + 1, 2))
    uv[:, axis] = np.linspace(low, high, STEPS + 1)
    places, _ = facets.surface(i, uv)
    return np.column_stack([uv[:, axis], (places - facets.origin[i]) @ facets.axes[i, 2]])


def mould_columns(moulds: tuple[Mould, ...]) -> dict[str, list]:
    """The table of mould curves."""
    columns: dict[str, list] = {"mould": [], "section": [], "way_mm": [], "height_mm": []}
    for mould in moulds:
        for word, curve in (("u", mould.along_u), ("v", mould.along_v)):
            columns["mould"] += [mould.name] * len(curve)
            columns["section"] += [word] * len(curve)
            columns["way_mm"] += [f"{value:.3f}" for value in np.round(curve[:, 0] * MM, 3) + 0.0]
            columns["height_mm"] += [f"{value:.4f}" for value in np.round(curve[:, 1] * MM, 4) + 0.0]
    return columns


def mould_sketches(moulds: tuple[Mould, ...], heading: tuple[str, ...]) -> tuple[Sketch, ...]:
    """One drawing a mould: its curves along u and v, each over its tangent line at the middle."""
    sketches = []
    for mould in moulds[:MOST_DRAWN]:
        shapes, foot = [], 0.0
        for word, curve in (("u", mould.along_u), ("v", mould.along_v)):
            points = curve * MM
            high = points[:, 1].max()
            foot -= high + 30.0
            drawn = points + np.array([0.0, foot])
            ends = points[[0, -1], 0]
            shapes += [
                Line(drawn, "RIB"),
                Line(np.column_stack([ends, [foot, foot]]), "AXIS"),
                Line(np.array([[0.0, foot - 4.0], [0.0, foot + 4.0]]), "MARK"),
                Label(
                    f"{mould.name} along {word}: ends {points[0, 1]:.2f} and {points[-1, 1]:.2f} mm over the middle",
                    np.array([ends[0], foot - 9.0]),
                    4.0,
                    "NOTE",
                    False,
                ),
            ]
        what = f"Mould {mould.name}, mirror side, for {facets_named(list(mould.numbers))}"
        sketches.append(Sketch(f"mould-{mould.name}", (*heading, what), tuple(shapes)))
    return tuple(sketches)
