"""From a picture file to light on the target's plane: tone curve, scale, perspective, overexposure, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from dishtrace.errors import InputError
from dishtrace.study.fit.matching import match_spot
from dishtrace.study.fit.patch import spot_patch
from dishtrace.study.fit.photo import Photo, read_photo
from dishtrace.study.fit.radii import radii
from dishtrace.study.fit.scale import read_scale
from tests.support.fit_readings import gaussian_photo, gaussian_spots, patch_of, spread_m


def saved(tmp_path, codes, **how):
    path = tmp_path / "spot.png"
    Image.fromarray(codes).save(path, **how)
    return path


def test_srgb_codes_become_light(tmp_path):
    """IEC 61966-2-1: code 188 of 255 is light 0.5029, code 10 is 0.003035 (straight part); a plain 2.2 is 1 % off."""
    codes = np.array([[188, 10], [0, 128]], dtype=np.uint8)
    photo = read_photo(saved(tmp_path, codes))
    assert photo.light[0] == pytest.approx([0.50289, 0.0030353], rel=1e-4)
    assert photo.light[1] == pytest.approx([0.0, 0.21586], rel=1e-4)
    assert photo.tone_spread > 0.0
    assert read_photo(saved(tmp_path, codes), tone="linear").light[1, 1] == pytest.approx(128 / 255)
    assert read_photo(saved(tmp_path, codes), tone="2.0").light[1, 1] == pytest.approx((128 / 255) ** 2)


def test_sixteen_bits_are_taken_as_light(tmp_path):
    codes = np.array([[0, 32768], [65535, 100]], dtype=np.uint16)
    photo = read_photo(saved(tmp_path, codes))
    assert photo.light.ravel() == pytest.approx([0.0, 0.50001, 1.0, 0.0015259], rel=1e-4)
    assert photo.is_full.tolist() == [[False, False], [True, False]]


def test_one_colour_at_the_top_is_overexposed(tmp_path):
    codes = np.full((4, 4, 3), 90, dtype=np.uint8)
    codes[1, 2, 2] = 255
    assert np.argwhere(read_photo(saved(tmp_path, codes)).is_full).tolist() == [[1, 2]]


def test_a_plateau_below_the_top_is_overexposed_too(tmp_path):
    """Clipped at 235, as some cameras write it."""
    ramp = np.tile(np.linspace(0.0, 300.0, 120), (40, 1))
    photo = read_photo(saved(tmp_path, np.minimum(ramp, 235.0).astype(np.uint8)))
    assert photo.is_full[:, 100:].all()
    assert not photo.is_full[:, :90].any()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("none.png", None, "does not exist"),
        ("text.png", b"no picture", "not a picture"),
        ("cut.png", b"\x89PNG", "not a"),
    ],
)
def test_files_that_are_no_pictures_are_refused(tmp_path, name, content, said):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=said):
        read_photo(path)


def test_a_wrong_tone_is_refused(tmp_path):
    with pytest.raises(InputError, match="must be srgb, linear or an exponent"):
        read_photo(saved(tmp_path, np.zeros((4, 4), dtype=np.uint8)), tone="film")


def test_forms_of_the_scale():
    assert read_scale("0.4 mm/px").pixel_m(10.0, 10.0) == pytest.approx(0.4e-3)
    two = read_scale("100,100 400,500 20 cm")
    assert two.pixel_m(0.0, 0.0) == pytest.approx(0.2 / 500.0)
    assert two.share_se == pytest.approx(np.sqrt(2.0) / 500.0)
    x, y = read_scale("10,20 110,20 110,70 10,70 200x100mm").metres(np.array([10.0, 60.0]), np.array([20.0, 45.0]))
    assert x == pytest.approx([0.0, 0.1])
    assert y == pytest.approx([0.1, 0.05])


@pytest.mark.parametrize(
    "text",
    ["0.4", "0.4 px", "1,2 3,4", "1,2 3,4 5 mm", "0,0 100,0 20", "0,0 100,0 0 mm", "0,0 50,50 100,0 0,100 20x20 mm",
     "10,70 110,70 110,20 10,20 200x100 mm", "0,0 100,0 100,100 200x100 mm", "500 mm/px"],
)  # fmt: skip
def test_scales_that_cannot_be_are_refused(text):
    with pytest.raises(InputError, match="scale"):
        read_scale(text)


def tilted(slope_mrad, *, size=(360, 480)):
    """A photo of a Gaussian spot taken from the side, and the four pixels of a square of 200 mm on the target."""
    corners = np.array([[90.0, 60.0], [390.0, 20.0], [400.0, 330.0], [80.0, 280.0]])
    scale = read_scale(" ".join(f"{c:g},{r:g}" for c, r in corners) + " 200x200 mm")
    rows, columns = np.indices(size, dtype=np.float64)
    u, v = scale.metres(columns, rows)
    squared = (u - 0.100) ** 2 + (v - 0.095) ** 2
    light = 0.02 + 0.7 * np.exp(-0.5 * squared / spread_m(slope_mrad) ** 2)
    return Photo("tilted.png", light.astype(np.float32), np.zeros(size, bool), "", 0.0), scale


def test_perspective_is_taken_out():
    """Radii of a round spot seen at an angle are those of the target to 0.2 %; the picture's are 20 % longer."""
    photo, scale = tilted(8.0)
    patch = spot_patch(photo, scale, axis_px=None, is_seen_from_mirror=True, turn_deg=0.0)
    found = radii(patch).values
    assert found["r50_m"] == pytest.approx(spread_m(8.0) * 1.17741, rel=2e-3)
    assert found["r90_m"] == pytest.approx(spread_m(8.0) * 2.14597, rel=2e-3)


def test_right_on_the_photo_is_minus_x_from_the_mirror_and_plus_x_from_behind():
    photo = gaussian_photo(6.0, centre_m=(0.012, 0.005))
    axis = (159.5, 119.5)
    scale = read_scale("0.4 mm/px")
    for is_front, turn, expected in (
        (True, 0.0, (0.012, 0.005)),
        (False, 0.0, (-0.012, 0.005)),
        (False, 90.0, (-0.005, -0.012)),
    ):
        patch = spot_patch(photo, scale, axis_px=axis, is_seen_from_mirror=is_front, turn_deg=turn)
        found = radii(patch).values
        assert (found["centroid_x_m"], found["centroid_y_m"]) == pytest.approx(expected, abs=3e-5)


def test_match_finds_slope_and_place_without_noise():
    """To 0.005 mrad and 0.01 mm; slope as a factor of two, or the mirrored place, would be far off."""
    patch = patch_of(gaussian_photo(5.0, centre_m=(0.004, -0.003)))
    spots = gaussian_spots(np.sqrt([12.0, 19.0, 26.0, 33.0, 40.0]), half_width_m=1.2 * patch.half_width_m)
    match = match_spot(patch, spots, start_mrad2=16.0)
    assert np.sqrt(match.numbers[0]) == pytest.approx(5.0, abs=5e-3)
    assert match.numbers[1:3] == pytest.approx([0.004, -0.003], abs=1e-5)


def test_an_overexposed_middle_is_handled(seed):
    """A tenth of the bright patch is clipped: left out of the match, told, and the slope error comes back."""
    noise = np.random.default_rng(seed)
    patch = patch_of(gaussian_photo(5.0, noise, highest=0.80))
    assert 0.02 < patch.full_share < 0.25
    assert "overexposed" in patch.notes[0]
    spots = gaussian_spots(np.sqrt([12.0, 19.0, 26.0, 33.0, 40.0]), half_width_m=1.2 * patch.half_width_m)
    match = match_spot(patch, spots, start_mrad2=16.0)
    assert abs(match.numbers[0] - 25.0) < 4.6 * match.scatter_se[0]
    assert np.sqrt(match.numbers[0]) == pytest.approx(5.0, abs=0.05)


def test_too_much_overexposed_is_refused():
    with pytest.raises(InputError, match="is overexposed over .* of the bright patch"):
        patch_of(gaussian_photo(5.0, highest=0.5))


@pytest.mark.parametrize(
    ("photo", "said"),
    [
        (gaussian_photo(5.0, peak=0.0), "shows no bright patch"),
        (gaussian_photo(5.0, centre_m=(0.058, 0.0)), "cuts the spot off"),
        (gaussian_photo(5.0, size=(30, 40), mm=4.0), "pixels wide"),
    ],
)
def test_photos_that_tell_nothing_are_refused(photo, said):
    with pytest.raises(InputError, match=said):
        patch_of(photo, mm=4.0 if photo.light.shape[0] == 30 else 0.4)
