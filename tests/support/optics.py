"""Scenes for the optical tests, and when a traced value counts as equal to a known one."""

from __future__ import annotations

import numpy as np

import dishtrace as dt
from dishtrace.scene.read import scene_from_text

THETA_S = 4.65e-3
"""Half-angle of the pillbox sun of all closed forms here. [rad]"""
POINT_SUN = 'shape = { profile = "pillbox", half_angle_mrad = 0.01 }'
BLACK = "surface = { absorptance = 1.0, emittance = 1.0 }"
DNI = 1000.0
T_LIMIT = 5.5
"""Errors allowed. With the 31 degrees of freedom of 32 blocks |t| > 5.5 has a chance of 5e-6, so that the chance of
a false alarm stays below 1e-3 for 200 comparisons."""


def scene_text(
    *,
    focal_length=1.0,
    rim_deg=45.0,
    radius=None,
    hole=0.0,
    center=(0.0, 0.0),
    sun='shape = { profile = "pillbox", half_angle_mrad = 4.65 }',
    mount="",
    dish="",
    reflectance=1.0,
    more="",
):
    """A round dish, by its rim angle or its radius, with DNI 1000 W/m2; `sun`, `mount`, `dish` and `more` add lines."""
    radius = 2.0 * focal_length * np.tan(np.radians(0.5 * rim_deg)) if radius is None else radius
    return f"""
[sun]
dni_w_m2 = {DNI}
{sun}
{"[mount]" if mount else ""}
{mount}
[dish]
focal_length_m = {float(focal_length)!r}
reflectance = {reflectance}
{dish}
[dish.outline]
shape = "circle"
radius_m = {float(radius)!r}
hole_radius_m = {float(hole)!r}
center_m = {numbers(center)}
{more}
"""


def numbers(values):
    """A list of numbers as the scene file wants it."""
    return str([float(value) for value in values])


def screen_text(
    name="screen", *, offset=None, center=None, facing=(0.0, 0.0, -1.0), half_width=0.1, radii=(), frame="dish"
):
    """A screen that records through receivers."""
    place = f"offset_m = {float(offset)!r}" if center is None else f"center_m = {numbers(center)}"
    return f"""
[[screen]]
name = "{name}"
frame = "{frame}"
{place}
facing = {numbers(facing)}
half_width_m = {float(half_width)!r}
radii_m = {numbers(radii)}
through_receivers = true
"""


def part_text(name, shape, *, role="receiver", center=(0.0, 0.0, 0.0), surface=BLACK, **keys):
    """A part; sizes and the like as keywords, numbers or sequences of them or texts."""
    lines = [f"{key} = {_toml(value)}" for key, value in keys.items()]
    return "\n".join(
        ["\n[[part]]", f'name = "{name}"', f'role = "{role}"', f'shape = "{shape}"', f"center_m = {numbers(center)}"]
        + [surface, *lines, ""]
    )


def _toml(value):
    if isinstance(value, str):
        return f'"{value}"'
    return repr(float(value)) if np.isscalar(value) else numbers(value)


def traced(text, *, rays, seed, folder=None):
    """The result of a scene given as text."""
    return dt.trace(scene_from_text(text, folder=folder), rays=rays, seed=seed)


def assert_agrees(estimate, expected, *, relative=0.0, absolute=0.0):
    """The estimate is the expected value within `T_LIMIT` of its errors and what the reference or the model leave open.

    `relative` and `absolute` are the reference's own error; 1e-9 of the value is always allowed for rounding.
    """
    left_open = np.hypot(relative * abs(expected), absolute) + 1e-9 * abs(expected)
    allowed = T_LIMIT * (estimate.se or 0.0) + left_open
    assert abs(estimate.value - expected) <= allowed, (
        f"{estimate.value!r} +- {estimate.se!r} is not {expected!r} within {allowed:.3g}"
    )
