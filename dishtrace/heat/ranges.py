"""Numbers of a scene that are only known to a spread, and scenes drawn from them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.scene.quantity import Quantity
from dishtrace.scene.uncertain import Uncertain, nominal

if TYPE_CHECKING:
    from pydantic import BaseModel

    from dishtrace.scene.model import Scene

Path = tuple[str | int, ...]

N_SAMPLES = 64
"""Scenes drawn for an interval. [–]"""


@dataclass(frozen=True)
class Ranged:
    """One uncertain number of a scene.

    Parameters
    ----------
    path : tuple
        Attributes and numbers of entries: ``("parts", 0, "surface", "emittance")``.
    name : str
        For people: ``'"pot" surface.emittance'``.
    given : Uncertain
    low, high : float
        Range that the key allows, in its unit.
    """

    path: Path
    name: str
    given: Uncertain
    low: float = -np.inf
    high: float = np.inf

    @property
    def middle(self) -> float:
        """What is used where one number is wanted."""
        return float(nominal(self.given))

    @property
    def sd(self) -> float:
        """Standard deviation; of two limits that of an even spread, their distance over sqrt(12)."""
        return self.given.sd if self.given.value is not None else (self.given.high - self.given.low) / np.sqrt(12.0)

    def at(self, share: np.ndarray) -> np.ndarray:
        """Values below which these shares (0 to 1) of the spread lie, kept within the key's range."""
        from scipy.special import ndtri

        if self.given.value is None:
            found = self.given.low + share * (self.given.high - self.given.low)
        else:
            found = self.given.value + self.given.sd * ndtri(share)
        return np.clip(found, self.low, self.high)


def ranged(scene: Scene) -> tuple[Ranged, ...]:
    """All numbers of a scene that carry a spread, in the order of its tables."""
    return tuple(_found(scene, (), scene))


def _found(table: BaseModel, path: Path, scene: Scene) -> Iterator[Ranged]:
    for key, field in type(table).model_fields.items():
        if key == "variants":
            continue
        value = getattr(table, key)
        if isinstance(value, Uncertain):
            limits = next((note for note in _notes(field) if isinstance(note, Quantity)), None)
            low, high = (limits.low, limits.high) if limits is not None else (-np.inf, np.inf)
            low += 1e-9 if limits is not None and limits.above else 0.0
            yield Ranged((*path, key), _name((*path, key), scene), value, low, high)
        elif hasattr(type(value), "model_fields"):
            yield from _found(value, (*path, key), scene)
        elif isinstance(value, tuple):
            for number, entry in enumerate(value):
                if hasattr(type(entry), "model_fields"):
                    yield from _found(entry, (*path, key, number), scene)


def _notes(field: Any) -> Iterator[Any]:
    """Annotations of a field, also of the first member of a union."""
    from typing import get_args

    yield from field.metadata
    for inner in get_args(field.annotation):
        yield from getattr(inner, "__metadata__", ())


def _name(path: Path, scene: Scene) -> str:
    if path[0] == "parts":
        return f'"{scene.parts[path[1]].name}" {".".join(str(key) for key in path[2:])}'
    return ".".join(str(key) for key in path)


def with_values(scene: Scene, values: Mapping[Path, float]) -> Scene:
    """The scene with numbers put in at paths, without checking them again."""
    for path, value in values.items():
        scene = _put(scene, path, value)
    return scene


def _put(table: Any, path: Path, value: float) -> Any:
    key, rest = path[0], path[1:]
    if isinstance(table, tuple):
        entries = list(table)
        entries[key] = _put(entries[key], rest, value) if rest else value
        return tuple(entries)
    new = _put(getattr(table, key), rest, value) if rest else value
    return table.model_copy(update={key: new})


def spread_points(n_inputs: int, n_samples: int = N_SAMPLES) -> np.ndarray:
    """Well-placed points in the unit cube: the first of Sobol's sequence, moved off its corner, (n, inputs)."""
    from scipy.stats.qmc import Sobol

    if n_inputs == 0:
        return np.zeros((n_samples, 0))
    bits = int(np.ceil(np.log2(n_samples)))
    return (Sobol(n_inputs, scramble=False).random_base2(bits)[:n_samples] + 0.5 / 2**bits) % 1.0


def samples(scene: Scene, n_samples: int = N_SAMPLES) -> list[Scene]:
    """Scenes drawn from the spreads of a scene's numbers; the scene itself alone when there are none."""
    found = ranged(scene)
    if not found:
        return [scene]
    shares = spread_points(len(found), n_samples)
    columns = [entry.at(shares[:, number]) for number, entry in enumerate(found)]
    paths = [entry.path for entry in found]
    return [with_values(scene, dict(zip(paths, map(float, row), strict=True))) for row in zip(*columns, strict=True)]


def interval(values: np.ndarray) -> tuple[float, float]:
    """Range that holds the middle 90 % of equally likely values."""
    low, high = np.quantile(values, [0.05, 0.95])
    return float(low), float(high)
