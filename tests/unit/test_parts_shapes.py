"""Shapes of parts against exact areas, volumes, closedness, directions of fronts and flat drawings."""

import numpy as np
import pytest

from dishtrace.parts import rings, sheets, solids
from dishtrace.parts.cavity import cavity
from dishtrace.parts.triangles import area_vectors, areas_of, is_closed, volume

CONE_WALL = np.pi * 0.1 * np.hypot(0.1, 0.2)
SOLIDS = {  # shape, surface, volume, relative slack of the surface
    "box": (solids.box((0.3, 0.2, 0.1)), 0.22, 0.006, 1e-13),
    "cylinder": (solids.cylinder(0.12, 0.3), 2 * np.pi * 0.12 * 0.42, np.pi * 0.12**2 * 0.3, 1.1e-4),
    "plate": (solids.cylinder(0.5, 0.01), 2 * np.pi * 0.5 * 0.51, np.pi * 0.25 * 0.01, 1.1e-4),
    "post": (solids.cylinder(0.02, 1.5), 2 * np.pi * 0.02 * 1.52, np.pi * 0.02**2 * 1.5, 4.1e-4),
    "sphere": (solids.sphere(0.1), 4 * np.pi * 0.01, 4 / 3 * np.pi * 0.001, 1e-13),
    "cone": (solids.cone(0.1, 0.2), CONE_WALL + np.pi * 0.01, np.pi * 0.01 * 0.2 / 3, 1.1e-4),
    "spike": (
        solids.cone(0.01, 0.3),
        np.pi * 0.01 * (0.01 + np.hypot(0.01, 0.3)),
        np.pi * 1e-4 * 0.1,
        1.1e-4,
    ),
}
SHEETS = {
    "disc": (sheets.disc(0.1), np.pi * 0.01, 1e-13),
    "large disc": (sheets.disc(0.6), np.pi * 0.36, 1e-13),
    "rectangle": (sheets.rectangle((0.3, 0.2)), 0.06, 1e-13),
    "tube": (sheets.tube(0.12, 0.3), 2 * np.pi * 0.12 * 0.3, 1.1e-4),
    "cavity": (
        cavity(0.1, 0.25, 0.04),
        2 * np.pi * 0.1 * 0.25 + np.pi * 0.01 + np.pi * (0.01 - 0.0016),
        1.1e-4,
    ),
}
EVERY = {name: entry[0] for name, entry in (SOLIDS | SHEETS).items()}


@pytest.mark.parametrize("name", SOLIDS)
def test_solids_close_face_outward_and_have_their_volume(name):
    """One triangle turned or left out breaks closedness; fronts inward turn the sign of the volume."""
    shape, surface, exact_volume, slack = SOLIDS[name]
    assert is_closed(shape.triangles)
    volume_slack = 3e-4 if name == "sphere" else 1e-12
    assert volume(shape.triangles) == pytest.approx(exact_volume, rel=volume_slack)
    assert areas_of(shape.triangles).sum() == pytest.approx(surface, rel=slack)


@pytest.mark.parametrize("name", SHEETS)
def test_sheets_are_open_and_have_their_area(name):
    shape, surface, slack = SHEETS[name]
    assert not is_closed(shape.triangles)
    assert areas_of(shape.triangles).sum() == pytest.approx(surface, rel=slack)


@pytest.mark.parametrize("name", ["box", "cylinder", "sphere", "cone"])
def test_solids_are_centred_at_half_their_height(name):
    corners = EVERY[name].triangles.reshape(-1, 3)
    assert corners.min(axis=0) == pytest.approx(-corners.max(axis=0), abs=1e-15)


@pytest.mark.parametrize("name", ["box", "cylinder", "post", "sphere", "cone"])
def test_fronts_of_convex_solids_look_away_from_the_middle(name):
    triangles = EVERY[name].triangles
    assert np.all(np.sum(area_vectors(triangles) * triangles.mean(axis=1), axis=1) > 0.0)


def test_fronts_of_sheets():
    for name in ("disc", "rectangle"):
        vectors = area_vectors(EVERY[name].triangles)
        assert np.all(vectors[:, 2] > 0.0)
        assert np.all(vectors[:, :2] == 0.0)
    tube = EVERY["tube"].triangles
    assert np.all(np.sum(area_vectors(tube) * tube.mean(axis=1), axis=1) > 0.0)


def test_apex_of_a_cone_lies_towards_the_axis():
    corners = EVERY["cone"].triangles.reshape(-1, 3)
    assert corners[np.argmax(corners[:, 2])] == pytest.approx([0.0, 0.0, 0.1])
    assert np.hypot(*corners[corners[:, 2] < -0.0999, :2].T).max() == pytest.approx(0.1, rel=3e-4)


def test_front_of_a_cavity_is_its_inside():
    """Every front looks at the middle of the hollow; the opening is the only way in."""
    triangles = EVERY["cavity"].triangles
    middle = np.array([0.0, 0.0, -0.125])
    assert np.all(np.sum(area_vectors(triangles) * (middle - triangles.mean(axis=1)), axis=1) > 0.0)
    corners = triangles.reshape(-1, 3)
    assert (corners[:, 2].min(), corners[:, 2].max()) == (-0.25, 0.0)
    lid = corners[corners[:, 2] == 0.0]
    assert np.hypot(lid[:, 0], lid[:, 1]).min() == pytest.approx(0.04, rel=3e-4)
    flux = area_vectors(triangles).sum(axis=0)  # of a closed set it is zero: what is missing is the opening
    assert flux == pytest.approx([0.0, 0.0, np.pi * 0.04**2], abs=1e-14)


def test_cavity_as_wide_as_its_opening_has_no_lid():
    open_end = cavity(0.1, 0.25, 0.1)
    assert [chart.name for chart in open_end.charts] == ["wall unrolled", "far end, seen from the opening"]
    assert areas_of(open_end.triangles).sum() == pytest.approx(2 * np.pi * 0.1 * 0.25 + np.pi * 0.01, rel=1.1e-4)


@pytest.mark.parametrize("direction", [(1, 0, 0), (0.3, 0.9, 0.2), (0.5, -0.5, 0.7), (0, 0, 1)])
@pytest.mark.parametrize(("name", "slack"), [("sphere", 4e-4), ("cylinder", 3e-4)])
def test_silhouettes_hold_in_single_directions(name, slack, direction):
    """Shadow of a convex solid = half the sum of |projected areas|; exact for the round ones."""
    along = np.array(direction) / np.linalg.norm(direction)
    shadow = 0.5 * np.abs(area_vectors(EVERY[name].triangles) @ along).sum()
    sine = np.hypot(along[0], along[1])
    exact = np.pi * 0.01 if name == "sphere" else np.pi * 0.12**2 * abs(along[2]) + 0.24 * 0.3 * sine
    assert shadow == pytest.approx(exact, rel=slack)


@pytest.mark.parametrize("name", EVERY)
def test_no_triangle_is_degenerate_and_counts_are_moderate(name):
    triangles = EVERY[name].triangles
    assert areas_of(triangles).min() > 0.0
    assert 500 <= len(triangles) <= 13000


@pytest.mark.parametrize("name", ["disc", "rectangle", "box", "cylinder", "post", "sphere", "cone", "tube", "cavity"])
def test_bins_are_below_the_patch_of_the_peak(name):
    assert areas_of(EVERY[name].triangles).max() < 1e-4


@pytest.mark.parametrize("radius", [0.0005, 0.01, 0.3, 3.0])
@pytest.mark.parametrize("height", [0.0005, 0.1, 2.0])
def test_cylinders_of_any_size_close_and_stay_moderate(radius, height):
    shape = solids.cylinder(radius, height)
    assert is_closed(shape.triangles)
    assert volume(shape.triangles) == pytest.approx(np.pi * radius**2 * height, rel=1e-11)
    assert len(shape.triangles) < 14000


def test_rings_may_halve_their_count():
    stack = [rings.raised(np.array(r * rings.circle_points(n)), 0.0) for r, n in ((1.0, 32), (0.7, 16), (0.4, 16))]
    triangles = rings.bands(stack)
    assert len(triangles) == 16 * 3 + 32
    assert areas_of(triangles).sum() == pytest.approx(np.pi * (1.0 - 0.16), rel=1e-13)
    assert np.all(area_vectors(triangles)[:, 2] > 0.0)


@pytest.mark.parametrize("name", EVERY)
def test_charts_show_every_triangle_once(name):
    shape = EVERY[name]
    shown = np.sort(np.concatenate([chart.index for chart in shape.charts]))
    assert shown.tolist() == list(range(len(shape.triangles)))
    assert all(chart.uv.shape == (len(chart.index), 3, 2) for chart in shape.charts)
    assert all(len(chart.labels) == 2 and all("(m)" in label for label in chart.labels) for chart in shape.charts)


def chart_areas(uv):
    first, second = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
    return 0.5 * (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])


@pytest.mark.parametrize("name", [name for name in EVERY if name != "sphere"])
def test_developable_charts_keep_every_area_and_length(name):
    """A triangle that wraps around at +x, or a mirrored corner, changes its sides by metres."""
    shape = EVERY[name]
    for chart in shape.charts:
        triangles = shape.triangles[chart.index]
        assert np.abs(chart_areas(chart.uv)) == pytest.approx(areas_of(triangles), rel=1e-8, abs=1e-16)
        sides = np.linalg.norm(np.roll(triangles, -1, axis=1) - triangles, axis=2)
        drawn = np.linalg.norm(np.roll(chart.uv, -1, axis=1) - chart.uv, axis=2)
        assert drawn == pytest.approx(sides, rel=1e-8, abs=1e-12)


def test_charts_do_not_fold():
    for name, shape in EVERY.items():
        for chart in shape.charts:
            signs = np.sign(chart_areas(chart.uv))
            assert np.all(signs == signs[0]), (name, chart.name)


def test_halves_of_a_sphere_are_equal_area_discs():
    shape = EVERY["sphere"]
    for chart in shape.charts:
        areas = areas_of(shape.triangles[chart.index])
        assert np.abs(chart_areas(chart.uv)) == pytest.approx(areas, rel=0.015)
        assert np.linalg.norm(chart.uv, axis=2).max() == pytest.approx(np.sqrt(2.0) * 0.1, rel=1e-12)
        assert areas.sum() == pytest.approx(2.0 * np.pi * 0.01, rel=1e-12)


def test_wall_of_a_cylinder_unrolls_over_its_perimeter():
    wall = EVERY["cylinder"].charts[0]
    assert wall.uv[..., 0].min() == 0.0
    assert wall.uv[..., 0].max() == pytest.approx(2.0 * np.pi * 0.12, rel=1.1e-4)
    assert (wall.uv[..., 1].min(), wall.uv[..., 1].max()) == pytest.approx((-0.15, 0.15))


def test_six_faces_of_a_box():
    charts = EVERY["box"].charts
    assert [chart.name for chart in charts] == [
        "face +x",
        "face −x",
        "face +y",
        "face −y",
        "face +z",
        "face −z",
    ]
    assert charts[4].labels == ("x (m)", "y (m)")
