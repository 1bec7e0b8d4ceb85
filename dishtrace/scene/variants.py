"""Variants of a scene: `[[variant]]` tables that override keys, each of them checked as a full scene.

A key is named as in the scene, dots between table and key; entries of arrays of tables go by their name:
``dish.slope_error_mrad = 4`` or ``"part.pot.radius_m" = 0.2``. What a variant sets is laid over the scene key by key;
a list, and an uncertain number, is replaced as a whole. Where one key decides which others there are (`shape`, `kind`,
`profile`), or two ways to say a thing exclude each other, the scene's keys that do not fit the variant's choice go.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, get_args

from pydantic import BeforeValidator, ConfigDict, Field

from dishtrace.errors import Fault
from dishtrace.scene.checks import name_faults
from dishtrace.scene.facet_checks import MEASURED_KEYS
from dishtrace.scene.facets import FACET_LAYOUTS
from dishtrace.scene.faults import VARIANTS as DECIDING_KEYS
from dishtrace.scene.faults import keys_of, shape_of
from dishtrace.scene.lines import KeyPath, nearest_line
from dishtrace.scene.quantity import refuse
from dishtrace.scene.source import Source, is_list
from dishtrace.scene.tables import Name, Table
from dishtrace.scene.words import listed, nearest

ARRAYS = ("part", "screen", "obstacle")
ALTERNATIVES: dict[tuple[str, ...], tuple[tuple[frozenset[str], ...], ...]] = {
    ("sun",): (
        (frozenset({"time"}), frozenset({"azimuth_deg", "elevation_deg"})),
        (frozenset({"dni_w_m2"}), frozenset({"dni", "linke_turbidity"}), frozenset({"weather_file"})),
    ),
    ("sun", "shape"): ((frozenset({"csr"}), frozenset({"chi"})),),
    ("screen", "*"): ((frozenset({"offset_m"}), frozenset({"center_m"})),),
}
"""Keys of a table that exclude each other: setting one way in a variant removes the scene's other way."""

_UNCERTAIN = ({"value", "sd"}, {"low", "high"})
_OWN_KEYS = ("name", "without")
_OWN_OF_LAYOUT = ("missing", "file", "unit")
_CURVE_KEYS = ("curve", "radius_m", "bend", *MEASURED_KEYS)


def _key_list(value: Any) -> tuple[str, ...]:
    """A list of keys."""
    if not is_list(value) or not all(isinstance(key, str) for key in value):
        raise refuse('must be a list of keys, for instance without = ["part.clamp"]')
    return tuple(value)


class Variant(Table):
    """A change of the scene, compared with it and with the other variants."""

    model_config = ConfigDict(extra="allow")

    name: Name = Field(description="Name, used once.")
    without: Annotated[tuple[str, ...], BeforeValidator(_key_list)] = Field(
        (), description='Keys, tables, parts or screens of the scene to leave out: ["part.clamp"].'
    )


@dataclass(frozen=True)
class VariantSource(Source):
    """A scene with a variant laid over it, whose faults name the variant and stand on its lines.

    Parameters
    ----------
    prefix : str
        Said before every key: ``'variant "tiles" '``.
    """

    prefix: str = field(default="", compare=False)

    def key_text(self, path: KeyPath) -> str:
        """The key in the user's terms, the variant's name before it."""
        return f"{self.prefix}{super().key_text(path)}".strip()


def variant_sources(source: Source) -> tuple[dict[str, VariantSource], list[Fault]]:
    """Every variant of a scene laid over it.

    Parameters
    ----------
    source : Source
        What is written.

    Returns
    -------
    sources : dict of VariantSource
        By name, in the order of the file; without those whose name is missing, wrong or used before.
    faults : list of Fault
        Names used twice, and keys that address nothing.
    """
    faults = list(name_faults(source, "variant"))
    sources: dict[str, VariantSource] = {}
    for index in source.tables("variant"):
        name = source.value(("variant", index, "name"))
        if isinstance(name, str) and name not in sources:
            draft = _Draft(source, index)
            sources[name] = draft.source(name)
            faults += draft.faults
    return sources, faults


def source_with(source: Source, values: Mapping[str, Any]) -> tuple[Source, list[Fault]]:
    """A scene as written with keys laid over it, as a variant would lay them.

    Parameters
    ----------
    source : Source
        What is written.
    values : mapping
        By key in dotted form: ``{"dish.slope_error_mrad": 4.0, "part.pot.radius_m": 0.2}``.

    Returns
    -------
    source : Source
        Its variants are left out.
    faults : list of Fault
        Keys that address nothing.
    """
    data = {**source.data, "variant": [dict(values)]}
    draft = _Draft(Source(source.name, source.folder, data, source.lines), 0)
    return Source(source.name, source.folder, draft.data, source.lines), draft.faults


def faults_of_variant(source: VariantSource, faults: Iterable[Fault], base: Iterable[Fault]) -> list[Fault]:
    """The faults of a variant that the scene below it does not have itself."""
    known = {(fault.key, fault.found, fault.allowed) for fault in base}
    return [
        fault for fault in faults if (fault.key.removeprefix(source.prefix), fault.found, fault.allowed) not in known
    ]


class _Draft:
    """A copy of the scene's tables while a variant is laid over it."""

    def __init__(self, source: Source, index: int) -> None:
        self.written = source
        self.own: KeyPath = ("variant", index)
        self.data: dict[str, Any] = {key: _plain(value) for key, value in source.data.items() if key != "variant"}
        self.lines: dict[KeyPath, int] = {}
        self.faults: list[Fault] = []
        table = source.value(self.own)
        without = table.get("without")
        for place, key in enumerate(without if is_list(without) else ()):
            if isinstance(key, str):
                self._remove(key, (*self.own, "without", place))
        settings = self._settings(table)
        self._make_room(settings)
        for path, value in settings.items():
            self._set(path, value)

    def _settings(self, table: Mapping[str, Any]) -> dict[KeyPath, Any]:
        """What the variant sets, by the place in the scene; lines and faults are kept."""
        settings: dict[KeyPath, Any] = {}
        leaves = [leaf for key, value in table.items() if key not in _OWN_KEYS for leaf in _leaves((key,), value)]
        for keys, value in leaves:
            own = (*self.own, *keys)
            path = self._path(keys, own)
            if path in settings:
                self.faults.append(self.written.fault(own, allowed="is set twice", remedy="keep one of them"))
            elif path:
                settings[path] = _plain(value)
                self._note(path, own)
        return settings

    def source(self, name: str) -> VariantSource:
        """What the draft says, as the source of a scene."""
        line = nearest_line(self.written.lines, self.own)
        lines = self.lines if line is None else {(): line, **self.lines}
        return VariantSource(self.written.name, self.written.folder, self.data, lines, prefix=f'variant "{name}" ')

    def _value(self, path: KeyPath) -> Any:
        return Source("", self.written.folder, self.data).value(path)

    def _path(self, keys: tuple[str, ...], own: KeyPath) -> KeyPath:
        """Where in the scene dotted keys lead; empty, with a fault, when they name no entry of an array of tables."""
        if keys[0].partition(".")[0] == "variant":
            self.faults.append(self.written.fault(own, allowed="cannot stand inside a variant"))
            return ()
        path: KeyPath = ()
        rest = list(keys)
        while rest:
            key = rest.pop(0)
            entries = self._value(path)
            if is_list(entries) or (entries is None and path and path[-1] in ARRAYS):
                names = _names(entries or ())
                fitting = [name for name in names if f"{key}.".startswith(f"{name}.")]
                if not fitting:
                    self.faults.append(self._unknown_entry(path, key, names, own))
                    return ()
                name = max(fitting, key=len)
                path, tail = (*path, names[name]), key[len(name) + 1 :]
            else:
                first, _, tail = key.partition(".")
                path = (*path, first)
            if tail:
                rest.insert(0, tail)
        return path

    def _unknown_entry(self, path: KeyPath, key: str, known: Iterable[str], own: KeyPath) -> Fault:
        table = str(path[-1])
        like = nearest(key.partition(".")[0], known)
        remedy = f'did you mean "{like}"?' if like else f"its {table}s are {listed(known)}" if known else ""
        return self.written.fault(own, allowed=f"names no {table} of the scene", remedy=remedy)

    def _note(self, path: KeyPath, own: KeyPath) -> None:
        """Keep the lines of a key that the variant sets, of what is inside it, and of the tables around it."""
        for place, line in self.written.lines.items():
            if place[: len(own)] == own:
                self.lines[path + place[len(own) :]] = line
        for length in range(1, len(path)):
            if own in self.written.lines and isinstance(path[length], str):
                self.lines.setdefault(path[:length], self.written.lines[own])

    def _remove(self, key: str, own: KeyPath) -> None:
        """Take a key, a table or an entry of an array out of the draft."""
        n_faults = len(self.faults)
        path = self._path((key,), own)
        if len(self.faults) > n_faults:
            return
        table = self._value(path[:-1])
        if self._value(path) is None:
            like = nearest(str(path[-1]), table) if isinstance(table, Mapping) else ""
            remedy = f"did you mean {'.'.join([*key.split('.')[:-1], like])}?" if like else ""
            self.faults.append(self.written.fault(own, allowed="is not written in the scene", remedy=remedy))
        else:
            del table[path[-1]]

    def _make_room(self, settings: Mapping[KeyPath, Any]) -> None:
        """Remove the scene's keys that do not fit what the variant sets."""
        for path, value in settings.items():
            table, key = self._value(path[:-1]), path[-1]
            if not isinstance(table, dict):
                continue
            for name in _unfitting(shape_of(path[:-1]), key, value, table):
                if (*path[:-1], name) not in settings:
                    table.pop(name, None)

    def _set(self, path: KeyPath, value: Any) -> None:
        """Write a value; what stands in the way of a table gives way to it."""
        table: Any = self.data
        for key, following in zip(path, path[1:], strict=False):
            inside = table[key] if isinstance(key, int) else table.get(key)
            if not isinstance(inside, Mapping if isinstance(following, str) else list):
                inside = table[key] = {}
            table = inside
        if not (isinstance(value, Mapping) and not value and isinstance(table.get(path[-1]), Mapping)):
            table[path[-1]] = value


def _plain(value: Any) -> Any:
    """A copy of dicts and lists that can be changed."""
    if isinstance(value, Mapping):
        return {key: _plain(inside) for key, inside in value.items()}
    return [_plain(inside) for inside in value] if is_list(value) else value


def _names(entries: Iterable[Any]) -> dict[str, int]:
    """Where in an array of tables each name stands; the first of two alike."""
    names: dict[str, int] = {}
    for place, entry in enumerate(entries):
        if isinstance(entry, Mapping) and isinstance(entry.get("name"), str):
            names.setdefault(entry["name"], place)
    return names


def _leaves(keys: tuple[str, ...], value: Any) -> Iterator[tuple[tuple[str, ...], Any]]:
    """What a variant sets, key by key down to what is replaced as a whole."""
    if not isinstance(value, Mapping) or not value or set(value) in _UNCERTAIN:
        yield keys, value
        return
    for key, inside in value.items():
        yield from _leaves((*keys, key), inside)


def _unfitting(place: tuple[str, ...], key: str | int, value: Any, table: Mapping[str, Any]) -> set[str]:
    """Keys of a table that cannot stay when a key of it is set to a value."""
    deciding, choices = DECIDING_KEYS.get(place, ("", {}))
    if key == deciding and value != table.get(key) and isinstance(value, str) and value in choices:
        unknown = set(table) - set(keys_of(choices[value]))
        return unknown | _of_other_pieces(table, value) if place == ("dish", "facets") else unknown
    for ways in ALTERNATIVES.get(place, ()):
        if any(key in way for way in ways):
            return {name for way in ways if key not in way for name in way}
    return set()


def _of_other_pieces(table: Mapping[str, Any], layout: str) -> set[str]:
    """Keys of [dish.facets] that another layout knows, too, but that tell of the pieces of the scene's own layout.

    Numbers and files belong to that layout alone. A curve goes, with all that tells it, where pieces are made in
    another way: tiles are flat unless told otherwise, petals and strips bent. A shape goes that there is not.
    """
    fields = FACET_LAYOUTS[layout].model_fields
    other = FACET_LAYOUTS.get(str(table.get("layout")))
    gone = set(_OWN_OF_LAYOUT)
    if other is not None and _default(other, "curve") != _default(FACET_LAYOUTS[layout], "curve"):
        gone |= {key for key in table if key in _CURVE_KEYS}
    if "shape" in fields and table.get("shape") not in get_args(fields["shape"].annotation):
        gone.add("shape")
    return gone


def _default(table: type[Table], key: str) -> Any:
    return table.model_fields[key].default if key in table.model_fields else None
