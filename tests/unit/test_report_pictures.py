from __future__ import annotations

import warnings
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.figure import Figure
from support.fake_result import make_result, make_screen
from support.small_scenes import scene_text

from dishtrace.report import painter, pictures, spotmap
from dishtrace.report.pictures import day, fit, style
from dishtrace.scene.read import scene_from_text


@pytest.fixture(scope="module")
def result():
    return make_result()


@pytest.fixture(scope="module")
def drawn(result, tmp_path_factory):
    place = tmp_path_factory.mktemp("pictures")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return place, list(pictures.draw_all(result, place))


def texts_of(figure):
    """Every text of a figure, joined."""
    import matplotlib.text

    return "\n".join(text.get_text() for text in figure.findobj(matplotlib.text.Text))


def test_one_picture_of_each_kind_and_none_of_a_dark_part(drawn):
    place, names = drawn
    assert names == [
        "side-view.png",
        "spot-focal-plane.png",
        "profile-focal-plane.png",
        "spot-below-the-pot.png",
        "profile-below-the-pot.png",
        "flux-pot.png",
        "flux-clamp-upper.png",
        "flux-clamp-upper-2.png",
    ]
    assert sorted(names) == sorted(path.name for path in place.iterdir())


def test_pictures_are_large_enough_to_read_and_not_blank(drawn):
    import matplotlib.image

    for path in drawn[0].iterdir():
        pixels = matplotlib.image.imread(path)
        assert pixels.shape[0] > 500 and pixels.shape[1] > 700
        assert pixels[..., :3].std() > 0.02


def test_every_picture_of_flux_names_scene_rays_and_seed(result):
    screen, part = result.focal_plane, result.parts["pot"]
    assert "Side view, to scale\nInvented pot dish" in texts_of(pictures.draw_side_view(result))
    for figure in (
        pictures.draw_spot(result, screen),
        pictures.draw_profile(result, screen),
        pictures.draw_flux(result, part),
    ):
        assert "Invented pot dish: 524288 rays, seed 1" in texts_of(figure)


def test_a_flux_map_tells_units_peak_noise_and_what_is_blank(result):
    texts = texts_of(pictures.draw_flux(result, result.parts["pot"]))
    for wanted in (
        "incident mirror light,\nwithout direct sun (kW/m²)",
        "× peak",
        "Typical standard error of a triangle: 3 %",
        "standard error above 50 %",
        "Too little light for a drawing: wall, unrolled, top.",
        "x [m]",
    ):
        assert wanted in texts


def test_the_back_of_a_sheet_says_how_it_is_drawn(result):
    assert "Backs are drawn as seen through the front." in texts_of(
        pictures.draw_flux(result, result.parts["Clamp, upper"])
    )


def test_pictures_say_what_their_colours_and_lines_are(result):
    assert "Colours: single bins, so the brightest can pass the peak." in texts_of(
        pictures.draw_spot(result, result.focal_plane)
    )
    told = "Rays and parts are seen from the east (azimuth 90°); the mirror is cut through its middle"
    assert told in texts_of(pictures.draw_side_view(result))


def test_the_side_view_is_to_scale(result):
    figure = pictures.draw_side_view(result)
    axis = figure.axes[0]
    assert axis.get_aspect() == 1.0
    assert {"pot (receiver)", "foot (stand)", "focus", "to the sun"} <= set(texts_of(figure).splitlines())


def test_circles_have_the_radii_of_the_screen(result):
    from matplotlib.patches import Circle

    radii = {round(circle.radius, 6) for circle in pictures.draw_spot(result, result.focal_plane).findobj(Circle)}
    assert radii == {round(1000.0 * radius.value, 6) for radius in result.focal_plane.radius_m.values()}


def test_names_with_dollars_and_rare_characters_do_not_upset_the_writer(result, tmp_path):
    part = SimpleNamespace(**vars(result.parts["pot"]) | {"name": "$x_{1$ \U0001f525"})
    scene = SimpleNamespace(**vars(result.scene) | {"title_line": "a b $\\frac{1}$ 鍋"})
    changed = SimpleNamespace(**vars(result) | {"parts": {part.name: part}, "scene": scene})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(list(pictures.draw_all(changed, tmp_path))) == 6


def test_a_screen_without_light_is_drawn_empty(result, tmp_path):
    screen = make_screen("dark", -0.5)
    dark = {key: np.zeros_like(getattr(screen, key)) for key in ("map_w_m2", "profile_w_m2", "encircled_w")}
    unknown = {
        key: np.full_like(getattr(screen, key), np.nan) for key in ("map_se_w_m2", "profile_se_w_m2", "encircled_se_w")
    }
    nowhere = type(screen.power_w)(float("nan"), None)
    empty = SimpleNamespace(
        **vars(screen)
        | dark
        | unknown
        | {
            "radius_m": dict.fromkeys(screen.radius_m, nowhere),
            "centroid_m": (nowhere, nowhere),
            "power_w": type(screen.power_w)(0.0, 0.0),
        }
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for figure in (pictures.draw_spot(result, empty), pictures.draw_profile(result, empty)):
            figure.savefig(tmp_path / "dark.png")
            assert "Standard errors unknown." in texts_of(figure)


def test_smoothing_keeps_an_even_map_and_the_power_inside():
    np.testing.assert_allclose(spotmap.smoothed(np.full((5, 4), 3.0)), 3.0)
    spike = np.zeros((7, 7))
    spike[3, 3] = 9.0
    assert spotmap.smoothed(spike).sum() == pytest.approx(9.0)
    assert spotmap.smoothed(spike)[2, 4] == pytest.approx(1.0)


def test_the_skirt_gets_a_contour_of_its_own():
    np.testing.assert_allclose(spotmap.contour_levels(np.array([[0.0, 100.0]])), [4, 20, 40, 60, 80])
    assert len(spotmap.contour_levels(np.zeros((2, 2)))) == 0


@pytest.mark.parametrize(
    ("facing", "frame", "sentence"),
    [
        ((0.0, 0.0, -1.0), "dish", "Seen from +z of the dish frame."),
        ((0.0, 0.0, 1.0), "ground", "Seen from +z of the ground frame."),
        ((1.0, 0.0, 0.0), "ground", "Seen from the side that the screen faces."),
    ],
)
def test_the_viewer_of_a_screen(facing, frame, sentence):
    given = SimpleNamespace(name="plate", facing=facing, frame=frame)
    result = SimpleNamespace(scene=SimpleNamespace(screens=(given,)))
    assert spotmap.viewer(result, SimpleNamespace(name="plate")) == sentence


@pytest.mark.parametrize("draws", [day, fit])
def test_a_scene_with_a_blank_title_is_untitled_above_pictures_of_studies(draws):
    """As in tables. Catches a title that each picture makes for itself."""
    scene = scene_from_text(scene_text().replace('title = "small"', 'title = " "'))
    figure = Figure()
    draws._head(figure, SimpleNamespace(scene=scene, traces=3, rays=8192, seed=1), "What was found")
    assert figure.get_suptitle().startswith("What was found\nuntitled")


@pytest.mark.parametrize(("title", "told"), [(" ", "untitled"), ("a\\n  b", "a b")])
def test_the_title_above_pictures_of_a_trace_is_that_of_the_scene_on_one_line(result, title, told):
    """Also where the scene comes without its tables, as in the process that draws."""
    scene = scene_from_text(scene_text().replace('title = "small"', f'title = "{title}"'))
    changed = SimpleNamespace(**vars(result) | {"scene": scene})
    for one in (changed, painter.shown(changed)):
        figure = Figure()
        style.head(figure, one, "What was found")
        assert figure.get_suptitle() == f"What was found\n{told}: 524288 rays, seed 1"
