"""The small plate scene of the tests of the command and of comparisons: a round dish, a plate, perhaps an arm."""

from __future__ import annotations

GREY = "{{ absorptance = {0}, emittance = {0}, specular_share = 0.0 }}"
BLACK = GREY.format(0.9)


def plate_scene(
    title: str = "Invented test dish",
    *,
    sun: str = "",
    dni: str = "900.0",
    radius_m: float = 0.02,
    surface: str = BLACK,
    arm: tuple[float, str] | None = None,
    screen: str = "",
) -> str:
    """Text of a scene of f = 0.9 m and 1 m radius, 8192 rays, seed 3. Invented.

    Parameters
    ----------
    title : str
    sun : str
        Lines of [sun] above its brightness, each with its line end.
    dni : str
        As written. [W/m2]
    radius_m : float
        Of the plate. [m]
    surface : str
        Of the plate, as written.
    arm : (float, str), optional
        Length of a box beside the plate and its middle, as written. [m]
    screen : str
        Tables between the parts and [run].
    """
    beside = ""
    if arm is not None:
        length, center = arm
        beside = (
            f'[[part]]\nname = "arm"\nrole = "stand"\nshape = "box"\nsize_m = [0.02, {length}, 0.02]\n'
            f"center_m = {center}\nsurface = {GREY.format(0.6)}\n"
        )
    return (
        f'title = "{title}"\n[sun]\n{sun}dni_w_m2 = {dni}\n'
        "[dish]\nfocal_length_m = 0.9\nreflectance = 0.9\nslope_error_mrad = 3.0\n"
        'outline = { shape = "circle", radius_m = 1.0 }\n'
        f'[[part]]\nname = "plate"\nrole = "receiver"\nshape = "disc"\nradius_m = {radius_m}\naxis = [0, 0, -1]\n'
        f"surface = {surface}\n{beside}{screen}[run]\nrays = 8192\nseed = 3\n"
    )
