"""What is told, drawn and written of a measured mirror; the dish and its points are invented."""

from __future__ import annotations

import csv
import warnings

import numpy as np
import pytest
from support.fake_result import make_result

from dishtrace.dish.layouts import facet_figures, facets_of, fits_of, measured_figures
from dishtrace.dish.outline import outline_of, rectangle
from dishtrace.report import exports, measured, pictures, tables
from tests.support.facet_scenes import HOLED, facet_scene

F = 0.63


def cloud(n=300, form=1e-3, noise=2e-4):
    """Points over a disc: a paraboloid, a saddle of cube form (mean 0, no focal length in it) and noise."""
    r, angle = 0.76 * np.sqrt((np.arange(n) + 0.5) / n), 2.399963 * np.arange(n)
    x, y = r * np.cos(angle), r * np.sin(angle)
    saddle = form * (x**3 - 3.0 * x * y**2) / 0.76**3
    return np.column_stack([x, y, r**2 / (4.0 * F) + saddle + noise * np.random.default_rng(5).standard_normal(n)])


def measured_result(folder, points, extra=""):
    """A result of a measured mirror, put together without a trace."""
    rows = "\n".join(f"{x:.17g},{y:.17g},{z:.17g}" for x, y, z in points)
    (folder / "points.csv").write_text(f"# invented\nx_m,y_m,z_m\n{rows}\n", encoding="utf-8")
    lines = f'layout = "measured"\nfile = "points.csv"\n{extra}'
    scene = facet_scene(lines, outline=HOLED, folder=folder).model_copy(update={"title": "Invented bowl"})
    result = make_result()
    result.scene = scene
    result.fits = fits_of(scene, outline_of(scene))
    result.dish = result.dish | {"measured": measured_figures(scene, outline_of(scene), fits=result.fits)}
    return result


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    return measured_result(tmp_path_factory.mktemp("bowl"), cloud())


@pytest.fixture(scope="module")
def mirror(result):
    return result.fits.mirror


def texts_of(figure):
    import matplotlib.text

    return [text.get_text() for text in figure.findobj(matplotlib.text.Text)]


def test_the_summary_tells_the_fit_and_why_it_has_no_errors(result):
    figures = result.dish["measured"]
    text = tables.summary(result).plain
    fitted = f"{figures['focal_length_m']:.4f}"
    assert f"\nMeasured mirror, 300 points\n  fitted focal length {fitted} m (scene: 0.6 m)" in text
    assert f"fit of degree 6 leaves {1e3 * figures['left_rms_m']:.2g} mm rms" in text
    assert f"slope error {figures['slope_error_mrad']:.2g} mrad per axis" in text
    words = " ".join(text.split())
    assert "No standard errors: what the fit leaves is form and measuring error, mixed. Heights count as exact" in words
    assert max(map(len, text.splitlines())) <= tables.WIDTH


def test_the_summary_tells_the_height_error_that_was_taken_out(tmp_path):
    lines = tables.measured(measured_result(tmp_path, cloud(), "height_error_m = 0.0002"))
    told = " ".join(" ".join(lines).split())
    assert "An error of 0.2 mm of the heights is taken out" in told and "exact" not in told


def test_other_mirrors_have_no_word_map_or_table_of_a_fit(tmp_path):
    plain = make_result()
    assert tables.measured(plain) == []
    assert plain.fits.mirror is None
    assert "measured-mirror.csv" not in exports.write_tables(plain, tmp_path)


def test_rounding_is_not_told_as_a_height(tmp_path):
    """An exact paraboloid. Fails when figures are written with two digits however small."""
    exact = measured_result(tmp_path, cloud(form=0.0, noise=0.0))
    lines = "\n".join(tables.measured(exact))
    assert lines.count("less than 0.0001 mm rms") == 2 and "slope error less than 0.0001 mrad" in lines
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = pictures.draw_measured(exact, exact.fits.mirror)
    image = figure.axes[0].images[0]
    assert image.get_clim() == pytest.approx((-1e-3, 1e-3))
    assert not figure.axes[0].collections
    figure.draw_without_rendering()
    for bar in (figure.axes[1], figure.axes[3]):
        assert bar.get_tightbbox().x1 <= figure.bbox.x1


def test_the_table_adds_up_to_the_measured_heights(result, mirror, tmp_path):
    """z = paraboloid + departure + left. Fails when left is told above the paraboloid instead of the surface."""
    assert "measured-mirror.csv" in exports.write_tables(result, tmp_path)
    lines = (tmp_path / "measured-mirror.csv").read_text(encoding="utf-8").splitlines()
    heads = [line for line in lines if line.startswith("# ")]
    assert "Invented bowl" in heads[0] and "300 points of 'points.csv', placed by-fit" in heads[1]
    assert all("[m]" in head for head in heads[2:5])
    rows = list(csv.reader(lines[len(heads) :]))
    assert rows[0] == ["x_m", "y_m", "z_m", "departure_m", "left_m"]
    x, y, z, departure, left = np.array(rows[1:], dtype=float).T
    focal_length = float(heads[5].split("f = ")[1].split()[0])
    assert focal_length == pytest.approx(mirror.focal_length, rel=1e-8)
    assert z == pytest.approx((x**2 + y**2) / (4.0 * focal_length) + departure + left, abs=3e-9)
    assert np.sqrt(np.mean(left**2)) == pytest.approx(result.dish["measured"]["left_rms_m"], rel=1e-6)


def test_the_map_shows_the_form_inside_the_outline_only(tmp_path):
    """A saddle of cube form 1 mm high at 0.76 m, not noisy, is the departure itself: the fit of paraboloids has no
    such term, so what it does not take up as tilt is left. "as-measured" keeps the tilt in the departure."""
    result = measured_result(tmp_path, cloud(noise=0.0), 'placed = "as-measured"')
    mirror = result.fits.mirror
    outline = outline_of(result.scene)
    x, y, heights = measured.departure_map(mirror, outline)
    assert np.diff(x) == pytest.approx(np.diff(x)[0]) and (x[0], x[-1]) == pytest.approx((-0.75, 0.75))
    across, up = np.meshgrid(x, y)
    radius = np.hypot(across, up)
    assert np.isnan(heights[(radius > 0.7501) | (radius < 0.0999)]).all()
    inside = (radius < 0.7499) & (radius > 0.1001)
    bent = radius**2 * (1.0 / (4.0 * F) - 1.0 / (4.0 * mirror.focal_length))
    expected = bent + 1e-3 * (across**3 - 3.0 * across * up**2) / 0.76**3
    assert heights[inside] == pytest.approx(expected[inside], abs=1e-9)


def test_the_map_of_a_long_dish_has_square_cells(mirror):
    """Half a dish across: the cells stay square, so that the drawing is to scale."""
    x, y, heights = measured.departure_map(mirror, rectangle((0.8, 0.4)))
    assert heights.shape == (len(y), len(x)) == (91, 181)
    assert x[1] - x[0] == pytest.approx(y[1] - y[0])
    assert np.isfinite(heights[1:-1, 1:-1]).all()


def test_levels_lie_on_both_sides_of_zero_and_are_crossed():
    levels = measured.signed_levels(np.array([-0.6, np.nan, 1.0]))
    assert levels == pytest.approx([-0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.8])
    assert len(measured.signed_levels(np.zeros(3))) == 0


def test_means_over_squares_hold_every_point_once():
    places = np.stack(np.meshgrid(np.linspace(0.0, 1.0, 16), np.linspace(0.0, 1.0, 16)), axis=-1).reshape(-1, 2)
    means = measured.square_means(places, places[:, 0])
    assert len(means) == measured.SQUARES**2
    assert all(mean == pytest.approx(x) for x, _, mean in means)
    assert np.mean([mean for _, _, mean in means]) == pytest.approx(0.5)


def test_the_picture_is_to_scale_symmetric_and_readable_without_colour(result, mirror):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = pictures.draw_measured(result, mirror)
        figure.draw_without_rendering()
    form, left = figure.axes[0], figure.axes[2]
    for axis in (form, left):
        assert axis.get_aspect() == 1.0
        assert (axis.get_xlabel(), axis.get_ylabel()) == ("x (m)", "y (m)")
        assert axis.get_xlim() == form.get_xlim() and axis.bbox.size == pytest.approx(form.bbox.size)
    low, high = form.images[0].get_clim()
    heights = measured.departure_map(mirror, outline_of(result.scene))[2]
    assert low == -high and high == pytest.approx(1e3 * np.nanmax(np.abs(heights)))
    texts = texts_of(figure)
    assert {"departure (mm)", "left by the fit (mm)"} <= set(texts)
    assert "points above (▲) and below (▼) the fitted surface" in texts
    assert any("Measured mirror, 300 points\nInvented bowl" in text for text in texts)
    levels = measured.signed_levels(1e3 * heights)
    contours = {f"{level:g}" for level in levels}
    assert "0" in contours and len(contours & set(texts)) > len(levels) // 2
    above, below = left.collections
    assert len(above.get_offsets()) == (mirror.left >= 0.0).sum()
    assert len(below.get_offsets()) == (mirror.left < 0.0).sum()
    largest = above.get_clim()[1]
    assert above.get_clim() == below.get_clim() == pytest.approx((-largest, largest))
    assert above.get_sizes()[np.argmax(above.get_array())] == above.get_sizes().max()


def test_many_points_get_printed_means(tmp_path):
    many = measured_result(tmp_path, cloud(n=900))
    mirror = many.fits.mirror
    figure = pictures.draw_measured(many, mirror)
    printed = [float(text.get_text()) for text in figure.axes[2].texts]
    means = [mean for _, _, mean in measured.square_means(mirror.points[:, :2], 1e3 * mirror.left)]
    assert printed == pytest.approx(means, abs=0.0051)
    assert np.ptp(printed) > 0.02


def test_draw_all_writes_it_last(result, tmp_path):
    result_without_parts = type(result)(**vars(result) | {"parts": {}, "screens": {}})
    names = list(pictures.draw_all(result_without_parts, tmp_path))
    assert names[-1] == "measured-mirror.png" and (tmp_path / names[-1]).stat().st_size > 20000


@pytest.fixture(scope="module")
def facet_result(tmp_path_factory):
    """A result of tiles that have the shape of one that was measured, put together without a trace."""
    folder = tmp_path_factory.mktemp("tile")
    side = np.linspace(-0.052, 0.052, 13)
    x, y = (values.ravel() for values in np.meshgrid(side, side))
    z = 1.5 - np.sqrt(2.25 - x**2 - y**2) + 5e-6 * np.random.default_rng(6).standard_normal(169)
    rows = "\n".join(f"{a:.17g},{b:.17g},{c:.17g}" for a, b, c in zip(x, y, z, strict=True))
    (folder / "tile 3.csv").write_text(f"x_m,y_m,z_m\n{rows}\n", encoding="utf-8")
    lines = 'layout = "square-grid"\nsize_m = 0.1\ngap_m = 0.005\ncurve = "measured"\ncurve_file = "tile 3.csv"'
    result = make_result()
    result.scene = facet_scene(lines, folder=folder).model_copy(update={"title": "Invented tiles"})
    outline = outline_of(result.scene)
    result.fits = fits_of(result.scene, outline)
    facets = facets_of(result.scene, outline, fits=result.fits)
    result.dish = result.dish | {"measured_facets": facet_figures(result.scene, facets, result.fits)}
    return result


def test_the_summary_tells_radius_and_slope_of_a_measured_facet(facet_result):
    """Radius, not diameter or focal length; slope error per axis in mrad."""
    (figures,) = facet_result.dish["measured_facets"]
    words = " ".join(tables.summary(facet_result).plain.split())
    assert "Measured facet tile 3.csv, 169 points fitted radius 1." in words
    assert figures["radius_m"] == pytest.approx(1.5, rel=0.02)
    assert f"slope error {figures['slope_error_mrad']:.2g} mrad per axis" in words
    assert f"carried by {figures['facets']} facets of 1 patch" in words
    assert "curve_height_error_m would take their error out" in words
    assert max(map(len, tables.summary(facet_result).plain.splitlines())) <= tables.WIDTH


def test_the_table_of_a_facet_adds_up(facet_result, tmp_path):
    """z = sphere + departure + left, with the curvature of the head."""
    assert "measured-facet-tile-3.csv" in exports.write_tables(facet_result, tmp_path)
    lines = (tmp_path / "measured-facet-tile-3.csv").read_text(encoding="utf-8").splitlines()
    heads = [line for line in lines if line.startswith("# ")]
    x, y, z, departure, left = np.array(list(csv.reader(lines[len(heads) + 1 :])), dtype=float).T
    k = float(heads[-1].split("k = ")[1].split()[0])
    square = x**2 + y**2
    assert z == pytest.approx(k * square / (1.0 + np.sqrt(1.0 - k**2 * square)) + departure + left, abs=3e-9)


def test_the_picture_of_a_facet_names_the_file_and_the_radius(facet_result):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = pictures.draw_measured_facet(facet_result, *next(iter(facet_result.fits.facets.items())))
        figure.draw_without_rendering()
    told = "\n".join(texts_of(figure))
    assert 'Measured facet "tile 3.csv", 169 points' in told
    assert "Fitted radius 1." in told and "fitted surface above the fitted sphere" in told
    assert "x (mm)" in told
