"""From pydantic's list of errors to faults in words that a builder understands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from dishtrace.errors import Fault
from dishtrace.scene.contents import CONTENT_KINDS, Opening, Spin, Turbine
from dishtrace.scene.facets import FACET_LAYOUTS
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.mounts import MOUNTS
from dishtrace.scene.part import PART_SHAPES, Cover, SurfaceNumbers
from dishtrace.scene.quantity import FAULT
from dishtrace.scene.source import Source, is_list
from dishtrace.scene.surroundings import Horizon, Obstacle
from dishtrace.scene.tables import (
    Air,
    CircleOutline,
    Circumsolar,
    Dish,
    Gaussian,
    LimbDarkened,
    MeasuredProfile,
    Pillbox,
    PolygonOutline,
    RectangleOutline,
    Run,
    Screen,
    Site,
    Sun,
)
from dishtrace.scene.words import listed, nearest

# Tables whose keys depend on one of them: where they stand, that key, and the table for each of its values.
# "*" stands for the number of an entry in an array of tables.
VARIANTS: dict[tuple[str, ...], tuple[str, dict[str, type[BaseModel]]]] = {
    ("part", "*"): ("shape", dict(PART_SHAPES)),
    ("sun", "shape"): (
        "profile",
        {
            "pillbox": Pillbox,
            "gaussian": Gaussian,
            "limb-darkened": LimbDarkened,
            "circumsolar": Circumsolar,
            "table": MeasuredProfile,
        },
    ),
    ("mount",): ("kind", dict(MOUNTS)),
    ("dish", "outline"): (
        "shape",
        {"circle": CircleOutline, "rectangle": RectangleOutline, "polygon": PolygonOutline},
    ),
    ("dish", "facets"): ("layout", dict(FACET_LAYOUTS)),
    ("part", "*", "contents"): ("kind", dict(CONTENT_KINDS)),
}
TABLES: dict[tuple[str, ...], type[BaseModel]] = {
    ("site",): Site,
    ("sun",): Sun,
    ("dish",): Dish,
    ("air",): Air,
    ("run",): Run,
    ("screen", "*"): Screen,
    ("horizon",): Horizon,
    ("obstacle", "*"): Obstacle,
    ("part", "*", "cover"): Cover,
    ("part", "*", "surface"): SurfaceNumbers,
    ("part", "*", "surface_back"): SurfaceNumbers,
    ("part", "*", "opening", "*"): Opening,
    ("part", "*", "contents", "spin"): Spin,
    ("part", "*", "contents", "turbine"): Turbine,
}
_SURFACES = (("part", "*", "surface"), ("part", "*", "surface_back"))


def schema_faults(errors: Iterable[ErrorDetails], source: Source, top: type[BaseModel]) -> list[Fault]:
    """Faults for pydantic's errors, in the order of the file.

    Parameters
    ----------
    errors : iterable of ErrorDetails
        From `ValidationError.errors()`. A missing key is passed over when an unknown one is taken for it.
    source : Source
        What was written.
    top : type
        The model of the whole scene, for the keys at the top of the file.
    """
    errors = list(errors)
    misspelt = {path for error in errors if error["type"] == "extra_forbidden" for path in [_meant(error, source, top)]}
    return [
        _fault(error, source, top)
        for error in errors
        if not (error["type"] == "missing" and without_tags(error["loc"]) in misspelt)
    ]


def _meant(error: ErrorDetails, source: Source, top: type[BaseModel]) -> KeyPath:
    """Path of the known key nearest to an unknown one; the missing key is then not told as well."""
    path = without_tags(error["loc"])
    table = table_at(path[:-1], source, top)
    return (*path[:-1], nearest(str(path[-1]), keys_of(table) if table else ()))


def shape_of(path: KeyPath) -> tuple[str, ...]:
    """A path with its numbers replaced by ``"*"``."""
    return tuple("*" if isinstance(key, int) else key for key in path)


def without_tags(location: KeyPath) -> KeyPath:
    """Pydantic's location without the names of the variants that it puts between the keys."""
    path: KeyPath = ()
    is_after_key = False
    for key in location:
        place = shape_of(path)
        if is_after_key and (place in VARIANTS or place in _SURFACES):
            is_after_key = False
            continue
        path = (*path, key)
        is_after_key = True
    return path


def table_at(path: KeyPath, source: Source, top: type[BaseModel]) -> type[BaseModel] | None:
    """The model of the table at a path; None where the key that decides it is missing or wrong."""
    place = shape_of(path)
    if place in VARIANTS:
        key, variants = VARIANTS[place]
        value = source.value((*path, key))
        return variants.get(value) if isinstance(value, str) else None
    return top if not place else TABLES.get(place)


def keys_of(table: type[BaseModel]) -> dict[str, str]:
    """Keys of a table with their descriptions."""
    return {field.alias or name: field.description or "" for name, field in table.model_fields.items()}


def _fault(error: ErrorDetails, source: Source, top: type[BaseModel]) -> Fault:
    """One error of pydantic as a fault of ours."""
    path = without_tags(error["loc"])
    kind = error["type"]
    if kind == FAULT:
        context = error["ctx"]
        return source.fault(path, allowed=context["allowed"], remedy=context["remedy"])
    if kind == "missing":
        return _missing(path, source, top)
    if kind == "extra_forbidden":
        return _unknown_key(path, source, top)
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        return _variant(path, source)
    if kind == "literal_error":
        return _choice(path, source, top)
    return _wrong_type(path, kind, source)


def _missing(path: KeyPath, source: Source, top: type[BaseModel]) -> Fault:
    """A key that must be there and is not."""
    table = table_at(path[:-1], source, top)
    meaning = keys_of(table).get(str(path[-1]), "") if table else ""
    meaning = meaning.removesuffix(" [-]").replace(". [", " [").rstrip(".")
    remedy = f"add it: {meaning[:1].lower()}{meaning[1:]}" if meaning else ""
    return source.fault(path, allowed="is missing", remedy=remedy)


def _unknown_key(path: KeyPath, source: Source, top: type[BaseModel]) -> Fault:
    """A key that the table does not have."""
    key = str(path[-1])
    table = table_at(path[:-1], source, top)
    known = list(keys_of(table)) if table else []
    like = nearest(key, known)
    owners = _owners(key, path[:-1])
    if owners:
        deciding = VARIANTS[shape_of(path[:-1])][0]
        remedy = f"it belongs to {deciding} = {listed(owners)}"
    elif like:
        remedy = f"did you mean {like}?"
    else:
        remedy = f"known here: {', '.join(known)}"
    return source.fault(path, allowed="is not a known key", remedy=remedy)


def _owners(key: str, path: KeyPath) -> list[str]:
    """The other variants of a table that do have this key."""
    _, variants = VARIANTS.get(shape_of(path), ("", {}))
    return [name for name, table in variants.items() if key in keys_of(table)]


def _variant(path: KeyPath, source: Source) -> Fault:
    """A table whose deciding key (shape, profile, kind) is missing or unknown."""
    key, variants = VARIANTS[shape_of(path)]
    value = source.value((*path, key))
    allowed = f"must be {listed(variants)}"
    if value is None:
        return source.fault((*path, key), allowed="is missing", remedy=f"it {allowed}")
    return source.fault((*path, key), allowed=allowed, remedy=_did_you_mean(value, variants))


def _choice(path: KeyPath, source: Source, top: type[BaseModel]) -> Fault:
    """A word that is none of those allowed."""
    table = table_at(path[:-1], source, top)
    words = _words(table, str(path[-1])) if table else []
    value = source.value(path)
    return source.fault(path, allowed=f"must be {listed(words)}", remedy=_did_you_mean(value, words))


def _words(table: type[BaseModel], key: str) -> list[str]:
    """The words that a key accepts."""
    annotation: Any = table.model_fields[key].annotation
    choices = [annotation, *get_args(annotation)]
    return [word for choice in choices if get_origin(choice) is Literal for word in get_args(choice)]


def _did_you_mean(value: Any, words: Iterable[str]) -> str:
    """A remedy that names the nearest word, when there is one."""
    like = nearest(value.lower(), words) if isinstance(value, str) else ""
    return f'did you mean "{like}"?' if like else ""


def _wrong_type(path: KeyPath, kind: str, source: Source) -> Fault:
    """A value of another type than the key takes."""
    value = source.value(path)
    if kind.startswith("bool"):
        return source.fault(path, allowed="must be true or false", remedy="without quotes")
    if kind.startswith("string"):
        if shape_of(path) in _SURFACES:
            numbers = "{ absorptance, emittance, specular_share }"
            return source.fault(path, allowed=f"must be the name of a surface or {numbers}")
        return source.fault(path, allowed="must be a text in quotes")
    if path and path[-1] in ("part", "screen", "variant", "opening", "obstacle"):
        name = ".".join(key for key in path if isinstance(key, str))
        remedy = f"write [[{name}]] with double brackets, once for each"
        return source.fault(path, allowed="must be a list of tables", remedy=remedy)
    if isinstance(value, Mapping) or is_list(value):
        return source.fault(path, allowed="must be a single table", remedy="write its header in single brackets")
    return source.fault(path, allowed="must be a table", remedy=_as_table(path))


def _as_table(path: KeyPath) -> str:
    """How a table is written."""
    if len(path) == 2 and isinstance(path[1], int):
        return f"write [[{path[0]}]] and its keys below it"
    name = ".".join(str(key) for key in path)
    return f"write [{name}] and its keys below it" if len(path) <= 2 else "write { key = value, ... }"
