"""Faces, losses, walls, exchange and limits of parts; what the errors catch stands with each test."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dishtrace.errors import InputError
from dishtrace.flux.measure import prepare, trace
from dishtrace.heat.air import ambient_of
from dishtrace.heat.exchange import sights
from dishtrace.heat.faces import part_faces, plate_lengths, volume_of
from dishtrace.heat.inside import nucleate, saturation, wet_share
from dishtrace.heat.limits import margins
from dishtrace.heat.losses import losses_of
from dishtrace.heat.ranges import Ranged, interval, ranged, samples, spread_points, with_values
from dishtrace.heat.run import heat_of, quick_balance, up_direction
from dishtrace.heat.setting import settings_of
from dishtrace.heat.shell import enthalpy, interpolated, shell_of
from dishtrace.heat.turning import averaged_around
from dishtrace.heat.wall import Lit, wall_heat
from dishtrace.scene.read import scene_from_text
from dishtrace.scene.uncertain import Uncertain
from dishtrace.scene.wall import known_solids
from tests.support.small_scenes import coarse_parts, scene_text

SURFACE = "surface = { absorptance = 0.9, emittance = 0.85 }\n"

INSULATION = 'contents = { kind = "insulation", thickness_m = 0.05, conductivity_w_mk = 0.06, mass_kg = 1.0 }\n'


def a_part(name: str, shape: str, *, role: str = "receiver", more: str = "", surface: str = SURFACE) -> str:
    return f'[[part]]\nname = "{name}"\nrole = "{role}"\n{shape}\n{surface}{more}\n'


POT = 'shape = "cylinder"\nradius_m = 0.06\nheight_m = 0.14\ncenter_m = [0.0, 0.0, 0.08]'
STEEL = 'wall = { material = "stainless-304", thickness_m = 0.002 }\n'
UP = np.array([0.0, 0.0, 1.0])


def traced(parts: str, *, rays: int = 16384, tail: str = "", sun: str = "dni_w_m2 = 1000.0"):
    with coarse_parts(n_around=32, n_bins=200):
        return trace(
            scene_from_text(scene_text(parts + tail, sun=sun, outline='shape = "circle"\nradius_m = 0.5')),
            rays=rays,
            seed=1,
        )


@pytest.mark.parametrize(
    ("shape", "sides"),
    [
        ('shape = "disc"\nradius_m = 0.1', 2),
        ('shape = "rectangle"\nsize_m = [0.2, 0.1]', 2),
        ('shape = "box"\nsize_m = [0.2, 0.1, 0.05]', 1),
        ('shape = "cylinder"\nradius_m = 0.05\nheight_m = 0.2', 1),
        ('shape = "tube"\nradius_m = 0.05\nheight_m = 0.2', 2),
        ('shape = "sphere"\nradius_m = 0.05', 1),
        ('shape = "cone"\nradius_m = 0.05\nheight_m = 0.2', 1),
        ('shape = "cavity"\nradius_m = 0.08\ndepth_m = 0.15\nopening_radius_m = 0.05', 2),
    ],
)
def test_faces_cover_every_triangle_once_a_side(shape: str, sides: int) -> None:
    scene = scene_from_text(scene_text(a_part("thing", shape)))
    with coarse_parts():
        mesh = prepare(scene, seed=1).meshes[0]
    faces = part_faces(scene.parts[0], mesh, UP)
    for side in ("front", "back")[:sides]:
        index = np.concatenate([face.index for face in faces if face.side == side])
        assert sorted(index) == list(range(len(mesh.areas)))
    assert sum(face.area for face in faces) == pytest.approx(sides * mesh.areas.sum())
    assert len({face.side for face in faces}) == sides


def test_lengths_of_a_leaning_disc_and_square() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 129)
    rim = np.stack([np.cos(angle), np.zeros_like(angle), np.sin(angle)], axis=1)
    fan = np.stack([np.zeros((128, 3)), rim[:-1], rim[1:]], axis=1)
    slope, breadth = plate_lengths(fan, np.array([0.0, 1.0, 0.0]), UP)
    assert slope == pytest.approx(np.pi / 2.0, rel=2e-3)  # mean chord of the unit circle
    assert breadth == pytest.approx(0.5, rel=2e-3)


def test_black_plate_in_still_cold_air_radiates_from_both_sides() -> None:
    # Catches: one side only, sky and ground exchanged, the sky's share of a level plate.
    shape = 'shape = "disc"\nradius_m = 0.1\naxis = [0.0, 0.0, 1.0]'
    text = scene_text(a_part("plate", shape, surface="surface = { absorptance = 1.0, emittance = 1.0 }\n"))
    scene = scene_from_text(text + "[air]\ntemperature_c = 26.85\nsky_temperature_c = -23.15\n")
    with coarse_parts():
        mesh = prepare(scene, seed=1).meshes[0]
    losses = losses_of(scene, scene.parts[0], mesh, ambient=ambient_of(scene), up=UP)
    assert np.all(losses.faces[0].sky == pytest.approx(1.0))
    assert np.all(losses.faces[1].sky == pytest.approx(0.0))
    split, area = losses.split(500.0), float(mesh.areas.sum())
    sigma = 5.670374419e-8
    assert split["sky"] == pytest.approx(sigma * area * (500.0**4 - 250.0**4), rel=1e-9)
    assert split["surroundings"] == pytest.approx(sigma * area * (500.0**4 - 300.0**4), rel=1e-9)
    assert losses.total(500.0) == pytest.approx(sum(split.values()))
    assert losses.total(300.0) == pytest.approx(sigma * area * (300.0**4 - 250.0**4), rel=1e-6)


def test_black_cavity_shines_through_its_opening_alone() -> None:
    shape = 'shape = "cavity"\nradius_m = 0.08\ndepth_m = 0.15\nopening_radius_m = 0.05\naxis = [0.0, 0.0, -1.0]'
    scene = scene_from_text(
        scene_text(a_part("hole", shape, surface="surface = { absorptance = 1.0, emittance = 1.0 }\n"))
    )
    with coarse_parts():
        mesh = prepare(scene, seed=1).meshes[0]
    inside = part_faces(scene.parts[0], mesh, UP)[0]
    assert inside.area * inside.openness(1.0) == pytest.approx(math.pi * 0.05**2)
    assert inside.openness(0.5) * 0.5 < inside.openness(1.0)


def test_volume_and_level_of_a_leaning_cylinder() -> None:
    # Half full, a cylinder's level goes through its middle however it leans. Catches: the mesh's sign, up for down.
    scene = scene_from_text(scene_text(a_part("pot", POT + "\naxis = [0.3, 0.2, 1.0]")))
    mesh = prepare(scene, seed=1).meshes[0]
    volume = volume_of(mesh.triangles)
    assert volume == pytest.approx(math.pi * 0.06**2 * 0.14, rel=1e-3)
    shell = shell_of(mesh.triangles)
    share, shares = wet_share(shell, UP, 0.5 * volume)
    assert share == pytest.approx(0.5, abs=2e-3)
    low = shell.points[:, 2] < 1.08 - 0.01
    assert np.all(shares[low] == 1.0)
    assert np.all(shares[shell.points[:, 2] > 1.08 + 0.01] == 0.0)


def test_boiling_water_is_that_of_the_textbook() -> None:
    # Incropera and DeWitt, Example 10.1 (from memory): Rohsenow for water at 1 atm, excess 18 K, C_sf 0.0128:
    # 836 kW/m2; with 0.013 it is (0.0128 / 0.013)^3 of that. Zuber's limit: 1.11 to 1.26 MW/m2 with 0.131 to 0.149.
    boiling, density, burnout = saturation(101325)
    assert boiling == pytest.approx(373.124, abs=0.01)
    assert density == pytest.approx(958.4, abs=0.2)
    assert 1.0e6 < burnout < 1.6e6
    coefficient, _ = nucleate(101325)(np.array([boiling + 18.0]))
    assert coefficient[0] * 18.0 == pytest.approx(836e3 * (0.0128 / 0.013) ** 3, rel=0.05)


def test_two_discs_see_each_other_as_the_closed_form_says() -> None:
    # Coaxial parallel discs: F = (S - sqrt(S^2 - 4 (r2/r1)^2)) / 2, S = 1 + (1 + R2^2) / R1^2, R = r / distance
    # (Siegel and Howell, catalogue of view factors). Catches: sides exchanged, places not even, cosine law missed.
    low = a_part("low", 'shape = "disc"\nradius_m = 0.1\ncenter_m = [0.0, 0.0, -0.05]')
    high = a_part("high", 'shape = "disc"\nradius_m = 0.2\ncenter_m = [0.0, 0.0, 0.05]')
    result = traced(low + high, rays=8192)
    settings = settings_of(result, up_direction(result))
    seen = sights(result, settings, {"low": settings["low"]})["low"]
    s = 1.0 + (1.0 + 2.0**2) / 1.0**2
    exact = 0.5 * (s - math.sqrt(s**2 - 4.0 * 2.0**2))
    areas = result.parts["low"].mesh.areas
    column = seen.parts.index("high")
    assert np.average(seen.shares["front"][:, column], weights=areas) == pytest.approx(exact, abs=0.01)
    assert np.all(seen.shares["back"][:, column] == 0.0)
    assert np.all(seen.shares["back"][:, -1] == 1.0)  # looks down: ground alone


def test_average_around_keeps_the_power() -> None:
    scene = scene_from_text(scene_text(a_part("pot", POT)))
    with coarse_parts():
        mesh = prepare(scene, seed=1).meshes[0]
    middles = mesh.triangles.mean(axis=1)
    flux = 1000.0 * (1.0 + middles[:, 0] / 0.06)
    found, error = averaged_around(flux, np.full_like(flux, 10.0), triangles=mesh.triangles, areas=mesh.areas, axis=UP)
    assert found @ mesh.areas == pytest.approx(flux @ mesh.areas)
    wall = np.abs(mesh.normals[:, 2]) < 0.5
    assert np.ptp(found[wall]) < 1e-6 * 1000.0
    assert np.all(error < 10.0)


def test_solids_of_the_table_join_their_points() -> None:
    for name, solid in known_solids().items():
        assert np.all(np.diff(solid.temperature) > 0.0), name
        assert solid.limit is not None
    steel = known_solids()["stainless-304"]
    value, slope = interpolated(np.array([350.0, 2000.0]), steel.temperature, steel.conductivity)
    assert value == pytest.approx([15.75, 31.7])
    assert slope == pytest.approx([0.017, 0.0])
    step = 1e-3
    rise = enthalpy(np.array([700.0 + step, 700.0 - step]), steel.temperature, steel.heat_capacity)
    assert (rise[0] - rise[1]) / (2.0 * step) == pytest.approx(569.5, rel=1e-6)


def test_energy_of_every_wall_closes() -> None:
    pot = a_part(
        "pot", POT, more=STEEL + 'contents = { kind = "water", mass_kg = 1.0 }\n[[part.opening]]\ndiameter_m = 0.003\n'
    )
    ring = a_part(
        "ring", 'shape = "tube"\nradius_m = 0.075\nheight_m = 0.03', role="stand", more=STEEL + "limit_c = 60\n"
    )
    found = heat_of(traced(pot + ring), minutes=2.0)
    for part in found.parts.values():
        assert part.state == "steady"
        assert part.wall.imbalance < 1e-6
        assert part.warming.imbalance < 1e-6
        assert sum(part.wall.heat_w.values()) == pytest.approx(part.balance.absorbed_w.value, rel=1e-6)
        assert part.spread.low_k < part.balance.stagnation_k.value < part.spread.high_k
    assert found.parts["pot"].wall.fluid_k == pytest.approx(373.124, abs=0.01)
    assert found.parts["ring"].margins[0].is_own
    assert [timeline.part for timeline in found.timelines] == ["pot"]
    assert found.to_dict()["parts"]["ring"]["limits"][0]["item"] == "limit_c of the part"


def test_thin_steel_at_the_focus_melts_and_says_when() -> None:
    shape = 'shape = "disc"\nradius_m = 0.04\naxis = [0.0, 0.0, -1.0]'
    part = heat_of(
        traced(a_part("plate", shape, more='wall = { material = "aluminium", thickness_m = 0.001 }\n'))
    ).parts["plate"]
    assert part.state == "melts"
    assert part.wall is None
    assert 0.0 < part.warming.melts_after_s < 60.0
    assert any("MELTS" in note and "660 C" in note for note in part.notes)
    # Nothing melts sooner than the brightest square millimetre without conduction and losses would.
    flux = part.setting.lit.flux.sum(axis=0).max()
    assert part.warming.melts_after_s > 0.001 * 2702.0 * 903.0 * (933.0 - 293.0) / flux


def test_material_beyond_its_table_is_refused() -> None:
    shape = 'shape = "disc"\nradius_m = 0.08\naxis = [0.0, 0.0, -1.0]'
    part = heat_of(
        traced(a_part("plate", shape, more='wall = { material = "mild-steel", thickness_m = 0.01 }\n'))
    ).parts["plate"]
    assert part.state == "beyond table"
    assert part.wall is None
    assert any("refused" in note and "727 C" in note for note in part.notes)


def test_spinning_evens_the_temperature() -> None:
    shape = POT + "\naxis = [0.0, 1.0, 0.0]"
    still, turning = (
        heat_of(traced(a_part("pot", shape, more=STEEL + more), sun="dni_w_m2 = 100.0")).parts["pot"].wall.peak_k.value
        for more in ("", "spins = true\n")
    )
    assert turning < still - 50.0


def test_without_emittance_nothing_is_told() -> None:
    part = a_part("pot", POT, surface="surface = { absorptance = 0.9 }\n")
    assert quick_balance(traced(part, rays=8192)) == {}
    from dishtrace.heat.run import heat

    with pytest.raises(InputError, match="has no emittance"):
        heat(scene_from_text(scene_text(part)))


def test_linear_spread_of_a_peak_is_that_of_solving_again() -> None:
    # Catches: the transposed system, two standard deviations for one, watts for watts per area.
    shape = 'shape = "disc"\nradius_m = 0.08\naxis = [0.0, 0.0, -1.0]'
    steel = "wall = { conductivity_w_mk = 300, density_kg_m3 = 8000, heat_capacity_j_kgk = 500, thickness_m = 0.01 }\n"
    result = traced(a_part("plate", shape, more=steel), sun="dni_w_m2 = { value = 500.0, sd = 5.0 }")
    part = heat_of(result).parts["plate"]
    told = next(entry for entry in part.wall_spread.influences if entry.name == "sun.dni_w_m2")
    setting, wall = part.setting, part.wall
    brighter = Lit(setting.lit.flux * 1.01, setting.lit.error)
    again = wall_heat(
        brighter,
        setting.traced.mesh.triangles,
        setting.losses,
        solid=wall.problem.plate.solid,
        thickness=0.01,
        shell=setting.shell,
    )
    without = wall_heat(
        setting.lit,
        setting.traced.mesh.triangles,
        setting.losses,
        solid=wall.problem.plate.solid,
        thickness=0.01,
        shell=setting.shell,
    )
    assert told.sd == 5.0
    assert told.above_k == pytest.approx(again.peak_k.value - without.peak_k.value, rel=0.03)
    assert told.below_k == pytest.approx(-told.above_k, rel=1e-6)


def test_standard_deviation_of_limits() -> None:
    assert Ranged(("x",), "x", Uncertain(low=1.0, high=4.0)).sd == pytest.approx(3.0 / math.sqrt(12.0))


def test_quick_balance_is_that_of_heat() -> None:
    result = traced(a_part("pot", POT), rays=8192)
    quick, full = quick_balance(result)["pot"], heat_of(result).to_dict()["parts"]["pot"]
    assert quick["stagnation_c"] == pytest.approx(full["stagnation_c"])


def test_limits_concern_what_a_part_is_made_of() -> None:
    scene = scene_from_text(
        scene_text(a_part("pot", POT, more='wall = { material = "zinc", thickness_m = 0.001 }\nlimit_c = 80'))
    )
    found = margins(scene.parts[0], 473.15 + 50.0)
    own = {margin.limit.item: margin.margin_k for margin in found if margin.is_own}
    assert own == pytest.approx({"limit_c of the part": -170.0, "zinc coating": -50.0, "zinc": 169.0})
    assert not any("304" in margin.limit.item or "wood" in margin.limit.item for margin in found)


def test_ranges_of_a_scene_and_scenes_drawn_from_them() -> None:
    text = scene_text(
        a_part(
            "pot",
            POT,
            surface="surface = { absorptance = { low = 0.8, high = 0.9 }, emittance = 0.9 }\n",
            more='wall = { material = "copper", thickness_m = { value = 0.002, sd = 0.0001 } }\n',
        ),
        sun="dni_w_m2 = { value = 900.0, sd = 50.0 }",
    )
    scene = scene_from_text(text)
    found = ranged(scene)
    assert [entry.name for entry in found] == ["sun.dni_w_m2", '"pot" surface.absorptance', '"pot" wall.thickness_m']
    drawn = samples(scene, 64)
    suns = np.array([each.sun.dni_w_m2 for each in drawn])
    assert suns.mean() == pytest.approx(900.0, abs=1.0)
    assert suns.std() == pytest.approx(50.0, rel=0.05)
    shares = np.array([each.parts[0].surface.absorptance for each in drawn])
    assert 0.8 <= shares.min() < 0.81
    assert 0.89 < shares.max() <= 0.9
    assert with_values(scene, {}) is scene
    assert interval(spread_points(1, 64)[:, 0]) == pytest.approx((0.05, 0.95), abs=0.02)


def test_advice_tells_where_the_light_lands_and_the_ring_that_takes_it() -> None:
    # A stand that is a flat ring of known radii gets all its light there.
    plate = a_part("plate", 'shape = "disc"\nradius_m = 0.005\naxis = [0.0, 0.0, -1.0]\ncenter_m = [0.0, 0.0, 0.02]')
    tray = a_part(
        "tray", 'shape = "disc"\nradius_m = 0.1\naxis = [0.0, 0.0, -1.0]\ncenter_m = [0.0, 0.0, 0.12]', role="stand"
    )
    found = heat_of(traced(plate + tray))
    assert len(found.advice) == 1
    assert '"tray" is lit brightly' in found.advice[0]
    assert "+120 to +120 mm along it from the focus" in found.advice[0]
    assert "shield ring" in found.advice[0]


def test_insulation_behind_a_cavity_keeps_its_heat_in_and_its_range_around_it() -> None:
    # Catches: a shift of the emittance that makes insulated faces radiate, insulation beside instead of in series.
    shape = 'shape = "cavity"\nradius_m = 0.06\ndepth_m = 0.12\nopening_radius_m = 0.03\naxis = [0.0, 0.0, -1.0]'
    bare, wrapped = (
        heat_of(traced(a_part("hole", shape, surface='surface = "steel-oxidised"\n', more=more), rays=8192)).parts[
            "hole"
        ]
        for more in ("", INSULATION)
    )
    assert wrapped.balance.stagnation_k.value > bare.balance.stagnation_k.value + 100.0
    assert wrapped.spread.low_k < wrapped.balance.stagnation_k.value < wrapped.spread.high_k
    losses = wrapped.setting.losses
    backs = [number for number, face in enumerate(losses.faces) if face.side == "back"]
    assert all(losses.emittance[number] == 0.0 for number in backs)
    assert all(0.8 < losses.coefficients[number].max() / (0.06 / 0.05) <= 1.0 for number in backs)
