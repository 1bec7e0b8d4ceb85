"""Checks of the [dish.facets] table that need more than one key or another file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, get_args

from dishtrace.errors import Fault, InputError
from dishtrace.scene.facet_list import SIZE_NUMBERS, FacetRow, ListDefaults, read_facet_list
from dishtrace.scene.facets import FACET_LAYOUTS, Bend, Curve
from dishtrace.scene.files import file_faults
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.part_checks import MESH_ENDINGS
from dishtrace.scene.point_list import read_points
from dishtrace.scene.quantity import plain_number
from dishtrace.scene.source import Source, is_list

FACETS: KeyPath = ("dish", "facets")
MEASURED_KEYS = ("curve_file", "curve_unit", "curve_degree", "curve_height_error_m")
"""Keys that only measured facets use."""
POINT_ENDINGS = ", ".join((".csv", *MESH_ENDINGS))


def facet_faults(source: Source) -> Iterator[Fault]:
    """Faults of the facets as written."""
    layout = source.value((*FACETS, "layout"))
    if not isinstance(layout, str) or layout not in FACET_LAYOUTS:
        return
    if layout == "measured":
        yield from _point_file_faults(source, "file", "unit")
        return
    yield from _curve_faults(source, FACET_LAYOUTS[layout].model_fields["curve"].default, layout)
    yield from _missing_faults(source)
    if layout in ("square-grid", "hex-grid"):
        yield from _grid_faults(source)
    if layout == "rings":
        yield from _ring_faults(source)
    if layout in ("rings", "petals"):
        yield from _radius_faults(source)
    if layout == "list":
        yield from _list_faults(source)


def _both(source: Source, key: str, other: str) -> Iterator[Fault]:
    """Two keys that say the same thing."""
    if source.has((*FACETS, key)) and source.has((*FACETS, other)):
        remedy = "keep the one that is meant"
        yield source.fault((*FACETS, key), allowed=f"cannot stand beside {other}", remedy=remedy)


def _curve_faults(source: Source, default: str, layout: str) -> Iterator[Fault]:
    """Keys that only some curves use; a list may use them for some of its rows."""
    curve = source.value((*FACETS, "curve")) or default
    if source.has((*FACETS, "curve_file")):
        yield from _point_file_faults(source, "curve_file", "curve_unit")
    if layout == "list" or curve not in get_args(Curve):
        return
    if curve == "measured" and not source.has((*FACETS, "curve_file")):
        remedy = "name the csv or mesh file of the measured facet"
        yield source.fault((*FACETS, "curve_file"), allowed="is missing", remedy=remedy)
    for key in MEASURED_KEYS if curve != "measured" else ():
        if source.has((*FACETS, key)):
            remedy = 'set curve = "measured", or remove it'
            yield source.fault((*FACETS, key), allowed=f'is not used with curve = "{curve}"', remedy=remedy)
    if curve not in ("bent", "spherical") and source.has((*FACETS, "radius_m")):
        remedy = 'set curve = "spherical" or "bent", or remove it'
        yield source.fault((*FACETS, "radius_m"), allowed=f'is not used with curve = "{curve}"', remedy=remedy)
    if curve != "bent" and source.has((*FACETS, "bend")):
        remedy = 'set curve = "bent", or remove it'
        yield source.fault((*FACETS, "bend"), allowed=f'is not used with curve = "{curve}"', remedy=remedy)


def _missing_faults(source: Source) -> Iterator[Fault]:
    """Facets told missing twice."""
    missing = source.value((*FACETS, "missing"))
    if not is_list(missing):
        return
    numbers = [plain_number(number) for number in missing]
    double = sorted({number for number in numbers if number is not None and numbers.count(number) > 1})
    if double:
        shown = ", ".join(f"{number:g}" for number in double[:5])
        yield source.fault((*FACETS, "missing"), allowed=f"names facet {shown} twice", remedy="name each once")


def _grid_faults(source: Source) -> Iterator[Fault]:
    """Pitch or gap; corners for polygons and sizes for all others."""
    yield from _both(source, "pitch_m", "gap_m")
    shape = source.value((*FACETS, "shape"))
    if shape == "polygon":
        for key in ("vertices_m", "pitch_m"):
            if not source.has((*FACETS, key)):
                yield source.fault((*FACETS, key), allowed="is missing", remedy='shape = "polygon" needs it')
        for key in ("size_m", "gap_m"):
            if source.has((*FACETS, key)):
                remedy = "vertices_m and pitch_m say it all"
                yield source.fault((*FACETS, key), allowed='is not used with shape = "polygon"', remedy=remedy)
        return
    if not source.has((*FACETS, "size_m")):
        yield source.fault((*FACETS, "size_m"), allowed="is missing", remedy="add the size of a facet [m]")
    if source.has((*FACETS, "vertices_m")):
        remedy = 'set shape = "polygon", or remove it'
        yield source.fault((*FACETS, "vertices_m"), allowed="is only used with polygons", remedy=remedy)
    if shape == "circle" and is_list(source.value((*FACETS, "size_m"))):
        yield source.fault((*FACETS, "size_m"), allowed="must be one number, the diameter, for circles")


def _ring_faults(source: Source) -> Iterator[Fault]:
    """One way to say where the rings are, and how many tiles they have."""
    radii, counts = source.value((*FACETS, "radii_m")), source.value((*FACETS, "counts"))
    for key in ("inner_radius_m", "outer_radius_m"):
        if radii is not None:
            yield from _both(source, key, "radii_m")
    has_size = source.has((*FACETS, "size_m"))
    shape = source.value((*FACETS, "shape"))
    if not has_size and shape in ("square", "circle"):
        yield source.fault((*FACETS, "size_m"), allowed="is missing", remedy="add the size of a tile [m]")
    elif not has_size and counts is None:
        remedy = "give size_m of a tile, or counts = [tiles in each ring]"
        yield source.fault((*FACETS, "counts"), allowed="is missing", remedy=remedy)
    if shape == "circle" and is_list(source.value((*FACETS, "size_m"))):
        yield source.fault((*FACETS, "size_m"), allowed="must be one number, the diameter, for circles")
    if is_list(radii) and is_list(counts) and len(radii) >= 2 and len(counts) != len(radii) - 1:
        allowed = f"must have {len(radii) - 1} numbers, one for each ring between radii_m"
        yield source.fault((*FACETS, "counts"), allowed=allowed)
    if is_list(counts) and not counts:
        yield source.fault((*FACETS, "counts"), allowed="must not be empty")
    if is_list(radii):
        yield from _edge_faults(source, [plain_number(radius) for radius in radii])


def _edge_faults(source: Source, radii: list[float | None]) -> Iterator[Fault]:
    """Edges of rings that do not rise."""
    if len(radii) < 2:
        yield source.fault((*FACETS, "radii_m"), allowed="must have at least 2 numbers, the edges of one ring")
    elif None not in radii and any(later <= radius for radius, later in zip(radii, radii[1:], strict=False)):
        yield source.fault((*FACETS, "radii_m"), allowed="must rise from the inside to the outside")


def _radius_faults(source: Source) -> Iterator[Fault]:
    """Rings or petals that end before they begin."""
    inner, outer = (source.number((*FACETS, key)) for key in ("inner_radius_m", "outer_radius_m"))
    if inner is not None and outer is not None and inner >= outer:
        yield source.fault((*FACETS, "inner_radius_m"), allowed=f"must be < outer_radius_m = {outer:g}")


def _list_faults(source: Source) -> Iterator[Fault]:
    """The file of a list, and what is wrong inside it."""
    missing = list(file_faults(source, (*FACETS, "file")))
    yield from missing
    name = source.value((*FACETS, "file"))
    if missing or not isinstance(name, str):
        return
    try:
        rows = read_facet_list(source.path(name), name, _defaults(source))
    except InputError as error:
        yield from error.faults
        return
    yield from _row_file_faults(source, rows)


def _point_file_faults(source: Source, file_key: str, unit_key: str) -> Iterator[Fault]:
    """The file of measured points that a key names, its unit, and what is wrong inside a csv of points."""
    missing = list(file_faults(source, (*FACETS, file_key)))
    yield from missing
    name = source.value((*FACETS, file_key))
    if not isinstance(name, str) or not name.strip():
        return
    is_mesh, has_unit = name.lower().endswith(MESH_ENDINGS), source.has((*FACETS, unit_key))
    if not is_mesh and not name.lower().endswith(".csv"):
        yield source.fault((*FACETS, file_key), allowed=f"must end in {POINT_ENDINGS}")
        return
    if is_mesh and not has_unit:
        yield source.fault((*FACETS, unit_key), allowed="is missing", remedy=f'a mesh file needs it: {unit_key} = "mm"')
    if not is_mesh and has_unit:
        remedy = "a csv of points is in metres"
        yield source.fault((*FACETS, unit_key), allowed="is only for mesh files", remedy=remedy)
    if not missing and not is_mesh:
        yield from _csv_faults(source, name)


def _row_file_faults(source: Source, rows: Iterable[FacetRow]) -> Iterator[Fault]:
    """Files of measured points that rows of a list name, each told at its first row."""
    first = {row.curve_file: row.where for row in reversed(list(rows)) if row.curve_file is not None}
    first.pop(source.value((*FACETS, "curve_file")), None)
    for name, where in sorted(first.items(), key=lambda item: item[1]):
        if not name.lower().endswith((".csv", *MESH_ENDINGS)):
            yield Fault(where, "curve_file", name, f"must end in {POINT_ENDINGS}")
        elif not source.path(name).is_file():
            remedy = "file names are relative to the scene file"
            yield Fault(where, "curve_file", name, "does not exist, or is no file", remedy)
        elif name.lower().endswith(".csv"):
            yield from _csv_faults(source, name)
        elif not source.has((*FACETS, "curve_unit")):
            remedy = f'{name} ({where}) is a mesh file: curve_unit = "mm"'
            yield source.fault((*FACETS, "curve_unit"), allowed="is missing", remedy=remedy)


def _csv_faults(source: Source, name: str) -> Iterator[Fault]:
    """What is wrong inside a csv of points."""
    try:
        read_points(source.path(name), name)
    except InputError as error:
        yield from error.faults


def _defaults(source: Source) -> ListDefaults:
    """What the table says for rows that do not, as far as it is sound."""
    words = {"shape": tuple(SIZE_NUMBERS), "curve": get_args(Curve), "bend": get_args(Bend)}
    sound: dict[str, Any] = {}
    for key, allowed in words.items():
        value = source.value((*FACETS, key))
        if isinstance(value, str) and value in allowed:
            sound[key] = value
    curve_file = source.value((*FACETS, "curve_file"))
    if isinstance(curve_file, str) and curve_file.strip():
        sound["curve_file"] = curve_file
    size = source.value((*FACETS, "size_m"))
    numbers = [plain_number(number) for number in (size if is_list(size) else [size])]
    return ListDefaults(**sound, size=() if None in numbers else tuple(numbers))
