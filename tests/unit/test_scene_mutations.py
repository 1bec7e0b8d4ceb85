"""Whatever is done to a sound scene, it reads or is refused in our own words; nothing else is ever raised."""

from __future__ import annotations

import copy
import re
import tomllib
from datetime import date, datetime, time

from hypothesis import given, settings
from hypothesis import strategies as st

from dishtrace.errors import InputError
from dishtrace.scene.model import Scene, Uncertain
from dishtrace.scene.read import scene_from_text

SCENE = """\
title = "invented"
[site]
latitude_deg = 40
longitude_deg = -70
[sun]
time = 2026-03-21T12:30:00-04:00
dni_w_m2 = { value = 900, sd = 40 }
shape = { profile = "circumsolar", csr = 0.05 }
[mount]
kind = "fixed"
axis_azimuth_deg = 180
axis_elevation_deg = 50
pointing_offset_mrad = [1, 2]
[dish]
focal_length_m = 0.9
reflectance = 0.9
[dish.outline]
shape = "polygon"
vertices_m = [[0, 0], [1, 0], [1, 1]]
[[part]]
name = "pot"
role = "receiver"
shape = "cavity"
radius_m = 0.1
depth_m = 0.2
opening_radius_m = 0.05
surface = "black-paint"
surface_back = { absorptance = 0.7, emittance = 0.8 }
[[part]]
name = "pane"
role = "cover"
shape = "disc"
frame = "ground"
radius_m = 0.1
cover = { refractive_index = 1.5, extinction_per_m = 4, thickness_m = 0.004 }
[[screen]]
name = "plane"
offset_m = 0
half_width_m = 0.1
radii_m = [0.1, 0.2]
[air]
temperature_c = 25
[run]
rays = 1000
"""
JARGON = re.compile(r"pydantic|validation error|Input should|type=|tuple|dict\b|NoneType|object at 0x|union|tag\b")
LINE = re.compile(r"^scene(:\d+)?: \S")
WORDS = ["", "disc", "mesh", "box", "cover", "mirror", "ground", "table", "circle", "fixed", "x.csv", "a\0b", "."]
NUMBERS = st.sampled_from([0, -1, 2, 10**400, 0.5, 1e308, float("nan"), float("inf"), True])
VALUES = st.recursive(
    NUMBERS
    | st.sampled_from(WORDS)
    | st.text(max_size=3)
    | st.sampled_from([None, date(2026, 1, 1), time(1), datetime(2026, 1, 1), b"x", {1}, object])
    | st.just(Uncertain(value=1.0))
    | st.floats(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.lists(inner, max_size=3).map(tuple)
        | st.dictionaries(st.sampled_from(["value", "sd", "low", "high", "name", "role", "shape"]), inner, max_size=3)
    ),
    max_leaves=5,
)


def _paths(value, path=()):
    """Every path of a value but the empty one."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from _paths(item, (*path, key))


DATA = tomllib.loads(SCENE)
PATHS = sorted(_paths(DATA), key=str)
KEYS = [*sorted({key for path in PATHS for key in path if isinstance(key, str)}), "unknown", "file", "chi"]


def _attempt(make):
    """Make a scene; what is refused is refused line by line in our own words."""
    try:
        scene = make()
    except InputError as error:
        assert error.faults
        for line in str(error).splitlines():
            assert LINE.match(line), line
            assert not JARGON.search(line), line
    else:
        assert isinstance(scene, Scene)
        assert all(isinstance(note, str) for note in scene.notes)


def test_the_unchanged_scene_is_sound():
    assert Scene.model_validate(DATA) == scene_from_text(SCENE)


@settings(max_examples=400, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(PATHS), VALUES), min_size=1, max_size=3))
def test_other_values(changes):
    data = copy.deepcopy(DATA)
    for path, value in changes:
        _set(data, path, value)
    _attempt(lambda: Scene.model_validate(data))


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.sampled_from(PATHS), max_size=2),
    st.lists(st.tuples(st.sampled_from([(), *PATHS]), st.sampled_from(KEYS), VALUES), max_size=2),
)
def test_keys_taken_away_and_added(removed, added):
    data = copy.deepcopy(DATA)
    for path in removed:
        _remove(data, path)
    for path, key, value in added:
        _set(data, (*path, key), value)
    _attempt(lambda: Scene.model_validate(data))


@settings(max_examples=400, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, len(SCENE)),
            st.integers(0, 12),
            st.sampled_from(list("\"'[]{}=,.#\n\\ 0-n") + ["'''", '"""', "[[", "nan", "[part]\n", "\r", "\0", "é"])
            | st.text(max_size=2),
        ),
        min_size=1,
        max_size=3,
    )
)
def test_other_text(edits):
    text = SCENE
    for at, n_removed, new in edits:
        text = text[:at] + new + text[at + n_removed :]
    _attempt(lambda: scene_from_text(text))


@settings(max_examples=100, deadline=None)
@given(VALUES)
def test_anything_in_place_of_a_scene(value):
    _attempt(lambda: Scene.model_validate(value))


def _holder(data, path):
    """What holds the last key of a path; None when an earlier change has taken it away."""
    for key in path[:-1]:
        if not isinstance(data, (dict, list)) or (isinstance(data, dict) != isinstance(key, str)):
            return None
        if key not in data if isinstance(data, dict) else key >= len(data):
            return None
        data = data[key]
    return data


def _set(data, path, value):
    """Put a value at a path where there is still something to put it into."""
    holder = _holder(data, path)
    if isinstance(holder, dict) and isinstance(path[-1], str):
        holder[path[-1]] = copy.copy(value)
    elif isinstance(holder, list) and isinstance(path[-1], int) and path[-1] < len(holder):
        holder[path[-1]] = copy.copy(value)


def _remove(data, path):
    """Take a key away where it still is."""
    holder = _holder(data, path)
    if isinstance(holder, dict):
        holder.pop(path[-1], None)
    elif isinstance(holder, list) and isinstance(path[-1], int) and path[-1] < len(holder):
        del holder[path[-1]]
