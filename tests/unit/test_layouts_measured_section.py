"""Measured mirrors and tiles on a mount with a stationary focus: what flexes and what keeps its shape. Invented."""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.dish.layouts import facets_of, fits_of, measured_figures
from dishtrace.dish.layouts.fits import section_surface
from dishtrace.dish.mount import placed_mirror
from dishtrace.dish.outline import outline_of
from dishtrace.flux.measure import trace
from dishtrace.scene.read import scene_from_text
from dishtrace.sun.state import sun_state
from tests.support.mounts import sun_at

F, CENTER, RADIUS = 1.0, np.array([0.0, 0.7]), 0.4


def places(n=400, radius=0.42):
    r, angle = radius * np.sqrt((np.arange(n) + 0.5) / n), 2.399963 * np.arange(n)
    return np.stack([r * np.cos(angle), r * np.sin(angle)], axis=-1) + CENTER


def ripple(xy):
    """A smooth departure along the axis of a degree that the polynomial can follow. [m]"""
    x, y = ((xy - CENTER) / RADIUS).T
    return 1e-3 * (x**3 - 0.5 * x * y**2 + 0.5 * y**4)


def section_scene(folder, facets, declination_deg, frame="flexed", beside=None):
    """The section of a day, its sun at noon of that day."""
    xy = places()
    z = np.sum(xy**2, axis=1) / (4.0 * F) + (0.0 if beside is None else beside(xy))
    rows = "\n".join(f"{x:.17g},{y:.17g},{h:.17g}" for x, y, h in zip(*xy.T, z, strict=True))
    (folder / "points.csv").write_text(f"x_m,y_m,z_m\n{rows}\n", encoding="utf-8")
    return scene_from_text(
        f"[site]\nlatitude_deg = 35\nlongitude_deg = 12\n[sun]\n{sun_at(0.0, declination_deg, latitude_deg=35.0)}\n"
        f'dni_w_m2 = 900\n[mount]\nkind = "stationary-focus"\nside = "low"\nframe = "{frame}"\n'
        f"[dish]\nfocal_length_m = {F}\nreflectance = 0.9\nslope_error_mrad = 1\n"
        f'[dish.outline]\nshape = "circle"\nradius_m = {RADIUS}\ncenter_m = {CENTER.tolist()}\n{facets}\n',
        folder=folder,
    )


MEASURED = '[dish.facets]\nlayout = "measured"\nfile = "points.csv"\nplaced = "{}"'


def built(scene):
    outline = outline_of(scene)
    fits = fits_of(scene, outline)
    there = placed_mirror(scene, sun_state(scene))
    return facets_of(scene, outline, fits=fits, reset=there.reset), fits, there


@pytest.mark.parametrize("placing", ["by-fit", "as-measured"])
@pytest.mark.parametrize("declination_deg", [-20.0, 0.0, 20.0])
def test_an_ideal_section_is_flexed_to_the_paraboloid_of_the_day(tmp_path, declination_deg, placing):
    """Places and normals of the patches are those of z = (x^2 + y^2) / 4 f with the f of that day, within the bounds of
    patches; their area is that of the day's mirror. Carrying patches of equinox misses the normals by 3 mrad, and
    leaves cracks of 1e-3 of the area."""
    scene = section_scene(tmp_path, MEASURED.format(placing), declination_deg)
    facets, fits, there = built(scene)
    f = there.focal_length
    for i in range(0, len(facets), 7):
        where, normals = facets.surface(i, facets.outlines[i].quadrature(3)[0])
        assert where[:, 2] == pytest.approx(np.sum(where[:, :2] ** 2, axis=1) / (4.0 * f), abs=3e-6)
        slopes = -normals[:, :2] / normals[:, 2:]
        assert np.abs(slopes - where[:, :2] / (2.0 * f)).max() < 6e-4
    whole = there.facets
    assert facets.surface_areas().sum() == pytest.approx(whole.surface_areas().sum(), rel=2e-4)
    assert facets.aperture_areas().sum() == pytest.approx(whole.aperture_areas().sum(), rel=2e-4)
    assert measured_figures(scene, outline_of(scene), fits=fits, reset=there.reset)["patch_slope_mrad"] < 0.2


def test_at_equinox_the_section_is_the_measured_surface(tmp_path):
    """A departure along the axis comes back at the same places, to what a polynomial over the leaning plane can do."""
    scene = section_scene(tmp_path, MEASURED.format("as-measured"), 0.0, beside=ripple)
    facets, fits, there = built(scene)
    where = np.concatenate([facets.surface(i, np.zeros((1, 2)))[0] for i in range(len(facets))])
    assert there.reset.declination == pytest.approx(0.0, abs=1e-9)
    assert where[:, 2] == pytest.approx(fits.mirror.height(where[:, :2]), abs=5e-6)


@pytest.mark.parametrize("frame", ["flexed", "stiff"])
def test_the_departure_stays_where_it_is_on_the_mirror(tmp_path, frame):
    """Over each place of the rim plane the mirror stands as far above the ideal one of that day as at equinox."""
    day, equinox = (section_scene(tmp_path, MEASURED.format("as-measured"), d, frame, ripple) for d in (20.0, 0.0))
    uv = 0.3 * np.random.default_rng(1).uniform(-1.0, 1.0, (50, 2))
    stands = []
    for scene in (day, equinox):
        _, fits, there = built(scene)
        surface = section_surface(fits.mirror, there.reset)
        ideal = np.concatenate([there.reset.day.surface(0, uv[i : i + 1])[0] for i in range(len(uv))])
        heights = (ideal - there.reset.day.origin[0]) @ there.reset.day.axes[0, 2]
        stands.append(surface.height(uv) - heights)
    assert np.abs(stands[1]).max() > 1e-4
    assert stands[0] == pytest.approx(stands[1], abs=1e-12)


def test_a_stiff_measured_section_only_turns(tmp_path):
    """Distances between places of a stiff mirror are those of equinox; those of a flexed one are not."""
    spread = {}
    for frame, declination in (("stiff", 20.0), ("flexed", 20.0), ("flexed", 0.0)):
        facets, _, _ = built(
            section_scene(tmp_path, MEASURED.format("as-measured") + "\npatch_m = 0.1", declination, frame)
        )
        spread[frame, declination] = np.linalg.norm(facets.origin[:, None] - facets.origin, axis=2)
    still = spread["flexed", 0.0]
    assert spread["stiff", 20.0] == pytest.approx(still, abs=1e-12)
    assert np.abs(spread["flexed", 20.0] - still).max() > 2e-4


@pytest.mark.parametrize("frame", ["flexed", "stiff"])
def test_the_traced_spot_is_that_of_the_skin(tmp_path, frame, seed):
    """An ideal measured section and one without facets: power and width of the spot agree to the patches and the noise
    (the rays differ, since a patch is another facet; x, which the slant of the light does not stretch). 0.2 mrad at the
    corners of patches can move the middle by 2 x 0.1 mrad x 1.1 m over the cosine of a slant of 60 degrees."""
    results = [
        trace(section_scene(tmp_path, facets, 15.0, frame), rays=32768, seed=seed, threads=2)
        for facets in (MEASURED.format("as-measured"), "")
    ]
    measured, skin = (result.focal_plane for result in results)
    assert measured.power_w.value == pytest.approx(skin.power_w.value, rel=1e-3)
    width = [screen.rms_xy_m[0] for screen in (measured, skin)]
    assert width[0].value == pytest.approx(width[1].value, abs=4.6 * np.hypot(width[0].se, width[1].se) + 1e-4)
    middle = [screen.centroid_m[1] for screen in (measured, skin)]
    assert middle[0].value == pytest.approx(middle[1].value, abs=4.6 * np.hypot(middle[0].se, middle[1].se) + 5e-4)


@pytest.mark.parametrize("curve", ["flat", "spherical", "parent"])
def test_tiles_on_a_flexed_frame_keep_their_curvature(tmp_path, curve):
    """Glass does not follow the frame: quadrics and outlines are those of equinox, to the last bit, while middles and
    normals are those of the day's mirror at the same place of the rim plane."""
    lines = f'[dish.facets]\nlayout = "square-grid"\nsize_m = 0.1\ngap_m = 0.01\ncurve = "{curve}"'
    scene = section_scene(tmp_path, lines, 20.0)
    outline, there = outline_of(scene), placed_mirror(scene, sun_state(scene))
    equinox, day = facets_of(scene, outline), facets_of(scene, outline, reset=there.reset)
    assert np.array_equal(day.quadric, equinox.quadric)
    assert [outline.area for outline in day.outlines] == [outline.area for outline in equinox.outlines]
    f = there.focal_length
    assert day.origin[:, 2] == pytest.approx(np.sum(day.origin[:, :2] ** 2, axis=1) / (4.0 * f), abs=1e-12)
    slopes = -day.axes[:, 2, :2] / day.axes[:, 2, 2:]
    assert slopes == pytest.approx(day.origin[:, :2] / (2.0 * f), abs=1e-9)


def test_parent_tiles_of_equinox_blur_the_spot_of_another_day(tmp_path):
    """Tiles of the paraboloid itself are exact at equinox only: on a day of 20 degrees the light from a tile's edge
    strays by about half a tile times the change of curvature times twice the distance."""
    lines = '[dish.facets]\nlayout = "square-grid"\nsize_m = {}\ngap_m = 0.004\ncurve = "parent"'
    rms = {}
    for size in (0.1, 0.2):
        for declination in (0.0, 20.0):
            scene = section_scene(tmp_path, lines.format(size), declination)
            rms[size, declination] = trace(scene, rays=16384, threads=2).focal_plane.rms_xy_m[0].value
    assert rms[0.1, 0.0] == pytest.approx(rms[0.2, 0.0], rel=0.05)
    added = {size: np.sqrt(rms[size, 20.0] ** 2 - rms[size, 0.0] ** 2) for size in (0.1, 0.2)}
    assert added[0.2] > 1.3 * added[0.1] > 0.0
