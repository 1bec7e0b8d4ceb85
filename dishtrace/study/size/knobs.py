"""What can be varied of a part: its sizes and its place along the dish axis, and which keys of the scene they set."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.dish.mount import placed_mirror
from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.scene.words import listed, nearest
from dishtrace.sun.state import sun_state
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from dishtrace.scene.model import Part, Scene

STEPS, STEPS_OF_TWO = 20, (12, 7)
"""Values of one varied size; of the first and the second of two. [–]"""
LEAST_STEPS, MOST_STEPS = 8, 200
KNOBS = {
    "radius": "radius",
    "height": "height",
    "opening": "opening radius",
    "scale": "scale of all sizes",
    "offset": "offset along the dish axis",
}
"""What can be varied, in words."""
_ROUND = ("disc", "cylinder", "tube", "sphere", "cone", "cavity")
_TALL = ("cylinder", "tube", "cone", "cavity")
OF_SHAPES = {"radius": _ROUND, "height": _TALL, "opening": ("cavity",)}
"""Shapes that have a size; every shape has scale and offset."""
MAIN = {"cavity": "opening", "rectangle": "scale", "box": "scale", "mesh": "scale"}
"""What is varied when the user names nothing; the radius of all other shapes."""


@dataclass(frozen=True)
class Knob:
    """One thing that is varied.

    Parameters
    ----------
    name : str
        One of `KNOBS`.
    low, high : float
        Ends of the range; in metres, but "scale" without unit.
    steps : int
        Values, both ends among them: in equal ratios, for "offset" at equal distances.
    """

    name: str
    low: float
    high: float
    steps: int

    @property
    def is_ratio(self) -> bool:
        """Whether its values are compared by ratios."""
        return self.name != "offset"

    @property
    def values(self) -> np.ndarray:
        """Its values, (steps,)."""
        spaced = np.geomspace if self.is_ratio else np.linspace
        return spaced(self.low, self.high, self.steps)

    def place(self, value: np.ndarray) -> np.ndarray:
        """Coordinate in which values lie at equal distances."""
        return np.log(value) if self.is_ratio else np.asarray(value, dtype=np.float64)

    def value(self, place: float) -> float:
        """The value at a coordinate."""
        return math.exp(place) if self.is_ratio else place


def part_number(scene: Scene, name: str) -> int:
    """Where in the scene a part of that name stands.

    Raises
    ------
    InputError
        If there is none, or it is a cover.
    """
    names = [part.name for part in scene.parts]
    if name not in names:
        like = nearest(name, names)
        remedy = f'did you mean "{like}"?' if like else f"its parts are {listed(names)}" if names else "it has no parts"
        raise InputError(Fault(COMMAND_LINE, "--part", f'"{name}"', "names no part of the scene", remedy))
    number = names.index(name)
    if scene.parts[number].role == "cover":
        raise InputError(
            Fault(COMMAND_LINE, "--part", f'"{name}"', "is a cover, which catches nothing", "name a receiver")
        )
    return number


def knobs_of(part: Part, wanted: Mapping[str, tuple[float, ...] | None]) -> tuple[Knob, ...]:
    """What is varied of a part, as the user wishes.

    Parameters
    ----------
    part : Part
    wanted : mapping
        (low, high) or (low, high, steps) by name; None for what is not varied.

    Raises
    ------
    InputError
        With every fault: more than two, a size that the shape does not have, bad ranges.
    """
    given = {name: value for name, value in wanted.items() if value is not None}
    faults = []
    if len(given) > 2:
        remedy = "keep two of them; dishtrace sweep varies as many keys as you like"
        faults.append(Fault(COMMAND_LINE, " ".join(f"--{name}" for name in given), "", "are more than two", remedy))
    for name, ends in given.items():
        faults += _range_faults(part, name, ends)
    if faults:
        raise InputError(faults)
    steps = (STEPS,) if len(given) < 2 else STEPS_OF_TWO
    return tuple(
        Knob(name, float(ends[0]), float(ends[1]), int(ends[2]) if len(ends) == 3 else steps[place])
        for place, (name, ends) in enumerate(given.items())
    )


def _range_faults(part: Part, name: str, ends: tuple[float, ...]) -> list[Fault]:
    key, found = f"--{name}", ":".join(f"{end:g}" for end in ends)
    if part.shape not in OF_SHAPES.get(name, (part.shape,)):
        known = [one for one in KNOBS if part.shape in OF_SHAPES.get(one, (part.shape,))]
        remedy = f"a {part.shape} has {', '.join(f'--{one}' for one in known)}"
        return [Fault(COMMAND_LINE, key, "", f'is no size of part "{part.name}"', remedy)]
    if len(ends) not in (2, 3) or not all(math.isfinite(end) for end in ends):
        return [Fault(COMMAND_LINE, key, found, "must be LOW:HIGH or LOW:HIGH:STEPS", f"for instance {key} 0.02:0.2")]
    if ends[0] >= ends[1]:
        remedy = "swap the two" if ends[0] > ends[1] else "give two different ends"
        return [Fault(COMMAND_LINE, key, found, "must have its low end below its high end", remedy)]
    if name != "offset" and ends[0] <= 0.0:
        return [Fault(COMMAND_LINE, key, found, "must be above 0")]
    if name == "opening" and ends[1] >= part.radius_m:
        return [Fault(COMMAND_LINE, key, found, f"must stay below radius_m = {part.radius_m:g} of the cavity")]
    if len(ends) == 3 and not (LEAST_STEPS <= ends[2] <= MOST_STEPS and ends[2] == int(ends[2])):
        return [Fault(COMMAND_LINE, key, found, f"must have {LEAST_STEPS} to {MOST_STEPS} steps, a whole number")]
    return []


def main_knob(part: Part, *, r50: float, r99: float) -> Knob:
    """The size that is varied when the user names none, over the spot's size.

    Parameters
    ----------
    part : Part
    r50, r99 : float
        Radii of the spot at its best focus. [m]

    Notes
    -----
    From half of R50, where hardly a tenth of the light is caught, to past R99; the scene's own size lies within.
    """
    name = MAIN.get(part.shape, "radius")
    if name == "scale":
        return Knob(name, 0.25, 4.0, STEPS)
    own = part.opening_radius_m if name == "opening" else part.radius_m
    low, high = min(0.5 * r50, 0.8 * own), max(1.8 * r99, 1.25 * own)
    if name == "opening":
        high = min(high, 0.98 * part.radius_m)
    return Knob(name, max(low, 1e-4), min(high, 100.0), STEPS)


def settings_for(scene: Scene, number: int, values: Mapping[str, float]) -> dict[str, Any]:
    """Keys of the scene that put a part at sizes and a place.

    The middle of a part stays where it is, but that of a box, a cylinder, a tube or a cone moves along its axis so that
    the end nearer the mirror stays; a cavity keeps its opening's middle, a mesh the origin of its file.

    Parameters
    ----------
    scene : Scene
    number : int
        Of the part.
    values : mapping
        By name of `KNOBS`.
    """
    part = scene.parts[number]
    scale = values.get("scale", 1.0)
    keys: dict[str, Any] = {}
    if part.shape == "mesh":
        keys["scale"] = part.scale * scale
    elif part.shape in ("box", "rectangle"):
        keys["size_m"] = [float(size) * scale for size in part.size_m]
    else:
        keys["radius_m"] = values.get("radius", part.radius_m) * scale
        if part.shape == "cavity":
            keys["opening_radius_m"] = values.get("opening", part.opening_radius_m) * scale
        if part.shape in _TALL:
            keys[_height_key(part)] = values.get("height", getattr(part, _height_key(part))) * scale
    center = _center(scene, part, keys, offset=values.get("offset", 0.0))
    keys = {key: value for key, value in keys.items() if value != _plain(getattr(part, key))}
    if not np.array_equal(center, _numbers(part.center_m)):
        keys["center_m"] = center.tolist()
    return {f"part.{part.name}.{key}": value for key, value in keys.items()}


def _height_key(part: Part) -> str:
    return "depth_m" if part.shape == "cavity" else "height_m"


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _numbers(values: tuple) -> np.ndarray:
    return np.array([float(nominal(value)) for value in values])


def _center(scene: Scene, part: Part, keys: Mapping[str, Any], *, offset: float) -> np.ndarray:
    """Where the part's middle goes, in the frame it is placed in, (3,). [m]"""
    center = _numbers(part.center_m)
    grows = 0.0
    if part.shape == "box":
        grows = keys["size_m"][2] - float(part.size_m[2])
    elif part.shape in ("cylinder", "tube", "cone"):
        grows = keys["height_m"] - part.height_m
    if offset == 0.0 and grows == 0.0:
        return center
    along = dish_axis(scene, part.frame)
    if grows:
        axis = normalise(_numbers(part.axis))
        center = center + 0.5 * grows * (axis if axis @ along >= 0.0 else -axis)
    return center + offset * along


def dish_axis(scene: Scene, frame: str) -> np.ndarray:
    """Direction of the dish axis, away from the mirror, in the dish's or the ground's frame, (3,). [–]"""
    if frame == "dish":
        return np.array([0.0, 0.0, 1.0])
    pose = placed_mirror(scene, sun_state(scene)).pose
    return pose.user_frame("ground", pose.focal_length)[0] @ np.array([0.0, 0.0, 1.0])
