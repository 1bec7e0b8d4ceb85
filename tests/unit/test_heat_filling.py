"""From a scene's contents to timelines: kinds, faults, errors, ranges; text, tables, pictures and cautions."""

from __future__ import annotations

import csv
import json
import math

import numpy as np
import pytest

from dishtrace.errors import InputError
from dishtrace.heat.filling import run_fillings
from dishtrace.heat.part_heat import PartHeat
from dishtrace.heat.ranges import samples
from dishtrace.heat.spread import with_intervals
from dishtrace.report.filling_cautions import filling_cautions
from dishtrace.report.pictures.timeline import draw_timeline
from dishtrace.report.timeline import timeline_lines, write_events, write_timeline
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate

HEAD = """[sun]
dni_w_m2 = 900.0
[dish]
focal_length_m = 0.75
reflectance = 0.85
[dish.outline]
shape = "circle"
radius_m = 0.8
[[part]]
name = "pot"
role = "receiver"
surface = "soot"
"""
CYLINDER = 'shape = "cylinder"\nradius_m = 0.06\nheight_m = 0.2\n'
VOLUME = math.pi * 0.06**2 * 0.2
WALL = 'wall = { material = "stainless-304", thickness_m = 0.002 }\n'
OPENING = "[[part.opening]]\ndiameter_m = 0.002\n"
TANK = 'kind = "water"\nmass_kg = 1.2\n'


def scene(contents, *, shape=CYLINDER, wall=WALL):
    return scene_from_text(f"{HEAD}{shape}{wall}[part.contents]\n{contents}")


def heat_of(made, *, power=700.0, se=3.5, volume=VOLUME):
    part = made.parts[0]
    return {
        "pot": PartHeat(
            name="pot",
            role="receiver",
            part=part,
            absorbed_w=Estimate(power, se),
            area_m2=0.1,
            volume_m3=volume,
            wall_mass_kg=None if part.wall is None else 1.5,
            wall_heat_capacity_j_kgk=None if part.wall is None else 500.0,
            loss_w=lambda t: 1.0 * (t - 293.15),
            ambient_k=293.15,
            pressure_pa=101325.0,
        )
    }


def run(contents, *, shape=CYLINDER, wall=WALL, **heat):
    made = scene(contents, shape=shape, wall=wall)
    (timeline,) = run_fillings(made, heat_of(made, **heat))
    return timeline


@pytest.fixture(scope="module")
def boiled():
    return run(TANK + OPENING)


KINDS = {
    "oil": 'kind = "oil"\nmass_kg = 2.0',
    "flow": 'kind = "flow"\nfluid = "oil"\nflow_kg_s = 0.01\ninlet_c = 40.0',
    "melt": 'kind = "melt"\nmass_kg = 1.0\nmelting_c = 232\nheat_of_fusion_j_kg = 6e4\nheat_capacity_j_kgk = 230',
    "solid": 'kind = "solid"\nmass_kg = 2.0\nheat_capacity_j_kgk = 800',
    "insulation": 'kind = "insulation"',
    "air": 'kind = "air"\nshut = true',
    "pot": 'kind = "pot"\nmass_kg = 1.0\nlid = true',
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_timeline_whose_energy_closes(kind):
    made = run(KINDS[kind])
    assert made.kind == kind
    assert made.energy_gap() < 1e-6
    assert made.events
    json.dumps(made.to_dict(), allow_nan=False)
    assert timeline_lines(made)[0].startswith('"pot": ' + kind)


def test_tank_of_a_scene(boiled):
    keys = [event.key for event in boiled.events]
    assert keys[0] == "boils"
    assert "dry" in keys
    assert boiled.energy_gap() < 1e-6


def test_error_of_an_event_is_that_of_the_power(boiled):
    """Boiling time goes as 1 / (power less losses): its relative error is near that of 700 +- 3.5 W."""
    time = boiled.event("boils").time_s
    assert time.se / time.value == pytest.approx(3.5 / 660.0, rel=0.1)
    assert boiled.figures_se["largest_steam_kg_s"] > 0.0


def test_unknown_error_stays_unknown_and_none_is_none():
    unknown = run(KINDS["solid"], se=None)
    exact = run(KINDS["solid"], se=0.0)
    assert all(event.time_s.se is None for event in unknown.events)
    assert all(event.time_s.se == 0.0 for event in exact.events)


def test_smallest_opening_carries_the_power_at_the_limit(boiled):
    """Latent heat of the flow through it is the light absorbed; IAPWS-95 and the choked flux of saturated steam."""
    limit, diameter = boiled.figures["pressure_limit_pa"], boiled.figures["relief_diameter_m"]
    again = run(f"{TANK}pressure_limit_pa = 9e6\n[[part.opening]]\ndiameter_m = {diameter}\n")
    assert again.figures["reached_pressure_pa"] < limit  # losses spare a little
    assert again.figures["reached_pressure_pa"] == pytest.approx(limit, rel=0.35)


def test_shut_tank_is_told_beside_the_open_one(boiled):
    shut = run(TANK)
    assert shut.event("pressure-limit").time_s.value == pytest.approx(boiled.figures["shut_limit_s"], rel=1e-6)
    assert filling_cautions([shut])[0].text.startswith("BURST")
    assert "bar (absolute) after" in filling_cautions([shut])[0].text


def test_pressure_limit_is_where_the_shell_bears_no_more():
    """p r / t = allowed stress times joint efficiency, at the temperature then."""
    shut = run(TANK)
    event = shut.event("pressure-limit")
    stress = (event.pressure_pa - 101325.0) * 0.06 / 0.002
    table = {200.0: 96e6, 300.0: 86e6}
    allowed = table[200.0] + (table[300.0] - table[200.0]) * (event.temperature_c - 200.0) / 100.0
    assert stress == pytest.approx(0.7 * allowed, rel=1e-3)


def test_limit_of_a_part_is_told(boiled):
    made = run(TANK + OPENING, wall=WALL + "limit_c = 110\n")
    assert made.event("limit").temperature_c == pytest.approx(110.0, abs=0.1)
    assert boiled.event("limit") is None


@pytest.mark.parametrize(
    ("contents", "shape", "volume", "said"),
    [
        ('kind = "water"\nmass_kg = 2.4', CYLINDER, VOLUME, "takes 2.404 litres at the start, more than the 2.262"),
        (
            'kind = "water"\nmass_kg = 1.2',
            'shape = "mesh"\nfile = "x.stl"\nunit = "m"\n',
            None,
            "contents.volume_m3 is missing",
        ),
        ('kind = "air"', 'shape = "disc"\nradius_m = 0.1\n', None, "the part encloses no volume"),
        (
            'kind = "flow"\nflow_kg_s = 0.01\ninlet_c = 120',
            CYLINDER,
            VOLUME,
            "is not that of liquid water at its pressure",
        ),
        ('kind = "pot"\nmass_kg = 1\ntemperature_c = 105', CYLINDER, VOLUME, "is not that of liquid water in the open"),
    ],
)
def test_faults_that_need_more_than_the_scene(contents, shape, volume, said, tmp_path):
    (tmp_path / "x.stl").write_text("solid x\nendsolid x\n")
    made = scene_from_text(f"{HEAD}{shape}[part.contents]\n{contents}", folder=tmp_path)
    with pytest.raises(InputError) as error:
        run_fillings(made, heat_of(made, volume=volume))
    assert said in str(error.value)


def test_insulation_without_wall_or_mass_is_a_fault():
    with pytest.raises(InputError, match="something must be heated"):
        run(KINDS["insulation"], wall="")


def test_parts_without_heat_are_passed_over():
    assert run_fillings(scene(TANK), {}) == []


def test_intervals_hold_the_spread_of_inputs():
    """Mass known to 10 %: boiling time spreads by 10 % of the water's share of the heat, an even spread's 5 to 95 %."""
    made = scene('kind = "water"\nmass_kg = { low = 1.08, high = 1.32 }\n' + OPENING)
    found = run_fillings(made, heat_of(made))
    drawn = [(one, heat_of(one)) for one in samples(made, 16)]
    (spread,) = with_intervals(found, drawn)
    low, high = spread.event("boils").interval_s
    middle = spread.event("boils").time_s.value
    assert low < middle < high
    share = 1.2 * 4190.0 / (1.2 * 4190.0 + 750.0)
    assert (high - low) / middle == pytest.approx(0.2 * 0.9 * share, rel=0.15)


def test_rare_events_are_told():
    made = scene('kind = "water"\nmass_kg = { low = 0.5, high = 2.2 }\nduration_min = 12\n' + OPENING)
    (spread,) = with_intervals(run_fillings(made, heat_of(made)), [(one, heat_of(one)) for one in samples(made, 8)])
    assert any('"the water boils" happens in' in note for note in spread.notes)


def test_table_and_events_are_written(boiled, tmp_path):
    assert write_timeline(boiled, tmp_path / "t.csv") == "t.csv"
    rows = list(csv.DictReader((tmp_path / "t.csv").read_text().splitlines()))
    assert len(rows) == len(boiled.columns["time_s"])
    assert float(rows[-1]["time_s"]) == pytest.approx(boiled.columns["time_s"][-1], rel=1e-5)
    write_events([boiled], tmp_path / "e.csv")
    events = list(csv.DictReader((tmp_path / "e.csv").read_text().splitlines()))
    assert [event["event"] for event in events] == [event.key for event in boiled.events]


def test_picture_has_a_panel_for_what_there_is(boiled):
    labels = [axis.get_ylabel() for axis in draw_timeline(boiled, title="scene").axes]
    assert labels == ["temperature (degC)", "pressure, absolute (bar)", "water (kg)", "flow out (g/s)", "energy (MJ)"]


@pytest.mark.parametrize(
    ("contents", "start"),
    [
        ('kind = "water"\nmass_kg = 2.2\n', "BURST by swelling water"),
        (TANK + OPENING.replace("0.002", "0.0001"), "BURST: the openings"),
        (TANK + OPENING + "blocked_at_min = 20\n", "BURST"),
        (TANK + OPENING + "height_m = 0.02\n", 'An opening of "pot" lies under water'),
        ('kind = "flow"\nflow_kg_s = 0.0005\ninlet_c = 20\n', 'The water that flows through "pot" boils'),
        ('kind = "oil"\nmass_kg = 1\nlimit_c = 180\n', '"pot" passes its temperature limit'),
    ],
)
def test_hazards_become_cautions(contents, start):
    texts = [caution.text for caution in filling_cautions([run(contents)])]
    assert texts[0].startswith(start)


def test_every_tank_gets_the_words_on_codes(boiled):
    text = filling_cautions([boiled])[-1].text
    assert "never a certificate" in text
    assert "relief valve" in text
    assert "licensed" in text


def test_blocked_opening_tells_the_time_since():
    text = filling_cautions([run(TANK + OPENING + "blocked_at_min = 20\n")])[0].text
    assert "min after it was blocked" in text


def test_figures_are_numbers_or_none(boiled):
    for name, value in boiled.figures.items():
        assert value is None or np.isfinite(value), name


def test_start_above_the_pressure_that_the_tank_bears_is_refused():
    """A temperature in kelvin typed for degrees Celsius, and a tank of no stated limit that starts at 19 bar."""
    for start in (293.15, 210.0):
        made = scene(TANK + f"temperature_c = {start}\n" + OPENING, wall="")
        with pytest.raises(InputError, match=r"above the 10 bar that the tank is taken to bear.*not kelvin"):
            run_fillings(made, heat_of(made))


def test_room_that_the_part_does_not_enclose_is_told():
    made = scene(TANK + "volume_m3 = 0.5\n" + OPENING)
    (timeline,) = run_fillings(made, heat_of(made))
    assert any("encloses only" in note for note in timeline.notes)
