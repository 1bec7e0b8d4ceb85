"""Geometry of facets against published or derived values from outside the code."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.facets import form_matrix
from dishtrace.dish.layouts import facets_of, layout_summary, measured_figures
from dishtrace.dish.layouts.curves import quadrics
from dishtrace.dish.layouts.plan import laid_out
from dishtrace.dish.outline import outline_of, rectangle
from dishtrace.scene.read import scene_from_text
from tests.support.facet_scenes import drawn

# Paraboloid through a place C at the distance rho = 2 from the focus and the angle psi from the axis:
# f = rho cos^2(psi/2), and the radii of curvature at C, 2 rho / cos(psi/2) in the plane through the axis and
# 2 rho cos(psi/2) square to it. Derived, product 4 rho^2 (the relations also reproduce the coefficients published by
# A. Munir, O. Hensel, W. Scheffler, Solar Energy 84 (2010) 1490-1502).
CURVATURES = [
    (66.56, 1.397789, 4.78469, 3.34400),
    (78.28, 1.203129, 5.15726, 3.10242),
    (90.00, 1.000000, 5.65685, 2.82843),
    (101.72, 0.796871, 6.33696, 2.52487),
    (113.44, 0.602211, 7.28955, 2.19492),
]


@pytest.mark.parametrize(("angle_deg", "focal_length", "meridional", "sagittal"), CURVATURES)
def test_curvatures_of_parent_facets(angle_deg, focal_length, meridional, sagittal):
    """The second-order part of a parent facet, at the focal length's digits. Fails when the slope is left out of M."""
    radius = 2.0 * focal_length * np.tan(np.radians(angle_deg / 2.0))
    place = radius * np.array([[np.cos(0.4), np.sin(0.4)]])
    laid = laid_out(place, np.array([0.9]), [rectangle((0.1, 0.1))], focal_length=focal_length)
    form = quadrics(laid, curve="parent", radius=None, bend=laid.radial, focal_length=focal_length)[0]
    bent = np.linalg.eigvalsh(form_matrix(form)[:2, :2])
    assert 1.0 / (2.0 * bent) == pytest.approx([meridional, sagittal], rel=2e-6)


@pytest.mark.parametrize(("angle_deg", "focal_length", "meridional", "sagittal"), CURVATURES)
def test_default_sphere_is_the_mean_of_the_two(angle_deg, focal_length, meridional, sagittal):
    """Twice the distance from the focus, 2 rho = 4, is the geometric mean of the two radii."""
    radius = 2.0 * focal_length * np.tan(np.radians(angle_deg / 2.0))
    laid = laid_out(np.array([[0.0, radius]]), np.zeros(1), [rectangle((0.1, 0.1))], focal_length=focal_length)
    form = quadrics(laid, curve="spherical", radius=None, bend=laid.radial, focal_length=focal_length)[0]
    assert 1.0 / (2.0 * form[0]) == pytest.approx(4.0, abs=1e-5)
    assert np.sqrt(meridional * sagittal) == pytest.approx(4.0, abs=1e-5)


@pytest.mark.parametrize(
    ("radius", "count"), [(1, 5), (2, 13), (3, 29), (4, 49), (5, 81), (6, 113), (7, 149), (8, 197), (9, 253), (10, 317)]
)
def test_square_grids_hold_gauss_circle_numbers(radius, count):
    """Lattice points in a circle of whole radius, its border included: OEIS A000328 (from memory; N(5) = 81 is also
    Gauss's own). A pitch of 0.1 m puts the border where 3 times 0.1 is not 0.3 in floating point."""
    lines = 'layout = "square-grid"\nsize_m = 0.05\npitch_m = 0.1'
    facets, _ = drawn(lines, outline=f'shape = "circle"\nradius_m = {radius / 10}')
    assert len(facets) == count


@pytest.mark.parametrize(("radius", "count"), [(1, 7), (2, 19), (3, 37), (4, 61), (5, 91)])
def test_honeycombs_hold_the_numbers_of_the_hexagonal_lattice(radius, count):
    """Points of the hexagonal lattice in a circle of whole radius: partial sums of its theta series 1, 6, 0, 6, 6, 0,
    0, 12, 0, 6, 0, 0, 6, 12, ... (OEIS A004016, from memory)."""
    lines = 'layout = "hex-grid"\nsize_m = 0.05\npitch_m = 0.1'
    facets, _ = drawn(lines, outline=f'shape = "circle"\nradius_m = {radius / 10}')
    assert len(facets) == count


@pytest.mark.parametrize(
    ("focal_length", "center", "radius", "surface", "aperture"),
    [(1.0, 1.6, 0.7, 2.000942, 1.539380), (0.6, 0.0, 0.75, 1.929867, 1.767146)],
)
def test_a_measured_paraboloid_has_its_surface(tmp_path, focal_length, center, radius, surface, aperture):
    """Mirror surface of an off-axis section and of a dish about its axis (derived, reference values 3.1 and 3: closed
    form against quadrature), from exact points on them. Patches lose less than 1e-4 of the area in cracks."""
    grid = np.stack(np.meshgrid(np.linspace(-1.0, 1.0, 41), np.linspace(-1.0, 1.0, 41)), axis=-1).reshape(-1, 2)
    xy = 1.02 * radius * grid[np.hypot(*grid.T) <= 1.0] + [center, 0.0]
    cloud = np.column_stack([xy, np.sum(xy**2, axis=1) / (4.0 * focal_length)])
    np.savetxt(tmp_path / "points.csv", cloud, delimiter=",", header="x_m,y_m,z_m", comments="", fmt="%.17g")
    scene = scene_from_text(
        f"[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = 1.1\nreflectance = 0.9\n[dish.outline]\nshape = 'circle'\n"
        f"radius_m = {radius}\ncenter_m = [{center}, 0]\n[dish.facets]\nlayout = 'measured'\nfile = 'points.csv'\n"
        f"patch_m = 0.03\n",
        folder=tmp_path,
    )
    outline = outline_of(scene)
    summary = layout_summary(facets_of(scene, outline), outline)
    assert summary["mirror_m2"] == pytest.approx(surface, rel=1e-4)
    assert summary["aperture_m2"] == pytest.approx(aperture, rel=1e-4)
    assert measured_figures(scene, outline)["focal_length_m"] == pytest.approx(focal_length, rel=1e-9)
