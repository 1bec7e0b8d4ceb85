from __future__ import annotations

from types import SimpleNamespace

import pytest
from support.fake_result import make_result

from dishtrace.report import cautions
from dishtrace.stats import Estimate


def with_peaks(**peaks):
    """A result whose parts, all stand, have the given peaks [W/m2]."""
    result = make_result()
    parts = {
        name: SimpleNamespace(
            name=name, role="stand", peak_w_m2=Estimate(peak, 1.0), direct_absorbed_w=Estimate(0.0, 0.0)
        )
        for name, peak in peaks.items()
    }
    return SimpleNamespace(**vars(result) | {"parts": parts})


@pytest.mark.parametrize(
    ("flux", "exposure"),
    [
        (4299.0, None),
        (4300.0, "after hours"),
        (12499.0, "after hours"),
        (28000.0, "within minutes without a spark"),
        (12500.0, "within minutes where a spark or flame is near"),
    ],
)
def test_wood_ignites_from_the_published_fluxes_on(flux, exposure):
    # Babrauskas 2001 (4.3 kW/m2), Lawson and Simms 1952 (12.5 and 28 kW/m2)
    assert cautions.wood_ignition(flux) == exposure


@pytest.mark.parametrize(("flux", "seconds"), [(1739.0, None), (1740.0, 60.0), (4730.0, 16.0), (1e6, 2.0)])
def test_skin_hurts_after_the_published_times(flux, seconds):
    # API Standard 521, exposure times to reach the pain threshold
    assert cautions.seconds_to_pain(flux) == seconds


def test_the_burn_dose_is_the_published_one():
    assert cautions.seconds_to_burn(164e3) == 1.0  # Ripple et al. 1990: 16.4 J/cm2


def test_steam_per_joule_is_the_inverse_of_the_heat_of_vaporisation():
    # IAPWS-IF97 at 5 bar: h'' - h' = 2748.1 - 640.2 = 2107.9 kJ/kg
    assert pytest.approx(1.0 / 2107.9e3, rel=2e-3) == cautions.STEAM_KG_PER_J


def test_the_hottest_stand_part_is_named():
    text = next(c.text for c in cautions.cautions(with_peaks(leg=5e3, clamp=30e3)) if c.topic == "fire")
    assert text.startswith('"clamp" gets up to 30.0 kW/m2: enough to set wood alight within minutes without a spark.')


def test_a_cool_stand_still_gets_the_caution_of_a_wandering_spot():
    text = next(c.text for c in cautions.cautions(with_peaks(leg=100.0)) if c.topic == "fire")
    assert "the spot wanders off" in text
    assert "leg" not in text


def test_every_caution_has_a_source_and_codes_come_last():
    found = cautions.cautions(make_result())
    assert [caution.topic for caution in found] == ["eyes", "skin", "fire", "bystanders", "steam", "codes"]
    assert all(caution.source for caution in found)
    assert "Local codes and licensed practice" in found[-1].text


def test_the_relief_valve_is_told_the_whole_absorbed_power_with_direct_sun():
    result = make_result()
    power = result.budget_w["receiver"].value + result.parts["pot"].direct_absorbed_w.value
    text = next(c.text for c in cautions.cautions(result) if c.topic == "steam")
    assert f"the full {power:.0f} W" in text


def test_no_bystanders_when_nothing_goes_past():
    result = make_result()
    budget = result.budget_w | {"missed": Estimate(0.0, 0.1), "escaped": Estimate(1.0, 0.1)}
    topics = [c.topic for c in cautions.cautions(SimpleNamespace(**vars(result) | {"budget_w": budget}))]
    assert "bystanders" not in topics
