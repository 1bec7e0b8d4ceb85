"""Water, steam and openings against steam tables, rules and worked examples."""

from __future__ import annotations

import math

import pytest

from dishtrace.heat import relief, steam, stress, water

BAR = 1e5
ATM = 101325.0
SATURATION = {
    # p bar: T degC, h_f, h_fg, h_g kJ/kg, v_f, v_g m3/kg. IAPWS-IF97 tables (the formulation here is IAPWS-95: both
    # agree within 0.009 K and 0.2 kJ/kg)
    1.0: (99.606, 417.44, 2257.51, 2674.95, 0.001043, 1.69402),
    1.01325: (99.974, 418.99, 2256.54, 2675.53, 0.001043, 1.67330),
    2.0: (120.212, 504.68, 2201.56, 2706.24, 0.001061, 0.88574),
    5.0: (151.836, 640.19, 2107.92, 2748.11, 0.001093, 0.37480),
    10.0: (179.886, 762.68, 2014.44, 2777.12, 0.001127, 0.19435),
    15.5: (199.856, 851.74, 1940.23, 2791.97, 0.001156, 0.12759),
}
FLUX = {
    # p bar: equilibrium flux of dry saturated steam by maximising over IF97, flux with k = 1.135, Napier. kg/(s m2)
    2.0: (302.30, 302.03, 291.35),
    3.0: (447.97, 447.28, 437.02),
    5.0: (735.55, 734.12, 728.37),
    7.0: (1020.18, 1018.21, 1019.72),
    10.0: (1443.96, 1441.75, 1456.74),
    15.5: (2215.98, 2215.31, 2257.94),
}


@pytest.mark.parametrize("bar", SATURATION)
def test_saturation_is_that_of_the_steam_tables(bar):
    temperature, h_f, h_fg, h_g, v_f, v_g = SATURATION[bar]
    found = water.saturation_temperature(bar * BAR)
    sat = water.saturation(found)
    assert found - 273.15 == pytest.approx(temperature, abs=0.012)
    assert sat.pressure == pytest.approx(bar * BAR, rel=1e-9)
    assert sat.liquid_h / 1e3 == pytest.approx(h_f, abs=0.25)
    assert (sat.steam_h - sat.liquid_h) / 1e3 == pytest.approx(h_fg, abs=0.25)
    assert sat.steam_h / 1e3 == pytest.approx(h_g, abs=0.25)
    assert sat.liquid_volume == pytest.approx(v_f, abs=1e-6)
    assert sat.steam_volume == pytest.approx(v_g, rel=3e-4)


@pytest.mark.parametrize(("kelvin", "mpa"), [(300.0, 0.353658941e-2), (500.0, 2.63889776), (600.0, 12.3443146)])
def test_vapour_pressure_is_that_of_iapws_r7_97(kelvin, mpa):
    # IAPWS R7-97(2012) Table 35, region 4; the other formulation differs by up to 1e-4
    assert water.saturation(kelvin).pressure / 1e6 == pytest.approx(mpa, rel=2e-4)


def test_swelling_water():
    # Saturated water swells by 9 % from 20 to 150 degC (IAPWS-IF97)
    share = water.saturation(423.15).liquid_volume / water.saturation(293.15).liquid_volume
    assert share == pytest.approx(1.09, abs=0.005)


@pytest.mark.parametrize("bar", FLUX)
def test_choked_flux_of_dry_saturated_steam(bar):
    """Catches k = 1.3 in place of 1.135 (5 % high), a subsonic formula, and gauge taken for absolute pressure."""
    equilibrium, closed, napier = FLUX[bar]
    jet = steam.saturated_steam_jet(bar * BAR, back_pressure=0.5 * BAR)
    assert jet.is_choked
    assert jet.flux == pytest.approx(closed, rel=3e-4)
    assert jet.flux == pytest.approx(equilibrium, rel=3e-3)
    assert jet.flux == pytest.approx(napier, rel=0.04)  # a rule of thumb


def test_napiers_rule_is_exact_near_a_hundred_pounds():
    # W[lb/s] = p[psia] A[in2] / 70: 1.4286 lb/s at 100 psia through 1 in2; in equilibrium 1.4298
    area, pound, psi = 0.0254**2, 0.45359237, 6894.757
    flow = steam.saturated_steam_jet(100.0 * psi, back_pressure=ATM).flux * area / pound
    assert flow == pytest.approx(1.4298, rel=3e-3)
    assert flow == pytest.approx(1.4286, rel=4e-3)


@pytest.mark.parametrize(("k", "ratio"), [(1.4, 0.52828), (1.3, 0.54573), (1.135, 0.57743)])
def test_critical_pressure_ratio(k, ratio):
    assert steam.critical_ratio(k) == pytest.approx(ratio, abs=1e-5)


def test_flow_is_the_same_on_both_sides_of_choking():
    ratio = steam.critical_ratio(1.3)
    jets = [
        steam.gas_jet(pressure=5e5, density=2.5, exponent=1.3, back_pressure=5e5 * ratio * factor)
        for factor in (1.0 - 1e-9, 1.0 + 1e-9)
    ]
    assert [jet.is_choked for jet in jets] == [True, False]
    assert jets[0].flux == pytest.approx(jets[1].flux, rel=1e-7)
    assert jets[0].thrust == pytest.approx(jets[1].thrust, rel=1e-6)


def test_slow_flow_is_that_of_bernoulli():
    """Close to no pressure difference a gas flows as a liquid does; catches a factor of two or sqrt(2)."""
    jet = steam.gas_jet(pressure=101325.0 + 500.0, density=0.6, exponent=1.135, back_pressure=101325.0)
    assert jet.flux == pytest.approx(math.sqrt(2.0 * 0.6 * 500.0), rel=0.01)


@pytest.mark.parametrize(("millimetres", "grams", "watts"), [(0.5, 0.1444, 304.0), (1.0, 0.578, 1218.0)])
def test_power_that_a_hole_carries_away_at_five_bar(millimetres, grams, watts):
    # Equilibrium flux by IF97 through an ideal hole: 0.5 mm 0.1444 g/s = 304 W latent, 1 mm 0.578 g/s = 1218 W
    area = 0.25 * math.pi * (millimetres / 1e3) ** 2
    flow = steam.saturated_steam_jet(5.0 * BAR, back_pressure=ATM).flux * area
    assert 1e3 * flow == pytest.approx(grams, rel=0.01)
    sat = water.saturation(water.saturation_temperature(5.0 * BAR))
    assert flow * (sat.steam_h - sat.liquid_h) == pytest.approx(watts, rel=0.01)


def test_relief_of_one_kilowatt_at_five_bar():
    # 1 kW at 5 bar = 0.474 g/s (IF97: h_fg = 2107.9 kJ/kg)
    assert relief.largest_steam_flow(1000.0, pressure=5.0 * BAR) == pytest.approx(0.474e-3, rel=2e-3)


def test_relief_area_of_the_worked_example_of_a_valve():
    """API 520 Part 1, 7th ed., Example 4: 69 615 kg/h, 12 236 kPa, Kd 0.975: 1.10347e-3 m2.

    The exponent for saturated steam holds to 0.25 % up to 15.5 bar and is 5 % high in flow here, at 122 bar.
    """
    area = relief.smallest_area(69615.0 / 3600.0, pressure=12.236e6, back_pressure=ATM, coefficient=0.975)
    assert area == pytest.approx(1.10347e-3, rel=0.06)


def test_pressure_reached_and_smallest_area_are_inverse():
    area = relief.smallest_area(
        relief.largest_steam_flow(800.0, pressure=4.0 * BAR), pressure=4.0 * BAR, back_pressure=ATM, coefficient=0.7
    )
    reached = relief.pressure_reached(lambda t: 800.0, area=0.7 * area, back_pressure=ATM)
    assert reached == pytest.approx(4.0 * BAR, rel=1e-6)
    assert relief.pressure_reached(lambda t: -1.0, area=area, back_pressure=ATM) == ATM
    assert relief.pressure_reached(lambda t: 1e9, area=area, back_pressure=ATM) is None


def test_flash_share():
    # 1 kg of saturated water at 10 bar let down to 1 atm: 0.1523 (IF97)
    found = steam.flash_share(water.saturation_temperature(10.0 * BAR), back_pressure=ATM)
    assert found == pytest.approx(0.1523, abs=3e-4)
    assert steam.flash_share(350.0, back_pressure=ATM) == 0.0


def test_work_of_an_expansion_against_the_tables():
    """5 bar to 1 bar: s_g = 6.8206; wet steam at 1 bar of that entropy, x = (6.8206 - 1.3026) / (7.3588 - 1.3026)."""
    x = (6.8206 - 1.3026) / (7.3588 - 1.3026)
    work = 2748.11 - (417.44 + x * 2257.51)
    assert steam.expansion_j_kg(pressure=5.0 * BAR, exhaust=BAR) / 1e3 == pytest.approx(work, abs=0.5)
    assert steam.expansion_j_kg(pressure=BAR, exhaust=BAR) == 0.0


def test_thin_and_thick_vessel():
    # p 1 MPa, r 50 mm, t 2 mm: 25 MPa thin, 25.510 MPa at the inside by Lame; t 10 mm: 5.0 and 5.545 MPa
    assert stress.hoop_stress(1e6, radius=0.05, thickness=0.002) == pytest.approx(25e6)
    assert stress.lame_stress(1e6, inside=0.05, outside=0.052) == pytest.approx(25.510e6, rel=1e-4)
    assert stress.lame_stress(1e6, inside=0.05, outside=0.06) == pytest.approx(5.545e6, rel=1e-3)


def test_shell_takes_lame_where_it_is_thick_and_half_for_a_ball():
    def shell(thickness, *, is_ball=False):
        return stress.PressureShell(0.05, thickness, 7850.0, "stainless-304", is_ball=is_ball)

    assert shell(0.002).stress(1e6) == pytest.approx(25e6)
    assert shell(0.01).stress(1e6) == pytest.approx(5.545e6, rel=1e-3)
    assert shell(0.002, is_ball=True).stress(1e6) == pytest.approx(12.5e6)
    ring = 7850.0 * (100.0 * 0.05) ** 2  # a turning ring: density times speed of the rim squared
    assert shell(0.002).stress(0.0, speed=100.0) == pytest.approx(ring)


def test_allowed_stress_falls_with_temperature_and_ends_with_the_table():
    hot, cold = (stress.allowable_stress("stainless-304", t) for t in (773.15, 313.15))
    assert 0.0 < hot < cold
    assert stress.allowable_stress("stainless-304", 1200.0) is None
    assert stress.allowable_stress("unobtainium", 300.0) is None
    shell = stress.PressureShell(0.05, 0.002, 7850.0, "stainless-304", safety_factor=2.0, joint_efficiency=0.7)
    assert shell.allowed(313.15) == pytest.approx(0.35 * cold)
    assert shell.pressure_allowed(313.15) == pytest.approx(0.35 * cold * 0.002 / 0.05)
    assert shell.pressure_allowed(1200.0) == stress.LEAST_GAUGE_PA
