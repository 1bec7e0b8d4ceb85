"""The lateral section whose focus stays put on the ground: from the scene to its pose and mirror of the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import Outline, outline_of
from dishtrace.dish.paraboloid import normal
from dishtrace.dish.polar import polar_setting
from dishtrace.dish.pose import Pose, lean_of, normals_of, refuse_sun_behind
from dishtrace.dish.section import Section, least_opening, mirror_of_day, rim_outline, section_about
from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

CENTER_TOLERANCE_M = 1e-6
"""By how much the section's centre may lie beside the y axis, for rounding. [m]"""


@dataclass(frozen=True, eq=False)
class Reset:
    """A section as it was re-set for a day.

    Parameters
    ----------
    section : Section
    declination : float
        As set, positive in the summer of the site's hemisphere. [rad]
    equinox, day : Facets
        The mirror at equinox and on the day, one facet each, each in the dish frame of its own day.
    pose : Pose
    """

    section: Section
    declination: float
    equinox: Facets
    day: Facets
    pose: Pose


def stationary_reset(scene: Scene, sun_state: SunState) -> Reset:
    """A section with a stationary focus at the scene's moment.

    Parameters
    ----------
    scene : Scene
        With `mount.kind = "stationary-focus"`.
    sun_state : SunState

    Returns
    -------
    Reset

    Raises
    ------
    InputError
        If the outline does not suit the mount, the relations cannot flex it to the declination set, or the
        setting leaves the sun behind the mirror.
    """
    outline = outline_of(scene)
    section = _section(scene, outline)
    setting = polar_setting(scene, sun_state)
    declination = setting.summer_declination
    _refuse_angle(scene, section, declination)
    rim = rim_outline(outline, section)
    slope = nominal(scene.dish.slope_error_mrad) * 1e-3
    is_flexed = scene.mount.frame == "flexed"
    equinox = mirror_of_day(section, rim, 0.0, is_flexed=True, slope=slope)
    day = mirror_of_day(section, rim, declination, is_flexed=is_flexed, slope=slope)
    _refuse_fold(scene, outline, equinox, day)
    rotation = lean_of(scene) @ setting.axes
    sun = rotation @ sun_state.direction
    refuse_sun_behind(
        scene,
        sun,
        sun_state,
        normals=normals_of(day),
        key=("mount", "kind"),
        remedy="check clock_error_min (minutes, ahead positive) and set_declination_deg",
    )
    focal_length = section.focal_length(declination)
    focus = np.array([0.0, 0.0, focal_length])
    notes = (setting.note(sun), _reset_note(section, declination, is_flexed=is_flexed))
    return Reset(section, declination, equinox, day, Pose(rotation, sun, focus, focal_length, notes=notes))


def _section(scene: Scene, outline: Outline) -> Section:
    """The section of a scene, its outline's centre checked against the side of the focus."""
    x, y = outline.center
    side = scene.mount.side
    puts = f"puts the outline's centre at ({x:.6g}, {y:.6g})"
    if abs(x) > CENTER_TOLERANCE_M:
        allowed = (
            f'{puts}, but mount.kind = "stationary-focus" needs it on the y axis, which looks to the celestial '
            f"pole, to {CENTER_TOLERANCE_M:g} m"
        )
        raise InputError(_center_fault(scene, allowed=allowed, remedy="give the outline a centre with x = 0"))
    if (y if side == "low" else -y) <= CENTER_TOLERANCE_M:
        allowed = (
            f'{puts}, but mount.side = "{side}" needs y {">" if side == "low" else "<"} 0: y looks to the celestial '
            f"pole, and the focus lies on the {side} side of the mirror"
        )
        raise InputError(_center_fault(scene, allowed=allowed, remedy="move the outline, or choose the other side"))
    return section_about(float(y), focal_length=nominal(scene.dish.focal_length_m))


def _center_fault(scene: Scene, *, allowed: str, remedy: str) -> Fault:
    """A fault at the key that says where the outline's centre is."""
    key = "vertices_m" if scene.dish.outline.shape == "polygon" else "center_m"
    return scene.fault(("dish", "outline", key), allowed=allowed, remedy=remedy)


def _refuse_angle(scene: Scene, section: Section, declination: float) -> None:
    psi, psi_0 = np.degrees([section.angle(declination), section.equinox_angle])
    if 0.0 < psi < 180.0:
        return
    allowed = (
        f"makes a section that cannot be flexed: from the focus its centre is seen {psi_0:.1f} deg off the axis at "
        f"equinox and would be seen at {psi:.1f} deg at the declination set, outside 0 to 180"
    )
    remedy = "move the outline along y, or change the focal length"
    raise InputError(_center_fault(scene, allowed=allowed, remedy=remedy))


def _refuse_fold(scene: Scene, outline: Outline, equinox: Facets, day: Facets) -> None:
    """Refuse a mirror that does not lie over its rim plane as a single sheet, at equinox or on the day."""
    if _is_folded_at_equinox(outline, equinox, focal_length=nominal(scene.dish.focal_length_m)):
        when = "at equinox"
    elif _is_folded(day):
        when = "at the declination set"
    else:
        return
    allowed = (
        f"makes a section that cannot be flexed: {when} its edge bends past square to the rim plane, or away from "
        "the sun"
    )
    remedy = "make the outline smaller or the focal length longer, or move its centre"
    raise InputError(_center_fault(scene, allowed=allowed, remedy=remedy))


def _is_folded_at_equinox(outline: Outline, equinox: Facets, *, focal_length: float) -> bool:
    """Whether the mirror over the outline anywhere looks away from the normal at its centre; first at its edge."""
    x, y = outline.boundary(2048).T
    return bool(np.any(normal(x, y, focal_length=focal_length) @ equinox.axes[0, 2] <= 0.0))


def _is_folded(day: Facets) -> bool:
    rim = day.outlines[0]
    if least_opening(day.quadric[0], rim) <= 0.0:
        return True
    _, normals = day.surface(0, rim.boundary(2048))
    return bool(np.any(normals[:, 2] <= 0.0))


def _reset_note(section: Section, declination: float, *, is_flexed: bool) -> str:
    half, tilt = np.degrees([0.5 * section.angle(declination), 0.5 * declination])
    kind = "flexed to" if is_flexed else "kept stiff beside"
    return (
        f"the section is turned by {tilt:+.2f} deg about its centre since equinox (positive towards the pole) and "
        f"{kind} the paraboloid of focal length {section.focal_length(declination):.4f} m "
        f"({section.focal_length(0.0):.4f} m at equinox); light meets its centre {half:.2f} deg off square"
    )
