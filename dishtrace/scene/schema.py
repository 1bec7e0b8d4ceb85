"""JSON Schema of the scene file, for editors that complete and check it while it is written."""

from __future__ import annotations

from typing import Any

from dishtrace.scene.materials import known_surfaces
from dishtrace.scene.model import Scene

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def scene_schema() -> dict[str, Any]:
    """JSON Schema with a description and a unit for every key; the names of the surface table are listed.

    Returns
    -------
    dict
        Ready for `json.dumps`. It knows keys, types and ranges; only `load_scene` checks what goes together.
    """
    schema = Scene.model_json_schema(by_alias=True)
    for table in (schema, *schema["$defs"].values()):
        table["properties"] = {key: _tidied(told) for key, told in table["properties"].items()}
        for key in ("surface", "surface_back"):
            if key in table["properties"]:
                _list_surfaces(table["properties"][key])
    return {"$schema": DIALECT, **schema}


def _tidied(told: dict[str, Any]) -> dict[str, Any]:
    """A key without what means nothing in TOML: null, and a title that only repeats the key."""
    kept = {key: value for key, value in told.items() if key != "title"}
    if kept.get("default", "") is None:
        del kept["default"]
    forms = [form for form in kept.pop("anyOf", ()) if form != {"type": "null"}]
    if len(forms) == 1:
        return {**forms[0], **kept}
    return kept | ({"anyOf": forms} if forms else {})


def _list_surfaces(schema: dict[str, Any]) -> None:
    """Put the names of the surface table in place of any text."""
    if schema.get("type") == "string":
        schema["enum"] = list(known_surfaces())
    for form in (*schema.get("anyOf", ()), *schema.get("oneOf", ())):
        _list_surfaces(form)
