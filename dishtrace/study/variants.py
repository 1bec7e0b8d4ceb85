"""Which scenes are compared, what they are called, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.flux.placed import Common, light_key, placed
from dishtrace.scene.model import Scene
from dishtrace.scene.source import IN_PYTHON


def named_scenes(scenes: Scene | Mapping[str, Scene] | Iterable[Scene]) -> dict[str, Scene]:
    """Scenes and their variants by names that tell them apart, in order.

    Parameters
    ----------
    scenes : Scene, mapping of str to Scene, or iterable of Scene
        A scene stands before its variants.

    Returns
    -------
    dict of Scene
        A scene carries its key, or the name of its file without ending, or its title when no file is behind it; a
        variant its own name, with the scene's before it when there are several scenes.

    Raises
    ------
    InputError
        When there are fewer than two to compare.
    """
    if isinstance(scenes, Scene):
        scenes = [scenes]
    given = list(scenes.items()) if isinstance(scenes, Mapping) else _labelled(list(scenes))
    named: dict[str, Scene] = {}
    for label, scene in given:
        _add(named, label, scene)
        for name, variant in scene.variant_scenes.items():
            _add(named, name if len(given) == 1 else f"{label}: {name}", variant)
    if len(named) < 2:
        found = f'"{next(iter(named))}"' if named else ""
        remedy = "name a second scene, or write [[variant]] tables in the first"
        raise InputError(Fault(COMMAND_LINE, "scenes", found, "must be two at least, or one with variants", remedy))
    return named


def shared_of(scenes: Iterable[Scene]) -> dict[str, Common]:
    """What scenes share, from placing everything in every one of them as a run would.

    Returns
    -------
    dict of Common
        What scenes of the same dish under the same sun share, all of their parts in it, by `light_key`.

    Raises
    ------
    InputError
        With the faults of all of them.
    """
    faults: list[Fault] = []
    shared: dict[str, Common] = {}
    for scene in scenes:
        key = light_key(scene)
        try:
            shared[key], _ = placed(scene, common=shared.get(key), has_notes=False)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    return shared


def _labelled(scenes: list[Scene]) -> list[tuple[str, Scene]]:
    """Scenes with short labels: the file's name, or its path where the name alone comes twice."""
    short = [scene.title if scene.file == IN_PYTHON else Path(scene.file).stem for scene in scenes]
    full = [scene.title if scene.file == IN_PYTHON else scene.file for scene in scenes]
    return [
        (shorter if short.count(shorter) == 1 else longer, scene)
        for shorter, longer, scene in zip(short, full, scenes, strict=True)
    ]


def _add(named: dict[str, Scene], label: str, scene: Scene) -> None:
    """Keep a scene under its label, or with a number behind it when the label is taken."""
    name, number = label, 1
    while name in named:
        number += 1
        name = f"{label} ({number})"
    named[name] = scene
