"""What `dishtrace check` says of a sound scene: sun, dish and parts, before any ray is traced."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.dish.paraboloid import rim_angle
from dishtrace.flux.placed import light_key, placed
from dishtrace.study.variants import shared_of

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

WIDTH = 80


def overview(scene: Scene) -> dict[str, Any]:
    """Place everything in a scene as a run would, without tracing.

    Parameters
    ----------
    scene : Scene
        As read.

    Returns
    -------
    dict
        title, sun, dish, parts, names of screens and variants, and notes, ready for JSON; units stand in the keys.

    Raises
    ------
    InputError
        With every fault that shows only when the files are read and the parts are placed, of the scene and of its
        variants.
    """
    shared = shared_of([scene, *scene.variant_scenes.values()])
    common, meshes = placed(scene, common=shared[light_key(scene)])
    sun, mirror = common.sun, common.mirror
    rim = float(np.degrees(rim_angle(mirror.outline, focal_length=mirror.focal_length)))
    parts = {
        mesh.name: {
            "role": mesh.role,
            "triangles": len(mesh.areas),
            "area_m2": float(mesh.areas.sum()),
            "is_closed": bool(mesh.is_closed),
        }
        for mesh in meshes
    }
    notes = [*scene.notes, *sun.notes, *mirror.pose.notes, *(note for mesh in meshes for note in mesh.notes)]
    return {
        "scene": scene.title,
        "sun": {"dni_w_m2": sun.dni_w_m2, "azimuth_deg": sun.azimuth_deg, "elevation_deg": sun.elevation_deg},
        "dish": {
            "outline_m2": float(mirror.vector_area[2]),
            "focal_length_m": float(mirror.focal_length),
            "rim_angle_deg": rim,
        },
        "parts": parts,
        "screens": [screen.name for screen in scene.screens],
        "variants": list(scene.variant_scenes),
        "notes": notes,
    }


def overview_lines(path: str, facts: dict[str, Any]) -> list[str]:
    """The overview as lines of at most 80 columns.

    Parameters
    ----------
    path : str
        The scene file as the user typed it.
    facts : dict
        From `overview`.
    """
    sun, dish = facts["sun"], facts["dish"]
    direction = "overhead, no direction given"
    if sun["azimuth_deg"] is not None:
        direction = f"azimuth {sun['azimuth_deg']:.2f} deg, elevation {sun['elevation_deg']:.2f} deg"
    lines = [
        f"{path}: sound",
        f"  sun   {sun['dni_w_m2']:.0f} W/m2, {direction}",
        f"  dish  outline {dish['outline_m2']:.4g} m2, focal length {dish['focal_length_m']:g} m, "
        f"rim angle {dish['rim_angle_deg']:.1f} deg",
    ]
    for name, part in facts["parts"].items():
        form = "closed" if part["is_closed"] else "open sheet"
        lines += textwrap.wrap(
            f'part "{name}" ({part["role"]}): {part["area_m2"]:.4g} m2 in {part["triangles"]} triangles, {form}',
            WIDTH,
            initial_indent="  ",
            subsequent_indent="    ",
        )
    for kind in ("screens", "variants"):
        if facts[kind]:
            quoted = ", ".join(f'"{name}"' for name in facts[kind])
            lines += textwrap.wrap(f"{kind} {quoted}", WIDTH, initial_indent="  ", subsequent_indent="    ")
    for note in facts["notes"]:
        lines += textwrap.wrap(note, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines
