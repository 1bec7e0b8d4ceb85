"""When a run has traced enough."""

import pytest

import dishtrace as dt
from dishtrace.errors import InputError
from dishtrace.flux.goal import EARLIEST_END, FIRST_LOOK, Goal, Watch, parsed_goal, relative_error, trace_on
from dishtrace.scene.read import scene_from_text
from dishtrace.stats import Estimate
from tests.support.optics import part_text, scene_text

PLATE = part_text("plate", "disc", radius_m=0.008, axis=[0.0, 0.0, -1.0])


@pytest.mark.parametrize(
    ("text", "goal"),
    [
        ("receiver 0.1%", Goal("receiver", 1e-3)),
        (" Peak 1 % ", Goal("peak", 1e-2)),
        ("r90 2.5e-1%", Goal("R90", 2.5e-3)),
        ("stand 1%", Goal("stand", 1e-2)),
    ],
)
def test_goals_are_read(text, goal):
    read = parsed_goal(text)
    assert read.quantity == goal.quantity
    assert read.relative_se == pytest.approx(goal.relative_se)


BAD = ["", "receiver", "0.1%", "receiver 0.1", "pot 1%", "peak 0%", "peak 100%", "peak 1.2.3%"]


@pytest.mark.parametrize("text", BAD)
def test_other_texts_are_refused_with_what_is_allowed(text):
    with pytest.raises(InputError, match="error in percent, from 0.0001 to below 100.*receiver, stand"):
        parsed_goal(text)


def test_relative_error_is_unknown_for_nothing():
    assert relative_error(Estimate(0.0, 1.0)) is None
    assert relative_error(Estimate(2.0, None)) is None
    assert relative_error(Estimate(4.0, 1.0)) == 0.25


TENTH = Goal("peak", 1e-3)


def ended(errors, *, goal=TENTH, most=2**20, broken_at=None):
    """A run whose error after each doubling is told: (points, how it ended, number of points at each look)."""
    looks = []

    def measure(points):
        looks.append(points)
        error = errors(points)
        return Estimate(0.0, None) if error is None else Estimate(1.0, error)

    watch = Watch(goal, measure)
    done, by = trace_on(
        lambda _, end: end,
        n_points=most,
        watch=watch,
        is_broken=lambda: "the clock" if broken_at is not None and looks[-1] >= broken_at else None,
    )
    return done, watch.reached(seconds=None, ended_by=by), looks


def test_looks_come_at_powers_of_two_until_the_goal():
    done, reached, looks = ended(lambda points: 0.5 / points)
    assert looks == [FIRST_LOOK]
    done, reached, looks = ended(lambda points: 3.2 * points**-0.5, goal=Goal("peak", 1e-2))
    assert looks == [FIRST_LOOK << k for k in range(len(looks))]
    assert done == 131072
    assert reached.is_reached
    assert reached.held_up_by is None
    assert reached.relative_se == pytest.approx(3.2 * 131072**-0.5)


def test_what_holds_a_run_up_is_told():
    done, reached, _ = ended(lambda points: points**-0.5, goal=Goal("peak", 1e-9))
    assert (done, reached.is_reached) == (2**20, False)
    assert "limit of 33554432 rays" in reached.told()
    done, reached, _ = ended(lambda points: points**-0.5, goal=Goal("peak", 1e-9), broken_at=4096)
    assert done == 4096
    assert "held up by the clock" in reached.told()
    done, reached, _ = ended(lambda points: 0.01)
    assert done == EARLIEST_END
    assert "an error that does not fall" in reached.told()
    done, reached, _ = ended(lambda points: None)
    assert done == EARLIEST_END
    assert "unknown instead of the 0.1 % wanted; held up by light: none was found" in reached.told()


def test_a_trace_goes_on_until_its_goal_and_is_the_plain_trace_of_as_many_rays():
    scene = scene_from_text(scene_text(more=PLATE))
    result = dt.trace(scene, until="receiver 0.1%", seed=3, threads=2)
    assert result.goal.is_reached
    receiver = result.first_hit_w["receiver"]
    assert receiver.se <= 1e-3 * receiver.value
    assert not result.stopped
    plain = dt.trace(scene, rays=result.rays, seed=3, threads=1)
    assert plain.goal is None
    assert plain.first_hit_w["receiver"] == receiver
    assert plain.focal_plane.radius_m["90"] == result.focal_plane.radius_m["90"]
    assert any("as wanted (0.1 %)" in note for note in result.notes)
    assert result.to_dict()["goal"]["until"] == "receiver 0.1%"


def test_rays_and_time_are_limits():
    scene = scene_from_text(scene_text(more=PLATE))
    by_rays = dt.trace(scene, until="peak 0.001%", rays=60000)
    assert by_rays.rays == 65536
    assert by_rays.goal.held_up_by == "the limit of 65536 rays"
    by_time = dt.trace(scene, until="peak 0.001%", seconds=0.01)
    assert "time limit of 0.01 s" in by_time.goal.held_up_by
    assert by_time.rays % 8192 == 0
    assert dt.trace(scene, seconds=0.01).goal.is_reached is None


def test_what_ended_a_run_is_told_first_and_rays_asked_for_are_kept():
    """Rays that run out before the time, told as "traced until 600 s had gone by", and rays wanted as those traced."""
    scene = scene_from_text(scene_text(more=PLATE))
    result = dt.trace(scene, seconds=600, rays=10000)
    assert result.notes[0] == "the run was ended by the limit of 16384 rays"
    assert (result.rays, result.rays_wanted) == (16384, 10000)
    assert "10000 rays were rounded up to 16384, whole units of 8192" in result.notes
    assert result.to_dict()["goal"]["held_up_by"] == "the limit of 16384 rays"
    by_time = dt.trace(scene, seconds=0.01)
    assert by_time.notes[0] == "the run was ended by the time limit of 0.01 s"
    assert by_time.rays_wanted == by_time.rays
    missed = dt.trace(scene, until="peak 0.001%", rays=10000)
    assert "instead of the 0.001 % wanted; held up by the limit of 16384 rays" in missed.notes[0]
    assert missed.rays_wanted == 10000


def test_a_goal_without_any_light_is_told_as_such():
    """A receiver beside all light gets none; an endless run would follow."""
    beside = part_text("plate", "disc", center=[3.0, 0.0, 0.5], radius_m=0.01, axis=[0.0, 0.0, 1.0])
    result = dt.trace(scene_from_text(scene_text(more=beside)), until="receiver 1%")
    assert result.goal.is_reached is False
    assert "none was found" in result.goal.held_up_by
    assert result.agreement is None
