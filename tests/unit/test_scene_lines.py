"""The index of key positions, against texts whose lines are known because they were written line by line."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dishtrace.scene.lines import key_lines, nearest_line

AWKWARD = '''# a comment with [brackets] and "quotes"
title = "a # that is no comment, [nor] = this" # but this is

[dish] # head
reflectance = 0.9
outline.shape = "circle"
outline.radius_m = 1.2
note = """
[[part]]
name = "not a key" \\""" still not
"""
raw = \'\'\'
[site]
\'\'\'
[ "odd \\"key\\"" . 'b.c' ]
x = 2026-03-21 12:30:00Z
[[part]]
name = "pot"
center_m = [ # comment ] here
  0.0,
  1.0, # [

  2.0]
cover = { refractive_index = 1.5, thickness_m = 0.004 }
[part.surface]
absorptance = 0.9
[[part]]
name = ""
empty = []
none = {}
[part.surface]
absorptance = 0.8
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("dish",), 4),
        (("dish", "outline"), 6),
        (("dish", "outline", "radius_m"), 7),
        (("dish", "note"), 8),
        (("dish", "raw"), 12),
        (('odd "key"', "b.c", "x"), 16),
        (("part",), 17),
        (("part", 0), 17),
        (("part", 0, "center_m"), 19),
        (("part", 0, "center_m", 1), 21),
        (("part", 0, "center_m", 2), 23),
        (("part", 0, "cover", "thickness_m"), 24),
        (("part", 0, "surface"), 25),
        (("part", 0, "surface", "absorptance"), 26),
        (("part", 1, "none"), 30),
        (("part", 1, "surface", "absorptance"), 32),
    ],
)
def test_awkward_text(path, line):
    tomllib.loads(AWKWARD)  # the text is well formed
    assert key_lines(AWKWARD)[path] == line
    assert key_lines(AWKWARD.replace("\n", "\r\n"))[path] == line


def test_index_has_exactly_the_paths_of_the_data():
    assert set(key_lines(AWKWARD)) == set(_paths(tomllib.loads(AWKWARD)))


def test_nearest_line_is_that_of_the_enclosing_table():
    lines = key_lines(AWKWARD)
    assert nearest_line(lines, ("part", 1, "surface", "emittance")) == 31
    assert nearest_line(lines, ("part", 1, "radius_m")) == 27
    assert nearest_line(lines, ("site", "latitude_deg")) == 1
    assert nearest_line({}, ("site",)) is None


@pytest.mark.parametrize("lost", ["b = ?]", "b = [1, ", "b = {x = 1", "? = 1", "b = \n", '"b = 1'])
def test_where_the_place_is_lost_the_lines_so_far_are_kept(lost):
    lines = key_lines(f"a = 1\n{lost}")
    assert lines[("a",)] == 1
    assert nearest_line(lines, ("c",)) == 1


def _paths(value, path=()):
    """Every path of a value as the TOML reader gives it."""
    yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield from _paths(item, (*path, key))


KEYS = st.text("abc", min_size=1, max_size=2) | st.text('ab ."#=[]\\', min_size=1, max_size=4)
PADDING = st.sampled_from(["", " ", "\t "])
FILLER = st.lists(st.sampled_from(["", "# [x]", '  # a = "b" \'\'\' """']), max_size=2)
SCALARS = st.sampled_from(
    ["1", "-2.5e-3", "nan", "true", '"a # b"', '"\\"]"', "'}'", '""', "''", "2026-03-21T12:30:00-04:00"]
    + ['"""\n[x]\na = 1\n"""', "'''\n]\n}'''", '"""a"""', '""""b""""', "'''\n'''"]
)


@st.composite
def _texts(draw):
    """A well-formed text and the line of each of its keys, kept while it is written."""
    writer = _Writer(draw)
    writer.keys((), draw(st.integers(0, 3)))
    for name in draw(st.lists(KEYS.map("t".__add__), max_size=3, unique=True)):
        writer.table(name)
    return writer.text, writer.lines


class _Writer:
    """Writes statements one after the other and notes on which line each key falls."""

    def __init__(self, draw):
        self.draw, self.text, self.lines = draw, "", {(): 1}

    def note(self, path):
        self.lines.setdefault(path, self.text.count("\n") + 1)

    def key(self, key):
        pad = self.draw(PADDING)
        is_bare = key.isalnum() and self.draw(st.booleans())
        quoted = '"' + key.replace("\\", "\\\\").replace('"', '\\"') + '"'
        return pad + (key if is_bare else quoted) + pad

    def filler(self):
        self.text += "".join(f"{line}\n" for line in self.draw(FILLER))

    def keys(self, path, count):
        for key in self.draw(st.lists(KEYS.map("k".__add__), min_size=count, max_size=count, unique=True)):
            self.filler()
            if self.draw(st.booleans()):
                self.note((*path, key))
                self.text += self.key(key) + "="
                self.value((*path, key), depth=2)
            else:
                self.note((*path, key))
                self.note((*path, key, "d"))
                self.text += f"{self.key(key)}.{self.key('d')}="
                self.value((*path, key, "d"), depth=2)
            self.text += self.draw(st.sampled_from(["\n", " # end ]\n"]))

    def table(self, name):
        is_array, path = self.draw(st.booleans()), (name,)
        for index in range(self.draw(st.integers(1, 2)) if is_array else 1):
            self.filler()
            self.note(path)
            inside = (*path, index) if is_array else path
            self.note(inside)
            self.text += f"[[{self.key(name)}]]\n" if is_array else f"[{self.key(name)}] # x\n"
            self.keys(inside, self.draw(st.integers(0, 2)))
            if self.draw(st.booleans()):
                self.note((*inside, "sub"))
                self.text += f"[{self.key(name)}.{self.key('sub')}]\n"
                self.keys((*inside, "sub"), 1)

    def value(self, path, depth):
        kind = self.draw(st.sampled_from(["scalar", "array", "inline"])) if depth else "scalar"
        self.text += self.draw(PADDING)
        if kind == "scalar":
            self.text += self.draw(SCALARS)
        elif kind == "array":
            self.text += "["
            for index in range(self.draw(st.integers(0, 3))):
                self.text += self.draw(st.sampled_from(["", "\n", " # ],\n"]))
                self.note((*path, index))
                self.value((*path, index), depth - 1)
                self.text += self.draw(st.sampled_from([",", " ,", "\n,\n", "# ]\n,"]))
            self.text += "]"
        else:
            self.inline_table(path, depth)

    def inline_table(self, path, depth):
        self.text += "{"
        for place, key in enumerate(self.draw(st.lists(KEYS, max_size=2, unique=True))):
            self.text += "," if place else ""
            self.note((*path, key))
            self.text += self.key(key) + "="
            self.value((*path, key), depth - 1)
        self.text += "}"


@settings(max_examples=200, deadline=None)
@given(_texts())
def test_lines_of_random_texts(text_and_lines):
    text, lines = text_and_lines
    assert set(_paths(tomllib.loads(text))) == set(lines)
    assert key_lines(text) == lines
