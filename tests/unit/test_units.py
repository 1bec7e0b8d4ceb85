"""Units of scene files and reports."""

from __future__ import annotations

import math

import pytest

from dishtrace.scene.part import Mesh
from dishtrace.units import DEGREE, LENGTH_UNITS, MRAD, celsius, kelvin


def test_factors_and_temperatures():
    assert 180.0 * DEGREE == math.pi
    assert 1000.0 * MRAD == 1.0
    assert kelvin(-273.15) == 0.0
    assert celsius(kelvin(20.0)) == pytest.approx(20.0, abs=1e-12)


def test_lengths_follow_the_international_yard():
    """0.9144 m = 36 in = 3 ft (international yard and pound agreement of 1959, common knowledge)."""
    assert 36 * LENGTH_UNITS["in"] == pytest.approx(0.9144, abs=1e-15)
    assert 3 * LENGTH_UNITS["ft"] == pytest.approx(0.9144, abs=1e-15)
    assert (LENGTH_UNITS["m"], LENGTH_UNITS["cm"], LENGTH_UNITS["mm"]) == (1.0, 0.01, 0.001)


def test_every_unit_of_a_mesh_file_has_a_length():
    told = Mesh.model_json_schema()["properties"]["unit"]["enum"]
    assert set(told) == set(LENGTH_UNITS)
