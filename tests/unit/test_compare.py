"""Comparisons: paired differences, what they say, names and order, the scatter between dishes, tables and picture."""

from __future__ import annotations

import csv
import dataclasses
import json
import warnings

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.flux import together
from dishtrace.parts import assemble
from dishtrace.report.comparison import comparison_text, fewer, log_levels, round_below, spot_row, write_comparison
from dishtrace.report.numerals import PLAIN
from dishtrace.report.overview import overview
from dishtrace.report.pictures import draw_comparison, write_comparison_picture
from dishtrace.scene.read import load_scene, scene_from_text
from dishtrace.stats import Estimate, from_left_out
from dishtrace.study import compare as study
from dishtrace.study.compare import letters
from dishtrace.study.comparison import judged
from dishtrace.study.dishes import Scatter, has_chance, scatter, with_dish_seed
from dishtrace.study.figures import MEASURES, combined, figures_of
from dishtrace.study.variants import named_scenes
from tests.support.plate_scene import plate_scene

BASE = plate_scene("Invented dish", dni="900", arm=(0.3, "[0.0, 0.16, 0.0]"))
VARIANTS = """
[[variant]]
name = "again"
[[variant]]
name = "duller"
dish.reflectance = 0.8
[[variant]]
name = "a little rougher"
dish.slope_error_mrad = 3.05
[[variant]]
name = "bare"
without = ["part"]
"""
FACETS = """
[dish.facets]
layout = "square-grid"
size_m = 0.25
gap_m = 0.01
"""


@pytest.fixture(scope="module")
def compared():
    return dt.compare(scene_from_text(BASE + VARIANTS))


def case_of(comparison, name):
    return next(case for case in comparison.cases if case.name == name)


def test_the_scene_comes_first_and_its_variants_in_order(compared):
    assert [case.name for case in compared.cases] == ["Invented dish", "again", "duller", "a little rougher", "bare"]
    assert [case.letter for case in compared.cases] == list("ABCDE")
    assert list(compared.results) == [case.name for case in compared.cases]
    assert (compared.rays, compared.seed, compared.stopped, compared.not_traced) == (8192, 3, False, ())


def test_the_first_trace_is_the_one_that_trace_gives(compared):
    alone = dt.trace(scene_from_text(BASE))
    assert compared.first.result.to_dict() == alone.to_dict()


def test_a_scene_beside_itself_differs_by_exactly_nothing(compared):
    again = case_of(compared, "again")
    for key in compared.keys():
        told = again.difference(compared.first, key)
        assert (told.estimate.value, told.estimate.se, told.verdict) == (0.0, 0.0, "equal"), key


def test_reflectance_scales_the_watts_exactly_and_leaves_the_shares(compared):
    duller, first = case_of(compared, "duller").figures, compared.first.figures
    for key in ("first_hit_receiver_w", "first_hit_stand_w", "missed_w", "receiver_peak_w_m2", "spot_peak_w_m2"):
        assert duller[key].value == pytest.approx(first[key].value * 8.0 / 9.0, rel=1e-12), key
    told = case_of(compared, "duller").difference(compared.first, "first_hit_receiver_w")
    assert told.verdict == "different"
    assert told.estimate.value == pytest.approx(-first["first_hit_receiver_w"].value / 9.0, rel=1e-10)
    assert told.estimate.se == pytest.approx(first["first_hit_receiver_w"].se / 9.0, rel=1e-10)
    assert case_of(compared, "duller").difference(compared.first, "intercept_factor").verdict == "equal"


def test_differences_are_sharper_than_values(compared):
    """A small change: the paired error must be several times smaller than that of independent runs."""
    rougher = case_of(compared, "a little rougher")
    for key, factor in (("first_hit_receiver_w", 4.0), ("intercept_factor", 4.0), ("r50_m", 4.0), ("r90_m", 2.0)):
        mine, theirs = rougher.figures[key], compared.first.figures[key]
        told = rougher.difference(compared.first, key).estimate
        assert told.se < np.hypot(mine.se, theirs.se) / factor, key
    assert rougher.difference(compared.first, "r90_m").estimate.value > 0.0
    assert rougher.difference(compared.first, "intercept_factor").verdict == "different"


@pytest.mark.slow
def test_the_paired_error_holds_over_seeds(seed):
    """Differences over seeds scatter as their errors say: chi-square of 5 degrees, false alarm 1e-4 for each radius.

    Fails when the left-out blocks are paired in the wrong order: the errors come out ten times too large, and
    chi-square about 0.01.
    """
    found: dict[str, list[Estimate]] = {"r50_m": [], "r90_m": []}
    scene = scene_from_text(BASE + '[[variant]]\nname = "x"\ndish.slope_error_mrad = 3.005')
    for k in range(6):
        comparison = dt.compare(scene, seed=100 * seed + k)
        for key, told in found.items():
            told.append(comparison.cases[1].difference(comparison.first, key).estimate)
    for key, told in found.items():
        values, errors = np.array([one.value for one in told]), np.array([one.se for one in told])
        chi_square = float(np.sum((values - values.mean()) ** 2) / np.mean(errors**2))
        assert 0.062 < chi_square < 27.3, key


def test_concentration_is_the_power_in_r90_over_its_area_and_dni(compared):
    screen = compared.first.result.best_focus
    wanted = 0.9 * screen.power_w.value / (np.pi * screen.radius_m["90"].value ** 2) / 900.0
    found = compared.first.figures["concentration_90"]
    assert found.value == pytest.approx(wanted, rel=1e-12)
    power, radius = screen.power_w, screen.radius_m["90"]
    relative = np.hypot(power.se / power.value, 2.0 * radius.se / radius.value)
    assert 0.8 < found.se / (found.value * relative) < 1.25


def test_figures_of_parts_are_missing_without_them(compared):
    bare = case_of(compared, "bare")
    assert {"first_hit_receiver_w", "intercept_factor", "first_hit_stand_w", "missed_w"}.isdisjoint(bare.figures)
    assert bare.difference(compared.first, "intercept_factor") is None
    assert bare.difference(compared.first, "r90_m") is not None


def test_combined_pairs_blocks_and_admits_ignorance():
    rows = np.array([1.0, 2.0, 4.0])
    one, two = from_left_out(3.0, rows), from_left_out(5.0, -rows)
    assert combined(lambda a, b: a + b, one, two).value == 8.0
    assert combined(lambda a, b: a + b, one, two).se == 0.0
    assert combined(lambda a, b: a + b, one, Estimate(5.0, 0.1)).se is None


@pytest.mark.parametrize(
    ("value", "se", "verdict", "needed"),
    [
        (0.0, 0.0, "equal", None),
        (1e-12, 1e-13, "equal", None),
        (2.0, 1.0, "different", None),
        (-2.5, 1.0, "different", None),
        (1.0, 1.0, "not told apart", 4000.0),
        (-0.5, 1.0, "not told apart", 16000.0),
        (0.0, 1.0, "not told apart", None),
        (1.0, None, "unknown", None),
        (0.0, None, "unknown", None),
        (float("nan"), 1.0, "unknown", None),
    ],
)
def test_what_a_difference_says(value, se, verdict, needed):
    told = judged(Estimate(value, se), 10.0, rays=1000)
    assert (told.verdict, told.rays_to_tell) == (verdict, needed)


def test_letters_go_on_after_z():
    assert [letters(k) for k in (0, 25, 26, 27, 51, 52, 701, 702)] == ["A", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA"]


def test_names_tell_scenes_apart(tmp_path):
    for place in ("here/yard.toml", "there/yard.toml", "roof.toml"):
        (tmp_path / place).parent.mkdir(exist_ok=True)
        text = BASE + ('[[variant]]\nname = "bare"\nwithout = ["part"]' if place == "roof.toml" else "")
        (tmp_path / place).write_text(text, encoding="utf-8")
    here, there, roof = (load_scene(tmp_path / name) for name in ("here/yard.toml", "there/yard.toml", "roof.toml"))
    assert list(named_scenes(roof)) == ["roof", "bare"]
    assert list(named_scenes([here, roof])) == ["yard", "roof", "roof: bare"]
    assert list(named_scenes([here, there])) == [str(tmp_path / "here/yard.toml"), str(tmp_path / "there/yard.toml")]
    assert list(named_scenes([here, here])) == [here.file, f"{here.file} (2)"]
    assert list(named_scenes({"a": here, "b": here})) == ["a", "b"]


def test_fewer_than_two_scenes_are_refused():
    with pytest.raises(InputError, match=r'scenes = "Invented dish" must be two at least, or one with variants; name'):
        dt.compare(scene_from_text(BASE))
    with pytest.raises(InputError, match="must be two at least"):
        dt.compare([])


def test_faults_of_all_scenes_are_told_before_anything_is_traced(monkeypatch):
    def refuse(*_, **__):
        raise AssertionError("traced although the input was at fault")

    monkeypatch.setattr(study, "trace_together", refuse)
    bad = "".join(
        f'[[variant]]\nname = "{name}"\n"part.plate.center_m" = {place}\n'
        for name, place in (("one", "[0.3, 0.0, -0.8775]"), ("two", "[0.2, 0.0, -0.89]"))
    )
    with pytest.raises(InputError) as caught:
        dt.compare(scene_from_text(BASE + bad))
    line = BASE.count("\n") + 3
    first, second = map(str, caught.value.faults)
    assert first.startswith(f'scene:{line}: variant "one" part "plate" center_m = [0.3, 0, -0.8775] goes through')
    assert second.startswith(f'scene:{line + 3}: variant "two" part "plate" center_m = [0.2, 0, -0.89] ')


def test_rays_and_seed_of_the_first_hold_for_all():
    other = scene_from_text(BASE.replace("rays = 8192\nseed = 3", "rays = 16384\nseed = 4"))
    comparison = dt.compare([scene_from_text(BASE), other])
    assert [(case.result.rays, case.result.seed) for case in comparison.cases] == [(8192, 3), (8192, 3)]
    assert comparison.cases[1].difference(comparison.first, "r90_m").verdict == "equal"
    assert any("[run] of the others is not used" in note for note in comparison.notes)


def test_rows_are_tidy_and_complete(compared):
    rows = compared.rows()
    n_parts_keys = len(MEASURES) - len(case_of(compared, "bare").figures)
    assert len(rows) == 5 * len(MEASURES) - n_parts_keys
    assert len({(row["scene"], row["figure"]) for row in rows}) == len(rows)
    row = next(row for row in rows if (row["scene"], row["figure"]) == ("duller", "first_hit_receiver_w"))
    assert (row["unit"], row["verdict"], row["rays_to_tell"], row["dishes"]) == ("W", "different", None, None)
    assert row["difference"] == pytest.approx(row["value"] / 8.0 * -1.0, rel=1e-9)
    assert all(row["difference"] is None and row["verdict"] is None for row in rows if row["scene"] == "Invented dish")


def test_files_hold_the_numbers(compared, tmp_path):
    assert write_comparison(compared, tmp_path) == ["comparison.json", "comparison.csv"]
    told = json.loads((tmp_path / "comparison.json").read_text(encoding="utf-8"))
    assert told == json.loads(json.dumps(compared.to_dict()))
    assert [scene["name"] for scene in told["scenes"]] == [case.name for case in compared.cases]
    assert told["scenes"][0]["differences"] == {} and told["compared_with"] == "Invented dish"
    assert set(told["figures"]) == {measure.key for measure in MEASURES}
    lines = (tmp_path / "comparison.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == len(compared.rows())
    for row, wanted in zip(rows, compared.rows(), strict=True):
        assert float(row["value"]) == pytest.approx(wanted["value"], rel=1e-9)
        assert (row["difference"] == "") is (wanted["difference"] is None)


def test_the_text_fits_and_says_what_cannot_be_told_apart(compared):
    small = judged(Estimate(1.0, 1.0), 10.0, rays=8192)
    assert small.rays_to_tell == 4 * 8192
    text = comparison_text(compared, PLAIN).plain
    assert max(len(line) for line in text.splitlines()) <= 80
    assert text.isascii()
    assert text.startswith("Comparison of 5 scenes   8192 rays each, seed 3, same random points\n")
    assert "B again, against A Invented dish" in text
    block = text[text.index("C duller, against A") : text.index("D a little rougher, against")]
    assert "C - A" in block and "~" not in block.replace("R50", "").split("cannot")[0].split("R95")[0].split("R90")[0]
    assert "concentration at 90 % capture" in text
    assert "Never look at the mirror" in text


def test_a_difference_that_is_noise_is_marked_and_priced(compared):
    """The same dish from other random points of another seed: a difference without pairing, all noise."""
    other = dt.trace(scene_from_text(BASE), seed=4)
    figures = {key: dataclasses.replace(value, left_out=None) for key, value in figures_of(other).items()}
    case = study.Case("B", "other points", other, figures, None)
    comparison = dataclasses.replace(compared, cases=(compared.first, case))
    text = " ".join(comparison_text(comparison).plain.split())
    assert "~ cannot be told apart with 8192 rays" in text
    told = case.difference(compared.first, "first_hit_receiver_w")
    expected = 8192 * (2.0 * told.estimate.se / told.estimate.value) ** 2
    assert told.verdict == "not told apart" and told.rays_to_tell == pytest.approx(expected)


def test_scatter_takes_out_the_noise_of_tracing():
    """Draws = dish + noise of its own + noise in common; the sd of the dishes alone comes out.

    Fails when the noise is not taken out (0.036 instead of 0.02) or the common noise is taken out as well.
    """
    generator = np.random.default_rng(5)
    dishes, blocks = 400, 32
    true = 0.02 * generator.standard_normal(dishes)
    common = 0.5 * generator.standard_normal(blocks)
    rows = true[:, np.newaxis] + common + 0.17 * generator.standard_normal((dishes, blocks))
    draws = [from_left_out(row.mean(), (row.sum() - row) / (blocks - 1)) for row in rows]
    found = scatter(draws)
    assert found.mean == pytest.approx(rows.mean())
    assert found.sd == pytest.approx(0.02, rel=0.2)
    raw = float(np.std([draw.value for draw in draws], ddof=1))
    assert raw == pytest.approx(np.hypot(0.02, 0.17 / np.sqrt(32)), rel=0.1)


def test_scatter_of_exact_figures_and_of_unknown_errors():
    assert scatter([Estimate(1.0, 0.0), Estimate(3.0, 0.0)]) == Scatter(2.0, pytest.approx(np.sqrt(2.0)))
    assert scatter([Estimate(1.0, None), Estimate(3.0, None)]) == Scatter(2.0, None)


def test_chance_is_what_depends_on_the_dish_seed():
    assert not has_chance(scene_from_text(BASE))
    assert not has_chance(scene_from_text(BASE + FACETS))
    scene = scene_from_text(BASE + FACETS + "canting_error_mrad = 2")
    assert has_chance(scene)
    assert with_dish_seed(scene, 7).dish.seed == 7 and scene.dish.seed == 1


def test_dishes_are_drawn_where_chance_sets_the_facets(monkeypatch):
    traced = []

    def spy(scenes, **options):
        traced.extend((scene.dish.seed, options["rays"]) for scene in scenes)
        return together.trace_together(scenes, **options)

    def shifted(result):
        """R90 grows by 1 mm from one dish seed to the next."""
        figures = figures_of(result)
        moved = figures["r90_m"].left_out + 1e-3 * result.scene.dish.seed
        return {**figures, "r90_m": from_left_out(float(moved.mean()), moved)}

    monkeypatch.setattr(study, "trace_together", spy)
    monkeypatch.setattr(study, "figures_of", shifted)
    scene = scene_from_text(
        BASE + FACETS + 'canting_error_mrad = 6\n[[variant]]\nname = "set well"\ndish.facets.canting_error_mrad = 0'
    )
    comparison = dt.compare(scene, rays=32768, dishes=3)
    assert traced == [(1, 32768), (1, 32768), (1, 10923), (2, 10923), (3, 10923)]
    loose, well = comparison.cases
    assert well.dishes is None
    assert (loose.dishes.number, loose.dishes.first_seed, loose.dishes.rays) == (3, 1, 16384)
    assert loose.dishes.figures["r90_m"].sd > 0.5e-3
    assert loose.dishes.figures["mirror_m2"].sd == 0.0
    text = comparison_text(comparison).plain
    assert "A Invented dish: from one dish to another" in text
    assert "3 dishes with dish.seed 1 to 3, 16384 rays each" in text
    rows = {(row["scene"], row["figure"]): row for row in comparison.rows()}
    assert rows["Invented dish", "r90_m"]["dishes"] == 3 and rows["set well", "r90_m"]["dishes"] is None


def test_canting_scatters_the_dishes_and_the_mirror_s_area_does_not():
    tiles = FACETS.replace("0.25", "0.1") + "canting_error_mrad = 8\n"
    scene = scene_from_text(BASE.replace("radius_m = 0.02", "radius_m = 0.04") + tiles + '[[variant]]\nname = "x"')
    loose = dt.compare(scene, rays=524288, dishes=4).first
    assert loose.dishes.rays == 131072 and loose.figures["facets"].value > 200
    assert loose.dishes.figures["mirror_m2"] == Scatter(pytest.approx(loose.figures["mirror_m2"].value), 0.0)
    scattered = loose.dishes.figures["first_hit_receiver_w"]
    assert 0.002 < scattered.sd / scattered.mean < 0.1


def test_what_scenes_share_is_placed_and_meshed_once(monkeypatch):
    """The variant that is another dish has its own. Catches scenes that are placed for their faults and then again."""
    made, real = [], assemble.part_mesh

    def part_mesh(scene, part, *arguments, **options):
        made.append(part.name)
        return real(scene, part, *arguments, **options)

    monkeypatch.setattr(assemble, "part_mesh", part_mesh)
    for told in (lambda scene: dt.compare(scene, rays=8192), overview):
        made.clear()
        told(scene_from_text(BASE + VARIANTS))
        assert sorted(made) == ["arm"] * 3 + ["plate"] * 3  # as it is, duller, rougher


def stop_in(monkeypatch, number, *, how):
    """Let the user stop during the tracing of a number: scenes with the same mirror rays are traced in one go."""
    calls = []

    def trace_together(scenes, **options):
        calls.append(scenes)
        if len(calls) == number and how == "raise":
            raise KeyboardInterrupt
        results = together.trace_together(scenes, **options)
        return [dataclasses.replace(one, stopped=True) for one in results] if len(calls) == number else results

    monkeypatch.setattr(study, "trace_together", trace_together)
    return calls


@pytest.mark.parametrize("how", ["raise", "flag"])
def test_a_stop_keeps_the_finished_traces(monkeypatch, how):
    calls = stop_in(monkeypatch, 2, how=how)
    comparison = dt.compare(scene_from_text(BASE + VARIANTS))
    assert len(calls) == 2 and comparison.stopped
    assert [(case.letter, case.name) for case in comparison.cases] == [
        ("A", "Invented dish"),
        ("B", "again"),
        ("C", "bare"),
    ]
    assert comparison.not_traced == ("duller", "a little rougher")
    assert "STOPPED EARLY; not traced: duller, a little rougher" in comparison_text(comparison).plain


def test_a_stop_in_the_first_traces_keeps_what_there_is(monkeypatch):
    stop_in(monkeypatch, 1, how="flag")
    comparison = dt.compare(scene_from_text(BASE + VARIANTS))
    assert [case.name for case in comparison.cases] == ["Invented dish", "again", "bare"] and comparison.stopped
    assert "intercept factor %" in comparison_text(comparison).plain
    stop_in(monkeypatch, 1, how="raise")
    with pytest.raises(KeyboardInterrupt):
        dt.compare(scene_from_text(BASE + VARIANTS))


def test_progress_runs_once_over_all_traces():
    """Two scenes under one mirror together, then one under another."""
    steps = []
    scene = scene_from_text(BASE + '[[variant]]\nname = "x"\n[[variant]]\nname = "y"\ndish.reflectance = 0.8')
    dt.compare(scene, progress=lambda done, whole: steps.append((done, whole)))
    assert steps == [(16384, 24576), (24576, 24576)]


def test_different_suns_are_told():
    comparison = dt.compare(scene_from_text(BASE + '[[variant]]\nname = "haze"\nsun.dni_w_m2 = 600'))
    assert any("600 to 900 W/m2" in note for note in comparison.notes)


def test_the_picture_has_one_scale_one_range_and_the_names(compared, tmp_path):
    import matplotlib.image
    import matplotlib.text

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        figure = draw_comparison(compared)
        assert write_comparison_picture(compared, tmp_path) == "comparison.png"
    spots = [axis for axis in figure.axes if axis.get_xlabel() == "x (mm)"]
    assert len(spots) == 5
    assert len({(axis.get_xlim(), axis.get_ylim(), axis.images[0].get_clim()) for axis in spots}) == 1
    widths = {tuple(np.round(axis.get_window_extent().size, 3)) for axis in spots}
    assert len(widths) == 1
    texts = "\n".join(text.get_text() for text in figure.findobj(matplotlib.text.Text))
    for wanted in ("A  Invented dish", "D  a little rougher", "8192 rays each, seed 3", "R90 ", "receiver "):
        assert wanted in texts
    assert matplotlib.image.imread(tmp_path / "comparison.png")[..., :3].std() > 0.02


def test_the_largest_spot_sets_the_window(compared):
    row = spot_row(compared)
    r95 = max(1000.0 * case.figures["r95_m"].value for case in compared.cases)
    assert r95 < row.half_width < 1.5 * r95
    assert row.highest == max(panel.flux[panel.known].max() for panel in row.panels)


def test_colours_are_logarithmic_when_a_spot_would_be_all_dark(compared):
    assert spot_row(compared).lowest == 0.0
    rough = dt.trace(scene_from_text(BASE.replace("mrad = 3.0", "mrad = 15.0")))
    case = study.Case("B", "rough", rough, figures_of(rough), None)
    far = dataclasses.replace(compared, cases=(compared.first, case))
    row = spot_row(far)
    faintest = row.panels[1].smooth.max()
    assert faintest / 30.0 < row.lowest <= faintest / 10.0
    assert len(row.levels) >= 3 and row.levels[0] > row.lowest and row.levels[-1] < row.highest
    figure = draw_comparison(far)
    spots = [axis for axis in figure.axes if axis.get_xlabel() == "x (mm)"]
    assert {axis.images[0].get_clim() for axis in spots} == {(row.lowest, row.highest)}


def test_round_levels_of_a_logarithmic_scale():
    assert [round_below(value) for value in (1.0, 2.9, 3.0, 35.0, 0.2)] == pytest.approx([1.0, 1.0, 3.0, 30.0, 0.1])
    np.testing.assert_allclose(log_levels(1.0, 150.0), [3.0, 10.0, 30.0, 100.0])


def test_small_drawings_have_few_contours():
    np.testing.assert_array_equal(fewer(np.array([0.2, 1.0, 2.0])), [0.2, 1.0, 2.0])
    np.testing.assert_array_equal(fewer(np.array([0.2, 1, 2, 3, 4, 5, 6])), [0.2, 1, 3, 5])
