"""The JSON Schema that editors are given."""

from __future__ import annotations

import json

import pytest

from dishtrace.scene.materials import known_surfaces
from dishtrace.scene.part import PART_SHAPES
from dishtrace.scene.schema import scene_schema

UNITS = {
    "_per_m": "[1/m]",
    "_m": "[m]",
    "_mrad": "[mrad]",
    "_deg": "[deg]",
    "_c": "[degC]",
    "_w_m2": "[W/m2]",
    "_pa": "[Pa]",
    "_m_s": "[m/s]",
}


def test_it_is_json_and_names_its_dialect():
    schema = json.loads(json.dumps(scene_schema(), allow_nan=False))
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["required"] == ["sun", "dish"]


def test_keys_at_the_top_are_those_of_the_file():
    keys = set(scene_schema()["properties"])
    wanted = "title site sun mount dish part screen variant air run horizon obstacle"
    assert keys == set(wanted.split())


def test_every_table_is_closed_and_every_key_described_with_its_unit():
    schema = scene_schema()
    for name, table in [("scene", schema), *schema["$defs"].items()]:
        assert table["additionalProperties"] is (name == "Variant"), name  # a variant takes any key of the scene
        for key, told in table["properties"].items():
            assert {"type": "null"} not in told.get("anyOf", [])
            assert told.get("description") or "$ref" in told, f"{name}.{key}"
            unit = next((unit for ending, unit in UNITS.items() if key.endswith(ending)), "")
            assert told.get("description", "").endswith(unit), f"{name}.{key}"


def test_ranges_and_choices_are_told():
    tables = scene_schema()["$defs"]
    assert tables["Dish"]["properties"]["focal_length_m"]["minimum"] == 0.01
    assert tables["Sun"]["properties"]["elevation_deg"]["exclusiveMinimum"] == 0.0
    assert tables["Sun"]["properties"]["time"]["format"] == "date-time"
    assert tables["Run"]["properties"]["rays"] == {
        "type": "integer",
        "minimum": 1,
        "maximum": 10**12,
        "default": 2**20,
        "description": "Number of rays from the mirror.",
    }
    surface = tables["Disc"]["properties"]["surface"]["oneOf"]
    assert surface[0] == {"type": "string", "enum": list(known_surfaces())}


@pytest.mark.parametrize("shape", PART_SHAPES)
def test_every_shape_is_offered(shape):
    schema = scene_schema()
    mapping = schema["properties"]["part"]["items"]["discriminator"]["mapping"]
    table = schema["$defs"][mapping[shape].rpartition("/")[2]]
    assert table["properties"]["shape"]["const"] == shape
    assert {"name", "role", "shape"} <= set(table["required"])
