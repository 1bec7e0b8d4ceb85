"""Scenes on every mount, and a sun put by hour angle and declination."""

from __future__ import annotations

import numpy as np

from dishtrace.dish.mount import PlacedMirror, placed_mirror
from dishtrace.dish.polar import equatorial_direction
from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.state import sun_state

CIRCLE = 'shape = "circle"\nradius_m = 0.8\ncenter_m = [0, 2]'


def sun_at(hour_angle_deg: float, declination_deg: float, *, latitude_deg: float) -> str:
    """Lines of [sun] for azimuth and elevation of an hour angle (west positive) and a declination."""
    hour, declination, latitude = np.radians([hour_angle_deg, declination_deg, latitude_deg])
    east, north, up = equatorial_direction(hour, declination, latitude=latitude)
    azimuth, elevation = np.degrees([np.arctan2(east, north), np.arcsin(up)])
    return f"azimuth_deg = {float(azimuth)!r}\nelevation_deg = {float(elevation)!r}"


def mount_scene(
    mount: str, *, sun: str, latitude_deg: float | None = 35.0, outline: str = CIRCLE, focal_length: float = 1.0
) -> Scene:
    """A scene of f = 1 m on a mount, invented."""
    site = "" if latitude_deg is None else f"[site]\nlatitude_deg = {latitude_deg!r}\nlongitude_deg = 12\n"
    return scene_from_text(
        f"{site}[sun]\n{sun}\ndni_w_m2 = 900\n[mount]\n{mount}\n"
        f"[dish]\nfocal_length_m = {focal_length!r}\nreflectance = 0.9\n[dish.outline]\n{outline}\n"
    )


def placed(mount: str, **scene) -> PlacedMirror:
    """The mirror of such a scene."""
    made = mount_scene(mount, **scene)
    return placed_mirror(made, sun_state(made))
