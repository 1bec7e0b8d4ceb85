"""Rays from the mirror and looking back over it tell the same flux, whatever spreads, shades or cuts the light.

The last tests plant errors in one of the two ways: they must be seen.
"""

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.flux.agreement import Traced, with_peak_points
from dishtrace.flux.look import looking
from dishtrace.flux.measure import prepare
from dishtrace.flux.part import part_results
from dishtrace.scene.read import scene_from_text
from dishtrace.trace.points import N_SCRAMBLES
from tests.support.optics import part_text, scene_text
from tests.support.small_scenes import tallied

# |t| with 31 degrees of freedom: a false alarm in 8000 for each of ten comparisons.
LIMIT = 4.3
PLATE = part_text("plate", "disc", radius_m=0.012, axis=[0.0, 0.0, -1.0])
BALL = part_text("ball", "sphere", radius_m=0.01)
STAND = part_text("arm", "box", role="stand", size_m=[0.3, 0.02, 0.02], center=[0.18, 0.0, 0.0])
TWO_AXIS = 'kind = "two-axis"\npointing_jitter_mrad = 2.0\npointing_offset_mrad = [3.0, -2.0]'
AUREOLE = 'shape = { profile = "circumsolar", csr = 0.1 }'
LIMB = 'shape = { profile = "limb-darkened", half_angle_mrad = 4.65 }'
TILES = (
    '[dish.facets]\nlayout = "hex-grid"\nsize_m = 0.1\ngap_m = 0.004\ncurve = "spherical"\ncanting_error_mrad = 1.5\n'
)
PETALS = '[dish.facets]\nlayout = "petals"\ncount = 24\ninner_radius_m = 0.1\nouter_radius_m = 0.8\ngap_m = 0.002\n'
GLASS = (
    '[[part]]\nname = "glass"\nrole = "cover"\nshape = "disc"\nradius_m = 0.03\ncenter_m = [0.0, 0.0, -0.02]\n'
    "cover = { refractive_index = 1.526, extinction_per_m = 20.0, thickness_m = 0.004 }\n"
)
SCENES = {
    "slope narrower than the sun": scene_text(dish="slope_error_mrad = 1.0", more=PLATE + STAND),
    "slope wider than the sun": scene_text(rim_deg=70.0, dish="slope_error_mrad = 6.0", more=BALL + STAND),
    "spread, jitter, lean": scene_text(
        dish="slope_error_mrad = 1.5\nbeam_spread_mrad = 4.0", mount=TWO_AXIS, sun=AUREOLE, more=PLATE
    ),
    "jitter alone": scene_text(mount=TWO_AXIS.replace("2.0\n", "6.0\n"), sun=LIMB, more=PLATE),
    "spherical tiles": scene_text(dish="slope_error_mrad = 2.0", more=TILES + PLATE + STAND),
    "petals": scene_text(dish="slope_error_mrad = 0.5", more=PETALS + part_text("ball", "sphere", radius_m=0.03)),
    "lateral, hole, reflectance": scene_text(
        radius=0.4, center=(0.5, 0.1), hole=0.1, reflectance=0.8, dish="slope_error_mrad = 2.0", more=BALL
    ),
    "behind glass": scene_text(dish="slope_error_mrad = 2.0", more=GLASS + PLATE),
    "inside a shiny cavity": scene_text(
        dish="slope_error_mrad = 2.0",
        more=part_text(
            "cavity",
            "cavity",
            surface="surface = { absorptance = 0.5, specular_share = 0.3 }",
            radius_m=0.04,
            depth_m=0.06,
            opening_radius_m=0.02,
            axis=[0.0, 0.0, -1.0],
        ),
    ),
}


@pytest.mark.parametrize("name", SCENES)
def test_both_ways_agree(name, seed):
    agreement = dt.trace(scene_from_text(SCENES[name]), rays=2**17, seed=seed).agreement
    assert agreement.z is not None
    assert abs(agreement.z) < LIMIT, agreement
    assert agreement.forward.se < 0.05 * agreement.forward.value
    assert agreement.backward.se < 0.05 * agreement.backward.value


def agreement_with(change, seed):
    """Agreement where looking back sees other optics than the rays."""
    prepared = prepare(scene_from_text(SCENES["slope wider than the sun"]), seed=seed)
    optics, order = prepared.assembly.optics, prepared.assembly.order
    tally, pilot = (tallied(optics, count=count) for count in (4096, 512))
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))
    _, agreement = with_peak_points(
        part_results(prepared.meshes, tally, order, n_rays=4096 * N_SCRAMBLES),
        look=looking(change(optics), sun=prepared.sun, facets=prepared.facets, seed=seed, threads=1),
        traced=Traced(tally, 4096 * N_SCRAMBLES, position),
        pilot=Traced(pilot, 512 * N_SCRAMBLES, position),
        trace_first=lambda other, n: Traced(tallied(other, count=n), n * N_SCRAMBLES, position),
    )
    return agreement


def bent(optics, **changes):
    return optics._replace(mirror=optics.mirror._replace(**changes))


def test_no_error_no_alarm(seed):
    agreement = agreement_with(lambda optics: optics, seed)
    assert agreement.is_good
    assert abs(agreement.z) < LIMIT


@pytest.mark.parametrize(
    "change",
    [
        lambda optics: bent(optics, slope=optics.mirror.slope * np.sqrt(2.0)),
        lambda optics: bent(optics, slope=optics.mirror.slope / 2.0),
        lambda optics: bent(optics, reflectance=optics.mirror.reflectance * 0.9),
        lambda optics: bent(optics, spread=4e-3),
    ],
    ids=["slope by sqrt 2", "slope halved", "reflectance", "spread"],
)
def test_planted_errors_are_seen(change, seed):
    agreement = agreement_with(change, seed)
    assert not agreement.is_good
    assert "disagrees" in agreement.warning()
