"""Measured mirrors: fits, what they leave, and the patches that are traced."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from dishtrace.dish.layouts import facets_of, layout_summary, measured_figures
from dishtrace.dish.layouts.overlap import footprints, outline_polygon
from dishtrace.dish.layouts.patches import CRACK_SHARE, SLOPE_BOUND, patch_errors
from dishtrace.dish.measured import fit_mirror, measured_mirror
from dishtrace.dish.outline import circle, outline_of
from dishtrace.dish.surface_fit import fit_paraboloid, neighbour_slope
from dishtrace.errors import InputError
from dishtrace.vec import rotation_to
from tests.support.facet_scenes import HOLED, LATERAL, facet_scene

F = 0.63


def places(n=600, radius=0.76, seed=1, middle=(0.0, 0.0)):
    """Places spread over a disc."""
    rng = np.random.default_rng(seed)
    r, angle = radius * np.sqrt((np.arange(n) + 0.5) / n), 2.399963 * np.arange(n) + 0.1 * rng.random(n)
    return np.stack([r * np.cos(angle), r * np.sin(angle)], axis=-1) + middle


def points(xy, beside=0.0):
    return np.column_stack([xy, np.sum(xy**2, axis=1) / (4.0 * F) + beside])


def moved(cloud, *, lean=(0.03, -0.02), vertex=(0.05, -0.04, 0.3)):
    axis = np.array([*lean, np.sqrt(1.0 - lean[0] ** 2 - lean[1] ** 2)])
    return cloud @ rotation_to(axis).T + vertex


def ripple(xy):
    """A smooth departure of a degree that the polynomial can follow. [m]"""
    x, y = xy.T / 0.76
    return 1e-3 * (x**3 - 0.5 * x * y**2 + 0.7 * y**4 - x**2 * y)


def write(folder, cloud):
    rows = "\n".join(f"{x:.17g},{y:.17g},{z:.17g}" for x, y, z in cloud)
    (folder / "points.csv").write_text(f"# invented\nx_m,y_m,z_m\n{rows}\n", encoding="utf-8")


def scene_of(folder, cloud, extra="", **how):
    write(folder, cloud)
    return facet_scene(f'layout = "measured"\nfile = "points.csv"\n{extra}', folder=folder, **how)


def test_an_exact_paraboloid_is_found_wherever_it_lies():
    """Focal length, vertex and axis to rounding. Fails when the axis is held along z (f is then off by 1e-3)."""
    fit = fit_paraboloid(moved(points(places())))
    assert fit.focal_length == pytest.approx(F, rel=1e-10)
    assert fit.vertex == pytest.approx([0.05, -0.04, 0.3], abs=1e-10)
    assert fit.axis[:2] == pytest.approx([0.03, -0.02], abs=1e-10)
    assert np.abs(fit.residuals(moved(points(places())))).max() < 1e-11


def test_noise_spreads_the_focal_length_as_least_squares_says(seed):
    """f from 60 noisy draws: mean within 4.6 standard errors of the truth (false alarms below 1e-5)."""
    rng = np.random.default_rng(seed)
    xy = places(200)
    found = [fit_paraboloid(points(xy, 2e-4 * rng.standard_normal(len(xy)))).focal_length for _ in range(60)]
    assert abs(np.mean(found) - F) < 4.6 * np.std(found, ddof=1) / np.sqrt(60)
    assert np.std(found) < 2e-3


def test_the_polynomial_follows_a_smooth_departure():
    """A departure of degree 4 lies in the polynomial's space, so height, slopes and curvatures come back exactly."""
    xy = places()
    mirror = fit_mirror(points(xy, ripple(xy)), degree=6, by_fit=False)
    test = places(50, radius=0.7, seed=2)
    step = 1e-5

    def height(at):
        return np.sum(at**2, axis=1) / (4.0 * F) + ripple(at)

    assert mirror.height(test) == pytest.approx(height(test), abs=1e-12)
    for axis in (0, 1):
        shift = step * np.eye(2)[axis]
        slope = (height(test + shift) - height(test - shift)) / (2.0 * step)
        assert mirror.gradient(test)[:, axis] == pytest.approx(slope, abs=1e-9)
        bend = (mirror.gradient(test + shift) - mirror.gradient(test - shift)) / (2.0 * step)
        assert mirror.curvature(test)[:, axis] == pytest.approx(bend, abs=1e-8)
    assert np.abs(mirror.left).max() < 1e-12
    assert mirror.slope_error < 1e-11
    assert mirror.departure(test) == pytest.approx(height(test) - np.sum(test**2, axis=1) / (4.0 * mirror.focal_length))


def test_by_fit_puts_vertex_and_axis_where_the_dish_has_them(tmp_path):
    scene = scene_of(tmp_path, moved(points(places())))
    mirror = measured_mirror(scene, outline_of(scene))
    assert np.abs(mirror.points[:, 2] - np.sum(mirror.points[:, :2] ** 2, axis=1) / (4.0 * F)).max() < 1e-10
    figures = mirror.figures()
    assert figures["focal_length_m"] == pytest.approx(F, rel=1e-9)
    assert figures["tilt_mrad"] == pytest.approx([30.0, -20.0], abs=1e-6)
    assert figures["vertex_m"] == pytest.approx([0.05, -0.04, 0.3], abs=1e-9)
    assert figures["beside_paraboloid_rms_m"] < 1e-10


def test_as_measured_leaves_the_points_in_place(tmp_path):
    cloud = moved(points(places()), lean=(0.004, 0.0), vertex=(0.0, 0.0, 0.01))
    scene = scene_of(tmp_path, cloud, 'placed = "as-measured"\ndegree = 8')
    mirror = measured_mirror(scene, outline_of(scene))
    assert np.array_equal(mirror.points, cloud)
    assert mirror.height(cloud[::7, :2]) == pytest.approx(cloud[::7, 2], abs=2e-7)
    assert mirror.gradient(np.zeros((1, 2)))[0] == pytest.approx([-0.004, 0.0], abs=1e-5)


@pytest.mark.parametrize("wave", [0.3, 0.5])
def test_slope_that_the_fit_leaves(wave):
    """A plane wave much shorter than the fit can follow and much longer than the points' distance: its slope per axis
    is its rms slope over sqrt 2, less what neighbours a distance d apart average out (about (k d)^2 / 24)."""
    xy = places(6000)
    k, height = 2.0 * np.pi / wave / 2.0, 2e-4
    beside = height * np.cos(k * (xy[:, 0] + 0.6 * xy[:, 1]))
    slope = neighbour_slope(xy, beside, free_share=1.0, height_error=0.0)
    wanted = k * height * np.sqrt(0.5) * np.sqrt(1.36) / np.sqrt(2.0)
    assert slope == pytest.approx(wanted, rel=0.05)


def test_height_error_is_taken_out_of_the_slope(seed):
    """White noise is no slope: what is left is within the scatter of m differences, a share sqrt(2 / m) of the
    squares; with 4.6 of them the slope stays below sqrt(4.6 sqrt(2 / m)) of that without the correction."""
    xy = places(3000)
    noise = 1e-4 * np.random.default_rng(seed).standard_normal(len(xy))
    raw = neighbour_slope(xy, noise, free_share=1.0, height_error=0.0)
    corrected = neighbour_slope(xy, noise, free_share=1.0, height_error=1e-4)
    assert corrected < raw * np.sqrt(4.6 * np.sqrt(2.0 / 3000))
    assert raw == pytest.approx(np.sqrt(2.0) * 1e-4 / 0.0265, rel=0.3)


def test_fewer_points_lower_the_degree():
    assert fit_mirror(points(places(30)), degree=6, by_fit=True).degree == 2
    assert fit_mirror(points(places(60)), degree=6, by_fit=True).degree == 4
    assert fit_mirror(points(places(600)), degree=6, by_fit=True).degree == 6


@pytest.mark.parametrize("outline", [HOLED, LATERAL, 'shape = "rectangle"\nsize_m = [1.0, 0.8]'])
def test_patches_cover_the_outline_and_follow_the_fit(tmp_path, outline):
    """All of the outline and nothing beside it; heights and normals within the bounds told, anywhere on the patches."""
    middle = (0.7, 0.2) if outline == LATERAL else (0.0, 0.0)
    xy = places(middle=middle)
    scene = scene_of(tmp_path, points(xy, ripple(xy)), 'placed = "as-measured"', outline=outline)
    dish = outline_of(scene)
    mirror = measured_mirror(scene, dish)
    facets = facets_of(scene, dish)
    summary = layout_summary(facets, dish)
    figures = measured_figures(scene, dish)
    lost = dish.area - summary["aperture_m2"]
    assert 0.0 < lost < 1.1 * figures["patch_cracks_share"] * dish.area < 1.1 * CRACK_SHARE * dish.area
    union = shapely.union_all(footprints(facets))
    assert union.symmetric_difference(outline_polygon(dish)).area < 3.0 * CRACK_SHARE * dish.area
    assert figures["patch_slope_mrad"] <= 1e3 * SLOPE_BOUND
    for i in range(0, len(facets), 5):
        where, normals = facets.surface(i, facets.outlines[i].quadrature(4)[0])
        assert np.abs(where[:, 2] - mirror.height(where[:, :2])).max() < 1.1 * figures["patch_height_m"] + 1e-12
        slopes = -normals[:, :2] / normals[:, 2:]
        stray = np.linalg.norm(slopes - mirror.gradient(where[:, :2]), axis=1)
        assert stray.max() < 1.1e-3 * figures["patch_slope_mrad"] + 1e-12


def test_patches_converge_at_their_orders():
    """Second-order forms stray by the third power of the side in height and by its square in slope."""
    xy = places()
    mirror = fit_mirror(points(xy, ripple(xy)), degree=6, by_fit=False)
    coarse, fine = (patch_errors(mirror, circle(0.75), side) for side in (0.04, 0.02))
    assert coarse.slope / fine.slope == pytest.approx(4.0, rel=0.15)
    assert coarse.height / fine.height == pytest.approx(8.0, rel=0.15)


def test_patch_size_as_given_and_too_small(tmp_path):
    scene = scene_of(tmp_path, points(places()), "patch_m = 0.05")
    outline = outline_of(scene)
    facets = facets_of(scene, outline)
    whole = [shape for shape in footprints(facets) if abs(shape.area - 0.0025) < 1e-6]
    assert len(whole) > 600
    with pytest.raises(InputError, match="patch_m = 0.001 makes more than 20000 patches"):
        scene = scene_of(tmp_path, points(places()), "patch_m = 0.001")
        facets_of(scene, outline)


def test_slopes_of_fit_and_dish_add_in_squares(tmp_path):
    xy = places()
    noise = 1e-4 * np.random.default_rng(3).standard_normal(len(xy))
    scene = scene_of(tmp_path, points(xy, noise), dish="slope_error_mrad = 2")
    outline = outline_of(scene)
    mirror = measured_mirror(scene, outline)
    assert mirror.slope_error > 1e-3
    assert facets_of(scene, outline).slope == pytest.approx(np.hypot(2e-3, mirror.slope_error))


def sheet(thickness):
    """A mesh of a paraboloidal sheet in millimetres: its upper side, and a lower one when it has a thickness."""
    xy = places(400)
    from scipy.spatial import Delaunay

    faces = Delaunay(xy).simplices
    upper = 1e3 * points(xy)
    if not thickness:
        return trimesh.Trimesh(upper, faces, process=False)
    lower = upper - [0.0, 0.0, thickness]
    return trimesh.Trimesh(np.vstack([upper, lower]), np.vstack([faces, faces[:, ::-1] + len(upper)]), process=False)


@pytest.mark.parametrize("thickness", [0.0, 3.0])
def test_a_mesh_gives_its_upper_side(tmp_path, thickness):
    sheet(thickness).export(tmp_path / "mirror.stl")
    scene = facet_scene('layout = "measured"\nfile = "mirror.stl"\nunit = "mm"', folder=tmp_path)
    mirror = measured_mirror(scene, outline_of(scene))
    assert len(mirror.points) == 400
    assert mirror.focal_length == pytest.approx(F, rel=1e-5)
    assert np.abs(mirror.beside_paraboloid).max() < 1e-6


def test_a_mesh_that_looks_down_has_no_upper_side(tmp_path):
    mesh = sheet(0.0)
    mesh.invert()
    mesh.export(tmp_path / "mirror.ply")
    scene = facet_scene('layout = "measured"\nfile = "mirror.ply"\nunit = "mm"', folder=tmp_path)
    with pytest.raises(InputError, match="has 0 corners on its upper side, fewer than the 20 that a fit needs"):
        measured_mirror(scene, outline_of(scene))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("mirror.stl", "dish.facets.unit is missing; a mesh file needs it"),
        ("mirror.txt", 'file = "mirror.txt" must end in .csv, .stl, .obj, .ply, .glb'),
        ("gone.csv", 'file = "gone.csv" does not exist'),
    ],
)
def test_files_that_cannot_be(tmp_path, name, text):
    sheet(0.0).export(tmp_path / "mirror.stl")
    (tmp_path / "mirror.txt").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match=text):
        facet_scene(f'layout = "measured"\nfile = "{name}"', folder=tmp_path)


def test_a_damaged_mesh(tmp_path):
    (tmp_path / "mirror.stl").write_bytes(b"no mesh at all")
    scene = facet_scene('layout = "measured"\nfile = "mirror.stl"\nunit = "mm"', folder=tmp_path)
    with pytest.raises(InputError, match='file = "mirror.stl" (cannot be read as a mesh|has 0 corners)'):
        measured_mirror(scene, outline_of(scene))


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ("x_m,y_m,z_m\n0,0,0\n1,0,\n", "points.csv:3: z_m is empty; it must be a number"),
        ("x_m,y_m,z_m\n0,0,0\n0,0,1\n", r"points.csv:3: 0,0,1 has the x and y of another point \(points.csv:2\)"),
        ("x_m,y_m,z_m\n0,0,0\n0,1,nan\n", "points.csv:3: z_m = nan must be a number"),
        ("x_m,y_m,z_m\n0,0,0\n0,1,1\n", "points.csv: has 2 points, fewer than the 20 that a fit needs"),
        ("x_m,y_m\n0,0\n", "points.csv:1: has no column z_m"),
        ("x_m,y_m,z_m\n0,0,0\n0,0,0,0\n", "points.csv:3: 0,0,0,0 has 4 cells, but the header has 3"),
    ],
)
def test_points_with_holes(tmp_path, rows, text):
    (tmp_path / "points.csv").write_text(rows, encoding="utf-8")
    with pytest.raises(InputError, match=text):
        facet_scene('layout = "measured"\nfile = "points.csv"', folder=tmp_path)


@pytest.mark.parametrize(
    ("cloud", "text"),
    [
        (points(places()) * [1, 1, -1], "has heights that do not rise from the middle to the rim; z_m must grow"),
        (points(places(radius=0.4)), r"has no points near the rim at \[0.75, 0\] m; measure out to the rim"),
        (points(places()[np.hypot(*(places() - [0.3, 0.0]).T) > 0.3]), r"has no point within 0.\d+ m of \["),
        (0.02 * points(places()), "has points over 0.03\\d+ m, but the dish is 1.5 m wide; check the unit"),
        (np.column_stack([np.linspace(-1, 1, 40), np.linspace(0, 2, 40), np.zeros(40)]), "lie on a line or a circle"),
    ],
)
def test_points_that_no_dish_can_have(tmp_path, cloud, text):
    scene = scene_of(tmp_path, cloud)
    with pytest.raises(InputError, match=f'scene:12: dish.facets.file = "points.csv" {text}|{text}'):
        facets_of(scene, outline_of(scene))
