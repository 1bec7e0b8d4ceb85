"""Where the spot goes when dish and sun do not look the same way, signs and frames included.

Sources: the chief ray by the law of reflection at the vertex, `d' = d - 2 (d.n) n`; frames and signs as the scene
format defines them (pointing offset: the spot of a narrow dish moves by f (ox, oy); dish axes x = up cross z,
y = z cross x; azimuth east of north).

Shown to fail on planted errors: sign of the pointing offset, x and y of the lean swapped, azimuth turned the wrong way,
ground origin at the vertex for a fixed dish, jitter larger by sqrt 2, sign in the vertex of the focus search's
parabola.
"""

import numpy as np
import pytest

from tests.support.optics import POINT_SUN, assert_agrees, part_text, scene_text, traced
from tests.support.second_way import forward_rays, on_plane, radius_of_share

RAYS = 2**17


@pytest.mark.parametrize("offset_mrad", [(3.0, 0.0), (-2.0, 5.0)])
def test_spot_of_a_narrow_dish_moves_by_f_times_the_pointing_offset(offset_mrad, seed):
    mount = f'kind = "two-axis"\npointing_offset_mrad = {list(offset_mrad)}'
    result = traced(scene_text(focal_length=10.0, radius=0.3, mount=mount), rays=RAYS, seed=seed)
    for center, offset in zip(result.focal_plane.centroid_m, offset_mrad, strict=True):
        # the aberration is of the order offset * (radius / focal length)^2
        assert_agrees(center, 10.0 * offset * 1e-3, absolute=10.0 * 5e-3 * 1e-3)


def direction(azimuth_deg, elevation_deg):
    """Unit vector x east, y north, z up."""
    azimuth, elevation = np.radians([azimuth_deg, elevation_deg])
    return np.array([np.cos(elevation) * np.sin(azimuth), np.cos(elevation) * np.cos(azimuth), np.sin(elevation)])


@pytest.mark.parametrize(
    ("axis_deg", "sun_deg"),
    [
        ((180.0, 45.0), (184.0, 45.0)),
        ((180.0, 45.0), (180.0, 48.0)),
        ((95.0, 20.0), (92.0, 22.0)),
        ((0.0, 90.0), (270.0, 86.0)),
    ],
    ids=["sun to the west", "sun higher", "eastern sky", "dish looking up"],
)
def test_spot_of_a_fixed_dish_in_ground_terms(axis_deg, sun_deg, seed):
    """A sun west of the axis puts the spot east of the focus, a higher sun puts it lower."""
    axis, sun = direction(*axis_deg), direction(*sun_deg)
    expected = -5.0 * (sun - (sun @ axis) * axis) / (sun @ axis)
    x = np.cross([0.0, 0.0, 1.0], axis) if axis_deg[1] < 90.0 else np.array([1.0, 0.0, 0.0])
    x /= np.linalg.norm(x)
    y = np.cross(axis, x)
    text = scene_text(
        focal_length=5.0,
        radius=0.1,
        sun=f"azimuth_deg = {sun_deg[0]}\nelevation_deg = {sun_deg[1]}",
        mount=f'kind = "fixed"\naxis_azimuth_deg = {axis_deg[0]}\naxis_elevation_deg = {axis_deg[1]}',
        # a ball on the ground at the expected place: 28 mm, the spot has 23 mm
        more=part_text("ball", "sphere", frame="ground", center=expected, radius_m=0.028),
    )
    result = traced(text, rays=RAYS, seed=seed)
    for center, along in zip(result.focal_plane.centroid_m, (x, y), strict=True):
        assert_agrees(center, expected @ along, absolute=5e-4 * np.linalg.norm(expected))
    assert result.intercept_factor.value == pytest.approx(1.0, rel=1e-12)


def test_two_axis_dish_with_ground_parts_turns_about_its_pivot(seed):
    """Sun in the south-east at 30 deg; the pivot is 2 m below the focus on the axis, so the focus is 2 m from the
    ground origin towards the sun; an offset of +8 mrad in x moves the spot by 40 mm along x = up cross z, north-east.
    """
    axis = direction(135.0, 30.0)
    lean = np.cross([0.0, 0.0, 1.0], axis) / np.cos(np.radians(30.0))
    assert lean == pytest.approx([np.sqrt(0.5), np.sqrt(0.5), 0.0])
    pointed = axis + np.tan(8e-3) * lean
    pointed /= np.linalg.norm(pointed)
    # the dish turned about the pivot carries the focus along; the spot lies f tan(offset) further
    focus = 2.0 * pointed
    spot = focus + 5.0 * np.tan(8e-3) * lean
    text = scene_text(
        focal_length=5.0,
        radius=0.1,
        sun="azimuth_deg = 135.0\nelevation_deg = 30.0",
        mount='kind = "two-axis"\npointing_offset_mrad = [8.0, 0.0]\npivot_m = [0.0, 0.0, 3.0]',
        more=part_text("ball", "sphere", frame="ground", center=spot, radius_m=0.026),
    )
    result = traced(text, rays=RAYS, seed=seed)
    assert result.intercept_factor.value == pytest.approx(1.0, rel=1e-12)
    # the ball's half-shadow lies to one side on the mirror and moves the centroid by up to 1 percent of the spot
    assert_agrees(result.focal_plane.centroid_m[0], 5.0 * np.tan(8e-3), absolute=2e-4)
    assert_agrees(result.focal_plane.centroid_m[1], 0.0, absolute=2e-4)


def test_best_focus_of_the_ideal_dish_is_the_focus(seed):
    """To within f theta_s^2, by which the cone of each mirror point is longer on one side than on the other."""
    result = traced(scene_text(rim_deg=60.0), rays=RAYS, seed=seed)
    offset = result.best_focus.offset_m
    expected, width = lowest_radius(rim_deg=60.0, sun=(0.0, 0.0, 1.0), half_angle=4.65e-3, around=0.0, reach=1.5e-3)
    assert abs(expected) < 5.0 * 4.65e-3**2
    assert_agrees(offset, expected, absolute=5.0 * width)
    assert offset.se < 2e-5


def test_best_focus_of_a_misaligned_dish_by_a_second_way(seed):
    """25 mrad of pointing offset: coma and a curved image make the smallest spot lie nearer to the mirror."""
    offset = 25e-3
    mount = f'kind = "two-axis"\npointing_offset_mrad = [{1e3 * offset}, 0.0]'
    found = traced(scene_text(rim_deg=60.0, mount=mount), rays=RAYS, seed=seed).best_focus.offset_m
    sun = np.array([-np.tan(offset), 0.0, 1.0])
    sun /= np.linalg.norm(sun)
    expected, width = lowest_radius(rim_deg=60.0, sun=sun, half_angle=4.65e-3, around=0.0, reach=8e-3)
    assert_agrees(found, expected, absolute=5.0 * width)
    assert abs(expected) > 10.0 * width
    # a step of the search is a quarter of a millimetre, and a block left out can move the lowest point by one
    assert found.se < 3e-4


def lowest_radius(*, rim_deg, sun, half_angle, around, reach):
    """Offset of the smallest R90 by an own forward sample of eight lots: a parabola through 17 offsets; and its
    error."""
    found = []
    for lot in range(8):
        rays = forward_rays(
            60_000,
            focal_length=1.0,
            radius=2.0 * np.tan(np.radians(rim_deg) / 2),
            half_angle=half_angle,
            sun=sun,
            seed=lot,
        )
        steps = np.linspace(-1.0, 1.0, 17)
        radii = [radius_of_share(on_plane(*rays[:2], 1.0 + around + reach * step), rays[2], 0.9) for step in steps]
        curvature, slope, _ = np.polyfit(steps, radii, 2)
        found.append(around - reach * slope / (2.0 * curvature))
    return float(np.mean(found)), float(np.std(found, ddof=1) / np.sqrt(8.0))


def test_narrow_sun_and_jitter_smear_the_spot_alike_in_both_axes(seed):
    mount = 'kind = "two-axis"\npointing_offset_mrad = [6.0, 0.0]\npointing_jitter_mrad = 2.0'
    screen = traced(
        scene_text(focal_length=20.0, radius=0.3, sun=POINT_SUN, mount=mount), rays=RAYS, seed=seed
    ).focal_plane
    assert_agrees(screen.centroid_m[0], 20.0 * np.tan(6e-3), relative=1e-4)
    for axis in screen.rms_xy_m:
        assert_agrees(axis, 20.0 * 2e-3, relative=5e-4)
