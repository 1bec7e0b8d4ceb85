"""Fresnel faces, glass sheets, and what a surface takes of the light that meets it.

Planted errors that these tests catch: n and 1/n swapped at a face, one pass through the glass instead of all, the
specular share taken of the incident instead of the reflected light, all-or-none without its rescaled number.
"""

import numpy as np
import pytest

from dishtrace.trace.kernels import meeting, surface
from dishtrace.trace.kernels.meeting import ALL_OR_NONE
from dishtrace.trace.optics import Parts
from dishtrace.trace.reference_optics import sheet_shares
from tests.support.called import from_python

meet_surface = from_python(meeting.meet_surface)
face_reflectances = from_python(surface.face_reflectances)
sheet_optics = from_python(surface.sheet_optics)

COSINES = np.cos(np.radians([0.0, 10.0, 45.0, 56.3, 80.0, 89.0, 89.9]))


def part_with(absorptance, specular, cover=(0.0, 0.0, 0.0)):
    nothing = np.zeros(0)
    return Parts(
        corners=np.zeros((0, 9)),
        normal=np.zeros((0, 3)),
        part=np.zeros(0, dtype=np.int64),
        surface=np.array([[[absorptance, specular], [absorptance, specular]]]),
        cover=np.array([cover]),
        role=np.zeros(1, dtype=np.int64),
        direct_cdf=nothing,
        direct_power=nothing,
    )


def test_normal_incidence():
    """((n - 1) / (n + 1))^2 for both polarisations."""
    s, p, inside = face_reflectances(1.5, 1.0)
    assert s == pytest.approx(0.04, rel=1e-14)
    assert p == pytest.approx(0.04, rel=1e-14)
    assert inside == 1.0


def test_no_reflection_of_the_parallel_polarisation_at_brewsters_angle():
    """At tan(angle) = n; the refracted ray is then square to the reflected one."""
    index = 1.526
    angle = np.arctan(index)
    s, p, inside = face_reflectances(index, np.cos(angle))
    assert p == pytest.approx(0.0, abs=1e-30)
    assert inside == pytest.approx(np.sin(angle), rel=1e-14)
    assert s == pytest.approx(np.cos(2.0 * angle) ** 2, rel=1e-12)


def test_grazing_light_is_reflected():
    s, p, _ = face_reflectances(1.5, 1e-9)
    assert s == pytest.approx(1.0, abs=1e-7)
    assert p == pytest.approx(1.0, abs=1e-7)


@pytest.mark.parametrize("cosine", COSINES)
def test_index_one_reflects_nothing_and_takes_what_lies_along_the_path(cosine):
    reflected, transmitted = sheet_optics(1.0, 0.3, cosine)
    assert reflected == pytest.approx(0.0, abs=1e-12)
    assert transmitted == pytest.approx(np.exp(-0.3 / cosine), rel=1e-12)


@pytest.mark.parametrize("cosine", COSINES)
@pytest.mark.parametrize("depth", [0.0, 0.05, 3.0, 100.0])
def test_sheet_is_the_sum_of_all_passes(cosine, depth):
    """Each pass inside followed by hand until nothing is left; the shares of absorption close to one."""
    index = 1.526
    s, p, inside = face_reflectances(index, cosine)
    tau = np.exp(-depth / inside)
    back = through = absorbed = 0.0
    for r in (s, p):
        back += 0.5 * r
        light = 0.5 * (1.0 - r)
        for hit in range(200000):
            absorbed += light * (1.0 - tau)
            light *= tau
            if hit % 2 == 0:
                through += light * (1.0 - r)
            else:
                back += light * (1.0 - r)
            light *= r
            if light < 1e-15:
                break
    found = sheet_optics(index, depth, cosine)
    assert found == pytest.approx((back, through), abs=1e-12)
    assert sum(found) + absorbed == pytest.approx(1.0, abs=1e-12)


def test_sheet_agrees_with_the_reference_over_all_angles():
    cosine = np.linspace(1e-6, 1.0, 500)
    cover = np.tile([1.7, 12.0, 0.006], (500, 1))
    found = np.array([sheet_optics(1.7, 12.0 * 0.006, c) for c in cosine])
    assert np.allclose(found, np.stack(sheet_shares(cover, cosine), axis=1), rtol=1e-10, atol=1e-15)


def test_opaque_surface_takes_its_share_and_sends_on_the_rest():
    """Bright light: the absorptance is taken off; u below the specular share of what is left mirrors it."""
    parts = part_with(0.3, 0.25)
    assert meet_surface(parts, 0, 0, 0.5, 2.0, 2.0, 0.2499) == (pytest.approx(0.6), pytest.approx(1.4), 1)
    assert meet_surface(parts, 0, 0, 0.5, 2.0, 2.0, 0.2501) == (pytest.approx(0.6), pytest.approx(1.4), 2)


def test_black_surface_takes_all():
    assert meet_surface(part_with(1.0, 0.5), 0, 1, 0.5, 2.0, 2.0, 0.01) == (2.0, 0.0, 0)


def test_perfect_mirror_and_perfect_white_take_nothing():
    assert meet_surface(part_with(0.0, 1.0), 0, 0, 0.5, 2.0, 2.0, 1.0 - 2.0**-33) == (0.0, 2.0, 1)
    assert meet_surface(part_with(0.0, 0.0), 0, 0, 0.5, 2.0, 2.0, 2.0**-33) == (0.0, 2.0, 2)


def test_faint_light_is_taken_whole_or_not_at_all_without_bias():
    """Over an even u the mean absorbed share, and how the rest is split, are those of bright light."""
    parts = part_with(0.3, 0.25)
    weight = ALL_OR_NONE * 5.0
    u = (np.arange(10000) + 0.5) / 10000
    found = [meet_surface(parts, 0, 0, 0.5, weight, 5.0, x) for x in u]
    absorbed, left, kind = (np.array(column) for column in zip(*found, strict=True))
    assert set(absorbed) == {0.0, weight}
    assert np.array_equal(absorbed + left, np.full(10000, weight))
    assert np.array_equal(kind == 0, left == 0.0)
    assert absorbed.mean() / weight == pytest.approx(0.3, abs=1e-12)
    assert np.mean(kind == 1) == pytest.approx(0.7 * 0.25, abs=1.1e-4)
    assert np.mean(kind == 2) == pytest.approx(0.7 * 0.75, abs=1.1e-4)


def test_bright_light_is_never_all_or_none():
    absorbed, left, _ = meet_surface(part_with(0.3, 0.25), 0, 0, 0.5, 0.0501, 5.0, 0.9)
    assert absorbed == pytest.approx(0.3 * 0.0501)
    assert left == pytest.approx(0.7 * 0.0501)


def test_cover_passes_reflects_and_takes():
    """Straight on (3) with the share T / (T + R) of what is not absorbed, else mirrored (1)."""
    cover = (1.526, 16.0, 0.004)
    parts, cosine = part_with(0.0, 0.0, cover), 0.6
    back, through = sheet_optics(1.526, 0.064, cosine)
    edge = through / (back + through)
    absorbed, left, kind = meet_surface(parts, 0, 0, cosine, 2.0, 2.0, edge - 1e-9)
    assert (absorbed, left, kind) == (
        pytest.approx(2.0 * (1.0 - back - through)),
        pytest.approx(2.0 * (back + through)),
        3,
    )
    assert meet_surface(parts, 0, 0, cosine, 2.0, 2.0, edge + 1e-9)[2] == 1
    assert absorbed > 0.05


def test_sides_have_their_own_surfaces():
    parts = part_with(0.3, 0.25)
    parts.surface[0, 1] = 0.8, 1.0
    assert meet_surface(parts, 0, 0, 0.5, 1.0, 1.0, 0.9)[0] == pytest.approx(0.3)
    assert meet_surface(parts, 0, 1, 0.5, 1.0, 1.0, 0.9)[:3:2] == (pytest.approx(0.8), 1)
