"""Measured facets: the fit in the facet's own plane, its quadric or patches, and what is refused; data are invented."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from dishtrace.dish.layouts import facet_figures, facets_of, fits_of, whole_facets
from dishtrace.dish.layouts.patches import SLOPE_BOUND
from dishtrace.dish.measured_facet import fit_facet
from dishtrace.dish.outline import outline_of
from dishtrace.dish.points import MeasuredError
from dishtrace.dish.surface_fit import fit_cap
from dishtrace.errors import InputError
from dishtrace.vec import normalise, rotation_to
from tests.support.facet_scenes import facet_scene

R = 1.3
TILES = 'layout = "square-grid"\nsize_m = 0.1\ngap_m = 0.005\ncurve = "measured"\ncurve_file = "tile.csv"\n'


def gauge(half=0.052, n=13):
    """Places of a depth gauge on a grid. [m]"""
    side = np.linspace(-half, half, n)
    return np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)


def cap(xy, radius=R):
    """A sphere hollow towards +z, by its equation. [m]"""
    return np.column_stack([xy, radius - np.sign(radius) * np.sqrt(radius**2 - np.sum(xy**2, axis=1))])


def wave(xy):
    """A departure of degree 5. [m]"""
    x, y = xy.T / 0.052
    return 2e-5 * (x**3 - x * y**2 + 0.5 * y**5)


def write(folder, points, name="tile.csv"):
    rows = "\n".join(",".join(f"{number:.17g}" for number in point) for point in points)
    (folder / name).write_text(f"# invented\nx_m,y_m,z_m\n{rows}\n", encoding="utf-8")


def laid(folder, points, extra="", lines=TILES, **how):
    write(folder, points)
    scene = facet_scene(lines + extra, folder=folder, **how)
    return scene, outline_of(scene)


@pytest.mark.parametrize("radius", [R, -R, 25.0])
@pytest.mark.parametrize("lean", [0.0, 0.1])
def test_a_sphere_is_found_wherever_it_lies(radius, lean):
    """Radius to rounding, whatever tilt and height the points have; what is told of them goes out of the surface.
    Fails when the parabola of equal curvature is taken for the sphere (1e-3 of R = 1.3 m), or a tilt bends it."""
    turn = rotation_to(normalise(np.array([lean, -0.5 * lean, 1.0])))
    fit = fit_facet(cap(gauge(), radius) @ turn.T + [0.0, 0.0, 0.3], degree=2)
    assert 1.0 / fit.sphere_curvature == pytest.approx(radius, rel=1e-9)
    assert np.abs(fit.beside_sphere).max() < 1e-13
    assert fit.figures()["radii_m"] == pytest.approx([radius, radius], rel=1e-8)
    assert fit.tilt == pytest.approx(turn[:2, 2], abs=2e-2 * lean + 1e-12)
    assert fit.gradient(np.zeros(2)) == pytest.approx([0.0, 0.0], abs=1e-12)
    assert fit.height(np.zeros(2)) == pytest.approx(0.0, abs=1e-13)
    assert fit.touching_quadric() == pytest.approx(np.array([1, 1, 1, 0, 0, 0]) / (2.0 * radius), abs=1e-9)


def test_a_plane_has_no_radius():
    fit = fit_facet(np.column_stack([gauge(), np.full(169, 0.02)]), degree=2)
    assert fit.figures()["radius_m"] is None
    assert fit.figures()["focal_length_m"] is None
    assert fit.touching_quadric() == pytest.approx(np.zeros(6), abs=1e-12)


def test_a_bent_sheet_is_told_by_its_two_radii():
    """A parabola of radius 0.8 m at its vertex along a line 30 degrees from x, straight across."""
    xy = gauge()
    c, s = np.cos(np.radians(30.0)), np.sin(np.radians(30.0))
    fit = fit_facet(np.column_stack([xy, (xy @ [c, s]) ** 2 / 1.6]), degree=2)
    across, along = fit.figures()["radii_m"]
    assert across == pytest.approx(0.8, rel=2e-3)
    assert along is None or abs(along) > 500.0
    bent = np.array([c * c, s * s, c * s]) / 1.6
    assert fit.touching_quadric()[[0, 1, 3]] == pytest.approx(bent, abs=2e-3)


def test_noise_scatters_the_radius_as_least_squares_says(seed):
    """R from 60 noisy draws: the mean within 4.6 standard errors of the truth (false alarms below 1e-5), and the
    scatter within a third of that of a parabola's coefficient. Fails for a factor of 2 or a diameter told."""
    rng, xy, noise = np.random.default_rng(seed), gauge(), 5e-6
    found = [fit_cap(cap(xy) + noise * np.outer(rng.standard_normal(169), [0, 0, 1])).curvature for _ in range(60)]
    square = 0.5 * np.sum(xy**2, axis=1)
    expected = noise / np.sqrt(np.sum((square - square.mean()) ** 2))
    assert abs(np.mean(found) - 1.0 / R) < 4.6 * np.std(found, ddof=1) / np.sqrt(60)
    assert np.std(found, ddof=1) == pytest.approx(expected, rel=0.33)


def test_height_error_is_taken_out_of_the_slope(seed):
    """Waves of a known slope below the fit come back, the gauge's noise does not. A wave k = 600 / m, 2 um high, has
    the slope k h / 2 per axis (half of the squares along x, half along y)."""
    xy, noise = gauge(n=41), 2e-6
    waves = 1e-6 * (np.cos(600.0 * xy[:, 0]) + np.cos(600.0 * xy[:, 1] + 1.0))
    points = cap(xy) + np.outer(waves + noise * np.random.default_rng(seed).standard_normal(len(xy)), [0, 0, 1])
    with_noise, without = (fit_facet(points, degree=2, height_error=error).slope_error for error in (0.0, noise))
    # neighbours d = 2.6 mm apart average the slope of a wave by sinc(k d / 2) = 0.90
    assert without == pytest.approx(0.9 * 1e-6 * 600.0 * np.sqrt(0.5), rel=0.25)
    assert with_noise > 2.0 * without


def test_tiles_carry_the_quadric_and_the_slopes(tmp_path):
    """One quadric a tile; slope of the dish and of the fit add in squares."""
    noise = 5e-6 * np.random.default_rng(3).standard_normal((169, 1)) * [0, 0, 1]
    scene, outline = laid(tmp_path, cap(gauge()) + noise, dish="slope_error_mrad = 2")
    fits = fits_of(scene, outline)
    fit = fits.facets["tile.csv"]
    facets = facets_of(scene, outline, fits=fits)
    assert len(facets) == len(np.unique(facets.number)) > 100
    assert facets.quadric == pytest.approx(np.tile(fit.touching_quadric(), (len(facets), 1)), rel=1e-12)
    assert facets.slope == pytest.approx(np.hypot(2e-3, fit.slope_error))
    assert fit.slope_error > 1e-4
    (told,) = facet_figures(scene, facets, fits)
    assert (told["file"], told["facets"], told["patches"]) == ("tile.csv", len(facets), 1)
    assert told["radius_m"] == pytest.approx(R, rel=0.01)


def test_an_exact_sphere_gives_the_same_facets_as_the_word_spherical(tmp_path):
    scene, outline = laid(tmp_path, cap(gauge()))
    measured = facets_of(scene, outline)
    plain = facet_scene(f'layout = "square-grid"\nsize_m = 0.1\ngap_m = 0.005\ncurve = "spherical"\nradius_m = {R}')
    spherical = facets_of(plain, outline_of(plain))
    for key in ("number", "origin", "axes"):
        assert np.array_equal(getattr(measured, key), getattr(spherical, key))
    assert measured.quadric == pytest.approx(spherical.quadric, abs=1e-9)


def test_patches_follow_a_form_that_no_quadric_has(tmp_path):
    """All patches of a tile have its number and lie on its fit, normals within the bound told; they cover the tile, are
    tilted with it, and none is left when it is missing. Fails when patches are laid in the dish's axes."""
    points = cap(gauge()) + np.outer(wave(gauge()), [0, 0, 1])
    scene, outline = laid(tmp_path, points, "curve_degree = 5\ncanting_error_mrad = 4\nmissing = [7]\n")
    fits = fits_of(scene, outline)
    fit = fits.facets["tile.csv"]
    whole, facets = whole_facets(scene, outline, fits=fits), facets_of(scene, outline, fits=fits)
    assert 7 not in facets.number
    assert set(facets.number) == set(whole.number)
    assert len(facets) > 4 * len(whole)
    place = 11
    tile, mine = whole.taken(np.array([place])), np.flatnonzero(facets.number == whole.number[place])
    area = 0.0
    for i in mine:
        places, normals = facets.surface(i, facets.outlines[i].quadrature(3)[0])
        local = (places - tile.origin[0]) @ tile.axes[0].T
        assert np.abs(local[:, 2] - fit.height(local[:, :2])).max() < 1e-6
        bent = normals @ tile.axes[0].T
        assert np.abs(-bent[:, :2] / bent[:, 2:] - fit.gradient(local[:, :2])).max() < 1.1 * SLOPE_BOUND
        area += facets.taken(np.array([i])).surface_areas()[0]
    assert area == pytest.approx(0.01, rel=2e-3)
    (told,) = facet_figures(scene, facets, fits)
    assert told["patches"] == len(mine)


def test_each_row_of_a_list_may_have_a_shape_of_its_own(tmp_path):
    write(tmp_path, cap(gauge(), 1.1), "first.csv")
    write(tmp_path, cap(gauge(), 1.5), "second.csv")
    (tmp_path / "list.csv").write_text(
        "number,x_m,y_m,size_m,curve,curve_file\n1,0,0,0.1,measured,first.csv\n2,0.3,0,0.1,measured,second.csv\n"
        "3,0,0.3,0.1,flat,\n",
        encoding="utf-8",
    )
    scene = facet_scene('layout = "list"\nfile = "list.csv"\n', folder=tmp_path)
    fits = fits_of(scene, outline_of(scene))
    facets = facets_of(scene, outline_of(scene), fits=fits)
    assert 0.5 / facets.quadric[:2, 0] == pytest.approx([1.1, 1.5], rel=1e-8)
    assert not facets.quadric[2].any()
    assert [told["facets"] for told in facet_figures(scene, facets, fits)] == [1, 1]


@pytest.mark.parametrize(
    "lines",
    [
        'layout = "hex-grid"\nsize_m = 0.1\ngap_m = 0.002',
        'layout = "rings"\nsize_m = 0.1\ngap_m = 0.006\ninner_radius_m = 0.05\nshape = "square"',
        'layout = "petals"\ncount = 60\ninner_radius_m = 0.65\ngap_m = 0.002',
        'layout = "strips"\nwidth_m = 0.09\nlength_m = 0.09',
    ],
)
def test_every_layout_takes_a_measured_facet(tmp_path, lines):
    write(tmp_path, cap(gauge(half=0.06)))
    scene = facet_scene(f'{lines}\ncurve = "measured"\ncurve_file = "tile.csv"', folder=tmp_path)
    facets = facets_of(scene, outline_of(scene))
    assert facets.quadric[0] == pytest.approx(np.array([1, 1, 1, 0, 0, 0]) / (2.0 * R), abs=1e-9)


def test_a_mesh_in_millimetres(tmp_path):
    from scipy.spatial import Delaunay

    points = cap(gauge())
    trimesh.Trimesh(1e3 * points, Delaunay(points[:, :2]).simplices, process=False).export(tmp_path / "tile.stl")
    lines = TILES.replace("tile.csv", "tile.stl") + 'curve_unit = "mm"'
    scene = facet_scene(lines, folder=tmp_path)
    fit = fits_of(scene, outline_of(scene)).facets["tile.stl"]
    assert 1.0 / fit.sphere_curvature == pytest.approx(R, rel=1e-4)


@pytest.mark.parametrize(
    ("points", "text"),
    [
        (cap(gauge()) + [0.052, 0.052, 0.0], r"has no points near the rim at \[-?0.05, -?0.05\] m"),
        (0.3 * cap(gauge()), r"has no points near the rim at"),
        (cap(gauge())[np.hypot(*gauge().T) > 0.03], r"has no point within 0.03\d* m of"),
        (np.column_stack([np.linspace(-1, 1, 40), np.zeros(40), np.linspace(0, 1, 40)]), "lie on a line or a curve"),
        (1e-3 * cap(gauge()), "has points over 0.000104 m, but the facet is 0.1 m wide; check the unit"),
    ],
)
def test_points_that_no_facet_can_have(tmp_path, points, text):
    scene, outline = laid(tmp_path, points)
    with pytest.raises(InputError, match=rf'dish.facets.curve_file = "tile.csv" .*({text})'):
        facets_of(scene, outline)


@pytest.mark.parametrize(
    ("lines", "text"),
    [
        (TILES.replace('curve_file = "tile.csv"', ""), "dish.facets.curve_file is missing; name the csv or mesh file"),
        (TILES.replace("tile.csv", "gone.csv"), 'curve_file = "gone.csv" does not exist'),
        (TILES.replace("tile.csv", "tile.txt"), 'curve_file = "tile.txt" must end in .csv, .stl'),
        (TILES.replace('"measured"', '"flat"'), 'curve_file = "tile.csv" is not used with curve = "flat"'),
        (TILES + 'curve_unit = "mm"', 'curve_unit = "mm" is only for mesh files; a csv of points is in metres'),
        (TILES + "radius_m = 2", 'radius_m = 2 is not used with curve = "measured"'),
        (TILES + "curve_degree = 1", "curve_degree = 1 must be a whole number >= 2 and <= 12"),
    ],
)
def test_keys_that_do_not_go_together(tmp_path, lines, text):
    write(tmp_path, cap(gauge()))
    (tmp_path / "tile.txt").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match=text):
        facet_scene(lines, folder=tmp_path)


def test_rows_that_need_a_file_or_name_a_wrong_one(tmp_path):
    write(tmp_path, cap(gauge()))
    (tmp_path / "list.csv").write_text(
        "number,x_m,y_m,size_m,curve,curve_file\n1,0,0,0.1,measured,\n2,0.3,0,0.1,flat,tile.csv\n", encoding="utf-8"
    )
    with pytest.raises(InputError) as caught:
        facet_scene('layout = "list"\nfile = "list.csv"', folder=tmp_path)
    told = [str(fault) for fault in caught.value.faults]
    assert told[0].startswith("list.csv:2: curve = measured needs a file of points; name it in curve_file")
    assert told[1].startswith("list.csv:3: curve_file = tile.csv is not used with curve flat")
    (tmp_path / "list.csv").write_text(
        "number,x_m,y_m,size_m,curve,curve_file\n1,0,0,0.1,measured,gone.csv\n", encoding="utf-8"
    )
    with pytest.raises(InputError, match=r"list.csv:2: curve_file = gone.csv does not exist"):
        facet_scene('layout = "list"\nfile = "list.csv"', folder=tmp_path)


def test_a_tilt_beyond_the_plane_is_refused():
    turn = rotation_to(normalise(np.array([0.8, 0.0, 1.0])))
    with pytest.raises(MeasuredError, match="z is far from square"):
        fit_facet(cap(gauge()) @ turn.T, degree=2)
