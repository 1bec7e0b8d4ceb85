"""Spots of facets in closed form: flat tiles, many tiles, a spherical mirror, a bent strip.

Source of the formulas: derived here from the law of reflection (no publication behind them), but for the transverse
aberration of a spherical mirror, h^3 / (8 f^2) for light from infinity in the paraxial focal plane, which is a
textbook result (from memory; e.g. Born and Wolf, Principles of Optics). The pillbox sun's variance per axis is
theta^2 / 4 (reference: closed form, SUN-13).

Statistical: |z| < 4.5, 12 comparisons, false-alarm rate of the file below 1e-4. Shown to fail when a tile's image is
doubled (slope for direction), when the bend is turned to the other axis, and with a sphere of radius f.
"""

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.scene.read import scene_from_text

DNI = 1000.0
SUN = 4.65e-3
SCENE = """
title = "closed form"
[sun]
dni_w_m2 = 1000
shape = {{ profile = "pillbox", half_angle_mrad = {sun_mrad} }}
[dish]
focal_length_m = {focal}
reflectance = 1.0
[dish.outline]
shape = "circle"
radius_m = {radius}
{facets}
[[screen]]
name = "middle"
offset_m = 0.0
half_width_m = {half}
radii_m = [{inner}]
"""


def traced(*, focal, radius, facets="", half=0.2, inner=0.01, sun_mrad=4.65, rays=2**17):
    """Result of a dish without parts."""
    text = SCENE.format(focal=focal, radius=radius, facets=facets, half=half, inner=inner, sun_mrad=sun_mrad)
    return dt.trace(scene_from_text(text), rays=rays, seed=3)


def one_facet(**keys):
    """Table of a single facet at the vertex."""
    given = {"layout": "square-grid", "pitch_m": 10.0, **keys}
    return "[dish.facets]\n" + "\n".join(f"{key} = {value!r}".replace("'", '"') for key, value in given.items())


def agrees(estimate, expected, relative=0.0):
    """Within 4.5 standard errors and the formula's own error."""
    assert abs(estimate.value - expected) < 4.5 * estimate.se + relative * abs(expected), (estimate, expected)


def test_flat_tile_throws_its_own_shape_blurred_by_the_sun():
    """The image is the tile's square convolved with the sun's disc: variances add, and the middle has one sun."""
    side, focal = 0.10, 2.0
    result = traced(focal=focal, radius=0.2, facets=one_facet(size_m=side, curve="flat"))
    spot = result.screens["middle"]
    spread = np.sqrt(side**2 / 12.0 + (focal * SUN / 2.0) ** 2)
    for rms in spot.rms_xy_m:
        agrees(rms, spread, relative=1e-4)
    agrees(spot.power_w, DNI * side**2, relative=1e-6)
    _, inside = spot.inside[0]
    agrees(inside, DNI * np.pi * 0.01**2, relative=1e-4)


def test_aimed_tiles_lie_on_each_other():
    """N tiles give N suns in the middle; a shallow dish, so that the tiles' lean shortens them by less than 1e-3."""
    side, pitch, focal = 0.08, 0.09, 6.0
    facets = f'[dish.facets]\nlayout = "square-grid"\nsize_m = {side}\npitch_m = {pitch}\ncurve = "flat"'
    result = traced(focal=focal, radius=0.4, facets=facets)
    _, inside = result.screens["middle"].inside[0]
    agrees(inside, result.dish["facets"] * DNI * np.pi * 0.01**2, relative=1e-3)
    assert result.dish["facets"] > 50


def test_small_tiles_tend_to_the_skin():
    """Tiles a tenth of the sun's image: R90 within 2 % of one skin's, and nearer than tiles of half the image."""
    focal, radius = 4.0, 0.12
    skin = traced(focal=focal, radius=radius).focal_plane.radius_m["90"].value
    found = []
    for side in (0.02, 0.004):
        facets = f'[dish.facets]\nlayout = "square-grid"\nsize_m = {side}\npitch_m = {side * 1.001}\ncurve = "flat"'
        found.append(traced(focal=focal, radius=radius, facets=facets).focal_plane.radius_m["90"].value)
    assert abs(found[1] / skin - 1.0) < 0.02
    assert abs(found[1] - skin) < 0.3 * abs(found[0] - skin)


def test_spherical_mirror_has_its_aberration():
    """Uniform aperture of radius h: transverse aberration r = a^3 / (8 f^2), so its rms is h^3 / (16 f^2)."""
    height, focal = 0.15, 1.0
    facets = one_facet(size_m=2.0 * height, shape="circle", curve="spherical", radius_m=2.0 * focal)
    result = traced(focal=focal, radius=0.3, facets=facets, half=2e-3, inner=1e-4, sun_mrad=1e-3)
    agrees(result.screens["middle"].rms_m, height**3 / (16.0 * focal**2), relative=0.02)


@pytest.mark.parametrize("bend", ["x", "y"])
def test_bent_strip_has_a_line_focus(bend):
    """Across the line only the sun's width is left; along it the strip's own length is added."""
    side, focal = 0.20, 2.0
    result = traced(focal=focal, radius=0.3, facets=one_facet(size_m=side, curve="bent", bend=bend))
    rms = dict(zip("xy", result.screens["middle"].rms_xy_m, strict=True))
    along = "y" if bend == "x" else "x"
    agrees(rms[bend], focal * SUN / 2.0, relative=3e-3)
    agrees(rms[along], np.sqrt(side**2 / 12.0 + (focal * SUN / 2.0) ** 2), relative=1e-3)
